"""Round walls that something gets in the way of: bores through a wedge, and a barrel that a leaf is joined to."""

import numpy as np
import pytest

from inbox_demo import simulated as sim
from verifier.finding import Features, find_features

from .parts import NOISE_A, along_part, centre_distance_mm, on_part, solid_of

Corner = tuple[float, float, float]


def found(distance: sim.Distance, low: Corner, high: Corner, seed: int) -> tuple[Features, sim.Scanned]:
    scanned = sim.scan(sim.Shape("part", distance, low, high), spacing_mm=0.5, seed=seed, **NOISE_A)
    return find_features(solid_of(scanned)), scanned


def test_bores_square_to_the_base_of_a_wedge_are_found_along_their_own_axis():
    """The slanting face is the larger one. Taken for what they stand square to, it put them up to 0.1 mm apart."""
    lean = np.radians(7.0)

    def wedge(p: sim.Array) -> sim.Array:
        top = (p[:, 2] - 12.0) * np.cos(lean) + p[:, 0] * np.sin(lean)
        solid = sim.intersect(sim.box2(p, (0, 0), (50, 22)), -p[:, 2], top)
        return sim.cut(sim.cut(solid, sim.bore(p, (-15, 0), 6.5)), sim.bore(p, (15, 0), 6.5))

    features, scanned = found(wedge, (-26, -12, -1), (26, 12, 20), seed=3)
    one, other = features.bores
    for bore in (one, other):
        assert abs(along_part(bore.axis, scanned)[2]) > np.cos(np.radians(0.5))
        assert bore.diameter_mm == pytest.approx(6.5, abs=4.0 * bore.u_diameter_mm)
    distance_mm, u_mm = centre_distance_mm(one, other)
    assert distance_mm == pytest.approx(30.0, abs=4.0 * u_mm)


def test_a_hinge_barrel_is_a_boss_though_its_leaf_takes_a_quarter_of_its_turn():
    def leaf(p: sim.Array) -> sim.Array:
        barrel = np.hypot(p[:, 0], p[:, 2] - 5.5) - 5.5
        solid = np.minimum(np.maximum(barrel, sim.slab(p[:, 1], -12.0, 12.0)), plate(p))
        return sim.cut(solid, np.hypot(p[:, 0], p[:, 2] - 5.5) - 2.5)

    def plate(p: sim.Array) -> sim.Array:
        return sim.intersect(sim.box2(p, (14, 0), (28, 24)), sim.slab(p[:, 2], 0.0, 4.0))

    features, scanned = found(leaf, (-7, -13, -1), (29, 13, 12), seed=4)
    (barrel,) = features.bosses
    assert barrel.diameter_mm == pytest.approx(11.0, abs=4.0 * barrel.u_diameter_mm)
    assert barrel.u_diameter_mm < 0.03
    assert 240.0 < barrel.arc_deg < 300.0
    assert on_part(barrel.axis_point_mm, scanned)[[0, 2]] == pytest.approx([0.0, 5.5], abs=4.0 * barrel.u_position_mm)
