"""A part on a table that came as a sheet of its own, joined to the part nowhere."""

import faults
import manifold3d
import numpy as np
import pytest
import sheets
from test_mend import euler, rows, steps

from verifier.mending import Origin, mend
from verifier.mending.draft import Draft
from verifier.mending.table_sheet import without_table_sheet
from verifier.mesh import Mesh, face_normals

TABLE_MM = 0.15


def draft_of(mesh: Mesh) -> Draft:
    return Draft(mesh, np.zeros(len(mesh.faces), dtype=np.uint8))


def above_mm3(mesh: Mesh, height_mm: float) -> float:
    body = manifold3d.Manifold(manifold3d.Mesh64(mesh.vertices_mm, mesh.faces.astype(np.uint64)))
    return float(body.trim_by_plane((0.0, 0.0, 1.0), height_mm).volume())


@pytest.mark.parametrize("underside", ["none", "half"])
@pytest.mark.parametrize("gap_mm", [None, -0.6, 0.4])
def test_a_sheet_through_the_foot_goes_and_the_part_ends_flat_in_its_plane(part, gap_mm, underside):
    sheet = sheets.Sheet(TABLE_MM, edge_mm=1.5, gap_mm=gap_mm, underside=underside)
    mesh = sheets.on_a_sheet(part.mesh, sheet, np.random.default_rng(3))
    solid = mend(faults.scan_of(faults.unwelded(mesh)))
    assert steps(solid)["Closed the underside where it stood"] == 1
    assert euler(solid) == part.euler
    # The plane of a few hundred faces that scatter by 0.02 mm is known to 0.003 mm, on an underside of 590 or 270 mm2.
    assert solid.volume_mm3 == pytest.approx(above_mm3(part.mesh, TABLE_MM), abs=2.0)
    heights = part.mesh.vertices_mm[:, 2]
    assert rows(part.mesh.vertices_mm[heights > TABLE_MM + 0.5]) <= rows(solid.mesh.vertices_mm)


def test_walls_that_end_over_the_sheet_go_on_down_to_it(part):
    sheet = sheets.Sheet(0.0, gap_mm=0.5, below_mm=-0.7)
    solid = mend(faults.scan_of(sheets.on_a_sheet(part.mesh, sheet, np.random.default_rng(4))))
    assert euler(solid) == part.euler
    low_mm = solid.mesh.corners_of(np.flatnonzero(solid.origin == Origin.FILLED))[:, :, 2].min()
    assert low_mm == pytest.approx(0.0, abs=0.01)  # as far as the sheet's plane is known


def test_a_part_whose_own_underside_was_seen_keeps_it(part):
    sheet = sheets.Sheet(TABLE_MM, edge_mm=2.0, underside="all")
    solid = mend(faults.scan_of(sheets.on_a_sheet(part.mesh, sheet, np.random.default_rng(5))))
    assert np.array_equal(solid.mesh.vertices_mm, part.mesh.vertices_mm)
    assert np.array_equal(solid.mesh.faces, part.mesh.faces)
    assert "Closed the underside where it stood" not in steps(solid)


def test_a_foot_that_runs_out_on_a_sheet_of_its_own_is_cut_off_with_it(part):
    """The part's pass saw a millimetre of table around it, another pass all of the table."""
    skirted = faults.on_a_table(part.mesh, 1.0)
    table = sheets.table_of(part.mesh, sheets.Sheet(faults.TABLE_MM + 0.1), np.random.default_rng(6))
    solid = mend(faults.scan_of(sheets.joined(skirted, table)))
    assert euler(solid) == part.euler
    assert solid.volume_mm3 == pytest.approx(above_mm3(part.mesh, faults.TABLE_MM + 0.1), abs=2.0)


@pytest.mark.parametrize("apart_mm", [0.0, 0.3])
def test_an_underside_that_another_pass_saw_is_no_table(part, apart_mm):
    looks_down = face_normals(part.mesh)[:, 2] < -0.7
    foot = looks_down & (part.mesh.corners_mm[:, :, 2].max(axis=1) < 0.5)
    moved = part.mesh.vertices_mm + np.array([0.2, 0.1, -apart_mm])
    above = Mesh(part.mesh.vertices_mm, part.mesh.faces[~foot])
    draft = draft_of(sheets.joined(above, Mesh(moved, part.mesh.faces[foot])))
    assert draft.pieces[0] > 1
    assert without_table_sheet(draft) == (draft, None)


@pytest.mark.parametrize("sides_seen", [True, False])
def test_a_base_plate_under_a_hub_that_hangs_on_it_nowhere_is_no_table(sides_seen):
    """Its top is flat and reaches far beyond the hub; but it has a side, or another pass saw its underside."""
    plate, hub = sheets.base_plate(1.6)
    side = np.abs(face_normals(plate)[:, 2]) < 0.5
    top_looks = face_normals(plate)[:, 2] > 0.5
    seen = plate.faces[top_looks | side] if sides_seen else plate.faces[~side]
    draft = draft_of(sheets.joined(Mesh(plate.vertices_mm, seen), hub))
    assert without_table_sheet(draft) == (draft, None)
