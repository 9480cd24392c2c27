"""Correcting: what the scanner and the powder did to the part, and the mesh to print."""
