"""The reading room: from a file's bytes to triangles in millimetres."""

from verifier.reading.file_bytes import printable
from verifier.reading.read import read_scan
from verifier.reading.scan import LengthUnit, Scan, Source

__all__ = ["LengthUnit", "Scan", "Source", "printable", "read_scan"]
