"""Scans -> Joined: two sides, or several views, of one part made into one scan."""

from verifier.joining.join import join
from verifier.joining.posed import Fused, Joined, JoinReport, Link, Placing, Posed

__all__ = ["Fused", "JoinReport", "Joined", "Link", "Placing", "Posed", "join"]
