"""Marker dots stuck on a part: found on each scan, used to tell poses apart, and taken off the surface."""
