"""Mends, measures and judges scans of moulded parts, and makes the mesh to print."""

from verifier.inspect import Outcome, inspect_part
from verifier.reading import read_scan
from verifier.rulebook import load_rules, load_sheet

__all__ = ["Outcome", "inspect_part", "load_rules", "load_sheet", "read_scan"]
