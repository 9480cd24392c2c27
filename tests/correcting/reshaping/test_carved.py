"""A tool taken out of a part, or added to it, by the faces round it alone."""

import manifold3d
import numpy as np
import pytest

from tests.correcting.reshaping.shapes import made
from verifier.correcting.reshaping.carved import Tool, carved
from verifier.correcting.reshaping.work import NEW
from verifier.mending.check import judge_as_written
from verifier.mesh import volume_mm3


def block(of_bar, at_mm, size_mm, added=False):
    """A block about a place of the drawing, with the drawing's axes."""
    solid = manifold3d.Manifold.cube(size_mm, center=True)
    turn = of_bar.scan.turn.T
    return Tool(solid, turn, of_bar.scan.turn @ np.array(at_mm) + of_bar.scan.shift_mm, added)


@pytest.mark.parametrize("added", [False, True])
def test_what_the_faces_round_it_give_is_what_the_kernel_makes_of_the_whole_part(added: bool) -> None:
    bar = made("draw_bar")
    tool = block(bar, (45.0, 0.0, 8.0), (12.0, 4.0, 1.5), added)
    mesh, source = carved(bar.before.mesh, tool)
    body = manifold3d.Manifold(manifold3d.Mesh64(bar.before.mesh.vertices_mm, bar.before.mesh.faces.astype(np.uint64)))
    solid = tool.solid.transform(np.column_stack([tool.turn.T, tool.origin_mm]))
    whole = body + solid if added else body - solid
    # A millionth of a mm3 is what the last bits of some ten thousand corners add up to.
    assert volume_mm3(mesh) == pytest.approx(whole.volume(), abs=1e-6)
    assert judge_as_written(mesh).sound
    # Every face that is no part of the tool's neighbourhood stands where it stood, in its order.
    kept = np.flatnonzero((source != NEW) & (np.bincount(source[source != NEW])[source] == 1))
    away = kept[np.abs(bar.in_part_mm(mesh.vertices_mm)[mesh.faces[kept], 0] - 45.0).min(axis=1) > 9.0]
    assert len(away) > 0.6 * len(bar.before.mesh.faces)
    assert (np.diff(source[away]) > 0).all()
    assert (
        mesh.vertices_mm[mesh.faces[away]] == bar.before.mesh.vertices_mm[bar.before.mesh.faces[source[away]]]
    ).all()


def test_a_tool_that_reaches_through_the_part_is_left_to_the_kernel_as_a_whole() -> None:
    bar = made("draw_bar")
    mesh, _ = carved(bar.before.mesh, block(bar, (45.0, 0.0, 4.0), (6.0, 4.0, 12.0)))
    assert judge_as_written(mesh).sound
    # Its faces lie at 0 and 8 mm, up to the scatter of 0.02 mm.
    assert volume_mm3(bar.before.mesh) - volume_mm3(mesh) == pytest.approx(6.0 * 4.0 * 8.0, abs=24.0 * 0.02)


def test_a_tool_whose_edge_passes_a_corner_of_the_scan_closer_than_a_file_can_tell_is_cut_all_the_same() -> None:
    bar = made("draw_bar")
    places = bar.in_part_mm(bar.before.mesh.vertices_mm)
    corner = places[np.argmin(np.linalg.norm(places - (45.0, 0.0, 8.0), axis=1))]
    just_beside_mm = 3e-7
    x, y = corner[0] + 6.0 + just_beside_mm, corner[1] + 2.0 + just_beside_mm
    mesh, _ = carved(bar.before.mesh, block(bar, (x, y, 8.0), (12.0, 4.0, 1.5)))
    assert judge_as_written(mesh).sound
    # A cut 0.75 mm deep; the face is uneven by its scatter of 0.02 mm.
    assert volume_mm3(bar.before.mesh) - volume_mm3(mesh) == pytest.approx(12.0 * 4.0 * 0.75, abs=48.0 * 0.02)
