"""Two passes of one scan that do not quite coincide become one surface, and most of it is the first pass to the bit."""

import faults
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis.strategies import integers, sampled_from
from test_mend import euler, rows, steps

from verifier.mending import Solid, mend
from verifier.mending.crossings import crossing_pairs
from verifier.mesh import Mesh

few = settings(max_examples=3, deadline=None, suppress_health_check=list(HealthCheck))


def test_a_doubled_pass_leaves_the_first_one_to_the_bit(part):
    """The second pass is larger by a thousandth, as its scatter makes it."""
    passes = faults.in_two_passes(part.mesh, 0.1)
    second = np.arange(len(passes.vertices_mm)) >= len(part.mesh.vertices_mm)
    vertices = np.where(second[:, None], 1.0005 * passes.vertices_mm, passes.vertices_mm)
    solid = mend(faults.scan_of(Mesh(vertices, passes.faces)))
    assert np.array_equal(solid.mesh.vertices_mm, part.mesh.vertices_mm)
    assert np.array_equal(solid.mesh.faces, part.mesh.faces)
    assert steps(solid) == {"Dropped a second layer": 1}


def assert_volume_of_one_of_them(solid: Solid, passes: faults.Passes, part: faults.Part, share: float) -> None:
    """The overlap is kept of the larger pass, whichever that is."""
    assert any(solid.volume_mm3 == pytest.approx(volume, rel=share) for volume in passes.volumes_mm3(part.mesh))


@few
@given(sampled_from(faults.PARTS), integers(0, 2**32 - 1))
def test_two_partial_passes_become_one_part(make, seed):
    part = make()
    rng = np.random.default_rng(seed)
    passes = faults.in_two_partial_passes(part.mesh, rng, 0.1, 6.0)
    solid = mend(faults.scan_of(faults.unwelded(passes.mesh)))
    assert "Dropped a second layer" in steps(solid)
    assert solid.bodies == 1
    assert euler(solid) == part.euler
    assert len(crossing_pairs(solid.mesh)) == 0
    # A step of 0.1 mm along the seam, half a millimetre wide: under two thousandths of these parts.
    assert_volume_of_one_of_them(solid, passes, part, 2e-3)
    # The smaller one ends a spacing beside the other's border, and the border is ragged by as much.
    beyond = passes.overlap_mm / 2 + 3 * faults.EDGE_MM
    first_alone = part.mesh.vertices_mm[passes.height_mm < -beyond]
    second_alone = passes.mesh.vertices_mm[len(part.mesh.vertices_mm) :][passes.height_mm > beyond]
    alone = rows(first_alone) | rows(second_alone)
    assert alone <= rows(solid.mesh.vertices_mm)


@pytest.mark.parametrize("seed", [1, *(pytest.param(seed, marks=pytest.mark.long) for seed in (2, 3))])
def test_two_partial_passes_with_holes_specks_and_flipped_faces_become_one_part(part, seed):
    rng = np.random.default_rng(seed)
    passes = faults.in_two_partial_passes(part.mesh, rng, 0.1, 6.0)
    mesh = passes.mesh
    for _ in range(10):
        mesh = faults.with_hole(mesh, faults.some_place(mesh, rng), rng.uniform(0.6, 1.5))
    mesh = faults.with_specks(faults.with_flipped(mesh, rng.random(len(mesh.faces)) < 0.005), rng, 8)
    solid = mend(faults.scan_of(faults.unwelded(mesh)))
    assert solid.bodies == 1
    assert euler(solid) == part.euler
    assert_volume_of_one_of_them(solid, passes, part, 3e-3)


def test_a_large_hole_in_the_first_pass_is_filled_from_the_second():
    part = faults.latch_lever()
    holed = faults.with_hole(part.mesh, np.array([15.5, 8.0, 5.0]), 8.0)
    second = part.mesh.vertices_mm + np.array([0.02, 0.03, 0.1])
    kept = faults.middles(part.mesh)[:, 0] < 30.0
    both = Mesh(
        np.concatenate([holed.vertices_mm, second]),
        np.concatenate([holed.faces, len(second) + part.mesh.faces[kept]]),
    )
    solid = mend(faults.scan_of(both))
    assert euler(solid) == part.euler
    # The patch of 8 mm, less a spacing all around, stands 0.1 mm higher and slopes down beyond that.
    assert solid.volume_mm3 - part.volume_mm3 == pytest.approx(0.1 * np.pi * 3.7**2, abs=0.8)
    in_hole = np.linalg.norm(second - [15.5, 8.0, 5.1], axis=1) < 2.0
    assert rows(second[in_hole]) <= rows(solid.mesh.vertices_mm)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("at_mm", [(15.5, 8.0, 5.0), (11.0, 8.0, 2.5), (20.0, 0.0, 4.8)], ids=["flat", "bore", "edge"])
def test_a_small_patch_of_another_pass_fills_the_hole_it_covers(at_mm, side):
    """15 mm2 of 1700, whichever way its faces run: under the share of debris, and yet what was seen."""
    part, at = faults.latch_lever(), np.array(at_mm)
    holed = faults.with_hole(part.mesh, at, 3.0)
    second = part.mesh.vertices_mm + np.array([0.05, 0.03, 0.08])
    patch = part.mesh.faces[np.linalg.norm(faults.middles(part.mesh) - at, axis=1) < 2.3][:, ::side]
    both = Mesh(np.concatenate([holed.vertices_mm, second]), np.concatenate([holed.faces, len(second) + patch]))
    solid = mend(faults.scan_of(faults.unwelded(both)))
    in_hole = np.linalg.norm(part.mesh.vertices_mm - at, axis=1) < 0.9  # the hole's radius less one ragged spacing
    assert rows(second[in_hole]) | rows(holed.vertices_mm[np.unique(holed.faces)]) <= rows(solid.mesh.vertices_mm)
    assert euler(solid) == part.euler
    assert solid.volume_mm3 == pytest.approx(part.volume_mm3, rel=1e-3)


@pytest.mark.parametrize(("across_mm", "side"), [(3.0, 1), (1.6, -1)])
def test_a_small_patch_in_the_middle_of_a_hole_is_bridged_to_its_rim_and_kept_to_the_bit(across_mm, side):
    """The hole is 8 mm wide: 2.5 to 3.2 mm of it lie between the patch and the rim."""
    part, at = faults.latch_lever(), np.array([15.5, 8.0, 5.0])
    holed = faults.with_hole(part.mesh, at, 8.0)
    second = part.mesh.vertices_mm + np.array([0.05, 0.03, 0.08])
    patch = part.mesh.faces[np.linalg.norm(faults.middles(part.mesh) - at, axis=1) < across_mm / 2][:, ::side]
    both = Mesh(np.concatenate([holed.vertices_mm, second]), np.concatenate([holed.faces, len(second) + patch]))
    solid = mend(faults.scan_of(faults.unwelded(both)))
    assert steps(solid)["Bridged to patches inside holes"] == 2
    assert rows(second[patch.ravel()]) <= rows(solid.mesh.vertices_mm)
    assert euler(solid) == part.euler
    assert len(crossing_pairs(solid.mesh)) == 0
    # All of the hole lies up to the patch's 0.08 mm too high.
    assert solid.volume_mm3 == pytest.approx(part.volume_mm3 + 0.04 * np.pi * 4.0**2, abs=0.04 * np.pi * 4.0**2)


def test_a_wall_and_its_back_are_not_two_passes():
    """The rib is 1 mm thick: thinner walls than that are within reach of each other, and look opposite ways."""
    part = faults.latch_lever()
    thin = part.mesh.vertices_mm * np.array([1.0, 0.25, 1.0])
    squeezed = Mesh(thin, part.mesh.faces)
    solid = mend(faults.scan_of(squeezed))
    assert np.array_equal(solid.mesh.faces, part.mesh.faces)


def test_two_parts_that_nearly_touch_stay_two(part):
    """One stands on the other, 0.2 mm apart: their faces look at each other and not the same way."""
    above = part.mesh.vertices_mm + np.array([0.0, 0.0, np.ptp(part.mesh.vertices_mm[:, 2]) + 0.2])
    both = Mesh(
        np.concatenate([part.mesh.vertices_mm, above]), np.concatenate([part.mesh.faces, len(above) + part.mesh.faces])
    )
    solid = mend(faults.scan_of(both))
    assert steps(solid) == {"Kept 2 separate bodies": 2}
