"""A second judge of a surface, by other means than the package's: sorted edges, walks and edges that pierce faces."""

from dataclasses import dataclass
from itertools import chain

import numpy as np
from scipy.spatial import cKDTree

# An edge pierces a face when its ends lie further than this on either side of it. The package calls 1e-6 mm a touch.
PIERCED_MM = 2e-6


@dataclass(frozen=True)
class Flaws:
    """Edges without exactly two faces that run along it in opposite senses, corners with several fans, piercings."""

    edges: int
    corners: int
    piercings: int
    volume_mm3: float


def flaws_of(points: np.ndarray, faces: np.ndarray) -> Flaws:
    return Flaws(wrong_edges(faces), split_corners(faces), len(piercings(points, faces)), volume(points, faces))


def wrong_edges(faces: np.ndarray) -> int:
    there = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    ends, times = np.unique(there, axis=0, return_counts=True)
    back = np.unique(there[:, ::-1], axis=0)
    return int((times != 1).sum()) + abs(len(ends) - len(back)) + int((ends[: len(back)] != back[: len(ends)]).sum())


def split_corners(faces: np.ndarray) -> int:
    """Corners whose faces, told one after another by the edges they share there, are more than one group.

    Every face's corner is a thing of its own; two are one group when their faces share an edge that ends there.
    """
    things = faces.ravel()
    along = [np.column_stack([faces[:, k], faces[:, (k + 1) % 3], 3 * np.arange(len(faces)) + k]) for k in range(3)]
    along += [np.column_stack([faces[:, k], faces[:, (k + 2) % 3], 3 * np.arange(len(faces)) + k]) for k in range(3)]
    rows = np.concatenate(along)
    rows = rows[np.lexsort((rows[:, 1], rows[:, 0]))]
    same = np.flatnonzero((rows[1:, :2] == rows[:-1, :2]).all(axis=1))
    group = np.arange(len(things))
    while True:  # every thing takes the lowest name of those it hangs together with
        lowest = group.copy()
        for one, other in ((rows[same, 2], rows[same + 1, 2]), (rows[same + 1, 2], rows[same, 2])):
            np.minimum.at(lowest, one, group[other])
        lowest = lowest[lowest]
        if (lowest == group).all():
            break
        group = lowest
    fans = np.unique(np.column_stack([things, group]), axis=0)
    return int((np.bincount(fans[:, 0]) > 1).sum())


def piercings(points: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Every edge through the inside of a face it has no corner in common with: (k, 2) edge and face, by volumes."""
    edges = np.unique(np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0)
    edge, face = _near(points[edges], points[faces])
    apart = ~(faces[face][:, :, None] == edges[edge][:, None]).any(axis=(1, 2))
    edge, face = edge[apart], face[apart]
    p, q = points[edges[edge, 0]], points[edges[edge, 1]]
    a, b, c = (points[faces[face, k]] for k in range(3))
    square = np.cross(b - a, c - a)
    length = np.linalg.norm(square, axis=1)
    above, below = (np.einsum("ij,ij->i", end - a, square) / length for end in (p, q))
    through = (np.minimum(above, below) < -PIERCED_MM) & (np.maximum(above, below) > PIERCED_MM)
    sides = [np.einsum("ij,ij->i", np.cross(one - p, other - p), q - p) for one, other in ((a, b), (b, c), (c, a))]
    inside = (np.minimum.reduce(sides) > 0) | (np.maximum.reduce(sides) < 0)
    return np.column_stack([edge, face])[through & inside]


def volume(points: np.ndarray, faces: np.ndarray) -> float:
    a, b, c = (points[faces[:, k]] - points.mean(axis=0) for k in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


def _near(edges_mm: np.ndarray, faces_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pairs of an edge and a face whose boxes meet.

    Each face asks for the edges whose middle is within the reach of both: ordinary edges and the few long ones apart.
    """
    half = 0.5 * np.linalg.norm(edges_mm[:, 1] - edges_mm[:, 0], axis=1)
    middle = faces_mm.mean(axis=1)
    reach = np.linalg.norm(faces_mm - middle[:, None], axis=2).max(axis=1)
    usual = half <= 1.5 * np.median(half)
    pairs = []
    for some in filter(len, (np.flatnonzero(usual), np.flatnonzero(~usual))):
        asked = cKDTree(edges_mm[some].mean(axis=1))
        found = asked.query_ball_point(middle, reach + half[some].max(), return_sorted=False)
        faces = np.repeat(np.arange(len(middle)), [len(each) for each in found])
        pairs.append((some[np.fromiter(chain.from_iterable(found), np.int64, len(faces))], faces))
    edge, face = (np.concatenate(each) for each in zip(*pairs, strict=True))
    meets = np.ones(len(edge), dtype=bool)
    for k in range(3):
        low, high = edges_mm[:, :, k].min(axis=1), edges_mm[:, :, k].max(axis=1)
        under, over = faces_mm[:, :, k].min(axis=1), faces_mm[:, :, k].max(axis=1)
        meets &= (low[edge] <= over[face]) & (high[edge] >= under[face])
    return edge[meets], face[meets]
