"""Bores of two or three rows of points between the lips of their mouths."""

import numpy as np
import pytest

from inbox_demo import simulated as sim
from verifier.finding import find_features

from .parts import solid_of

THICK_MM, BORE_MM, LIP_MM = 3.3, 3.9, 0.18


def plate(p: sim.Array, stands_back_mm: float = 0.0) -> sim.Array:
    """A plate with a bore that a scanner narrowed in a ring just inside each mouth; it may stand back between them."""
    inside = np.minimum(p[:, 2], THICK_MM - p[:, 2])
    lip = LIP_MM * np.exp(-(((inside - 0.8) / 0.3) ** 2))
    groove = stands_back_mm * np.exp(-(((p[:, 2] - 0.5 * THICK_MM) / 0.4) ** 2))
    solid = sim.intersect(sim.box2(p, (0, 0), (16, 14)), sim.slab(p[:, 2], 0.0, THICK_MM))
    return sim.cut(solid, np.hypot(p[:, 0], p[:, 1]) - 0.5 * BORE_MM + lip - groove)


def bores_of(spacing_mm: float, seed: int, stands_back_mm: float = 0.0):
    """Of a net whose rows lie square to the bore, as one fused in cells has them."""
    shape = sim.Shape("plate", lambda p: plate(p, stands_back_mm), (-9, -8, -1), (9, 8, 5))
    made = sim.scan(shape, spacing_mm=spacing_mm, seed=seed, turn=np.eye(3), white_mm=0.01, correlated_mm=0.01)
    return find_features(solid_of(made)).bores


@pytest.mark.parametrize("spacing_mm", [0.6, 0.65, 0.7])
def test_a_small_bore_of_two_rows_is_found_at_its_size_and_not_at_that_of_its_lips(spacing_mm):
    (bore,) = bores_of(spacing_mm, seed=41)
    assert bore.diameter_mm == pytest.approx(BORE_MM, abs=2.0 * bore.u_diameter_mm)
    assert bore.diameter_mm - 2.0 * bore.u_diameter_mm > BORE_MM - 2.0 * LIP_MM
    # Which of its rows are rounded by a mouth nobody knows: 0.06 mm of the radius, any value as likely.
    assert bore.u_diameter_mm > 0.06


def test_two_lips_with_a_groove_between_them_are_no_bore():
    assert bores_of(0.65, seed=41, stands_back_mm=0.4) == ()


def test_bores_through_a_plate_of_three_spacings_are_found():
    """Averaged over the points beside it, hardly a normal on such a wall is square to its axis."""

    def shape(p: sim.Array) -> sim.Array:
        solid = sim.intersect(sim.box2(p, (0, 0), (32, 20)), sim.slab(p[:, 2], 0.0, 2.3))
        return sim.cut(sim.cut(solid, np.hypot(p[:, 0] - 7, p[:, 1]) - 2.75), np.hypot(p[:, 0] + 7, p[:, 1]) - 2.75)

    turn = np.linalg.qr(np.random.default_rng(5).normal(size=(3, 3)))[0]
    made = sim.scan(
        sim.Shape("plate", shape, (-17, -11, -1), (17, 11, 4)),
        spacing_mm=0.75,
        seed=42,
        turn=turn * np.sign(np.linalg.det(turn)),
        white_mm=0.02,
        correlated_mm=0.01,
    )
    one, other = find_features(solid_of(made)).bores
    for bore in (one, other):
        assert bore.diameter_mm == pytest.approx(5.5, abs=2.0 * bore.u_diameter_mm)
    assert np.linalg.norm(one.axis_point_mm - other.axis_point_mm) == pytest.approx(14.0, abs=0.4)  # heights differ
