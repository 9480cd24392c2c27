"""Cut into pieces: each closed, together the part, and a dowel that goes in with the printer's clearance."""

import manifold3d
import numpy as np
import pytest

from tests.correcting.reshaping.shapes import Made, made
from verifier.correcting.bores_polygon import facet_loss_mm, sides_for
from verifier.correcting.reshaping import Piece
from verifier.mending.check import judge_as_written
from verifier.mending.solid import Origin
from verifier.mesh import Mesh, volume_mm3

IN_TWO = {"do": "cut", "between": ("front", "rear"), "at": (45.0,)}
PLAIN = {**IN_TWO, "joint": "none"}
KEYED = {**IN_TWO, "joint": "key"}
SMALL_BED = {"bed_x_mm": 60.0, "bed_y_mm": 50.0}


def body(mesh: Mesh) -> manifold3d.Manifold:
    return manifold3d.Manifold(manifold3d.Mesh64(mesh.vertices_mm, mesh.faces.astype(np.uint64)))


def pieces(part: Made) -> tuple[Piece, ...]:
    assert part.after.told[0].made, part.after.told[0].why_not
    return part.after.pieces.pieces


@pytest.mark.parametrize("how", [PLAIN, IN_TWO, KEYED])
def test_every_piece_is_a_closed_solid_in_its_file(how) -> None:
    for piece in pieces(made("draw_bar", how)):
        assert judge_as_written(piece.solid.mesh).sound, piece.name


def test_the_pieces_together_are_the_part() -> None:
    """By the modelling kernel's boolean, which shares no code with the cut."""
    part = made("draw_bar", PLAIN)
    two = [body(piece.solid.mesh) for piece in pieces(part)]
    whole = body(part.before.mesh)
    assert sum(each.volume() for each in two) == pytest.approx(whole.volume(), rel=1e-12)
    assert (two[0] ^ two[1]).volume() == pytest.approx(0.0, abs=1e-6)
    assert (whole - (two[0] + two[1])).volume() == pytest.approx(0.0, abs=1e-6)


def test_the_faces_away_from_the_cut_stay_to_the_last_bit() -> None:
    part = made("draw_bar", IN_TWO)
    before = {row.tobytes() for row in part.before.mesh.vertices_mm}
    for piece in pieces(part):
        mesh = piece.solid.mesh
        kept = np.unique(mesh.faces[piece.solid.origin != Origin.REBUILT])
        at_cut = np.abs(part.in_part_mm(mesh.vertices_mm[kept])[:, 0] - 45.0) < 0.2
        assert all(row.tobytes() in before for row in mesh.vertices_mm[kept[~at_cut]])


@pytest.mark.parametrize("clearance_mm", [0.1, pytest.param(0.2, marks=pytest.mark.long), 0.4])
def test_a_dowel_goes_in_with_the_printers_clearance(clearance_mm) -> None:
    """A rod grown until it touches: just under the hole it meets nothing, just over it does, on both sides."""
    part = made("draw_bar", {**IN_TWO, "dowel": 3.0}, joint_clearance_mm=clearance_mm)
    joint = part.after.pieces.joints[0]
    assert joint.dowel_mm == 3.0
    front = part.found.bores[0].axis_point_mm
    way = part.found.bores[1].axis_point_mm - front
    for piece in pieces(part):
        for inset in joint.below:
            hole_mm = 3.0 + clearance_mm
            for diameter_mm, touches in ((hole_mm - 0.002, False), (hole_mm + 0.03, True)):
                rod = _rod(part, piece, inset.figure.mean(axis=0), diameter_mm, joint.dowel_length_mm, front, way)
                assert (rod ^ body(piece.solid.mesh)).volume() == pytest.approx(0.0, abs=1e-6) or touches
                assert ((rod ^ body(piece.solid.mesh)).volume() > 0.01) == touches
        # The holes' corners lie no further out than the printer's facets allow.
        assert facet_loss_mm(hole_mm, sides_for(hole_mm, 0.01)) <= 0.01


def _rod(part, piece, at, diameter_mm, length_mm, front, way):
    """A rod about a hole's axis, centred on the cut."""
    from verifier.finding.fits import frame_along

    axis = part.found.bores[0].axis
    way = way - (way @ axis) * axis
    way = way / np.linalg.norm(way)
    turn = np.stack(frame_along(way))
    middle = front + piece.cut_at_mm[0] * way + at @ turn[:2]
    rod = manifold3d.Manifold.cylinder(length_mm, diameter_mm / 2.0, circular_segments=720, center=True)
    return rod.transform(np.column_stack([turn.T, middle]))


def test_a_key_goes_into_its_socket_and_not_the_wrong_way_round() -> None:
    part = made("draw_bar", KEYED)
    lower, upper = (body(piece.solid.mesh) for piece in pieces(part))
    assert (lower ^ upper).volume() == pytest.approx(0.0, abs=1e-6)
    key, socket = part.after.pieces.joints[0].below[0], part.after.pieces.joints[0].above[0]
    assert socket.height_mm > key.height_mm > 1.0
    turned = 2.0 * key.figure.mean(axis=0) - key.figure
    flat = manifold3d.CrossSection([socket.figure])
    assert (manifold3d.CrossSection([key.figure]) - flat).area() == pytest.approx(0.0, abs=1e-9)
    assert (manifold3d.CrossSection([turned]) - flat).area() > 0.05


def test_a_part_is_cut_into_as_few_pieces_as_the_bed_wants_clear_of_its_bores() -> None:
    part = made("draw_bar", {"do": "cut", "along": "length", "dowel": 3.0}, **SMALL_BED)
    assert len(pieces(part)) == 3  # 110 mm on a bed of 60, with 5 mm to both edges
    for piece in pieces(part):
        x = part.in_part_mm(piece.solid.mesh.vertices_mm)[:, 0]
        assert np.ptp(x) < 50.0 + 2 * 4.0 + 0.5


def test_a_part_that_fits_the_bed_is_not_cut() -> None:
    part = made("draw_bar", {"do": "cut", "along": "length"})
    assert part.after.pieces.pieces == ()
    assert "fits the bed in one piece" in part.after.told[0].said


def test_a_dowel_too_thick_for_the_cut_is_refused_with_a_remedy() -> None:
    told = made("draw_bar", {**IN_TWO, "dowel": 6.0}).after.told[0]
    assert told.why_not == "there is no room for two dowels of 6 mm in the cut"
    assert "thinner dowel" in told.do


def test_dowels_take_their_volume_from_both_pieces() -> None:
    part = made("draw_bar", IN_TWO)
    joint = part.after.pieces.joints[0]
    taken = sum(inset.volume_mm3 for inset in (*joint.below, *joint.above))
    together = sum(volume_mm3(piece.solid.mesh) for piece in pieces(part))
    assert together == pytest.approx(volume_mm3(part.before.mesh) - taken, rel=1e-12)
