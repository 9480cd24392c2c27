"""Every fault alone: the part comes out closed, no bore shut, nothing moved that was sound."""

import importlib

import faults
import numpy as np
import pytest
import trimesh

from verifier.errors import CannotMend, NoTriangles
from verifier.mending import Origin, Solid, mend
from verifier.mending.check import NOT_ASKED, Judgement, judge_as_written
from verifier.mending.crossings import crossing_pairs
from verifier.mesh import Mesh

# Holes of a few millimetres in 1 mm of rounding and roughness: what the fill cannot know is under a thousandth.
VOLUME_SHARE = 1e-3


def euler(solid: Solid) -> int:
    used = len(np.unique(solid.mesh.faces))
    ends = np.sort(solid.mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    edges = len(np.unique(ends[:, 0] * len(solid.mesh.vertices_mm) + ends[:, 1]))  # one number for each pair
    return used - edges + len(solid.mesh.faces)


def steps(solid: Solid) -> dict[str, int]:
    return {step.what: step.count for step in solid.steps}


def rows(points: np.ndarray) -> set[bytes]:
    return {point.tobytes() for point in np.ascontiguousarray(points)}


def assert_closed_and_true(solid: Solid, part: faults.Part) -> None:
    """By a second library, as a reader sees the written file."""
    written = trimesh.Trimesh(
        solid.mesh.vertices_mm.astype(np.float32)[solid.mesh.faces].reshape(-1, 3),
        np.arange(3 * len(solid.mesh.faces)).reshape(-1, 3),
        process=False,
    )
    written.merge_vertices(digits_vertex=9)
    assert written.is_watertight
    assert written.is_winding_consistent
    assert written.volume == pytest.approx(part.volume_mm3, rel=VOLUME_SHARE)
    assert euler(solid) == part.euler
    assert len(solid.origin) == len(solid.mesh.faces)


def assert_kept_in_order(solid: Solid, part: faults.Part) -> None:
    """Corners that came out are the part's own, bit for bit and in their order, and new ones come after them."""
    place = {point.tobytes(): k for k, point in enumerate(part.mesh.vertices_mm)}
    known = [place.get(point.tobytes(), -1) for point in solid.mesh.vertices_mm]
    own = [k for k in known if k >= 0]
    assert known[: len(own)] == own == sorted(own)


def test_a_clean_part_comes_back_as_it_was(part):
    solid = mend(faults.scan_of(part.mesh))
    assert np.array_equal(solid.mesh.vertices_mm, part.mesh.vertices_mm)
    assert np.array_equal(solid.mesh.faces, part.mesh.faces)
    assert solid.steps == ()
    assert (solid.origin == Origin.MEASURED).all()


def test_an_unwelded_part_is_welded_whole(part):
    solid = mend(faults.scan_of(faults.unwelded(part.mesh)))
    assert len(solid.mesh.faces) == len(part.mesh.faces)
    assert rows(solid.mesh.vertices_mm) == rows(part.mesh.vertices_mm)
    assert steps(solid) == {"Welded corners": 3 * len(part.mesh.faces) - len(part.mesh.vertices_mm)}
    assert_closed_and_true(solid, part)


def test_a_seam_that_rounding_left_open_is_closed(part):
    """Two exports of one edge that differ in the last digit: 1e-5 mm, a millionth of a 10 mm part."""
    soup = faults.unwelded(part.mesh)
    shaken = soup.vertices_mm + np.random.default_rng(3).uniform(-4e-6, 4e-6, soup.vertices_mm.shape)
    solid = mend(faults.scan_of(Mesh(shaken, soup.faces)))
    assert len(solid.mesh.faces) == len(part.mesh.faces)
    assert_closed_and_true(solid, part)


@pytest.mark.parametrize("across_mm", [0.8, 2.0, 4.0])
def test_a_hole_is_filled_and_only_its_faces_are_new(part, across_mm):
    at = faults.some_place(part.mesh, np.random.default_rng(int(10 * across_mm)))
    holed = faults.with_hole(part.mesh, at, across_mm)
    solid = mend(faults.scan_of(holed))
    assert_closed_and_true(solid, part)
    assert_kept_in_order(solid, part)
    new = solid.origin == Origin.FILLED
    assert (~new).sum() == len(holed.faces)
    assert new.sum() > 0
    far = np.linalg.norm(faults.middles(solid.mesh)[new] - at, axis=1)
    assert far.max() < across_mm  # the hole's own radius and half as much for the ragged rim


def test_a_hole_in_a_flat_face_is_filled_flat():
    part = faults.latch_lever()
    flat = part.mesh.vertices_mm.copy()
    top = (flat[:, 2] > 4.8) & (flat[:, 2] < 5.2) & (np.abs(flat[:, 1] - 8) < 5)
    flat[top, 2] = 5.0
    holed = faults.with_hole(Mesh(flat, part.mesh.faces), np.array([15.0, 8.0, 5.0]), 4.0)
    solid = mend(faults.scan_of(holed))
    new = np.unique(solid.mesh.faces[solid.origin == Origin.FILLED])
    # The sparse solve rounds; a nanometre is a thousandth of what the file's 32-bit floats hold.
    assert np.abs(solid.mesh.vertices_mm[new, 2] - 5.0).max() < 1e-6


def test_a_hole_in_a_round_wall_is_filled_round():
    """A thin plate over a 4 mm hole in an 8 mm radius; a flat one would be 0.25 mm too deep."""
    part = faults.pump_rocker()
    at = np.array([-8.0, 0.0, 5.0])
    solid = mend(faults.scan_of(faults.with_hole(part.mesh, at, 4.0)))
    new = np.unique(solid.mesh.faces[solid.origin == Origin.FILLED])
    radius = np.hypot(*solid.mesh.vertices_mm[new, :2].T)
    assert np.abs(radius - 8.0).max() < 0.06  # roughness of 0.01 mm at the rim, led on over 2 mm


def test_specks_are_removed_and_listed(part):
    specked = faults.with_specks(part.mesh, np.random.default_rng(1), 23)
    solid = mend(faults.scan_of(specked))
    assert np.array_equal(solid.mesh.faces, part.mesh.faces)
    (step,) = solid.steps
    assert (step.what, step.count, len(step.places_mm)) == ("Removed debris", 23, 20)
    assert step.largest_mm == pytest.approx(0.3 * np.sqrt(3.0), abs=1e-9)  # the box around a corner of a 0.3 mm cube


def test_flipped_faces_and_patches_are_turned_back(part):
    rng = np.random.default_rng(4)
    flipped = rng.random(len(part.mesh.faces)) < 0.02
    flipped |= np.linalg.norm(faults.middles(part.mesh) - faults.some_place(part.mesh, rng), axis=1) < 3
    solid = mend(faults.scan_of(faults.with_flipped(part.mesh, flipped)))
    assert_closed_and_true(solid, part)
    assert set(steps(solid)) == {"Turned flipped faces"}


def test_an_inside_out_part_is_turned_outward(part):
    solid = mend(faults.scan_of(faults.inside_out(part.mesh)))
    assert steps(solid) == {"Turned inside-out parts outward": 1}
    assert_closed_and_true(solid, part)


def test_doubled_faces_are_dropped(part):
    solid = mend(faults.scan_of(faults.with_duplicates(part.mesh, np.random.default_rng(5), 40)))
    assert steps(solid) == {"Dropped doubled faces": 40}
    assert_closed_and_true(solid, part)


def test_fins_are_cut_off(part):
    finned = part.mesh
    for face in np.random.default_rng(6).choice(len(part.mesh.faces), 12, replace=False):
        finned = faults.with_fin(finned, int(face))
    solid = mend(faults.scan_of(finned))
    assert steps(solid) == {"Cut off fins": 12}
    assert np.array_equal(solid.mesh.faces, part.mesh.faces)


def test_a_pinch_through_a_thin_wall_is_split_and_stays_split_in_the_file():
    part = faults.latch_lever()
    solid = mend(faults.scan_of(faults.with_bowtie(part.mesh)))
    assert steps(solid) == {"Split corners where surfaces touch": 1}
    assert_closed_and_true(solid, part)


def test_a_shell_inside_the_part_is_dropped(part):
    at = np.array([15.0, 8.0, 2.5]) if part.bores == 3 else np.array([6.0, 0.0, 4.0])
    solid = mend(faults.scan_of(faults.with_inner_shell(part.mesh, at, 1.6)))
    assert steps(solid) == {"Dropped inner shells": 1}
    assert np.array_equal(solid.mesh.faces, part.mesh.faces)


def test_corners_that_are_no_place_cost_only_their_faces(part):
    solid = mend(faults.scan_of(faults.with_stray_corners(part.mesh, np.random.default_rng(8), 24)))
    assert steps(solid)["Dropped faces without a place"] == 24
    assert_closed_and_true(solid, part)


def test_a_bore_whose_wall_was_not_seen_stays_open(part):
    solid = mend(faults.scan_of(faults.without_bore_wall(part)))
    assert steps(solid) == {"Joined bore mouths whose wall was not seen": 1}
    assert_closed_and_true(solid, part)
    assert solid.filled_share > 0.02


def test_a_blind_hole_in_one_face_is_filled_and_not_joined(part):
    """Only one rim: there is nothing that faces it."""
    unseen = faults.without_bore_wall(part)
    x, y = part.bore_mm
    depth = part.thickness_mm / 2
    whole = mend(faults.scan_of(faults.with_hole(part.mesh, np.array([x + part.bore_radius_mm, y, depth]), 1.5)))
    assert "Filled holes" in steps(whole)
    assert euler(whole) == part.euler
    assert len(unseen.faces) < len(part.mesh.faces)


def test_two_parts_on_one_table_are_both_kept(part):
    beside = Mesh(part.mesh.vertices_mm + np.array([60.0, 0.0, 0.0]), part.mesh.faces)
    both = Mesh(
        np.concatenate([part.mesh.vertices_mm, beside.vertices_mm]),
        np.concatenate([part.mesh.faces, len(part.mesh.vertices_mm) + beside.faces]),
    )
    solid = mend(faults.scan_of(both))
    assert steps(solid) == {"Kept 2 separate bodies": 2}
    assert solid.volume_mm3 == pytest.approx(2 * part.volume_mm3, rel=1e-12)


def test_two_halves_with_an_open_seam_become_one_part():
    part = faults.latch_lever()
    solid = mend(faults.scan_of(faults.in_two_halves(part.mesh, 27.0, 0.4)))
    assert steps(solid) == {"Joined halves along open seams": 1}
    assert euler(solid) == part.euler
    section_mm2 = 16 * 5 + 4 * 1  # plate and rib where it was cut
    assert solid.volume_mm3 == pytest.approx(part.volume_mm3 + 0.4 * section_mm2, rel=VOLUME_SHARE)


def test_a_fold_is_cut_out_and_filled(part):
    at = np.array([14.0, 8.0, 5.0]) if part.bores == 3 else np.array([12.0, 0.0, 4.0])
    folded = faults.with_fold(part.mesh, at, 2.0)
    assert len(crossing_pairs(folded)) > 0
    solid = mend(faults.scan_of(folded))
    assert_closed_and_true(solid, part)
    assert len(crossing_pairs(solid.mesh)) == 0


def test_corners_joined_to_the_wrong_place_are_undone(part):
    solid = mend(faults.scan_of(faults.with_wrong_welds(part.mesh, np.random.default_rng(9), 8)))
    assert_closed_and_true(solid, part)
    assert len(crossing_pairs(solid.mesh)) == 0


@pytest.mark.parametrize(
    "part", [pytest.param(faults.latch_lever, marks=pytest.mark.long), faults.pump_rocker], indirect=True
)
def test_two_passes_a_millimetre_apart_are_never_passed_on(part):
    with pytest.raises(CannotMend) as refused:
        mend(faults.scan_of(faults.in_two_passes(part.mesh, 1.0)))
    assert "Align" in refused.value.do


def test_what_cannot_be_closed_is_refused_with_what_keeps_it_open(part, monkeypatch):
    open_edges = Judgement(4, 0, 0, 1.0, NOT_ASKED)
    monkeypatch.setattr(importlib.import_module("verifier.mending.mend"), "judge_as_written", lambda mesh: open_edges)
    with pytest.raises(CannotMend) as refused:
        mend(faults.scan_of(part.mesh))
    assert "4 edges" in refused.value.what


def test_a_cloud_of_loose_faces_is_refused():
    rng = np.random.default_rng(11)
    cloud = Mesh(rng.normal(0.0, 20.0, (900, 3)), np.arange(900).reshape(-1, 3))
    with pytest.raises(CannotMend) as refused:
        mend(faults.scan_of(cloud))
    assert "pieces" in refused.value.what


def test_a_flat_face_is_turned_without_opening_the_surface():
    """A corner in the middle of an edge of the face beside it, as CAD exports have: a face of no area between."""
    points = np.array([[0, 0, 0], [4, 0, 0], [2, 0, 0], [0, 4, 0], [1, 1, 5.0]])
    faces = np.array([[0, 1, 2], [0, 3, 1], [0, 4, 3], [3, 4, 1], [0, 2, 4], [2, 1, 4]])
    solid = mend(faults.scan_of(Mesh(points, faces)))
    assert steps(solid) == {"Turned edges of faces without area": 1}
    assert solid.volume_mm3 == pytest.approx(4 * 4 / 2 * 5 / 3, rel=1e-12)


def test_corners_that_a_file_cannot_tell_apart_are_no_reason_to_refuse():
    """Three corners of one face within a tenth of a 32-bit step of each other, as fills in narrow places have them."""
    ball = trimesh.creation.icosphere(4, 10.0)
    points, faces = np.array(ball.vertices) + 160.0, np.array(ball.faces, dtype=np.int64)
    points[faces[100]] = points[faces[100, 0]] + 1e-6 * np.eye(3)
    assert not judge_as_written(Mesh(points, faces)).closed
    solid = mend(faults.scan_of(Mesh(points, faces)))
    assert judge_as_written(solid.mesh).sound
    assert solid.volume_mm3 == pytest.approx(ball.volume, rel=1e-4)
    assert (solid.origin == Origin.FILLED).mean() < 0.01


def test_a_single_sheet_is_refused_with_what_to_do():
    sheet = trimesh.creation.box((30, 20, 5)).subdivide_to_size(1.0)
    top = sheet.triangles_center[:, 2] > 2.49
    with pytest.raises(CannotMend) as refused:
        mend(faults.scan_of(Mesh(np.array(sheet.vertices), np.array(sheet.faces[top]).astype(np.int64))))
    assert "other side" in refused.value.do


def test_a_scan_of_nothing_but_strays_is_refused():
    nothing = Mesh(np.full((3, 3), np.nan), np.array([[0, 1, 2]]))
    with pytest.raises(NoTriangles):
        mend(faults.scan_of(nothing))
