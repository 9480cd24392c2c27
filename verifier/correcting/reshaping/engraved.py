"""A name and revision cut into a flat face or standing on it, legible on the print."""

from collections.abc import Sequence
from itertools import pairwise
from math import ceil

import manifold3d
import numpy as np
from scipy import sparse
from scipy.sparse import csgraph
from scipy.spatial import cKDTree

from verifier.correcting.reshaping.carved import Tool, border_of, carved, near_box
from verifier.correcting.reshaping.faces_named import face_of
from verifier.correcting.reshaping.joint import clearances_from
from verifier.correcting.reshaping.letters import STROKE_SHARE, strokes_of, width_mm
from verifier.correcting.reshaping.names import Names
from verifier.correcting.reshaping.outline import Outline, laid_along, outline_of
from verifier.correcting.reshaping.work import NEW, CannotReshape, Flat, Work
from verifier.finding.fits import frame_along
from verifier.mesh import Array, Mesh
from verifier.rulebook import Printer
from verifier.rulebook.reshape_row import LEAST_LETTER_MM, Reshape

HEIGHT_MM = 6.0
# Three layers of 0.2 mm show in any light and weaken nothing. Common practice, no source.
DEPTH_MM = 0.6
# A stroke is at least two strands wide, or the slicer leaves it out.
LEAST_STRANDS = 2.0
# One that stands free is a wall, and the scatter of the face under it leaves no less than two of two and a half.
LEAST_STRANDS_RAISED = 2.5
# Letters keep this far from the face's rim, and the tool stands so far out of it that no scatter is left inside.
FROM_RIM_MM = 0.8
OUT_OF_FACE_MM = 1.0
# Under the letters stays at least this: four layers of 0.2 mm.
LEFT_UNDER_MM = 0.8
# What lies no deeper than this is the face itself, with its scatter and specks.
ON_FACE_MM = 0.3
ROUND_END_SIDES = 16
TURNS_TRIED = 12
# The long way of a face is kept unless another direction has this much more room.
BETTER_BY_MM = 1.0
# Crossing strokes leave corners 1e-8 mm apart, which a file's 32-bit numbers cannot tell apart: nearer ones are joined.
TOLD_APART_MM = 0.003
# A rim no larger than this is round a speck that the fit of the face left out.
SPECK_MM = 1.5


def engraved(work: Work, wanted: Reshape, names: Names, printer: Printer) -> tuple[Work, str]:
    """The part with the text in the named face, or standing on it; and what was done, a sentence.

    Raises CannotReshape.
    """
    text = (wanted.text or "").upper()
    flat = face_of(work, wanted, names)
    height_mm, depth_mm = wanted.height or HEIGHT_MM, wanted.depth or DEPTH_MM
    strands = LEAST_STRANDS_RAISED if wanted.raised else LEAST_STRANDS
    stroke_mm = max(STROKE_SHARE * height_mm, strands * printer.line_mm)
    turn = np.stack(frame_along(flat.normal))
    middle, along = _place(_outline(work, flat, turn), text, height_mm, stroke_mm, flat.name)
    strokes = _laid_out(text, height_mm, middle, along)
    low_mm, high_mm = (-ON_FACE_MM, depth_mm) if wanted.raised else (-depth_mm, OUT_OF_FACE_MM)
    letters = _figure(strokes, stroke_mm).extrude(high_mm - low_mm).translate((0.0, 0.0, low_mm))
    tool = Tool(letters, turn, flat.centre_mm, added=bool(wanted.raised))
    if not wanted.raised:
        _see_depth_left(work.mesh, tool, strokes, depth_mm)
    made = carved(work.mesh, tool)
    if made is None:
        raise CannotReshape("the part would be no closed solid", "Give the letters another height, or another face")
    mesh, source = made
    verb, deep = ("Raised", "high above it") if wanted.raised else ("Engraved", "deep")
    said = (
        f"{verb} '{text}' on {flat.name}, letters {height_mm:g} mm high and {depth_mm:g} mm {deep},"
        f" strokes {stroke_mm:.2f} mm wide."
    )
    return work.with_faces(mesh, source, source == NEW), said


def _laid_out(text: str, height_mm: float, middle: Array, along: Array) -> list[Array]:
    """The strokes about a middle, the line of text running along a direction, each (k, 2)."""
    turn = np.stack([along, [-along[1], along[0]]])
    offset = np.array([width_mm(text, height_mm), height_mm]) / 2.0
    return [(stroke - offset) @ turn + middle for stroke in strokes_of(text, height_mm)]


def _figure(strokes: Sequence[Array], stroke_mm: float) -> manifold3d.CrossSection:
    """The strokes as wide as they become, with round ends."""
    dot = manifold3d.CrossSection.circle(stroke_mm / 2.0, ROUND_END_SIDES)
    bars = []
    for stroke in strokes:
        ends = [dot.translate((float(x), float(y))) for x, y in stroke]
        bars += [manifold3d.CrossSection.batch_hull([a, b]) for a, b in pairwise(ends)]
    return manifold3d.CrossSection.batch_boolean(bars, manifold3d.OpType.Add).simplify(TOLD_APART_MM)


def _place(outline: Outline, text: str, height_mm: float, stroke_mm: float, name: str) -> tuple[Array, Array]:
    """Where the line of text fits best into a flat face, its middle and direction, (2,) each.

    Raises CannotReshape where it fits nowhere, with the height that would.
    """
    found = _best_place(outline, *_line_mm(text, height_mm, stroke_mm))
    if found is not None:
        return found
    lower = (step for step in np.arange(np.ceil(height_mm) - 1.0, LEAST_LETTER_MM - 0.5, -1.0))
    fits = next((step for step in lower if _best_place(outline, *_line_mm(text, step, stroke_mm))), None)
    do = "Name a larger face, or a shorter text"
    wide, high = _line_mm(text, height_mm, stroke_mm)
    raise CannotReshape(
        f"there is no room on {name} for a line of {wide:.0f} × {high:.0f} mm",
        do if fits is None else f"{do}, or lower letters: height = {fits:g}",
    )


def _line_mm(text: str, height_mm: float, stroke_mm: float) -> tuple[float, float]:
    return width_mm(text, height_mm) + stroke_mm, height_mm + stroke_mm


def _best_place(outline: Outline, wide: float, high: float) -> tuple[Array, Array] | None:
    places = outline.places()
    if len(places) == 0:
        return None
    depth_mm, tree = outline.depth_mm(places), cKDTree(places)
    best: tuple[float, Array, Array] | None = None
    for angle in _angles(np.asarray(outline.tree.data)):
        along = np.array([np.cos(angle), np.sin(angle)])
        room_mm, at = _roomiest(places, depth_mm, tree, along, wide, high)
        if room_mm >= FROM_RIM_MM and (best is None or room_mm > best[0] + BETTER_BY_MM):
            best = (room_mm, at, along)
    return None if best is None else best[1:]


def _roomiest(
    places: Array, depth_mm: Array, tree: cKDTree, along: Array, wide: float, high: float
) -> tuple[float, Array]:
    """How far a rectangle keeps from the rim at least, about the place where that is most; and the place.

    Discs along its middle line cover it, a quarter of its height apart: each one's middle has to lie so deep inside.
    The outer discs are asked first, and places that fail for one are not asked again.
    """
    half, reach = max(0.0, wide - high / 2.0) / 2.0, float(np.hypot(high / 2.0, high / 4.0))
    room = depth_mm - reach
    for station in sorted(np.linspace(-half, half, ceil(2.0 * half / (high / 2.0)) + 1), key=abs, reverse=True):
        left = np.flatnonzero(room >= FROM_RIM_MM)
        off, nearest = tree.query(places[left] + station * along)
        room[left] = np.minimum(room[left], depth_mm[nearest] - off - reach)
    best = int(np.argmax(room))
    return float(room[best]), places[best]


def _angles(corners: Array) -> Array:
    """Directions to try, the face's long one first."""
    away = corners - corners.mean(axis=0)
    long = np.linalg.svd(away, full_matrices=False)[2][0]
    return float(np.arctan2(long[1], long[0])) + np.pi * np.arange(TURNS_TRIED) / TURNS_TRIED


def _outline(work: Work, flat: Flat, turn: Array) -> Outline:
    """The rim of a flat face and of what opens or stands on it; specks that its fit left out are none."""
    start, end = border_of(work.mesh.faces[flat.faces]).T
    count = int(start.max()) + 1
    links = sparse.coo_array((np.ones(len(start), dtype=np.int8), (start, end)), shape=(count, count))
    _, rim = np.unique(csgraph.connected_components(links, directed=False)[1][start], return_inverse=True)
    at, to = ((work.mesh.vertices_mm[ends] - flat.centre_mm) @ turn[:2].T for ends in (start, end))
    low, high = np.full((rim.max() + 1, 2), np.inf), np.full((rim.max() + 1, 2), -np.inf)
    np.minimum.at(low, rim, at)
    np.maximum.at(high, rim, at)
    counts = ((high - low).max(axis=1) > SPECK_MM)[rim]
    return outline_of(at[counts], to[counts])


def _see_depth_left(mesh: Mesh, tool: Tool, strokes: Sequence[Array], depth_mm: float) -> None:
    """See that material stays under the letters: nothing that lies deeper than the face comes near them.

    Raises CannotReshape.
    """
    at = np.concatenate([laid_along(stroke[:-1], stroke[1:]) for stroke in strokes])
    low, high = tool.box_mm
    local_mm = tool.local_mm(mesh.vertices_mm)
    near = mesh.faces[near_box(local_mm, mesh.faces, low - LEFT_UNDER_MM, high + LEFT_UNDER_MM)]
    other = near[local_mm[:, 2][near].min(axis=1) < -ON_FACE_MM]
    if len(other) == 0:
        return
    away = clearances_from(Mesh(mesh.vertices_mm, other), tool.back_mm)
    depths = -np.arange(depth_mm, 0.0, -LEFT_UNDER_MM / 2.0)
    under = np.concatenate([np.column_stack([at, np.full(len(at), depth)]) for depth in depths])
    if float(away(under).min()) < LEFT_UNDER_MM:
        raise CannotReshape(
            f"less than {LEFT_UNDER_MM:g} mm would stay round letters {depth_mm:g} mm deep",
            "Engrave less deep, or on another face",
        )
