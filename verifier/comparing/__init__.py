"""Comparing one surface with another: where it lies best, how far it is off, what differs."""

from verifier.comparing.align import align
from verifier.comparing.alignment import Alignment
from verifier.comparing.changes import Change, Seen, changes
from verifier.comparing.cloud import Cloud, cloud_of

__all__ = ["Alignment", "Change", "Cloud", "Seen", "align", "changes", "cloud_of"]
