"""Farm-bench parts with exactly known forms, slots, recesses and patterns, as signed distances for the scanner."""

import numpy as np

from inbox_demo import simulated as sim
from verifier.mesh import Array


def bowed_plate(bow_mm: float = 0.3, *, twist_mm: float = 0.0, dent_mm: float = 0.0) -> sim.Shape:
    """A hinge plate 80 x 40 x 6 whose upper face bows by so much along its length; the lower stays flat.

    twist_mm : of the upper face, corner to corner; dent_mm : depth of a round dent 9 mm across in it
    """

    def distance(p: Array) -> Array:
        x, y = p[:, 0] / 40.0, p[:, 1] / 20.0
        dent = dent_mm * np.exp(-(((p[:, 0] - 18.0) ** 2 + (p[:, 1] - 6.0) ** 2) / (2.0 * 2.2**2)))
        top = 6.0 + bow_mm * (1.0 - x**2) + 0.5 * twist_mm * x * y - dent
        return sim.intersect(sim.box2(p, (0, 0), (80, 40)), np.maximum(-p[:, 2], p[:, 2] - top))

    return sim.Shape("hinge_plate", distance, (-41, -21, -1), (41, 21, 7.5))


def leaning_lug(lean_deg: float = 0.5, *, bore_deg: float = 0.5) -> sim.Shape:
    """A plate 60 x 30 x 10 with a lug 12 wide and 20 high whose end face leans, and a bore of 8 that leans too."""

    def distance(p: Array) -> Array:
        plate = sim.intersect(sim.box2(p, (0, 0), (60, 30)), sim.slab(p[:, 2], 0.0, 10.0))
        lean, lean_bore = np.tan(np.radians([lean_deg, bore_deg]))
        x = p[:, 0] - 14.0 + lean * (p[:, 2] - 20.0)
        lug = sim.intersect(sim.slab(x * np.cos(np.radians(lean_deg)), -6.0, 6.0), sim.slab(p[:, 1], -12.0, 12.0))
        solid = sim.unite(plate, sim.intersect(lug, sim.slab(p[:, 2], 5.0, 30.0)))
        off = np.hypot(p[:, 0] + 16.0 - lean_bore * (p[:, 2] - 5.0), p[:, 1])
        return sim.cut(solid, (off - 4.0) * np.cos(np.radians(bore_deg)))

    return sim.Shape("leaning_lug", distance, (-31, -16, -1), (31, 16, 31))


def flange(count: int = 6, pitch_mm: float = 44.0) -> sim.Shape:
    """A pump flange 60 across and 8 thick with a middle bore of 20 and bores of 5.5 on a pitch circle."""

    def distance(p: Array) -> Array:
        solid = sim.intersect(sim.disc(p, (0, 0), 30.0), sim.slab(p[:, 2], 0.0, 8.0))
        solid = sim.cut(solid, sim.bore(p, (0, 0), 20.0))
        for k in range(count):
            turn = 2.0 * np.pi * k / count
            solid = sim.cut(solid, sim.bore(p, (pitch_mm / 2 * np.cos(turn), pitch_mm / 2 * np.sin(turn)), 5.5))
        return solid

    return sim.Shape("pump_flange", distance, (-31, -31, -1), (31, 31, 9))


def slotted_guide(*, width_mm: float = 6.0, length_mm: float = 22.0, second: bool = True) -> sim.Shape:
    """A latch guide 70 x 36 x 8 with a long slot through it and, beside it, a short one 4 deep, 5 wide and 7.5 long."""

    def distance(p: Array) -> Array:
        solid = sim.intersect(sim.box2(p, (0, 0), (70, 36)), sim.slab(p[:, 2], 0.0, 8.0))
        solid = sim.cut(solid, obround(p, (-8.0, 4.0), width_mm, length_mm))
        if second:
            solid = sim.cut(solid, np.maximum(obround(p, (20.0, -8.0), 5.0, 7.5, turn_deg=90.0), 4.0 - p[:, 2]))
        return sim.cut(solid, sim.bore(p, (26.0, 10.0), 6.0))

    return sim.Shape("latch_guide", distance, (-36, -19, -1), (36, 19, 9))


def obround(p: Array, centre: tuple[float, float], width_mm: float, length_mm: float, turn_deg: float = 0.0) -> Array:
    """A slot with half-round ends, endless along z, or the bar that fits it."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    x, y = p[:, 0] - centre[0], p[:, 1] - centre[1]
    along, across = c * x + s * y, c * y - s * x
    half = 0.5 * (length_mm - width_mm)
    return np.hypot(np.maximum(np.abs(along) - half, 0.0), across) - 0.5 * width_mm


def opposed_bores(diameter_mm: float = 2.2, depth_mm: float = 6.0) -> sim.Shape:
    """A handle core 40 x 16 x 16 with two blind bores on one axis, one from either side, plastic between."""

    def distance(p: Array) -> Array:
        solid = sim.intersect(sim.box2(p, (0, 0), (40, 16)), sim.slab(p[:, 2], -8.0, 8.0))
        wall = sim.bore(p, (4, 1), diameter_mm)
        return sim.cut(solid, np.maximum(wall, (8.0 - depth_mm) - np.abs(p[:, 2])))

    return sim.Shape("handle_core", distance, (-21, -9, -9), (21, 9, 9))


def webbed_foot(least_mm: float, *, hollow: float = 0.0, taper: float = 0.0) -> sim.Shape:
    """A block 16 x 24 x 12 with a web 38 long and 24 wide, from x = -18 on, that stands out of it.

    hollow : the web is least at x = 6 and grows with the square of the way from there times this, 1/mm
    taper : it grows by this for every mm from x = 20, its free end, towards the block
    """

    def distance(p: Array) -> Array:
        thick = least_mm + hollow * (p[:, 0] - 6.0) ** 2 + taper * (20.0 - p[:, 0])
        web = np.maximum(np.abs(p[:, 2]) - 0.5 * thick, sim.box2(p, (0, 0), (40, 24)))
        block = sim.intersect(sim.box2(p, (-26, 0), (16, 24)), sim.slab(p[:, 2], -6.0, 6.0))
        return sim.unite(web, block)

    return sim.Shape("webbed_foot", distance, (-36, -14, -8), (22, 14, 8))
