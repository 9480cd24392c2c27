"""Simulated scans of invented farm-bench parts, for the demo and the tests.

A part is a signed-distance function with exact, known sizes. Its surface is meshed on a grid that lies askew to the
part, every corner is moved onto the true surface, and then the scanner's sins are added: powder, scale, scatter that
differs from point to point and scatter that neighbours share, bores that close a few millimetres below the mouth,
holes, specks, flipped faces. Nothing here is used by the verifier, and nothing of the verifier is used here.
"""

from inbox_demo.simulated.distances import (
    EDGE_RADIUS_MM,
    Array,
    Distance,
    Faces,
    bore,
    box2,
    crater,
    cut,
    disc,
    intersect,
    slab,
    tapered_bar,
    unite,
)
from inbox_demo.simulated.faults import with_doubled, with_flipped, with_holes, with_specks, without_bore_wall
from inbox_demo.simulated.files import obj_bytes, ply_bytes, stl_bytes, three_mf_bytes
from inbox_demo.simulated.parts import Shape, fence_clip, latch_lever, pump_rocker, seat_armrest
from inbox_demo.simulated.scanner import Scanned, rotation, scan

__all__ = [
    "EDGE_RADIUS_MM",
    "Array",
    "Distance",
    "Faces",
    "Scanned",
    "Shape",
    "bore",
    "box2",
    "crater",
    "cut",
    "disc",
    "fence_clip",
    "intersect",
    "latch_lever",
    "obj_bytes",
    "ply_bytes",
    "pump_rocker",
    "rotation",
    "scan",
    "seat_armrest",
    "slab",
    "stl_bytes",
    "tapered_bar",
    "three_mf_bytes",
    "unite",
    "with_doubled",
    "with_flipped",
    "with_holes",
    "with_specks",
    "without_bore_wall",
]
