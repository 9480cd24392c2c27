"""Seats in an exact plate, held against closed forms; and in simulated scans, gauged from outside."""

import math
import re
from dataclasses import replace
from functools import cache

import manifold3d
import numpy as np
import pytest

from inbox_demo import simulated
from tests.correcting.bored import RULES, UNCORRECTED, Bored, again, bored
from tests.correcting.parts import box_planes
from tests.finding.sunk_parts import hinge_leaf
from verifier.correcting.bores import RebuiltBore, check_exchange
from verifier.correcting.bores_opening import Around, CannotRebuild, Opening, Reach, look_around, opening_of
from verifier.correcting.bores_patch import Patch
from verifier.correcting.bores_patch import bored as bored_patch
from verifier.correcting.bores_polygon import sides_for
from verifier.correcting.bores_seat import seat_cut, seat_outline
from verifier.mending.check import judge_as_written
from verifier.mending.solid import Origin
from verifier.mesh import Mesh
from verifier.rulebook import Seat, Sheet, SheetRow, filament_for, wanted_holes

PLATE_MM = (40.0, 30.0, 12.0)
AT_MM = (18.0, 13.0)
SCANNED_MM, BORE_MM = 5.0, 4.5
LOSS_MM = 0.01
ALLOWANCE_MM = 0.2  # of the shipped printer

COUNTERBORE = Seat("counterbored", "M4", 7.6, 4.4, 1.6, "plane 2", "made up")
HEXAGON = Seat("hexagon", "M4", 7.2, 3.5, 1.6, "plane 2", "made up")
COUNTERSINK = Seat("countersunk", "M4", 9.16, 0.5 * (9.16 - BORE_MM), 1.6, "plane 2", "made up")
# Of the plate's two largest faces plane 1 looks down and plane 2 up.
FACES = {"plane 1": -1.0, "plane 2": 1.0}


@cache
def plate() -> Mesh:
    """A plate with a bore, its faces no larger than a scan's."""
    tool = manifold3d.Manifold.cylinder(20.0, SCANNED_MM / 2.0, circular_segments=48).translate((*AT_MM, -4.0))
    found = (manifold3d.Manifold.cube(PLATE_MM) - tool).refine_to_length(1.2).to_mesh64()
    return Mesh(np.asarray(found.vert_properties)[:, :3], np.asarray(found.tri_verts).astype(np.int64))


@cache
def opened() -> tuple[Around, Opening]:
    mesh = plate()
    off_mm = np.hypot(*(mesh.corners_mm[..., :2] - AT_MM).transpose(2, 0, 1)).max(axis=1)
    around = look_around(mesh, np.array([*AT_MM, 6.0]), np.array([0.0, 0.0, 1.0]), 5.5)
    return around, opening_of(around, np.flatnonzero(off_mm < SCANNED_MM / 2.0 + 0.01), Reach(5.5, 5.5))


def cut(seat: Seat) -> tuple[Patch, int]:
    """The bore with this seat, and the sides of its polygon."""
    outline = seat_outline(seat, 0.0, LOSS_MM)
    sides = outline.sides if outline.is_cone else sides_for(BORE_MM, LOSS_MM)
    found = seat_cut(seat, *opened(), box_planes(*PLATE_MM), 1.0, outline)
    return bored_patch(*opened(), BORE_MM, sides, found), sides


def with_patch(patch: Patch) -> Mesh:
    stays = np.delete(plate().faces, patch.removed, axis=0)
    return Mesh(np.concatenate([plate().vertices_mm, patch.corners_mm]), np.concatenate([stays, patch.faces]))


def volume_mm3(mesh: Mesh) -> float:
    a, b, c = (mesh.corners_mm[:, k] for k in range(3))
    return float((a * np.cross(b, c)).sum() / 6.0)


def area_mm2(across_mm: float, sides: int) -> float:
    """Regular polygon by its width across flats: n / 4 d^2 tan(pi / n)."""
    return sides / 4.0 * across_mm**2 * math.tan(math.pi / sides)


def removed_mm3(seat: Seat, sides: int) -> float:
    """Closed form of seat and bore: prism on prism, or the frustum h / 3 (A + B + sqrt(A B)) on a prism."""
    bore_mm2 = area_mm2(BORE_MM, sides)
    seat_mm2 = area_mm2(seat.across_mm, seat_outline(seat, 0.0, LOSS_MM).sides)
    beneath_mm3 = bore_mm2 * (PLATE_MM[2] - seat.deep_mm)
    if seat.form == "countersunk":
        return beneath_mm3 + seat.deep_mm / 3.0 * (seat_mm2 + bore_mm2 + math.sqrt(seat_mm2 * bore_mm2))
    return beneath_mm3 + seat.deep_mm * seat_mm2


@pytest.mark.parametrize("face", FACES)
@pytest.mark.parametrize("seat", [COUNTERBORE, HEXAGON, COUNTERSINK], ids=lambda seat: seat.form)
def test_a_seat_takes_the_volume_of_its_closed_form_out_of_the_plate(seat: Seat, face: str) -> None:
    patch, sides = cut(replace(seat, on=face))
    check_exchange(plate(), patch)
    whole = with_patch(patch)
    assert judge_as_written(whole).open_edges == 0
    # Single precision of the modelling kernel's corners, 1e-6 of 40 mm on some 200 mm2 of face.
    assert math.prod(PLATE_MM) - volume_mm3(whole) == pytest.approx(removed_mm3(seat, sides), abs=0.01)
    assert patch.depth_mm == pytest.approx(PLATE_MM[2] - seat.deep_mm, abs=1e-4)
    assert patch.through


@pytest.mark.parametrize("face", FACES)
@pytest.mark.parametrize("seat", [COUNTERBORE, HEXAGON, COUNTERSINK], ids=lambda seat: seat.form)
def test_a_seat_lies_on_the_bore_s_axis_and_opens_on_the_face_named(seat: Seat, face: str) -> None:
    patch, _ = cut(replace(seat, on=face))
    outline = seat_outline(seat, 0.0, LOSS_MM)
    off_mm = np.hypot(*(patch.corners_mm[:, :2] - AT_MM).T)
    rim = patch.corners_mm[np.abs(off_mm - outline.radius_mm) < 1e-6]
    assert rim[:, :2].mean(axis=0) == pytest.approx(AT_MM, abs=1e-6)
    wanted_mm = PLATE_MM[2] if FACES[face] > 0 else 0.0
    heights = np.unique(np.round(np.abs(rim[:, 2] - wanted_mm), 4))
    assert heights == pytest.approx([0.0] if outline.is_cone else [0.0, seat.deep_mm], abs=1e-3)


def test_a_nut_s_pocket_is_as_wide_across_its_flats_as_wanted() -> None:
    patch, _ = cut(HEXAGON)
    places = patch.corners_mm[:, :2] - AT_MM
    corners = places[np.hypot(*places.T) > 0.5 * BORE_MM + 1.0][:6]
    middles = (corners + np.roll(corners, -1, axis=0)) / 2.0
    assert 2.0 * np.hypot(*middles.T) == pytest.approx(np.full(6, HEXAGON.across_mm), abs=1e-6)


@pytest.mark.parametrize(
    ("seat", "says"),
    [
        (replace(COUNTERBORE, deep_mm=10.5), "only 1.5 mm would be left under its head, and 1.6 mm is the least"),
        (replace(HEXAGON, deep_mm=13.0), "only 0.0 mm would be left under its nut, and 1.6 mm is the least"),
        (
            replace(COUNTERBORE, on=None),
            'it has more than one mouth for its head: write seat_on = "plane 1" or "plane 2"',
        ),
        (replace(HEXAGON, on="plane 3"), 'it has no one mouth on plane 3; its mouths are on "plane 1" or "plane 2"'),
    ],
)
def test_a_seat_that_cannot_be_says_why(seat: Seat, says: str) -> None:
    with pytest.raises(CannotRebuild, match=f"^{re.escape(says)}$"):
        cut(seat)


# --- in scans ---------------------------------------------------------------------------------------------------------


def face_at(part: Bored, z_mm: float) -> str:
    """The flat face of the scan that lies at this height of the drawing, by its own corners."""
    for plane in part.found.planes:
        if (
            abs(part.in_part_mm(plane.centre_mm[None])[0, 2] - z_mm) < 0.2
            and abs(part.scan.turn[:, 2] @ plane.normal) > 0.99
        ):
            return plane.name
    raise AssertionError(f"no flat face at {z_mm}")


@cache
def clip(seat: str, z_mm: float) -> Bored:
    """A fence clip 9 mm thick, its screw's bore with a seat at the face of this height."""
    others = {"nail": {"use": "keep"}, "wire": {"use": "keep"}}
    plain = bored(simulated.fence_clip(), {"screw": {"use": "slides", "screw": "M4"}} | others, seed=21)
    keys = {"use": "slides", "screw": "M4", "seat": seat, "seat_on": face_at(plain, z_mm)}
    return bored(simulated.fence_clip(), {"screw": keys} | others, seed=21)


def goes_in(part: Bored, gauge: manifold3d.Manifold, at_mm: tuple[float, float], z_mm: float) -> bool:
    """Whether a gauge whose foot is at z = 0 stands in the part at this height without touching."""
    mesh = part.after.mesh
    body = manifold3d.Manifold(manifold3d.Mesh64(part.in_part_mm(mesh.vertices_mm), mesh.faces.astype(np.uint64)))
    return bool((gauge.translate((*at_mm, z_mm)) ^ body).volume() < 1e-6)


@pytest.mark.parametrize("z_mm", [0.0, 9.0])
def test_a_socket_head_of_iso_4762_goes_into_a_scanned_part_and_stops_on_its_floor(z_mm: float) -> None:
    """M4: 7 mm across and 4 high, in 7.6 by 4.4 and the printer's 0.2; 0.1 mm off-axis and scatter of the face."""
    part = clip("counterbored", z_mm)
    made = part.bore("screw")
    assert made.made, made.why_not
    assert made.depth_mm == pytest.approx(9.0 - 4.4, abs=0.05)
    low_mm = z_mm - 4.3 if z_mm else 0.0
    head = manifold3d.Manifold.cylinder(4.3, 3.75, circular_segments=180)
    assert goes_in(part, head, (-16.0, 0.0), low_mm)
    assert not goes_in(part, head, (-16.0, 0.0), low_mm + (-0.3 if z_mm else 0.3))
    assert not goes_in(part, head.scale((1.06, 1.06, 1.0)), (-16.0, 0.0), low_mm)
    assert judge_as_written(part.after.mesh).sound


def test_a_countersunk_seat_in_a_scanned_part_is_a_true_cone_of_90_degrees() -> None:
    part = clip("countersunk", 9.0)
    assert part.bore("screw").made, part.bore("screw").why_not
    corners = part.in_part_mm(part.after.mesh.corners_mm.reshape(-1, 3)).reshape(-1, 3, 3)
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    slanted = (part.after.origin == Origin.REBUILT) & (np.abs(normals[:, 2] - math.sqrt(0.5)) < 0.1)
    # A face of the clip leans by scatter on 9 mm: a quarter of a degree.
    assert slanted.sum() > 20
    assert np.degrees(np.arccos(normals[slanted, 2])) == pytest.approx(np.full(slanted.sum(), 45.0), abs=0.5)
    wide_mm = 2.0 * np.hypot(*(corners[slanted].reshape(-1, 3)[:, :2] - (-16.0, 0.0)).T).max()
    assert wide_mm == pytest.approx(8.96 + 0.2 + ALLOWANCE_MM, abs=0.05)
    assert judge_as_written(part.after.mesh).sound


def test_a_seat_too_deep_for_the_part_leaves_the_bore_as_scanned() -> None:
    """An M6 head wants 6.4 mm of a lever 8 mm thick: 1.6 are left and 2.4 is the least."""
    plain = bored(simulated.latch_lever(), {"pin": {"use": "slides", "screw": "M6"}}, spacing_mm=0.8, seed=22)
    keys = {"use": "slides", "screw": "M6", "seat": "counterbored", "seat_on": face_at(plain, 8.0)}
    part = bored(simulated.latch_lever(), {"pin": keys}, spacing_mm=0.8, seed=22)
    assert part.bore("pin").why_not == "only 1.6 mm would be left under its head, and 2.4 mm is the least"
    assert part.after is part.before


# --- where the original has one ---------------------------------------------------------------------------------------

PRINTED_M4_MM = 4.5 + ALLOWANCE_MM


@cache
def leaf() -> Bored:
    """A hinge leaf 8 mm thick, its bore of 5 mm countersunk to 10 mm at 90 degrees on the upper face."""
    shape = replace(hinge_leaf(), truth={"sunk": 5.0})
    return bored(shape, {"sunk": {"use": "keep"}}, seed=21, spacing_mm=0.5)


def of_leaf(**keys: object) -> tuple[RebuiltBore, float]:
    """What becomes of its bore, and how much larger the part is by it, mm3."""
    row = SheetRow(name="sunk", kind="bore", gauged="inside jaws", reading=5.0, **keys)
    sheet = Sheet(part="hinge_leaf", size=(row,))
    holes = wanted_holes(sheet, RULES, filament_for(sheet, RULES))
    work = again(replace(leaf(), holes=holes), leaf().before, UNCORRECTED)
    assert judge_as_written(work.solid.mesh).sound
    return work.bores[0], volume_mm3(work.solid.mesh) - volume_mm3(leaf().before.mesh)


def test_a_seat_takes_the_place_of_the_countersink_that_was_scanned() -> None:
    """Of the face's 10 mm nothing is left; M4 wants 9.16 mm of an M4 head, and without seat_on it goes where it was."""
    made, _ = of_leaf(use="slides", screw="M4", seat="countersunk")
    assert made.made, made.why_not
    assert made.gone == ("countersink 1",)
    assert made.seat is not None
    assert made.seat.face == face_at(leaf(), 8.0)
    assert made.depth_mm == pytest.approx(8.0 - 0.5 * (9.16 - 4.5), abs=0.05)


def test_a_countersink_stays_where_the_sheet_wants_a_seat_at_the_other_mouth_or_none() -> None:
    plain, _ = of_leaf(use="slides", screw="M4")
    assert (plain.made, plain.gone) == (True, ())
    # The cone of 90 degrees is 10 mm wide at the face, so the bore meets it that much deeper, up to the scan's scatter.
    assert plain.depth_mm == pytest.approx(8.0 - 0.5 * (10.0 - PRINTED_M4_MM), abs=0.05)
    other, _ = of_leaf(use="slides", screw="M4", seat="countersunk", seat_on=face_at(leaf(), 0.0))
    assert (other.made, other.gone) == (True, ())
    assert other.depth_mm == pytest.approx(plain.depth_mm - 0.5 * (9.16 - 4.5), abs=0.05)


def test_a_bore_to_be_drilled_is_filled_flush_with_the_face_and_not_with_the_foot_of_its_countersink() -> None:
    made, filled_mm3 = of_leaf(use="drill")
    assert made.gone == ("countersink 1",)
    # Cylinder of 5 mm, 5.5 deep, and frustum of 10 to 5 mm, 2.5 deep, less two marks of 1.2 mm; rims rounded by 0.1 mm.
    bore_mm3, sink_mm3 = math.pi * 2.5**2 * 5.5, math.pi * 2.5 / 3.0 * (25.0 + 12.5 + 6.25)
    assert filled_mm3 == pytest.approx(bore_mm3 + sink_mm3 - 2.0 * math.pi * 0.6**3 / 3.0, abs=2.0)
