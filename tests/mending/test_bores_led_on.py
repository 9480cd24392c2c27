"""A bore whose wall is partly left runs on into the hole that took the rest; what cannot be known is told."""

import faults
import igl
import numpy as np
import pytest
from test_mend import euler, steps

from verifier.judging.places import what_was_not_seen
from verifier.mending import mend
from verifier.mending.bores import carry_bores_on
from verifier.mending.crossings import crossing_pairs
from verifier.mending.draft import Draft
from verifier.mending.fans import split_bow_ties
from verifier.mending.solid import Origin
from verifier.mesh import Mesh
from verifier.rulebook.rules import Decision

# Any share may be filled, so that the widths alone decide.
LIMITS = Decision(
    source="made up", coverage_factor=2, max_filled_share=1.0, min_arc_deg=90, min_seen_share=0.1, family_error=0.05
)


@pytest.mark.parametrize("turn", [None, 3])
def test_a_bore_that_runs_into_a_hole_is_carried_on_and_stays_open(turn):
    """The upper half of a 4 mm bore and the flat around its mouth are gone."""
    part = faults.latch_lever()
    holed = faults.with_hole(part.mesh, np.array([32.0, 8.0, 5.0]), 7.0)
    solid = mend(faults.scan_of(holed if turn is None else faults.turned(holed, np.random.default_rng(turn))))
    assert steps(solid) == {"Carried bores on to holes": 1}
    assert euler(solid) == part.euler
    assert len(crossing_pairs(solid.mesh)) == 0
    # A wall 3 mm long that ends in ragged faces of half a millimetre, 0.02 mm off its circle, and the roughness.
    assert solid.volume_mm3 == pytest.approx(part.volume_mm3, rel=1e-3)
    if turn is None:
        inside = igl.fast_winding_number(solid.mesh.vertices_mm, solid.mesh.faces, np.array(part.in_bores_mm))
        assert (inside < 0.5).all()


def test_a_gap_through_the_wall_of_a_bore_is_never_passed():
    """Each of its two ends is filled 4 mm wide, less than a hole on a flat may have; no one saw the wall between."""
    part = faults.pump_rocker()
    solid = mend(faults.scan_of(faults.with_hole(part.mesh, np.array([20.0, 4.0, 2.0]), 6.5)))
    told = what_was_not_seen(solid, LIMITS)
    assert told is not None
    assert "over an edge" in told[0]
    assert "Scan again here" in told[1]


def test_a_hole_of_as_much_on_a_flat_may_pass():
    part = faults.latch_lever()
    solid = mend(faults.scan_of(faults.with_hole(part.mesh, np.array([15.0, 9.0, 5.0]), 4.0)))
    assert what_was_not_seen(solid, LIMITS) is None


def test_a_bore_is_not_led_on_through_something_that_stands_in_its_way():
    part = faults.latch_lever()
    holed = mend_ready(faults.with_hole(part.mesh, np.array([32.0, 8.0, 5.0]), 7.0))
    led = carry_bores_on(holed)
    assert [step.what for step in led.steps] == ["Carried bores on to holes"]
    new_mm = led.mesh.corners_mm[len(holed.mesh.faces) :]
    in_it = new_mm[np.ptp(new_mm, axis=1).max(axis=1).argmax()].mean(axis=0)
    wedge = in_it + 0.3 * np.array([(1.0, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1)])
    faces = np.array([(0, 1, 2), (0, 3, 1), (0, 2, 3), (1, 3, 2)])
    count = len(holed.mesh.vertices_mm)
    both = Mesh(np.vstack([holed.mesh.vertices_mm, wedge]), np.vstack([holed.mesh.faces, count + faces]))
    in_the_way = Draft(both, np.full(len(both.faces), Origin.MEASURED, dtype=np.uint8))
    assert carry_bores_on(in_the_way) is in_the_way


def mend_ready(mesh: Mesh) -> Draft:
    """The surface as it is when bores are carried on."""
    return split_bow_ties(Draft(mesh, np.full(len(mesh.faces), Origin.MEASURED, dtype=np.uint8)))
