"""Slots: long and short, through and blind, at their width and length, and nothing else called one."""

from functools import cache

import numpy as np
import pytest

from inbox_demo import simulated as sim
from tests.measuring.shapes import slotted_guide
from verifier.finding import find_features
from verifier.mending.solid import Solid
from verifier.mesh import Mesh

from .parts import NOISE_A, along_part, found, on_part, solid_of


@cache
def guide(seed=3, *, inside_out=False):
    scanned = sim.scan(slotted_guide(), spacing_mm=0.5, seed=seed, **NOISE_A)
    solid = solid_of(scanned)
    if inside_out:
        solid = Solid(Mesh(solid.mesh.vertices_mm @ np.diag([1.0, 1.0, -1.0]), solid.mesh.faces[:, ::-1]), solid.origin)
    return find_features(solid), scanned


def test_a_through_slot_and_a_short_blind_one_have_their_width_and_length():
    long, short = guide()[0].slots
    for slot, width, length in ((long, 6.0, 22.0), (short, 5.0, 7.5)):
        assert slot.width_mm == pytest.approx(width, abs=2.5 * slot.u_width_mm)
        assert slot.length_mm == pytest.approx(length, abs=2.5 * slot.u_length_mm)
        # 0.02 mm of shared scatter over 1 mm: a face of 16 mm x 7 mm averages it to some hundredths at worst.
        assert 0.002 < slot.u_width_mm < 0.04
        assert slot.seen_share > 0.95
    assert (long.name, short.name) == ("slot 1", "slot 2")


def test_a_slot_lies_where_it_was_made_and_points_the_way_it_is_long():
    features, scanned = guide()
    for slot, centre, along in zip(features.slots, [(-8, 4), (20, -8)], [(1, 0, 0), (0, 1, 0)], strict=True):
        assert on_part(slot.centre_mm, scanned)[:2] == pytest.approx(centre, abs=0.05)
        assert abs(along_part(slot.along, scanned) @ np.array(along)) > np.cos(np.radians(0.5))
        assert abs(along_part(slot.axis, scanned)[2]) > np.cos(np.radians(1.0))


def test_the_ends_of_a_slot_are_neither_bores_nor_told_as_hollows():
    features, _ = guide()
    assert [round(bore.diameter_mm, 1) for bore in features.bores] == [6.0]
    assert features.notices == ()


def test_a_mirrored_part_has_the_same_slots():
    for slot, same in zip(guide()[0].slots, guide(inside_out=True)[0].slots, strict=True):
        assert slot.width_mm == pytest.approx(same.width_mm, abs=1e-6)
        assert slot.length_mm == pytest.approx(same.length_mm, abs=1e-6)


@pytest.mark.parametrize(
    ("name", "spacing_mm"), [("lever", 0.5), ("clip", 0.5), ("link", 0.35), ("plate", 0.25), ("bent strip", 0.8)]
)
def test_parts_without_a_slot_have_none(name, spacing_mm):
    features, _ = found(name, spacing_mm=spacing_mm)
    assert features.slots == ()
    assert len(features.bores) >= 1  # what could be taken for a slot's ends was found


def test_a_square_pocket_with_rounded_corners_is_no_slot():
    def distance(p):
        solid = sim.intersect(sim.box2(p, (0, 0), (50, 30)), sim.slab(p[:, 2], 0.0, 10.0))
        pocket = sim.box2(p, (0, 0), (16, 6)) - 2.0
        return sim.cut(solid, np.maximum(pocket, 4.0 - p[:, 2]))

    shape = sim.Shape("pocket", distance, (-26, -16, -1), (26, 16, 11))
    assert find_features(solid_of(sim.scan(shape, spacing_mm=0.6, seed=2, **NOISE_A))).slots == ()
