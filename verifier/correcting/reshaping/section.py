"""Where a plane cuts a closed mesh: the loops it leaves, and the faces divided along it."""

from dataclasses import dataclass

import numpy as np

from verifier.mesh import Array, BoolArray, IntArray, Mesh

# A plane is shifted by up to this much so that no corner lies on it or nearly so: a file's 32-bit numbers tell places
# apart by 8e-6 mm at 100 mm, and a corner nearer than that to a cut would make a face without area.
SHIFTED_MOST_MM = 0.005
SHIFTS = 21


@dataclass(frozen=True, slots=True)
class Crossing:
    """The edges and faces of a mesh that a plane crosses.

    faces : (k,) faces it crosses, each turned so that its lone corner, alone on its side, comes first: corners (k, 3)
    lone_above : (k,) whether that corner lies above
    points_mm : (e, 3) where it crosses each edge, once
    ends : (k, 2) which of these points lie on the edges from the lone corner to the second and to the third corner
    """

    faces: IntArray
    corners: IntArray
    lone_above: BoolArray
    points_mm: Array
    ends: IntArray

    @property
    def steps(self) -> IntArray:
        """The section's edges, (k, 2), as the faces above run along them."""
        return np.where(self.lone_above[:, None], self.ends, self.ends[:, ::-1])


def heights_mm(mesh: Mesh, direction: Array, from_mm: Array) -> Array:
    """How far each corner lies from a point along a direction, (n,)."""
    return np.asarray((mesh.vertices_mm - from_mm) @ direction)


def clear_of_corners_mm(heights: Array, at_mm: float) -> float:
    """A height as near as SHIFTED_MOST_MM to the one asked for, as far from any corner as can be."""
    near = heights[np.abs(heights - at_mm) < 2.0 * SHIFTED_MOST_MM]
    if len(near) == 0:
        return at_mm
    tried = at_mm + np.linspace(-SHIFTED_MOST_MM, SHIFTED_MOST_MM, SHIFTS)
    margins = np.abs(tried[:, None] - near).min(axis=1)
    return float(tried[int(np.argmax(margins))])


def crossing_at(mesh: Mesh, heights: Array, at_mm: float) -> Crossing:
    """What a plane at a height crosses; no corner may lie on it."""
    above: BoolArray = heights > at_mm
    sides = above[mesh.faces]
    count = sides.sum(axis=1)
    faces = np.flatnonzero((count == 1) | (count == 2))
    lone_above = count[faces] == 1
    first = np.argmax(sides[faces] == lone_above[:, None], axis=1)
    corners = np.take_along_axis(mesh.faces[faces], (first[:, None] + np.arange(3)) % 3, axis=1)
    pairs = np.sort(corners[:, [0, 1, 0, 2]].reshape(-1, 2), axis=1)
    _, one, number = np.unique(pairs[:, 0] * len(heights) + pairs[:, 1], return_index=True, return_inverse=True)
    low, high = pairs[one].T
    share = (at_mm - heights[low]) / (heights[high] - heights[low])
    points = mesh.vertices_mm[low] + share[:, None] * (mesh.vertices_mm[high] - mesh.vertices_mm[low])
    return Crossing(faces, corners, lone_above, points, number.reshape(-1, 2).astype(np.int64))


@dataclass(frozen=True, slots=True)
class Divided:
    """A mesh with its faces divided along a plane.

    mesh : old corners first, then the crossing's points
    source : (m,) the face each comes from
    above : (m,) which side it lies on
    crossing : as it was; its points are corners `first` and on
    """

    mesh: Mesh
    source: IntArray
    above: BoolArray
    crossing: Crossing
    first: int

    @property
    def steps(self) -> IntArray:
        """Edges on the plane as the faces above run along them, (k, 2) corners."""
        return self.first + self.crossing.steps


def divided_at(mesh: Mesh, heights: Array, at_mm: float) -> Divided:
    """Divide every face the plane crosses into one on the lone corner's side and two on the other."""
    found = crossing_at(mesh, heights, at_mm)
    first = len(mesh.vertices_mm)
    a, b = (first + found.ends).T
    lone, second, third = found.corners.T
    new = np.stack([np.column_stack([lone, a, b]), np.column_stack([a, second, third]), np.column_stack([a, third, b])])
    whole = np.ones(len(mesh.faces), dtype=bool)
    whole[found.faces] = False
    kept = np.flatnonzero(whole)
    return Divided(
        mesh=Mesh(
            np.concatenate([mesh.vertices_mm, found.points_mm]),
            np.concatenate([mesh.faces[kept], *new]).astype(np.int64),
        ),
        source=np.concatenate([kept, *([found.faces] * 3)]),
        above=np.concatenate(
            [heights[mesh.faces[kept, 0]] > at_mm, found.lone_above, ~found.lone_above, ~found.lone_above]
        ),
        crossing=found,
        first=first,
    )


def loops_of(steps: IntArray) -> list[IntArray]:
    """Closed loops of directed edges that meet two and two, each as its corners in order."""
    following = dict(zip(steps[:, 0].tolist(), steps[:, 1].tolist(), strict=True))
    loops = []
    while following:
        start, ahead = following.popitem()
        loop = [start]
        while ahead != start:
            loop.append(ahead)
            ahead = following.pop(ahead)
        loops.append(np.array(loop, dtype=np.int64))
    return loops
