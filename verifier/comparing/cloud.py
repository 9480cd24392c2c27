"""A surface as points that know which way they face: what alignment works on, whole parts and partial views alike."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from verifier.finding.feature import Features
from verifier.mesh import Array, IntArray, Mesh, face_vectors_mm2

POINTS = 24_000
GOLDEN = 0.6180339887498949
# The plastic number's inverse and its square spread points over triangles as evenly as the golden ratio along a line.
PLASTIC = (0.7548776662466927, 0.5698402909980532)
# Normals of a fine scan scatter by noise / spacing, 10 degrees and more; the mean of ten neighbours is steady.
NEIGHBOURS = 10


@dataclass(frozen=True, slots=True)
class Cloud:
    """Points spread evenly over a surface.

    points_mm : (n, 3)
    normals : (n, 3) unit, out of the material
    spacing_mm : distance of neighbouring points; the area one point stands for is its square
    features : what was found on the part, in the same coordinates; its bores, bosses and flats find the pose fastest
    """

    points_mm: Array
    normals: Array
    spacing_mm: float
    features: Features | None = None

    def __len__(self) -> int:
        return len(self.points_mm)

    def of(self, chosen: IntArray) -> "Cloud":
        """Some of the points, which then lie wider apart."""
        wider = float(np.sqrt(len(self) / max(len(chosen), 1)))
        return replace(
            self,
            points_mm=self.points_mm[chosen],
            normals=self.normals[chosen],
            spacing_mm=self.spacing_mm * wider,
        )

    def thinned(self, count: int) -> "Cloud":
        """Evenly thinned to about so many points."""
        if len(self) <= count:
            return self
        return self.of(np.unique((np.arange(count) * (len(self) / count)).astype(np.int64)))


def cloud_of(mesh: Mesh, features: Features | None = None, *, count: int = POINTS) -> Cloud:
    """Points spread by area over a mesh, open or closed, coarse or fine; the same mesh gives the same points.

    features : found on this mesh, where they are known
    """
    vectors = face_vectors_mm2(mesh)
    twice = np.linalg.norm(vectors, axis=1)
    up_to = np.cumsum(twice)
    at = (np.arange(count) + 0.5) * (up_to[-1] / count)
    face = np.minimum(np.searchsorted(up_to, at), len(twice) - 1)
    points = _inside(mesh.vertices_mm[mesh.faces[face]])
    # Files keep neighbours together; shuffled by the golden ratio every part of the list covers the whole surface.
    order = np.argsort((np.arange(count) * GOLDEN) % 1.0, kind="stable")
    spacing = float(np.sqrt(0.5 * up_to[-1] / count))
    normals = vectors[face] / np.maximum(twice[face], 1e-300)[:, None]
    return Cloud(points[order], _steadied(points, normals, spacing)[order], spacing, features)


def _inside(corners_mm: Array) -> Array:
    """One point in each triangle, (n, 3, 3) -> (n, 3), spread evenly where a triangle gets many."""
    index = np.arange(len(corners_mm))
    u, v = ((index * step + 0.5) % 1.0 for step in PLASTIC)
    u, v = np.where(u + v > 1.0, 1.0 - u, u), np.where(u + v > 1.0, 1.0 - v, v)
    a, b, c = corners_mm[:, 0], corners_mm[:, 1], corners_mm[:, 2]
    return np.asarray(a + u[:, None] * (b - a) + v[:, None] * (c - a))


def _steadied(points_mm: Array, normals: Array, spacing_mm: float) -> Array:
    """Normals averaged with those of the near points that face alike."""
    many = min(NEIGHBOURS, len(points_mm))
    distance, near = cKDTree(points_mm).query(points_mm, k=many)
    around = normals[near.reshape(len(points_mm), many)]
    alike = np.einsum("nkj,nj->nk", around, normals) > 0.6
    close = distance.reshape(len(points_mm), many) < 3.0 * spacing_mm
    total = np.einsum("nkj,nk->nj", around, (alike & close).astype(float))
    return np.asarray(total / np.maximum(np.linalg.norm(total, axis=1), 1e-300)[:, None])


def evenly_facing(cloud: Cloud, count: int) -> IntArray:
    """Which points to take so that side walls and bores have a say beside large flats, (count,).

    Points are drawn in turn from 26 classes of normals: a plate's two faces hold most of its area and say nothing of
    how it is turned about its own normal.
    """
    step = np.rint(cloud.normals / np.maximum(np.abs(cloud.normals).max(axis=1, keepdims=True), 1e-12) * 1.2)
    label = (step.astype(np.int64) + 1) @ np.array([9, 3, 1])
    order = np.argsort(label, kind="stable")
    ordered = label[order]
    rank = np.arange(len(order)) - np.searchsorted(ordered, ordered)
    # The square root keeps a class of few points from being used up by its own scatter.
    share = np.sqrt(np.bincount(label, minlength=27))[ordered]
    place = np.empty(len(order))
    place[order] = (rank + 0.5) / share
    return np.sort(np.argsort(place, kind="stable")[:count])
