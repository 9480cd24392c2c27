"""Comparing one surface with another: where it lies best, how far it is off, what changed."""

from verifier.comparing.align import align
from verifier.comparing.alignment import Alignment
from verifier.comparing.cloud import Cloud, cloud_of

__all__ = ["Alignment", "Cloud", "align", "cloud_of"]
