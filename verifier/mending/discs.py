"""One open loop and the disc of faces that closes it."""

from dataclasses import dataclass

import numpy as np
from pymeshfix import PyTMesh

from verifier.mesh import Array, BoolArray, IntArray

# The library makes faces as long as the edges at the corners around them, however far those corners lie apart: a hole
# with a run of edges of 0.01 mm on either side would be filled with faces as small, millions of them. From this ratio
# of a loop's edges on, one beside a longer one counts as that less the way to it: scans have 10, a cut one 50.
MOST_UNEVEN = 50.0
# The library makes so many faces within a second. They are made larger, where there would be more.
MOST_FACES = 60_000
# Area of a triangle of three sides of 1 mm.
EQUILATERAL = 0.433


@dataclass(frozen=True, slots=True)
class Disc:
    """Faces that close one loop.

    inside_mm : (k, 3) new corners
    faces : (q, 3) numbers below n are the loop's corners in the order of the walk, from n on the new ones
    """

    inside_mm: Array
    faces: IntArray


def disc_over(loop_mm: Array, beside_mm: Array) -> Disc:
    """Close a loop with faces about as large as its edges, or larger where there would be too many.

    loop_mm : (n, 3) corners in the order of the walk, all different, surface on the left
    beside_mm : (n, 3) third corner of the face at each edge of the walk

    The loop is closed on a small surface of its own: a collar along the faces beside it, drawn together to a tip. So
    nothing but the loop can be touched, and the loop is the only border there is.
    """
    count = len(loop_mm)
    if count == 3:
        return Disc(np.empty((0, 3)), np.array([[0, 2, 1]]))
    points, faces = _collar(loop_mm, beside_mm)
    made_mm, made = _filled(points, faces)
    name = _names_of(points, made_mm)
    is_loop = (name >= 0) & (name < count)
    is_new = name < 0
    kept = made[(is_loop | is_new)[made].all(axis=1)]
    name[is_new] = count + np.arange(int(is_new.sum()))
    disc = Disc(made_mm[is_new], name[kept])
    return disc if _closes(disc, count) else _pie(loop_mm)


def _collar(loop_mm: Array, beside_mm: Array) -> tuple[Array, IntArray]:
    """The loop, a ring half-way to the faces' third corners or farther, and a tip away from the hole.

    The library makes faces as large as the edges around a corner are long on average, those to the ring included.
    """
    count = len(loop_mm)
    here = np.arange(count)
    ahead = (here + 1) % count
    middle = 0.5 * (loop_mm + loop_mm[ahead])
    spoke = 0.5 * (beside_mm - middle)
    edges_mm = np.linalg.norm(loop_mm[ahead] - loop_mm, axis=1)
    least_mm = 2.0 * _sizes_mm(edges_mm) - edges_mm
    length_mm = np.maximum(np.linalg.norm(spoke, axis=1), 1e-12)
    ring = middle + spoke * np.maximum(1.0, least_mm / length_mm)[:, None]
    tip = ring.mean(axis=0) + np.ptp(loop_mm, axis=0).max()
    faces = np.concatenate(
        [
            np.column_stack([here, ahead, count + here]),
            np.column_stack([count + here, ahead, count + ahead]),
            np.column_stack([count + here, count + ahead, np.full(count, 2 * count)]),
        ]
    )
    return np.concatenate([loop_mm, ring, tip[None]]), faces


def _sizes_mm(edges_mm: Array) -> Array:
    """How long the sides of faces beside every edge of a loop are to be at least, (n,).

    So long that no more of them than the most fill the circle that is as long as the loop: there is no larger hole.
    """
    length_mm = edges_mm.sum()
    least_mm = np.full(len(edges_mm), np.sqrt(length_mm**2 / (4.0 * np.pi) / (EQUILATERAL * MOST_FACES)))
    if edges_mm.max() <= MOST_UNEVEN * edges_mm.min():
        return least_mm
    twice_mm = np.tile(edges_mm, 2)
    at_mm = np.cumsum(twice_mm) - 0.5 * twice_mm
    behind = np.maximum.accumulate(twice_mm + at_mm) - at_mm
    before = np.maximum.accumulate((twice_mm - at_mm)[::-1])[::-1] + at_mm
    count = len(edges_mm)
    return np.asarray(np.max([least_mm, behind[count:], before[:count]], axis=0))


def _filled(points_mm: Array, faces: IntArray) -> tuple[Array, IntArray]:
    surface = PyTMesh()
    surface.set_quiet(True)
    surface.load_array(np.ascontiguousarray(points_mm), np.ascontiguousarray(faces, dtype=np.int32))
    surface.fill_small_boundaries(0, True)
    made_mm, made = surface.return_arrays()
    return np.asarray(made_mm, dtype=np.float64), np.asarray(made, dtype=np.int64)


def _names_of(points_mm: Array, made_mm: Array) -> IntArray:
    """Which of the given points each made one is, bit for bit; -1 for a new one."""
    number = {bits: k for k, bits in reversed(list(enumerate(_bits(points_mm))))}
    return np.array([number.get(bits, -1) for bits in _bits(made_mm)], dtype=np.int64)


def _bits(points_mm: Array) -> list[bytes]:
    """Every point's 24 bytes."""
    return np.ascontiguousarray(points_mm).view("V24").ravel().tolist() if len(points_mm) else []


def _closes(disc: Disc, count: int) -> bool:
    """Whether the disc meets every edge of the loop once, from the other side, and is closed otherwise."""
    if len(disc.faces) == 0:
        return False
    start, end = disc.faces.ravel(), disc.faces[:, [1, 2, 0]].ravel()
    here = np.arange(count)
    total = count + len(disc.inside_mm)
    made = start * total + end
    wanted = np.concatenate([end * total + start, ((here + 1) % count) * total + here])
    loop = here * total + (here + 1) % count
    return len(np.unique(made)) == len(made) and np.array_equal(np.sort(np.concatenate([made, loop])), np.sort(wanted))


def _pie(loop_mm: Array) -> Disc:
    """The plainest disc: every edge of the loop to the middle."""
    here = np.arange(len(loop_mm))
    faces = np.column_stack([(here + 1) % len(here), here, np.full(len(here), len(here))])
    return Disc(loop_mm.mean(axis=0)[None], faces)


def chords(disc: Disc, count: int) -> IntArray:
    """Edges of the disc that run from one corner of the loop to another across it, (k, 2), lower number first."""
    start, end = disc.faces.ravel(), disc.faces[:, [1, 2, 0]].ravel()
    across = (start < end) & (end < count) & (end - start != 1) & (end - start != count - 1)
    return np.column_stack([start[across], end[across]])


def with_chords_halved(disc: Disc, loop_mm: Array, halved: IntArray) -> Disc:
    """The disc with a new corner in the middle of some chords, for chords that the part has as an edge already."""
    inside, faces = disc.inside_mm, disc.faces
    for u, v in halved.tolist():
        new = len(loop_mm) + len(inside)
        inside = np.concatenate([inside, 0.5 * (loop_mm[u] + loop_mm[v])[None]])
        faces = _with_edge_halved(faces, u, v, new)
    return Disc(inside, faces)


def _with_edge_halved(faces: IntArray, u: int, v: int, new: int) -> IntArray:
    meets: BoolArray = (faces == u).any(axis=1) & (faces == v).any(axis=1)
    first, second = faces[meets].copy(), faces[meets].copy()
    first[first == u] = new
    second[second == v] = new
    return np.concatenate([faces[~meets], first, second])
