"""A bore too long to be looked through stays open: its two ends, ragged and slanting, are lined with a round wall."""

from functools import lru_cache

import faults
import igl
import numpy as np
import pytest
from test_mend import euler, steps

from verifier.judging.places import what_was_not_seen
from verifier.mending import mend
from verifier.mending.crossings import crossing_pairs
from verifier.mending.unseen import unseen_places
from verifier.mesh import Mesh
from verifier.rulebook.rules import Decision

LENGTH_MM, RADIUS_MM, DEPTH_MM = 24.0, 2.0, 5.0
LIMITS = Decision(
    source="made up", coverage_factor=2, max_filled_share=0.05, min_arc_deg=90, min_seen_share=0.1, family_error=0.05
)


@lru_cache
def hinge_barrel() -> Mesh:
    """A block with a bore from end to end, six diameters long."""

    def inside(x, y, z):
        p = (x, y, z)
        return -max(faults.box(p, (-4, -4, 0), (4, 4, LENGTH_MM)), faults.bore(p, 0.0, 0.0, RADIUS_MM))

    return faults._part(inside, (-5, -5, -1, 5, 5, LENGTH_MM + 1))


def seen_from_its_ends(slant: float, seed: int) -> Mesh:
    """The block with its bore's wall seen to a depth that slants and scatters by 0.4 mm."""
    mesh, rng = hinge_barrel(), np.random.default_rng(seed)
    x, y, z = faults.middles(mesh).T
    depth_mm = DEPTH_MM + rng.normal(0.0, 0.4, len(x))
    on_wall = np.hypot(x, y) < RADIUS_MM + 0.3
    seen = (z < depth_mm + slant * x) | (z > LENGTH_MM - depth_mm - slant * y)
    kept = mesh.faces[~on_wall | seen]
    return Mesh(mesh.vertices_mm, kept)


@pytest.mark.parametrize(("slant", "turn"), [(0.0, None), (0.9, 1), (-0.7, 2)])
def test_a_long_bore_seen_at_its_ends_alone_is_lined_and_stays_open(slant, turn):
    seen = seen_from_its_ends(slant, 5)
    rng = np.random.default_rng(turn)
    solid = mend(faults.scan_of(seen if turn is None else faults.turned(seen, rng)))
    assert steps(solid)["Joined bore mouths whose wall was not seen"] == 1
    assert euler(solid) == 0
    assert len(crossing_pairs(solid.mesh)) == 0
    # The block's own faces are of half a millimetre and rough by 0.01 mm; a chord over a sixteenth of the turn lies
    # 0.04 mm within the round.
    assert solid.volume_mm3 == pytest.approx(8 * 8 * LENGTH_MM - np.pi * RADIUS_MM**2 * LENGTH_MM, rel=0.01)
    if turn is None:
        axis = np.column_stack([np.zeros((9, 2)), np.linspace(1.0, LENGTH_MM - 1.0, 9)])
        assert (igl.fast_winding_number(solid.mesh.vertices_mm, solid.mesh.faces, axis) < 0.5).all()
        new_mm = solid.mesh.vertices_mm[len(np.unique(seen.faces)) :]
        assert np.abs(np.hypot(new_mm[:, 0], new_mm[:, 1]) - RADIUS_MM).max() < 0.1


def test_a_belt_that_slants_past_itself_is_joined_along_the_wall():
    """A scanner that looked in from one side at each end leaves rims that no ring across the axis lies between."""
    mesh = hinge_barrel()
    x, y, z = faults.middles(mesh).T
    belt = (np.hypot(x, y) < RADIUS_MM + 0.3) & (np.abs(z - 12.0 - 1.5 * x) < 1.5)
    seen = Mesh(mesh.vertices_mm, mesh.faces[~belt])
    solid = mend(faults.scan_of(seen))
    assert steps(solid)["Joined bore mouths whose wall was not seen"] == 1
    assert euler(solid) == 0
    new_mm = solid.mesh.vertices_mm[len(np.unique(seen.faces)) :]
    assert np.abs(np.hypot(new_mm[:, 0], new_mm[:, 1]) - RADIUS_MM).max() < 0.1  # a fifth of a face


def test_a_lining_is_told_as_the_inside_of_a_bore_and_hides_none():
    solid = mend(faults.scan_of(seen_from_its_ends(0.5, 6)))
    widest = unseen_places(solid)[0]
    assert widest.inside_a_bore
    # From the deepest corner at one end to that at the other, or a slant and the scatter further.
    assert LENGTH_MM - 2 * DEPTH_MM - 2.0 < widest.length_mm < LENGTH_MM - 2 * DEPTH_MM + 5.0
    assert widest.width_mm == pytest.approx(2 * RADIUS_MM, abs=0.2)
    assert abs(widest.seen_from[2]) == pytest.approx(1.0, abs=0.02)
    assert solid.filled_share > LIMITS.max_filled_share
    assert what_was_not_seen(solid, LIMITS) is None
    narrow = LIMITS.model_copy(update={"max_filled_width_mm": 2 * RADIUS_MM - 0.5})
    why, _ = what_was_not_seen(solid, narrow) or ("", "")
    assert "A bore 4 mm across was lined over" in why


def test_two_blind_bores_of_two_diameters_on_one_axis_are_each_closed_where_they_were_seen_to():
    """Neither floor was seen: the rims face each other as those of one bore do, but are of 2.0 and 1.2 mm radius."""

    def inside(x, y, z):
        p = (x, y, z)
        low, high = faults.bore(p, 0.0, 0.0, RADIUS_MM), faults.bore(p, 0.0, 0.0, 1.2)
        return -max(faults.box(p, (-4, -4, 0), (4, 4, LENGTH_MM)), min(low, 9.0 - z), min(high, z - 15.0))

    mesh = faults._part(inside, (-5, -5, -1, 5, 5, LENGTH_MM + 1))
    x, y, z = faults.middles(mesh).T
    deep = (np.hypot(x, y) < RADIUS_MM + 0.3) & (z > DEPTH_MM) & (z < LENGTH_MM - DEPTH_MM)
    solid = mend(faults.scan_of(Mesh(mesh.vertices_mm, mesh.faces[~deep])))
    assert steps(solid) == {"Filled holes": 2}
    assert euler(solid) == 2


@lru_cache
def crossing_bores(radius_mm: float) -> Mesh:
    """A block with a bore of 6 mm from front to back, and a narrower one through it from above."""

    def inside(x, y, z):
        wide, narrow = 3.0 - np.hypot(x, z), faults.bore((x, y, z), 0.0, 0.0, radius_mm)
        return -max(faults.box((x, y, z), (-6, -8, -7), (6, 8, 7)), wide, narrow)

    return faults._part(inside, (-7, -9, -8, 7, 9, 8))


@pytest.mark.parametrize("radius_mm", [1.5, 2.0])
def test_a_bore_across_another_whose_wall_was_not_seen_ends_in_that(radius_mm):
    """Straight from one mouth to the other, through the air of the wide bore, is farther than from either to it."""
    mesh, rng = crossing_bores(radius_mm), np.random.default_rng(8)
    x, y, z = faults.middles(mesh).T
    wall = (
        (np.hypot(x, y) < radius_mm + 0.3) & (np.hypot(x, z) > 2.9) & (np.abs(z) < 6.6 - rng.uniform(0.0, 0.4, len(x)))
    )
    solid = mend(faults.scan_of(Mesh(mesh.vertices_mm, mesh.faces[~wall])))
    assert euler(solid) == euler_of(mesh)
    axes = np.concatenate([np.linspace([0, 0, -6.8], [0, 0, 6.8], 15), np.linspace([0, -7.8, 0], [0, 7.8, 0], 15)])
    assert (igl.fast_winding_number(solid.mesh.vertices_mm, solid.mesh.faces, axes) < 0.5).all()


def euler_of(mesh: Mesh) -> int:
    return len(mesh.vertices_mm) - len(mesh.faces) // 2


@pytest.mark.parametrize("seed", [2])
def test_a_long_bore_with_a_wall_at_one_of_its_ends_alone_is_lined(seed):
    """At the other end a ragged row of faces is left, too little to tell a wall by."""
    mesh, rng = hinge_barrel(), np.random.default_rng(seed)
    x, y, z = faults.middles(mesh).T
    turn, at = np.arctan2(y, x), np.linspace(-np.pi, np.pi, 13)
    near, far = (np.interp(turn, at, rng.uniform(0.0, most, 13), period=2 * np.pi) for most in (0.9, 3.0))
    belt = (np.hypot(x, y) < RADIUS_MM + 0.3) & (z > near) & (z < LENGTH_MM - far)
    solid = mend(faults.scan_of(Mesh(mesh.vertices_mm, mesh.faces[~belt])))
    assert steps(solid)["Joined bore mouths whose wall was not seen"] == 1
    assert euler(solid) == 0
