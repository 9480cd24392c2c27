"""Rims that face each other: the two mouths of a bore whose wall was not seen, or the two sides of an open seam.

Filling each rim with a disc would close the bore. A tube between them keeps it open, and is marked FILLED.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from verifier.mending.crossings import crossing_near
from verifier.mending.draft import Draft
from verifier.mending.loops import RIM_EDGES, ROUNDNESS, loops_of
from verifier.mending.new_faces import NewFaces, numbered_after
from verifier.mending.telling import tell_faces
from verifier.mending.wall_ends import circle_of, normals_at, wall_end
from verifier.mesh import Array, IntArray

# Two rims face each other when their discs would look in opposite directions within 25 degrees (cos = 0.9), enclose the
# same area within a third either way, and sit off the common axis by at most a quarter of their radius. Mouths of one
# moulded bore differ by draft and flash, far less than that.
FACING_COSINE = 0.9
AREA_RATIO = 0.67
OFF_AXIS_SHARE = 0.25
# Far above what two ways of working out a product of directions differ by.
ROUNDING = 1e-9
# And their radii differ by no more than a ragged rim's half spacing and a draft of three degrees over a depth as large
# as the radius make: two wide holes in the two faces of a plate are no mouths of one bore.
RAGGED_MM = 0.4
DRAFT = 0.05
# Along a slant of 63 degrees all of the wall is seen of an opening twice as wide as deep, and from both sides at that:
# where nothing of such a wall is in the scan, not even its ends, there was none.
WIDEST_OF_DEPTH = 2.0
# A mouth lies in a flat, or in a round of twice its radius at least, where its rim bends by 0.09 of its radius (root
# mean square); over a square edge of the part it bends by 0.25.
BENT = 0.15
# A mouth shows: faces at its rim turn in (their mean cosine with the axis is 0.8 or less, scatter of 0.03 mm on a flat
# leaves it over 0.97), or at least the rim is round. A hole torn in a flat is neither: its corners lie anywhere within
# a step or more of a circle (root mean square 0.29 steps), those of a moulded edge within its scatter.
FLAT_ALL_ROUND = 0.95
TORN_STEPS = 0.2
# A seam between two halves is narrower than this share of its radius; wider, and they are two parts side by side.
SEAM_SHARE = 0.25
# A tube of which more than this share crosses the surface runs through the part; at a ragged rim a few faces do.
THROUGH = 0.1
# What is told of every repair that makes a bore's wall between two rims.
UNSEEN_WALL = "Joined bore mouths whose wall was not seen"
NO_CORNERS: Array = np.empty((0, 3))


@dataclass(frozen=True, slots=True)
class Rim:
    """One open loop as a rim: where it is, which way a disc over it would look, how large it is."""

    loop: IntArray
    piece: int
    middle_mm: Array
    outward: Array
    radius_mm: float


def zip_facing_rims(draft: Draft) -> Draft:
    """Join every two rims that face each other with a tube of new faces.

    No bore runs through the part: where such a tube would, the rims are those of two holes and left to be filled. So
    are those in the two faces of a wall whose opening would have been seen, those over an edge, and torn ones.
    """
    rims = rims_of(draft)
    pairs = [(i, j) for i, j in _facing_pairs(rims) if not is_no_bore(draft, rims[i], rims[j])]
    tubes = [_tube(draft, rims[i], rims[j]) for i, j in pairs]
    seams = [rims[i].piece != rims[j].piece for i, j in pairs]
    kept = [k for k, tube in enumerate(tubes) if seams[k] or not runs_through(draft, NewFaces(NO_CORNERS, tube))]
    if not kept:
        return draft
    faces = np.concatenate([tubes[k] for k in kept])
    tube = np.repeat(kept, [len(tubes[k]) for k in kept])
    is_seam = np.array(seams)[tube]
    sewn = draft.with_sewn(NO_CORNERS, faces)
    number = len(draft.mesh.faces) + np.arange(len(faces))
    return sewn.telling(
        tell_faces(UNSEEN_WALL, sewn.mesh, number[~is_seam], tube[~is_seam]),
        tell_faces("Joined halves along open seams", sewn.mesh, number[is_seam], tube[is_seam]),
    )


def rims_of(draft: Draft) -> list[Rim]:
    """Every open loop that goes round enough to have an axis."""
    loops = [loop for loop in loops_of(draft) if len(loop) >= RIM_EDGES]
    if len(loops) < 2:
        return []
    _, piece = draft.pieces
    rims = [_rim(draft.mesh.vertices_mm[draft.edges.start[loop]], loop, int(piece[loop[0] // 3])) for loop in loops]
    return [rim for rim in rims if rim is not None]


def _rim(points_mm: Array, loop: IntArray, piece: int) -> Rim | None:
    middle = points_mm.mean(axis=0)
    spoke = points_mm - middle
    ahead = np.roll(spoke, -1, axis=0)
    enclosed = 0.5 * np.cross(ahead, spoke).sum(axis=0)
    area = float(np.linalg.norm(enclosed))
    length = float(np.linalg.norm(ahead - spoke, axis=1).sum())
    if 4.0 * np.pi * area < ROUNDNESS * length**2:
        return None
    return Rim(loop, piece, middle, enclosed / area, float(np.sqrt(area / np.pi)))


def _facing_pairs(rims: Sequence[Rim]) -> list[tuple[int, int]]:
    """Pairs that face each other, the nearest first, every rim once."""
    return nearest_pairs(
        (float(np.linalg.norm(rims[i].middle_mm - rims[j].middle_mm)), i, j)
        for i, j in _looking_apart(rims)
        if _face_each_other(rims[i], rims[j])
    )


def _looking_apart(rims: Sequence[Rim]) -> Iterator[tuple[int, int]]:
    """Pairs of rims as large that look in opposite directions, too many rather than too few.

    Hundreds of ragged holes make a hundred thousand pairs, of which one in a hundred is left to be asked closely.
    """
    outward, area = np.array([rim.outward for rim in rims]), np.array([rim.radius_mm**2 for rim in rims])
    for i in range(len(rims)):
        others = slice(i + 1, None)
        alike = np.minimum(area[others], area[i]) > (AREA_RATIO - ROUNDING) * np.maximum(area[others], area[i])
        opposite = outward[others] @ outward[i] < ROUNDING - FACING_COSINE
        yield from ((i, i + 1 + j) for j in np.flatnonzero(alike & opposite).tolist())


def nearest_pairs(found: Iterable[tuple[float, int, int]]) -> list[tuple[int, int]]:
    """Of pairs of rims with how far they are apart, those that are nearest, first, every rim once."""
    taken: set[int] = set()
    pairs = []
    for _, i, j in sorted(found):
        if not {i, j} & taken:
            taken |= {i, j}
            pairs.append((i, j))
    return pairs


def _face_each_other(one: Rim, other: Rim) -> bool:
    """Whether a tube between two rims is what was there.

    Through one piece the tube runs through material: each rim lies behind the other's disc. Two walls of a fork that
    face each other across air are the opposite case and are not joined. Between two pieces it is the seam that is
    joined, and there the discs look at each other.
    """
    apart = other.middle_mm - one.middle_mm
    axis = one.outward - other.outward
    axis = axis / max(float(np.linalg.norm(axis)), 1e-12)
    ahead_mm = float(apart @ axis)
    off_axis_mm = float(np.linalg.norm(apart - ahead_mm * axis))
    radius_mm = min(one.radius_mm, other.radius_mm)
    alike = (
        max(one.radius_mm, other.radius_mm) - radius_mm < RAGGED_MM + DRAFT * radius_mm
        and float(one.outward @ other.outward) < -FACING_COSINE
        and radius_mm**2 > AREA_RATIO * max(one.radius_mm, other.radius_mm) ** 2
        and off_axis_mm < OFF_AXIS_SHARE * radius_mm
    )
    if one.piece == other.piece:
        return alike and ahead_mm < 0
    return alike and abs(ahead_mm) < SEAM_SHARE * radius_mm


def is_no_bore(draft: Draft, one: Rim, other: Rim) -> bool:
    """Whether two rims of one piece that face each other are holes in the two faces of its wall, and no mouths.

    The ends of a wall that runs from one to the other, where they are in the scan, say that it is there for all that.
    """
    if one.piece != other.piece or any(_is_end_of_tube(draft, *ends) for ends in ((one, other), (other, one))):
        return False
    depth_mm = abs(float((other.middle_mm - one.middle_mm) @ one.outward))
    would_be_seen = 2.0 * min(one.radius_mm, other.radius_mm) > WIDEST_OF_DEPTH * depth_mm
    over_an_edge = any(_is_over_an_edge(draft, rim) for rim in (one, other))
    return would_be_seen or over_an_edge or all(_is_torn(draft, rim) for rim in (one, other))


def _is_end_of_tube(draft: Draft, one: Rim, other: Rim) -> bool:
    """Whether one rim is the end of a wall that leads to the other."""
    end = wall_end(draft, one.loop)
    way = other.middle_mm - one.middle_mm
    return end is not None and float(end.axis @ way) > FACING_COSINE * float(np.linalg.norm(way))


def _is_over_an_edge(draft: Draft, rim: Rim) -> bool:
    """Whether a rim bends more than a mouth's does, root mean square, and not since it lies in the wall of a bore."""
    bend_mm = float(np.std(draft.mesh.vertices_mm[draft.edges.start[rim.loop]] @ rim.outward))
    return bend_mm > BENT * rim.radius_mm and wall_end(draft, rim.loop) is None


def _is_torn(draft: Draft, rim: Rim) -> bool:
    """Whether a rim is ragged and nothing at it turns into a bore."""
    if float((normals_at(draft, rim.loop) @ rim.outward).mean()) < FLAT_ALL_ROUND:
        return False
    points_mm = draft.mesh.vertices_mm[draft.edges.start[rim.loop]]
    x, y = np.linalg.svd(rim.outward[None])[2][1:] @ (points_mm - rim.middle_mm).T
    middle_mm, radius_mm = circle_of(x, y)
    off_mm = np.hypot(x - middle_mm[0], y - middle_mm[1]) - radius_mm
    step_mm = np.median(np.linalg.norm(np.roll(points_mm, -1, axis=0) - points_mm, axis=1))
    return bool(np.sqrt(np.square(off_mm).mean()) > TORN_STEPS * step_mm)


def _tube(draft: Draft, one: Rim, other: Rim) -> IntArray:
    """Faces between two rims, both walked at once."""
    near = draft.edges.start[one.loop]
    far = draft.edges.start[other.loop][::-1]
    near_mm, far_mm = draft.mesh.vertices_mm[near], draft.mesh.vertices_mm[far] + one.middle_mm - other.middle_mm
    along_near = _along(near_mm)
    far = np.roll(far, -int(np.argmin(np.linalg.norm(far_mm - near_mm[0], axis=1))))
    far_mm = draft.mesh.vertices_mm[far] + one.middle_mm - other.middle_mm
    along_far = _along_of_nearest(near_mm, along_near, far_mm)
    return walked_at_once(near, along_near, far, along_far)


def walked_at_once(near: IntArray, along_near: Array, far: IntArray, along_far: Array) -> IntArray:
    """Faces between two closed walks of corners that go the same way round: whichever is behind takes the next step.

    along_near, along_far : how far along its walk each corner is, 0 to 1; the near walk runs as its border does
    """
    when = np.concatenate([_half_way(along_near), _half_way(along_far)])
    is_near = np.argsort(when, kind="stable") < len(near)
    i: IntArray = np.cumsum(is_near) - is_near
    j: IntArray = np.cumsum(~is_near) - ~is_near
    here, there = near[i % len(near)], far[j % len(far)]
    ahead = np.where(is_near, near[(i + 1) % len(near)], far[(j + 1) % len(far)])
    return np.where(is_near[:, None], np.column_stack([ahead, here, there]), np.column_stack([there, ahead, here]))


def runs_through(draft: Draft, tube: NewFaces) -> bool:
    """Whether a tube's faces cross the surface along more than a ragged rim does."""
    sewn = draft.with_sewn(*numbered_after(len(draft.mesh.vertices_mm), [tube]))
    pairs = crossing_near(sewn.mesh, np.arange(len(sewn.mesh.faces)) >= len(draft.mesh.faces))
    return len(np.unique(pairs[pairs >= len(draft.mesh.faces)])) > THROUGH * len(tube.faces)


def _along(points_mm: Array) -> Array:
    """How far along the closed walk each point is, 0 to 1."""
    steps = np.linalg.norm(np.roll(points_mm, -1, axis=0) - points_mm, axis=1)
    return np.asarray((np.cumsum(steps) - steps) / steps.sum())


def _along_of_nearest(walk_mm: Array, along: Array, points_mm: Array) -> Array:
    """The same for points beside the walk, never going back."""
    _, nearest = cKDTree(walk_mm).query(points_mm)
    unwound = np.unwrap(along[nearest], period=1.0)
    return np.asarray(np.minimum(np.maximum.accumulate(unwound), 1.0))


def _half_way(along: Array) -> Array:
    """When each step of a walk is due: half-way between its two ends."""
    return np.asarray(0.5 * (along + np.r_[along[1:], 1.0]))
