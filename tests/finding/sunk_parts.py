"""Farm-bench parts with countersunk, counterbored and tapered faces of exactly known size."""

import numpy as np

from inbox_demo import simulated as sim
from verifier.mesh import Array


def hinge_leaf(
    *,
    mouth_mm: float = 10.0,
    angle_deg: float = 90.0,
    bore_mm: float = 5.0,
    plain_mm: float = 5.6,
    plate_mm: float = 8.0,
    off_axis_mm: float = 0.0,
    round_mm: float = 0.0,
    lean_deg: float = 0.0,
) -> sim.Shape:
    """A hinge leaf 60 x 30: a countersunk bore at x = -15 and a plain one at x = 15, whose upper mouth may be rounded.

    off_axis_mm : of the countersink from its bore; round_mm : radius of the plain bore's mouth
    lean_deg : of the upper face, along the part, about the countersunk bore
    """

    def distance(p: Array) -> Array:
        top = p[:, 2] - plate_mm - np.tan(np.radians(lean_deg)) * (p[:, 0] + 15.0)
        flat = np.maximum(-p[:, 2], top * np.cos(np.radians(lean_deg)))
        solid = sim.intersect(sim.box2(p, (0, 0), (60, 30)), flat)
        solid = sim.cut(solid, sim.bore(p, (-15, 0), bore_mm))
        half = np.radians(0.5 * angle_deg)
        rho = np.hypot(p[:, 0] + 15.0 - off_axis_mm, p[:, 1])
        sink = (rho - 0.5 * mouth_mm) * np.cos(half) - (p[:, 2] - plate_mm) * np.sin(half)
        solid = sim.cut(solid, sink)
        plain = sim.bore(p, (15, 0), plain_mm)
        return sim.intersect(solid, -plain, radius_mm=max(round_mm * (2.0 - np.sqrt(2.0)) * 2.0, sim.EDGE_RADIUS_MM))

    return sim.Shape("hinge_leaf", distance, (-31, -16, -1), (31, 16, plate_mm + 2))


def bearing_foot(*, wide_mm: float = 11.0, deep_mm: float = 4.0, bore_mm: float = 6.0) -> sim.Shape:
    """A bearing foot 50 x 30 x 16 with a counterbored bore at x = -10 and a plain one of the same size at x = 14."""

    def distance(p: Array) -> Array:
        solid = sim.intersect(sim.box2(p, (0, 0), (50, 30)), sim.slab(p[:, 2], 0.0, 16.0))
        solid = sim.cut(sim.cut(solid, sim.bore(p, (-10, 0), bore_mm)), sim.bore(p, (14, 0), bore_mm))
        return sim.cut(solid, np.maximum(sim.disc(p, (-10, 0), 0.5 * wide_mm), 16.0 - deep_mm - p[:, 2]))

    return sim.Shape("bearing_foot", distance, (-26, -16, -1), (26, 16, 17))


def hitch_post(half_deg: float, *, top_mm: float = 12.0, high_mm: float = 10.0) -> sim.Shape:
    """A plate 40 x 40 x 8 with a post that widens from its top down by half_deg to each side."""

    def distance(p: Array) -> Array:
        half = np.radians(half_deg)
        plate = sim.intersect(sim.box2(p, (0, 0), (40, 40)), sim.slab(p[:, 2], 0.0, 8.0))
        top = 8.0 + high_mm
        rho = np.hypot(p[:, 0], p[:, 1])
        side = (rho - 0.5 * top_mm) * np.cos(half) + (p[:, 2] - top) * np.sin(half)
        return sim.unite(plate, sim.intersect(side, sim.slab(p[:, 2], 4.0, top)))

    return sim.Shape("hitch_post", distance, (-21, -21, -1), (21, 21, 20))
