"""Solid -> Features: planes, bores, bosses and overall sizes, each with how well it was seen."""

from verifier.finding.feature import Cylinder, Extent, Features, Noise, Plane
from verifier.finding.find import extent_along, find_features

__all__ = ["Cylinder", "Extent", "Features", "Noise", "Plane", "extent_along", "find_features"]
