"""Farm-bench parts with a ball or a socket of exactly known size."""

import numpy as np

from inbox_demo import simulated as sim
from verifier.mesh import Array


def throttle_stud(*, ball_mm: float = 12.0, neck_mm: float = 7.0) -> sim.Shape:
    """A plate 40 x 24 x 6 with a ball on a round neck, its middle 20 mm above the plate's underside."""

    def distance(p: Array) -> Array:
        plate = sim.intersect(sim.box2(p, (0, 0), (40, 24)), sim.slab(p[:, 2], 0.0, 6.0))
        plate = sim.cut(sim.cut(plate, sim.bore(p, (-14, 0), 5.0)), sim.bore(p, (14, 0), 5.0))
        neck = sim.intersect(sim.disc(p, (0, 0), 0.5 * neck_mm), sim.slab(p[:, 2], 3.0, 20.0))
        ball = np.linalg.norm(p - np.array([0.0, 0.0, 20.0]), axis=1) - 0.5 * ball_mm
        return sim.unite(sim.unite(plate, neck), ball)

    return sim.Shape("throttle_stud", distance, (-21, -13, -1), (21, 13, 20 + 0.5 * ball_mm + 1))


def mirror_foot(*, socket_mm: float = 14.0, deep_mm: float = 6.0) -> sim.Shape:
    """A block 40 x 30 x 14 with a hollow part of a ball in its top, and rounded corners of 3 mm."""

    def distance(p: Array) -> Array:
        q = np.abs(p - np.array([0.0, 0.0, 7.0])) - (np.array([20.0, 15.0, 7.0]) - 3.0)
        block = np.linalg.norm(np.maximum(q, 0.0), axis=1) + np.minimum(q.max(axis=1), 0.0) - 3.0
        middle = np.array([0.0, 0.0, 14.0 + 0.5 * socket_mm - deep_mm])
        return sim.cut(block, np.linalg.norm(p - middle, axis=1) - 0.5 * socket_mm)

    return sim.Shape("mirror_foot", distance, (-21, -16, -1), (21, 16, 15))
