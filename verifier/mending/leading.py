"""A wide hole over an edge, a bore or a wall: the faces around it are led on until they meet.

      ___              ___              ____________
     |   hole             |            |            |
     |___  ___   ___  ____|     ->     |____    ____|
         ||    bore ||                      |  |

A skin over such a hole rounds the edge off, shuts the bore, dents the wall. What the faces led on make is laid in as
another pass of the scan would be: nothing that was measured is moved.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from verifier.mending.beyond import LED_STEP_MM, bounds_of, led_over
from verifier.mending.cells import material_on
from verifier.mending.contour import contour
from verifier.mending.crossings import crossing_near
from verifier.mending.draft import Draft
from verifier.mending.edges import Edges, pair_edges, piece_of_faces
from verifier.mending.fans import split_bow_ties
from verifier.mending.form_finding import forms_in
from verifier.mending.forms import Form, Patches, Round, lies_on, patches_of, together
from verifier.mending.grid import farthest_mm, grid_in, room_around
from verifier.mending.loops import knots_of, loops_of
from verifier.mending.neighbourhood import around
from verifier.mending.passes import lying_on
from verifier.mending.patches import pieces_with_inside
from verifier.mending.roundings import parted, with_roundings
from verifier.mending.strips import RAGGED_SPACINGS, SEAM_MM, zip_owned
from verifier.mending.telling import tell_faces
from verifier.mesh import Array, BoolArray, IntArray, Mesh, corner_columns, face_normals, face_vectors_mm2, touching

# Narrower holes are filled by the skin: what it takes off an edge is a fifth of the hole's width at most.
WIDE_MM = 3.0
# Patches of surface that are taken together; half the thinnest moulded wall (1 mm, common practice, no source).
PATCH_MM = 0.5
# Holes are put together when balls around them, so many times as large, meet: the two cut ends of a bar lie apart by
# more than they are wide. What fails is tried in smaller groups, and then in larger ones: the cut ends of an arm that
# lost its tip on both sides of a bore lie apart by two and a half times what they are wide.
NEAR_TOGETHER = (1.5, 0.7, 2.5)
# So many groups of holes, the widest; a scan with more is not one that leading on can save.
MOST_GROUPS = 12
# Of the rims' length so much must lie on the forms, or they are not what the part is made of there.
RIM_ON_FORMS = 0.7
# With so many on one and the same form, there is nothing to lead on to.
ONE_FORM = 0.95
# Strips of a free-form surface are within reach of some form too, but all over that reach: 0.045 mm of 0.1 (an egg, the
# bunny). Flats and round walls lie nearer than this, patches of a scan that scatters by 0.03 mm included.
FREE_FORM_MM = 0.035
# A round wall that no rim lies on is one from a quarter of a turn as high as its radius on, mm2 for a radius of 1 mm.
QUARTER_TURN = 1.57
# Patches beside an edge of a rim that are asked which way the surface looks there.
BESIDE_RIM = 4
# Of the rims' length so much must have been joined to what was led on; the rest are holes to be filled.
LEAST_JOINED = 0.75
# Where the strip to a ragged rim crosses something, it is cut out with the faces around, so often.
SPOILT_ROUNDS = 4
# No side of what is led on is longer: the grid's step is less than a millimetre, or that of the scan's corners.
WIDEST_SIDE_MM = 2.0
LED_ON = "Led faces on over holes"


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Holes near to each other: their loops, and a ball around the rims."""

    loops: tuple[IntArray, ...]
    middle_mm: Array
    reach_mm: float

    @property
    def name(self) -> tuple[int, ...]:
        """The first half-edge of every loop."""
        return tuple(sorted(int(loop[0]) for loop in self.loops))


def lead_faces_on(draft: Draft) -> Draft:
    """Close wide holes by leading flats and round walls beside them on; what that does not fit stays open."""
    tried: set[tuple[int, ...]] = set()
    for nearness in NEAR_TOGETHER:
        for group in _groups(draft, nearness):
            if group.name not in tried:
                tried.add(group.name)
                draft = _led_on(draft, group) or draft
    return draft


def _groups(draft: Draft, nearness: float) -> list[Group]:
    """Wide holes, those put together whose balls, so many times as large, meet; the widest groups first."""
    if len(draft.edges.border) == 0:
        return []
    balls = []
    for loop in loops_of(draft):
        rim = draft.mesh.vertices_mm[draft.edges.start[loop]]
        middle = rim.mean(axis=0)
        reach = float(np.linalg.norm(rim - middle, axis=1).max())
        if reach > 0.5 * WIDE_MM:
            balls.append(Group((loop,), middle, reach))
    groups: list[Group] = []
    for ball in sorted(balls, key=lambda b: -b.reach_mm):
        near = [
            g for g in groups if np.linalg.norm(g.middle_mm - ball.middle_mm) < nearness * (g.reach_mm + ball.reach_mm)
        ]
        groups = [g for g in groups if g not in near]
        groups.append(_together(draft, [*near, ball]))
    return sorted(groups, key=lambda g: -g.reach_mm)[:MOST_GROUPS]


def _together(draft: Draft, groups: Sequence[Group]) -> Group:
    loops = tuple(loop for group in groups for loop in group.loops)
    rim = draft.mesh.vertices_mm[draft.edges.start[np.concatenate(loops)]]
    middle = rim.mean(axis=0)
    return Group(loops, middle, float(np.linalg.norm(rim - middle, axis=1).max()))


def _led_on(draft: Draft, group: Group) -> Draft | None:
    """The draft with a group of holes closed, gaps of a few spacings left; None where what is led on does not fit."""
    spacing_mm = _spacing_mm(draft, np.concatenate(group.loops))
    seam_mm = SEAM_MM + RAGGED_SPACINGS * max(WIDEST_SIDE_MM, 2.0 * spacing_mm)
    near = around(draft, group.middle_mm, farthest_mm(group.reach_mm) + seam_mm)
    here = Group(tuple(near.half_edges(loop) for loop in group.loops), group.middle_mm, group.reach_mm)
    closed = _closed(near.draft, here, spacing_mm)
    if closed is None:
        return None
    whole = near.back_in(draft, closed)
    made = np.arange(len(draft.mesh.faces), len(whole.mesh.faces))
    return split_bow_ties(whole.telling(tell_faces(LED_ON, whole.mesh, made, np.zeros_like(made))))


def _closed(draft: Draft, group: Group, spacing_mm: float) -> Draft | None:
    """The same of the faces around the holes alone."""
    rim = np.concatenate(group.loops)
    frame = _frame(draft, rim)
    mesh = _in_frame(draft.mesh, group.middle_mm, frame)
    rim_mm = mesh.vertices_mm[draft.edges.start[rim]]
    box_mm = room_around(rim_mm, group.reach_mm, several=len(group.loops) > 1)
    beside = _within(mesh, box_mm)
    patches = patches_of(beside.corners_mm.mean(axis=1), face_vectors_mm2(beside), PATCH_MM)
    strips, away = _rims(mesh, draft.edges, rim, patches)
    found = forms_in(patches)
    if not _part_of_several(found, strips) or _misfit_mm(found, patches) > FREE_FORM_MM:
        return None
    forms, rolled = with_roundings(found, patches, spacing_mm)
    faces = [face for each in rolled for face in (*each.beside, each.form)]
    forms = [f for f in forms if any(f is face for face in faces) or not _is_by_chance(f, patches, strips)]
    grid = grid_in(box_mm, spacing_mm, forms)
    if grid is None:
        return None
    forms += bounds_of(forms, beside.corners_mm.reshape(-1, 3))
    forms += bounds_of(forms, rim_mm)
    onward = led_over(forms, rolled, strips, away, group.reach_mm)
    forms = parted(forms, grid.step_mm)
    led = contour(grid, forms, material_on(grid, forms, together([patches, onward])))
    return _laid_in(draft, group, Mesh(led.vertices_mm @ frame + group.middle_mm, led.faces), spacing_mm)


def _within(mesh: Mesh, box_mm: Array) -> Mesh:
    """The faces with their middle in a box."""
    a, b, c = corner_columns(mesh)
    middles = (a + b + c) / 3.0
    low, high = box_mm[:, :, None]
    return Mesh(mesh.vertices_mm, mesh.faces[((middles > low) & (middles < high)).all(axis=0)])


def _frame(draft: Draft, rim: IntArray) -> Array:
    """Three axes of the rims' own, one a row, so that the same is done in any pose of the part."""
    points = draft.mesh.vertices_mm[draft.edges.start[rim]]
    away = points - points.mean(axis=0)
    first, second, _ = np.linalg.svd(away, full_matrices=False)[2]
    first, second = (axis if ((away @ axis) ** 3).sum() >= 0.0 else -axis for axis in (first, second))
    return np.array([first, second, np.cross(first, second)])


def _in_frame(mesh: Mesh, middle_mm: Array, frame: Array) -> Mesh:
    return Mesh((mesh.vertices_mm - middle_mm) @ frame.T, mesh.faces)


def _part_of_several(forms: Sequence[Form], strips: Patches) -> bool:
    """Whether the rims lie on forms, and not all on one: a skin does as well over a hole in a flat."""
    on = [lies_on(form, strips) for form in forms]
    lengths = [float(strips.areas_mm2[each].sum()) for each in (*on, np.any(on, axis=0))] if on else [0.0]
    whole = float(strips.areas_mm2.sum())
    return lengths[-1] > RIM_ON_FORMS * whole and max(lengths[:-1], default=whole) < ONE_FORM * whole


def _is_by_chance(form: Form, patches: Patches, strips: Patches) -> bool:
    """Whether a round wall away from every rim is so small a piece of a turn that some edge or blend looks like it."""
    if not isinstance(form, Round) or lies_on(form, strips).any():
        return False
    return float(patches.areas_mm2[lies_on(form, patches)].sum()) < QUARTER_TURN * form.radius_mm**2


def _misfit_mm(forms: Sequence[Form], patches: Patches) -> float:
    """How far patches lie off the forms they are on: root mean square."""
    square, area = 0.0, 0.0
    for form in forms:
        mine = patches.at(lies_on(form, patches))
        square += float(mine.areas_mm2 @ form.off_mm(mine.middles_mm) ** 2)
        area += float(mine.areas_mm2.sum())
    return float(np.sqrt(square / max(area, 1e-12)))


def _rims(mesh: Mesh, edges: Edges, half_edges: IntArray, patches: Patches) -> tuple[Patches, Array]:
    """A strip of surface half a step wide at every edge of the rims, and the direction away from the surface there.

    It looks as that patch beside it does which its own face is most like: a single face of a fine scan says little.
    """
    start, end = mesh.vertices_mm[edges.start[half_edges]], mesh.vertices_mm[edges.ends_of(half_edges)]
    own = face_normals(Mesh(mesh.vertices_mm, mesh.faces[half_edges // 3]))
    _, near = cKDTree(patches.middles_mm).query(0.5 * (start + end), k=min(BESIDE_RIM, len(patches.areas_mm2)))
    normals = patches.normals[near.reshape(len(own), -1)]
    alike = np.einsum("qkx,qx->qk", normals, own).argmax(axis=1)
    normals = normals[np.arange(len(own)), alike]
    along = end - start
    length = np.linalg.norm(along, axis=1)
    away = np.cross(along / np.maximum(length, 1e-12)[:, None], normals)
    return Patches(0.5 * (start + end), normals, LED_STEP_MM * length), away


def _laid_in(draft: Draft, group: Group, led: Mesh, spacing_mm: float) -> Draft | None:
    """The draft with those parts of the surface that lie in the holes, joined to their rims; None where there are none.

    Forms that are all air or all material around the holes leave no surface.
    """
    if len(led.faces) == 0:
        return None
    rim = np.concatenate(group.loops)
    first = len(draft.mesh.faces)
    reach_mm = SEAM_MM + RAGGED_SPACINGS * max(spacing_mm, _middle_side_mm(led))
    faces = _in_the_holes(draft, led, rim, reach_mm)
    if len(faces) == 0:
        return None
    corners, local = np.unique(faces, return_inverse=True)
    laid = draft.with_sewn(led.vertices_mm[corners], len(draft.mesh.vertices_mm) + local.reshape(-1, 3))
    # A border is no loop that can be joined where it comes to such a corner.
    laid = laid.without(_new_faces_at(laid, first, _ill_joined(laid)))
    owner = (np.arange(len(laid.mesh.faces)) >= first).astype(np.int64)
    joined = _unspoilt(_hanging_on(zip_owned(laid, owner, reach_mm), first), first)
    if joined is None or (joined.edges.twin[rim] < 0).mean() > 1.0 - LEAST_JOINED or len(joined.edges.crowded):
        return None
    return joined


def _hanging_on(joined: Draft, first_new: int) -> Draft:
    """The draft less pieces of new faces that no rim was joined to."""
    count, piece = joined.pieces
    return joined.without(np.bincount(piece[:first_new], minlength=count)[piece] == 0)


def _unspoilt(joined: Draft, first_new: int) -> Draft | None:
    """The draft less new faces where something is wrong and those around them, small holes; None if that is no help.

    Wrong is a face that crosses another, an edge of more than two faces, a corner that one border passes twice.
    """
    for _ in range(SPOILT_ROUNDS):
        crossing = crossing_near(joined.mesh, np.arange(len(joined.mesh.faces)) >= first_new)
        crossing = crossing[(crossing >= first_new).any(axis=1)]  # folds of the scan are mended later
        dropped = _new_faces_at(joined, first_new, np.unique(joined.mesh.faces[np.unique(crossing)]))
        dropped |= _new_faces_at(joined, first_new, _ill_joined(joined))
        if not dropped.any():
            return joined if len(crossing) == 0 else None
        joined = _hanging_on(joined.without(dropped), first_new)
    return None


def _ill_joined(draft: Draft) -> IntArray:
    """Corners at edges of more than two faces, and those that one border passes twice."""
    crowded = draft.edges.crowded
    return np.concatenate([draft.edges.start[crowded], draft.edges.ends_of(crowded), knots_of(draft.edges)])


def _new_faces_at(draft: Draft, first_new: int, corners: IntArray) -> BoolArray:
    there = np.zeros(len(draft.mesh.vertices_mm), dtype=bool)
    there[corners] = True
    found = touching(draft.mesh.faces, there)
    found[:first_new] = False
    return found


def _in_the_holes(draft: Draft, led: Mesh, rim: IntArray, reach_mm: float) -> IntArray:
    """Faces of the led on surface that lie on no measured face, in pieces that the rims go all round."""
    first = len(draft.mesh.faces)
    both = draft.with_sewn(led.vertices_mm, len(draft.mesh.vertices_mm) + led.faces)
    kept = np.arange(len(both.mesh.faces)) < first
    over = lying_on(both, np.flatnonzero(~kept), kept)
    faces = led.faces[~over]
    if len(faces) == 0:
        return faces
    edges = pair_edges(faces, len(led.vertices_mm))
    count, piece = piece_of_faces(edges)
    border = edges.start[edges.border]
    whole = pieces_with_inside(faces, border, piece, count)
    rim_mm = draft.mesh.vertices_mm[draft.edges.start[rim]]
    near = cKDTree(rim_mm).query(led.vertices_mm[border])[0] < reach_mm
    owner = piece[edges.border // 3]
    number, beside = np.bincount(owner, minlength=count), np.bincount(owner, near, count)
    enclosed = whole & (beside >= 0.9 * np.maximum(number, 1))
    return np.asarray(faces[enclosed[piece]])


def _spacing_mm(draft: Draft, half_edges: IntArray) -> float:
    """Middle length of the faces' sides at some half-edges."""
    return _middle_side_mm(Mesh(draft.mesh.vertices_mm, draft.mesh.faces[half_edges // 3]))


def _middle_side_mm(mesh: Mesh) -> float:
    corners: Array = mesh.corners_mm
    return float(np.median(np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)))
