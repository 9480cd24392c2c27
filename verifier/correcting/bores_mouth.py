"""Where a bore's mouth lies on the surface around it, and the new faces from there to the bore."""

from dataclasses import dataclass

import manifold3d
import numpy as np

from verifier.correcting.bores_opening import Around, CannotRebuild, Mouth
from verifier.finding.robust import tukey_weights
from verifier.mesh import Array, IntArray

# A mouth on a flat is told within scan scatter; beyond this, it is on a bend, and second order is tried.
FLAT_WITHIN_MM = 0.1
# A mouth further off both than this has no one surface: a step or an edge crosses it.
SMOOTH_WITHIN_MM = 0.3


@dataclass(frozen=True, slots=True)
class MouthSurface:
    """Height along the axis as a polynomial of the place across it.

    terms : (3,) of 1, x, y, (6,) with x^2, xy, y^2, or (4,) with the distance from the axis, of a cone round it
    """

    terms: Array

    def height_mm(self, across_mm: Array) -> Array:
        """Heights at places (n, 2)."""
        return np.asarray(_powers(across_mm, len(self.terms)) @ self.terms)


def surface_at(around: Around, mouth: Mouth, removed: IntArray, *, sunk: bool = False) -> MouthSurface:
    """The surface a mouth opens on: a plane through what surrounds it, or a bend where no plane fits.

    sunk : it is the side of a countersink
    Raises CannotRebuild where neither does.
    """
    near = around.local_mm[_surrounding(around, mouth, removed)]
    rim = around.local_mm[mouth.loop]
    for terms, allowed_mm in ((4, SMOOTH_WITHIN_MM),) if sunk else ((3, FLAT_WITHIN_MM), (6, SMOOTH_WITHIN_MM)):
        surface = MouthSurface(_fitted(near, terms))
        if float(np.quantile(np.abs(surface.height_mm(rim[:, :2]) - rim[:, 2]), 0.9)) <= allowed_mm:
            return surface
    raise CannotRebuild("the face round its mouth is not smooth")


def _surrounding(around: Around, mouth: Mouth, removed: IntArray) -> IntArray:
    """Corners of the rim and of two rows of faces beyond it."""
    stays = around.corners[~np.isin(around.faces, removed)]
    found = mouth.loop
    for _ in range(2):
        found = np.unique(np.concatenate([found, stays[np.isin(stays, found).any(axis=1)].ravel()]))
    return found


def _powers(across_mm: Array, terms: int) -> Array:
    x, y = across_mm[:, 0], across_mm[:, 1]
    if terms == 4:
        return np.column_stack([np.ones_like(x), x, y, np.hypot(x, y)])
    return np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y][:terms])


def _fitted(points_mm: Array, terms: int) -> Array:
    """Polynomial through heights by least squares, robust against an edge near by."""
    slope, heights = _powers(points_mm[:, :2], terms), points_mm[:, 2]
    weights: Array = np.ones(len(heights))
    found: Array = np.zeros(terms)
    for _ in range(10):
        root = np.sqrt(weights)
        found = np.asarray(np.linalg.lstsq(slope * root[:, None], heights * root, rcond=None)[0])
        weights = tukey_weights(heights - slope @ found, 0.01)
    return found


def ring_faces(outer_mm: Array, inner_mm: Array) -> IntArray:
    """Triangles between a loop and a polygon inside it, both anticlockwise, (k, 3).

    outer_mm, inner_mm : (n, 2) and (m, 2); corners of the polygon are numbered after those of the loop
    Raises CannotRebuild where the loop crosses itself or the polygon.
    """
    count, inside = len(outer_mm), len(inner_mm)
    faces = np.asarray(manifold3d.triangulate([outer_mm, inner_mm[::-1]]), dtype=np.int64)
    faces = np.where(faces >= count, 2 * count + inside - 1 - faces, faces)
    at = np.concatenate([outer_mm, inner_mm])
    a, b, c = (at[faces[:, k]] for k in range(3))
    doubled = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    wanted = _doubled_area(outer_mm) - _doubled_area(inner_mm)
    # All the right way round and as large together as the ring: then they cover it once.
    if (doubled <= 0.0).any() or abs(doubled.sum() - wanted) > 1e-6 * wanted:
        raise CannotRebuild("its rim is folded")
    return faces


def _doubled_area(points: Array) -> float:
    ahead = np.roll(points, -1, axis=0)
    return float((points[:, 0] * ahead[:, 1] - points[:, 1] * ahead[:, 0]).sum())
