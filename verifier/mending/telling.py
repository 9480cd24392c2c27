"""How a repair is told: how many, how much surface, where, and how large the largest one is."""

from functools import reduce

import numpy as np

from verifier.mending.solid import MendStep, Point
from verifier.mesh import IntArray, Mesh, face_areas_mm2

# A person looks at a few places, not at a thousand; the count says how many there are.
PLACES_TOLD = 20


def tell_faces(what: str, mesh: Mesh, faces: IntArray, group: IntArray | None = None) -> MendStep:
    """Tell of groups of faces.

    faces : (k,) numbers of the faces concerned
    group : (k,) the group each belongs to, every face its own when left out
    """
    group = np.arange(len(faces)) if group is None else np.unique(group, return_inverse=True)[1]
    count = int(group.max()) + 1 if len(group) else 0
    if count == 0:
        return MendStep(what, 0, 0.0)
    part = Mesh(mesh.vertices_mm, mesh.faces[faces])
    areas = face_areas_mm2(part)
    area = np.bincount(group, areas, count)
    low, high = boxes_of_groups(part.corners_mm, group, count)
    across = np.linalg.norm(high - low, axis=1)
    largest = np.lexsort((area, across))[::-1][:PLACES_TOLD]
    lowest, highest = _points(np.array([low.min(axis=0), high.max(axis=0)]))
    return MendStep(
        what,
        count,
        float(area.sum()),
        _points(0.5 * (low + high)[largest]),
        float(across.max()),
        tuple(across[largest].tolist()),
        (lowest, highest),
    )


def tell_points(what: str, points_mm: np.ndarray, area_mm2: float = 0.0) -> MendStep:
    """Tell of single places."""
    return MendStep(what, len(points_mm), area_mm2, _points(points_mm[:PLACES_TOLD]))


def boxes_of_groups(corners_mm: np.ndarray, group: IntArray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest corner of every group, (count, 3) each."""
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    by_corner = corners_mm.swapaxes(0, 1)
    np.minimum.at(low, group, reduce(np.minimum, by_corner))
    np.maximum.at(high, group, reduce(np.maximum, by_corner))
    return low, high


def _points(points_mm: np.ndarray) -> tuple[Point, ...]:
    return tuple((float(x), float(y), float(z)) for x, y, z in points_mm)
