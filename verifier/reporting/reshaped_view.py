"""The part as the sheet has it reshaped: where its callouts lie, from which side it is seen, its pieces apart."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from verifier.correcting.printing import PrintPlan
from verifier.inspection import SizeTable
from verifier.mending.solid import Solid
from verifier.mesh import Array, IntArray, Mesh, box_mm
from verifier.reporting.shown import ShownMesh, shown_mesh
from verifier.reporting.viewing import first_turn

# Pieces of a cut part stand apart by this share of the way between their middles, so that the cut faces are seen.
APART = 0.15


@dataclass(frozen=True, slots=True)
class ReshapedView:
    """What the page needs besides the scan's picture.

    points_mm : for every row of the report the places it is taken between on the reshaped part, (k, 3); none for a row
        whose surface was made anew
    turn : (3, 3) under which it is first seen, from above as it prints
    """

    mesh: ShownMesh
    points_mm: tuple[Array, ...]
    turn: Array


def reshaped_view(copy: Solid, plan: PrintPlan, sizes: Sequence[SizeTable]) -> ReshapedView | None:
    """The reshaped part to look at; None where the sheet asks for nothing, so that it lies as the scan does."""
    if plan.reshaping is None or not plan.reshaping.told:
        return None
    solids = [piece.solid for piece in plan.reshaping.pieces.pieces] or [copy]
    middles = np.array([box_mm(each.mesh.vertices_mm).mean(axis=0) for each in solids])
    shifts = APART * (middles - middles.mean(axis=0))
    shown = shown_mesh(_beside(solids, shifts))
    middle = 0.5 * (shown.vertices_mm.min(axis=0) + shown.vertices_mm.max(axis=0))
    turn = first_turn(shown, (middle + plan.up_on_copy)[None])
    places = [plan.reshaping.places.get(size.name, np.empty((0, 3))) for size in sizes]
    lost = plan.reshaping.lost
    points = (
        np.empty((0, 3)) if size.name in lost else at + shifts[_nearest(solids, at)]
        for size, at in zip(sizes, places, strict=True)
    )
    return ReshapedView(shown, tuple(points), turn)


def _beside(solids: Sequence[Solid], shifts: Array) -> Solid:
    """Several solids as one, each shifted."""
    firsts = np.cumsum([0, *(len(each.mesh.vertices_mm) for each in solids)])
    vertices = [each.mesh.vertices_mm + shift for each, shift in zip(solids, shifts, strict=True)]
    faces = [each.mesh.faces + first for each, first in zip(solids, firsts[:-1], strict=True)]
    mesh = Mesh(np.concatenate(vertices), np.concatenate(faces))
    return Solid(mesh, np.concatenate([each.origin for each in solids]), solids[0].steps)


def _nearest(solids: Sequence[Solid], at: Array) -> IntArray:
    """Which solid's box each place lies in or nearest to, (k,)."""
    away = [
        np.linalg.norm(np.maximum(0.0, np.maximum(box.min(axis=0) - at, at - box.max(axis=0))), axis=1)
        for box in (each.mesh.vertices_mm for each in solids)
    ]
    return np.asarray(np.argmin(np.array(away).reshape(len(solids), -1), axis=0), dtype=np.int64)
