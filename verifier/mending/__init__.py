"""Scan to Solid: welded, cleaned, oriented, closed; every face knows whether it was seen."""

from verifier.mending.mend import mend
from verifier.mending.solid import MendStep, Origin, Solid

__all__ = ["MendStep", "Origin", "Solid", "mend"]
