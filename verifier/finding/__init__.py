"""Solid -> Features: planes, bores, bosses and overall sizes, each with how well it was seen."""

from verifier.finding.along import extent_along
from verifier.finding.feature import Cylinder, Extent, Features, Noise, Plane
from verifier.finding.find import find_features

__all__ = ["Cylinder", "Extent", "Features", "Noise", "Plane", "extent_along", "find_features"]
