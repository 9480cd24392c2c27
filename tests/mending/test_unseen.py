"""Filled surface is told place by place, as large as it is, and from where it would be seen."""

import faults
import numpy as np
import pytest

from verifier.mending import mend
from verifier.mending.changes import size_changes
from verifier.mending.unseen import unseen_places
from verifier.mesh import Mesh


def test_a_hole_is_told_with_its_place_size_and_side():
    part = faults.latch_lever()
    at = np.array([15.5, 8.0, 5.0])
    holed = faults.with_hole(part.mesh, at, 7.0)
    solid = mend(faults.scan_of(faults.with_hole(holed, np.array([36.0, 13.0, 0.0]), 3.0)))
    large, small = unseen_places(solid)
    assert large.at_mm == pytest.approx(at, abs=faults.EDGE_MM)
    assert (large.length_mm, large.width_mm) == pytest.approx((7.0, 7.0), abs=2 * faults.EDGE_MM)  # a ragged rim
    assert large.area_mm2 == pytest.approx(np.pi * 3.5**2, rel=0.15)
    assert large.seen_from == pytest.approx((0, 0, 1), abs=0.05)
    assert small.seen_from == pytest.approx((0, 0, -1), abs=0.05)
    assert len(unseen_places(solid, 5.0)) == 1


def test_a_seam_around_the_part_is_as_wide_as_the_seam():
    solid = mend(faults.scan_of(faults.in_two_halves(faults.latch_lever().mesh, 27.0, 0.4)))
    assert max(place.width_mm for place in unseen_places(solid)) < 4 * faults.EDGE_MM


def test_a_hole_that_a_seam_runs_into_is_told_as_large_as_it_is():
    """The strip between two halves and the hole hang together: as a strip alone they are 2 mm wide."""
    halves = faults.in_two_halves(faults.latch_lever().mesh, 27.0, 0.4)
    solid = mend(faults.scan_of(faults.with_hole(halves, np.array([27.2, 8.5, 5.0]), 7.0)))
    widest = unseen_places(solid)[0]
    assert widest.width_mm == pytest.approx(7.0, abs=2 * faults.EDGE_MM)
    assert widest.at_mm == pytest.approx((27.2, 8.5, 5.0), abs=2 * faults.EDGE_MM)


def test_a_size_that_mending_changed_has_its_reason(part):
    low, high = part.mesh.vertices_mm.min(axis=0), part.mesh.vertices_mm.max(axis=0)
    assert size_changes(part.mesh, mend(faults.scan_of(part.mesh))) == ()
    on_table = faults.on_a_table(part.mesh, 5.0)
    told = size_changes(on_table, mend(faults.scan_of(on_table)))
    assert len(told) >= 2
    assert f"{high[0] - low[0] + 10:.2f} mm long and the part is {high[0] - low[0]:.2f} mm" in told[0]
    assert all("Removed support surface" in sentence for sentence in told[:2])


def test_specks_beyond_the_part_account_for_its_shrinking(part):
    specked = faults.with_specks(part.mesh, np.random.default_rng(1), 5)
    (told,) = size_changes(specked, mend(faults.scan_of(specked)))
    assert told.startswith("Along z")
    assert told.endswith("Removed debris.")


def test_every_thrown_away_piece_has_its_size_and_place(part):
    far = Mesh(part.mesh.vertices_mm * 0.08 + np.array([0.0, 0.0, 40.0]), part.mesh.faces)
    both = Mesh(
        np.concatenate([part.mesh.vertices_mm, far.vertices_mm]),
        np.concatenate([part.mesh.faces, len(part.mesh.vertices_mm) + far.faces]),
    )
    (step,) = mend(faults.scan_of(both)).steps
    assert (step.what, step.count) == ("Removed debris", 1)
    assert step.sizes_mm == (pytest.approx(0.08 * np.linalg.norm(np.ptp(part.mesh.vertices_mm, axis=0))),)
    assert step.places_mm[0][2] == pytest.approx(40.0, abs=1.0)
