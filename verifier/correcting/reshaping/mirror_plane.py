"""The plane in which one half of a part is the mirror image of the other, found in spite of worn places."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from verifier.mesh import Array, Mesh, face_normals

# Points taken of the surface for it, and the share of them that agrees best: worn places are in the rest.
POINTS = 6_000
AGREEING_SHARE = 0.7
ROUNDS = 25
SETTLED = 1e-7
SEED = 0  # the same part gives the same plane


@dataclass(frozen=True, slots=True)
class MirrorPlane:
    """The points x with normal . x = offset_mm.

    rms_mm : of the agreeing points from the surface, mirrored
    """

    normal: Array
    offset_mm: float
    rms_mm: float

    def mirrored(self, points_mm: Array) -> Array:
        """Points on the other side, (k, 3)."""
        away = points_mm @ self.normal - self.offset_mm
        return np.asarray(points_mm - 2.0 * away[:, None] * self.normal)


def mirror_plane(mesh: Mesh, normal: Array, offset_mm: float) -> MirrorPlane:
    """Start from a plane, and turn and shift it until the best-agreeing points lie on the surface, mirrored.

    Gauss-Newton over the plane's two tilts and its offset, with the distance along the surface's normals.
    """
    middles, normals = mesh.corners_mm.mean(axis=1), face_normals(mesh)
    rng = np.random.default_rng(SEED)
    chosen = rng.choice(len(middles), min(POINTS, len(middles)), replace=False)
    dense = rng.choice(len(middles), min(20 * POINTS, len(middles)), replace=False)
    tree = cKDTree(middles[dense])
    points, about = middles[chosen], middles.mean(axis=0)
    plane = MirrorPlane(normal / np.linalg.norm(normal), offset_mm, np.inf)
    for _ in range(ROUNDS):
        seen = plane.mirrored(points)
        at = dense[tree.query(seen)[1]]
        away = np.einsum("ij,ij->i", normals[at], seen - middles[at])
        good = np.abs(away) <= np.quantile(np.abs(away), AGREEING_SHARE)
        plane, step = _stepped(plane, points[good], normals[at[good]], away[good], about)
        if step < SETTLED:
            break
    return plane


def _stepped(plane: MirrorPlane, points: Array, normals: Array, away: Array, about: Array) -> tuple[MirrorPlane, float]:
    """One step: x' = x - 2 (n . x - o) n, so that with p = n . x - o, dx' = -2 (dn . x - do) n - 2 p dn."""
    n = plane.normal
    across = np.linalg.svd(n[None])[2][1:]
    p, facing = points @ n - plane.offset_mm, normals @ n
    slopes = [-2.0 * ((points - about) @ t) * facing - 2.0 * p * (normals @ t) for t in across]
    slope = np.column_stack([*slopes, 2.0 * facing])
    step = np.linalg.lstsq(slope, -away, rcond=None)[0]
    turned = n + step[0] * across[0] + step[1] * across[1]
    # The tilts are about the part's middle: there the offset is n . about + do.
    through = plane.offset_mm - float(n @ about) + float(step[2])
    turned /= np.linalg.norm(turned)
    rms = float(np.sqrt(np.mean((away + slope @ step) ** 2)))
    return MirrorPlane(turned, through + float(turned @ about), rms), float(np.linalg.norm(step))
