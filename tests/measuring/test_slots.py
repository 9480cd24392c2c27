"""Rows of slots: width and length, and the room between the arms of a fork."""

from dataclasses import replace

import numpy as np
import pytest

from verifier.finding.feature import Slot
from verifier.measuring import measure

from .parts import NO_FACES, NOISE, RULES, Face, Features, PartPlan, row, scan, sheet

FORK = tuple(
    Face(name, (x, 0.0, 0.0), (s, 0.0, 0.0), (20.0, 15.0))
    for name, x, s in (("left out", -12, -1), ("left in", -5, 1), ("right in", 5, -1), ("right out", 12, 1))
)


def slot(name, width_mm, length_mm):
    x, z = np.eye(3)[[0, 2]]
    return Slot(name, np.zeros(3), z, x, width_mm, length_mm, 0.01, 0.015, 0.01, 0.02, 1.0, 6.0, 0.02, NO_FACES)


def sizes(features, *rows):
    return {size.name: size for size in measure(features, sheet(*rows), RULES)}


def test_width_and_length_of_two_slots_are_told_apart_by_their_readings():
    features = Features((), (), (), NOISE, slots=(slot("slot 1", 6.0, 22.0), slot("slot 2", 5.0, 7.5)))
    rows = [row("long", "slot length", 22.05), row("short", "slot length", 7.5), row("narrow", "slot width", 5.0)]
    found = sizes(features, *rows)
    assert [found[name].measured_mm for name in ("long", "short", "narrow")] == [22.0, 7.5, 5.0]
    assert all(size.walls == -2 for size in found.values())
    assert np.ptp(found["long"].points_mm[:, 0]) == 22.0
    assert np.ptp(found["narrow"].points_mm[:, 1]) == 5.0


def test_the_room_between_the_arms_of_a_fork_is_a_slot_width_and_its_arms_are_none():
    fork = scan(PartPlan((), FORK), np.random.default_rng(1), noisy=False, coat=0.05).features
    found = sizes(fork, row("fork", "slot width", 10.0), row("over all", "slot width", 24.0))
    assert (found["fork"].measured_mm, found["fork"].walls) == (pytest.approx(9.9, abs=1e-9), -2)
    assert found["over all"].measured_mm is None


def test_two_equal_slots_are_judged_by_the_worse():
    features = Features((), (), (), NOISE, slots=(slot("slot 1", 6.01, 22.0), slot("slot 2", 5.98, 22.0)))
    found = sizes(features, row("one", "slot width", 6.0), row("other", "slot width", 6.0))
    # The shop expects 0.03 mm of powder, so the slot should scan at 5.94: 6.01 is the worse.
    assert {(size.measured_mm, size.set_size) for size in found.values()} == {(6.01, 2)}


def test_a_row_not_read_yet_has_the_one_place_there_is_and_of_several_asks_for_its_reading():
    one = Features((), (), (), NOISE, slots=(slot("slot 1", 6.0, 22.0),))
    assert sizes(one, row("long", "slot length"))["long"].measured_mm == 22.0
    two = replace(one, slots=(*one.slots, slot("slot 2", 5.0, 7.5)))
    found = sizes(two, row("long", "slot length"))["long"]
    assert found.measured_mm is None
    assert "fill in its reading" in found.do
