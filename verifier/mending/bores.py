"""A bore that runs into a hole: its wall is carried on to the hole, and the hole closed around it.

___         ___              ___ _     _ ___
   hole   above                 | new |
   |_       _|          ->      |_   _|
     |     |                      | |        a lid over the hole and one over the wall's end
     | bore|                      | |        would shut the bore
"""

from collections.abc import Sequence

import manifold3d
import numpy as np

from verifier.mending.crossings import crossing_near
from verifier.mending.draft import Draft
from verifier.mending.loops import RIM_EDGES, loops_of
from verifier.mending.new_faces import NewFaces, numbered_after
from verifier.mending.telling import tell_faces
from verifier.mending.wall_ends import WallEnd, wall_end
from verifier.mesh import Array, IntArray

# The hole looks along the axis within 60 degrees (cosine); over an edge of the part it leans.
TOWARDS = 0.5


def carry_bores_on(draft: Draft) -> Draft:
    """Lead every open end of a bore's wall straight on to the hole that it looks out of, and close that around it.

    Where what is led on would run through the part the bore is left as it is, and its loops are filled like any.
    """
    led = _all_led(draft)
    sewn = _sewn(draft, led)
    crossing = np.unique(crossing_near(sewn.mesh, np.arange(len(sewn.mesh.faces)) >= len(draft.mesh.faces)))
    if len(crossing):
        group = np.repeat(np.arange(len(led)), [len(each.faces) for each in led])
        wrong = set(group[crossing[crossing >= len(draft.mesh.faces)] - len(draft.mesh.faces)].tolist())
        led = [each for k, each in enumerate(led) if k not in wrong]
        sewn = _sewn(draft, led)
    if not led or len(sewn.edges.crowded):
        return draft
    group = np.repeat(np.arange(len(led)), [len(each.faces) for each in led])
    number = len(draft.mesh.faces) + np.arange(len(group))
    return sewn.telling(tell_faces("Carried bores on to holes", sewn.mesh, number, group))


def _all_led(draft: Draft) -> list[NewFaces]:
    """Every wall's end with the first hole that it can be led to, each loop used once."""
    loops = [loop for loop in loops_of(draft) if len(loop) >= RIM_EDGES]
    ends = [end for loop in loops if (end := wall_end(draft, loop)) is not None]
    taken: set[int] = set()
    led = []
    for end in ends:
        for loop in loops:
            if {int(loop[0]), int(end.loop[0])} & taken or loop is end.loop:
                continue
            made = _led_to(draft, end, loop)
            if made is not None:
                taken |= {int(loop[0]), int(end.loop[0])}
                led.append(made)
    return led


def _sewn(draft: Draft, led: Sequence[NewFaces]) -> Draft:
    """The draft with all of it sewn in, in that order."""
    if not led:
        return draft
    return draft.with_sewn(*numbered_after(len(draft.mesh.vertices_mm), led))


def _led_to(draft: Draft, end: WallEnd, loop: IntArray) -> NewFaces | None:
    """The wall led on to a new ring at the hole, and a face around that.

    None where the hole is not what the bore runs into: it must lie all around the bore's axis and before its end.
    """
    rim, hole = draft.edges.start[end.loop], draft.edges.start[loop]
    rim_mm, hole_mm = draft.mesh.vertices_mm[rim], draft.mesh.vertices_mm[hole]
    spoke = hole_mm - hole_mm.mean(axis=0)
    looking = np.cross(np.roll(spoke, -1, axis=0), spoke).sum(axis=0)
    height_mm = float(np.median(hole_mm @ end.axis))
    if looking @ end.axis < TOWARDS * np.linalg.norm(looking) or (rim_mm @ end.axis).max() >= height_mm:
        return None
    across = np.linalg.svd(end.axis[None])[2][1:]
    if np.linalg.det(np.vstack([across, end.axis])) < 0:
        across = across[::-1]
    # Walked with the surface on the left, a hole's border runs clockwise as seen from outside; and so, from there, does
    # the border of the wall run the other way round.
    outer, inner = (hole_mm @ across.T)[::-1], (rim_mm @ across.T)[::-1]
    if not _lies_within(inner, outer):
        return None
    ring_mm = rim_mm + (height_mm - rim_mm @ end.axis)[:, None] * end.axis
    ring = -1 - np.arange(len(rim))
    numbers = np.concatenate([hole[::-1], ring[::-1]])
    lid = numbers[np.asarray(manifold3d.triangulate([np.ascontiguousarray(outer), np.ascontiguousarray(inner)]))]
    ahead, ring_ahead = np.roll(rim, -1), np.roll(ring, -1)
    wall = np.concatenate([np.column_stack([ahead, rim, ring]), np.column_stack([ahead, ring, ring_ahead])])
    return NewFaces(ring_mm, np.concatenate([lid, wall]).astype(np.int64))


def _lies_within(inner: Array, outer: Array) -> bool:
    """Whether one simple polygon, clockwise, lies wholly within another, anticlockwise; (k, 2) each."""
    large, small = manifold3d.CrossSection([outer]), manifold3d.CrossSection([inner[::-1]])
    areas = _area(outer), -_area(inner)
    if min(areas) <= 0.0:
        return False
    left = (large - small).area()
    return bool(abs(left - (areas[0] - areas[1])) < 1e-3 * areas[1])


def _area(polygon: Array) -> float:
    x, y = polygon.T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
