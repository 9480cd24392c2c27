"""Mouths of one bore are one; two blind bores on one axis are two."""

import pytest

from inbox_demo import simulated as sim
from tests.measuring.shapes import opposed_bores
from verifier.finding import find_features

from .parts import COARSE, NOISE_A, found, solid_of


@pytest.mark.parametrize(("depth_mm", "scatter"), [(6.0, NOISE_A), (3.0, COARSE)])
def test_two_blind_bores_on_one_axis_stay_two_though_their_floors_are_too_small_for_a_plane(depth_mm, scatter):
    part = opposed_bores(2.2, depth_mm)  # a floor of 3.8 mm2
    features = find_features(solid_of(sim.scan(part, spacing_mm=0.35, seed=4, **scatter)))
    assert len(features.bores) == 2
    assert not any(bore.through for bore in features.bores)


@pytest.mark.parametrize("name", ["plate", "oval plate"])
def test_two_craters_of_one_bore_are_one(name):
    assert len(found(name)[0].bores) == 1
