"""Comparing one surface with another: where it lies best, how far it is off, what changed."""

from verifier.comparing.align import align
from verifier.comparing.alignment import Alignment
from verifier.comparing.changes import Change, Changes, Scanned, changes
from verifier.comparing.cloud import Cloud, cloud_of

__all__ = ["Alignment", "Change", "Changes", "Cloud", "Scanned", "align", "changes", "cloud_of"]
