"""Where the mended solid holds volume that the scan did not, or lacks some that it had; and which step made it so.

Shares no code with the menders: places all over the box are asked whether they lie inside, by the winding number of the
scan's faces as they were read and by that of the solid's (Jacobson, Kavan, Sorkine 2013). It says of any soup of faces
where its inside is: a second layer winds twice, and a hole is closed in thought by a taut skin.
"""

import igl
import numpy as np
from scipy.spatial import cKDTree

from verifier.mending.edges import components
from verifier.mending.solid import MendStep, Origin, Point, Solid, VolumeChange
from verifier.mesh import Array, BoolArray, IntArray, Mesh, box_mm, corners_along_axes, stretches_of

# Places asked. On a part of 40 x 16 x 10 mm each stands for 0.8 mm3.
PLACES = 8_192
# They fill a box evenly when each lies this far on from the last, in shares of the box and round at its ends: the first
# three powers of 1 / g, where g is the positive root of x^4 = x + 1 (M. Roberts, The Unreasonable Effectiveness of
# Quasirandom Sequences, 2018). The library's own such sequences cost every start of the program 0.4 s.
STEP_ON = 1.2207440846057596 ** -np.arange(1.0, 4.0)
# Fewer changed places than this beside each other are scatter of a surface that passes near them.
LEAST_PLACES = 8
# A place winds once inside and not at all outside; between these it lies too near to the surface to be counted.
OUTSIDE, INSIDE = 0.25, 0.75
# A change of the overall size under this needs no reason (changes.py). The same over the whole surface makes the volume
# from which on a change without a reason is refused.
MOVED_MM = 0.05
# Faces that look the wrong way make the winding number false beside them: a change there says nothing.
TURNED = ("Turned flipped faces", "Turned inside-out parts outward", "Turned patches like the rim they lie along")
# After these alone every place is in or out as before.
NO_VOLUME = (*TURNED, "Welded corners", "Dropped faces without area", "Dropped doubled faces")
# Large faces are asked one by one, and every place asks each that is longer than it is far off: more than so many, as
# the slivers of a flat underside, are cut in two until they are so many cells long, which takes a third of the time.
FEW_LONG = 1_000
LONG_CELLS = 6.0
MOST_PIECES = 500_000


def volume_changes(before: Mesh, solid: Solid) -> tuple[VolumeChange, ...]:
    """What changed from the scan as it was read to the solid, the largest first.

    Left out is where faces looked the wrong way. Costs nothing for a scan that was only welded and turned.
    """
    if _is_the_same(before, solid):
        return ()
    low, high = box_mm(solid.mesh.vertices_mm)
    cell_mm3 = float((high - low).prod()) / PLACES
    cell_mm = float(np.cbrt(cell_mm3))
    places = low + (high - low) * _spread_evenly(PLACES)
    was, now = (_winding(mesh, places, 0.5 * cell_mm) for mesh in (_sound(before), solid.mesh))
    was = was if was[now > INSIDE].sum() > 0 else -was  # an inside-out part winds the other way
    changed = [(sign, _stretches(places[there], 2.0 * cell_mm)) for sign, there in _moved(was, now)]
    found = [
        VolumeChange(_middle(stretch), sign * len(stretch) * cell_mm3, _reasons(stretch, solid, 2.0 * cell_mm))
        for sign, stretches in changed
        for stretch in stretches
    ]
    told = [change for change in found if not set(change.reasons) & set(TURNED)]
    return tuple(sorted(told, key=lambda change: -abs(change.volume_mm3)))


def _spread_evenly(count: int) -> Array:
    """Places that fill a box of side 1, (count, 3)."""
    return np.asarray((0.5 + np.arange(1, count + 1)[:, None] * STEP_ON) % 1.0)


def unexplained(solid: Solid) -> str:
    """What to say of the largest change that no step accounts for and that cannot be scatter; '' for none."""
    limit_mm3 = MOVED_MM * solid.area_mm2
    left = [change for change in solid.volume_changes if not change.reasons]
    return left[0].sentence if left and abs(left[0].volume_mm3) > limit_mm3 else ""


def _sound(mesh: Mesh) -> Mesh:
    """The faces every corner of which is a place."""
    if np.isfinite(mesh.vertices_mm).all():
        return mesh
    finite: BoolArray = np.asarray(np.isfinite(mesh.vertices_mm).all(axis=1))
    return Mesh(mesh.vertices_mm, mesh.faces[finite[mesh.faces].all(axis=1)])


def _is_the_same(before: Mesh, solid: Solid) -> bool:
    """Whether every face of the scan came out and none was made."""
    nothing_new = not (solid.origin != Origin.MEASURED).any()
    return (
        len(before.faces) == len(solid.mesh.faces) and nothing_new and {s.what for s in solid.steps} <= set(NO_VOLUME)
    )


def _winding(mesh: Mesh, places_mm: Array, cell_mm: float) -> Array:
    """How often the surface winds around each place, its small faces taken together cell by cell.

    One triangle for all of a cell, in their middle and of their area and direction: from a cell away that winds as they
    do, and a million faces become some ten thousand. What lies beyond the places is taken together at their box.
    """
    low, high = places_mm.min(axis=0) - cell_mm, places_mm.max(axis=0) + cell_mm
    shape = tuple(((high - low) / cell_mm).astype(np.int64) + 1)
    sums, large = np.zeros((7, int(np.prod(shape)))), []
    for some in stretches_of(mesh.faces):
        a, b, c = corners_along_axes(mesh, some)
        longest = np.maximum(np.maximum(_squared(b - a), _squared(c - b)), _squared(a - c))
        small = longest < cell_mm**2
        if not small.all():
            large.append(mesh.vertices_mm[mesh.faces[some][~small]])
            a, b, c = (corner[:, small] for corner in (a, b, c))
        middles = (a + b + c) / 3.0
        x, y, z = ((np.clip(middles, low[:, None], high[:, None]) - low[:, None]) / cell_mm).astype(np.int64)
        (ux, uy, uz), (vx, vy, vz) = b - a, c - b
        areas = 0.5 * np.array([uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx])
        size = np.sqrt(_squared(areas))
        cell = (x * shape[1] + y) * shape[2] + z
        for total, weight in zip(sums, (size, *(size * middles), *areas), strict=True):
            total += np.bincount(cell, weight, len(total))
    sums = sums[:, sums[0] > 0]
    together = (sums[1:4] / sums[0]).T[:, None] + _triangles(sums[4:].T)
    taken = np.concatenate([_cut_short(np.concatenate([together[:0], *large]), LONG_CELLS * cell_mm), together])
    faces = np.arange(3 * len(taken)).reshape(-1, 3)
    return np.asarray(igl.fast_winding_number(taken.reshape(-1, 3), faces, places_mm), dtype=np.float64).reshape(-1)


def _cut_short(corners_mm: Array, limit_mm: float) -> Array:
    """Faces, (k, 3, 3), in pieces no longer than that, save for the last few, or so many that it does not pay."""
    done: list[Array] = []
    left = corners_mm
    while True:
        sides = np.linalg.norm(np.roll(left, -1, axis=1) - left, axis=2)
        is_long = sides.max(axis=1) > limit_mm
        if not FEW_LONG < np.count_nonzero(is_long) < MOST_PIECES:
            return np.concatenate([*done, left])
        done.append(left[~is_long])
        left = _in_two(left[is_long], sides[is_long].argmax(axis=1))


def _in_two(corners_mm: Array, side: IntArray) -> Array:
    """Every face cut in two across one of its sides, (2 k, 3, 3)."""
    turned = np.take_along_axis(corners_mm, ((side[:, None] + np.arange(3)) % 3)[:, :, None], axis=1)
    a, b, c = turned.transpose(1, 0, 2)
    middle = 0.5 * (a + b)
    return np.concatenate([np.stack(half, axis=1) for half in ((a, middle, c), (middle, b, c))])


def _squared(vectors: Array) -> Array:
    """Length squared of vectors, (3, k)."""
    x, y, z = vectors
    return np.asarray(x * x + y * y + z * z)


def _triangles(areas_mm2: Array) -> Array:
    """An even triangle about the origin for each area vector, (k, 3, 3)."""
    area = np.linalg.norm(areas_mm2, axis=1, keepdims=True)
    normal = np.divide(areas_mm2, area, out=np.tile([0.0, 0.0, 1.0], (len(area), 1)), where=area > 0)
    across = np.cross(normal, np.eye(3)[np.abs(normal).argmin(axis=1)])
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    along = np.cross(normal, across)
    radius = np.sqrt(4.0 * area / np.sqrt(27.0))  # of the circle around an even triangle
    turns = 2.0 * np.pi * np.arange(3) / 3.0
    return np.stack([radius * (np.cos(turn) * across + np.sin(turn) * along) for turn in turns], axis=1)


def _moved(was: Array, now: Array) -> list[tuple[int, BoolArray]]:
    return [(1, (was < OUTSIDE) & (now > INSIDE)), (-1, (was > INSIDE) & (now < OUTSIDE))]


def _stretches(places_mm: Array, reach_mm: float) -> list[Array]:
    """Places that hang together, less those that are too few."""
    pairs = cKDTree(places_mm).query_pairs(reach_mm, output_type="ndarray") if len(places_mm) else np.empty((0, 2), int)
    count, group = components(len(places_mm), pairs[:, 0], pairs[:, 1])
    return [places_mm[group == k] for k in np.flatnonzero(np.bincount(group, minlength=count) >= LEAST_PLACES)]


def _middle(places_mm: Array) -> Point:
    x, y, z = places_mm.mean(axis=0).tolist()
    return x, y, z


def _reasons(stretch_mm: Array, solid: Solid, reach_mm: float) -> tuple[str, ...]:
    """The steps with a place near the stretch; where only the largest are told, that faces were made beside it."""
    near = cKDTree(stretch_mm)
    named = [step.what for step in solid.steps if _comes_near(step, near, reach_mm)]
    named = [what for what in named if what not in NO_VOLUME or what in TURNED] or named
    invented = solid.mesh.corners_of(np.flatnonzero(solid.origin != Origin.MEASURED)).mean(axis=1)
    if not named and len(invented) and near.query(invented)[0].min() < reach_mm:
        named = ["surface was made there"]
    return tuple(dict.fromkeys(named))


def _comes_near(step: MendStep, stretch: cKDTree, reach_mm: float) -> bool:
    if not step.sizes_mm:
        return False
    away, _ = stretch.query(np.array(step.places_mm))
    return bool((away < 0.5 * np.array(step.sizes_mm) + reach_mm).any())
