"""Views of small simulated parts, each a scan of its own less what it could not see, laid where they truly belong."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inbox_demo import simulated
from inbox_demo.simulated.distances import Array, bore, box2, cut, intersect, slab, unite
from inbox_demo.simulated.parts import Shape
from tests.joining.test_laid_together import scan_of
from verifier.joining.posed import Posed
from verifier.mesh import Mesh


def ribbed_cover() -> Shape:
    """A cover plate with a bore at either end and an upright rib of 1 mm between them."""

    def distance(p: Array) -> Array:
        plate = intersect(box2(p, (0, 0), (52, 24)), slab(p[:, 2], 0.0, 6.0))
        rib = intersect(box2(p, (0, 0), (1.0, 18)), slab(p[:, 2], 4.0, 14.0))
        return cut(cut(unite(plate, rib), bore(p, (-17, 0), 8.0)), bore(p, (17, 0), 6.0))

    return Shape("ribbed_cover", distance, (-27, -13, -1), (27, 13, 15), {"rib": 1.0, "left": 8.0, "right": 6.0})


@dataclass(frozen=True)
class Placed:
    """Scans with their true poses, and the way from the first scan's frame to the part's."""

    shape: Shape
    posed: tuple[Posed, ...]
    turn: Array
    shift_mm: Array

    def in_part(self, points_mm: Array) -> Array:
        """Points of the joined part in the part's own frame."""
        return (points_mm - self.shift_mm) @ self.turn


def placed_views(shape: Shape, directions: tuple[tuple[float, float, float], ...], seed: int, *,
                 spacing_mm: float = 0.4, noise_mm: float = 0.03, off_mm: float = 0.02) -> Placed:  # fmt: skip
    """A scan from every direction, at its true pose but for `off_mm` of error across the last one's view."""
    found, frames = [], []
    for k, towards in enumerate(directions):
        white = noise_mm / np.sqrt(2.0)
        one = simulated.scan(shape, spacing_mm=spacing_mm * (1.0 + 0.1 * k), seed=1000 * seed + k,
                             white_mm=white, correlated_mm=white)  # fmt: skip
        rng = np.random.default_rng([seed, k])
        found.append(_seen(one, shape, np.array(towards) / np.linalg.norm(towards), rng))
        frame = np.eye(4)
        frame[:3, :3], frame[:3, 3] = one.turn, one.shift_mm
        frames.append(frame)
    posed = []
    for k, (mesh, frame) in enumerate(zip(found, frames, strict=True)):
        pose = np.eye(4) if k == 0 else frames[0] @ np.linalg.inv(frame)
        if k and off_mm:
            pose[:3, 3] += off_mm * frames[0][:3, :3] @ np.array(directions[k])
        posed.append(Posed(scan_of(mesh), pose, np.ones(len(mesh.faces), dtype=bool)))
    return Placed(shape, tuple(posed), frames[0][:3, :3], frames[0][:3, 3])


def _seen(one: simulated.Scanned, shape: Shape, towards: Array, rng: np.random.Generator) -> Mesh:
    """What looks the scanner's way, less the lower 30 % of the height, the end ragged."""
    points = (one.vertices_mm - one.shift_mm) @ one.turn
    normals = one.normals @ one.turn
    height = points @ towards
    inside = shape.distance(points) < 0.2
    low, high = height[inside].min(), height[inside].max()
    ragged = 0.05 * (high - low) * np.sin(points @ rng.normal(0, 0.4, (3, 3)) + rng.uniform(0, 6, 3)).mean(axis=1)
    seen = (normals @ towards > -0.2) & (height > low + 0.3 * (high - low) + ragged)
    faces = one.faces[seen[one.faces].all(axis=1)]
    used, number = np.unique(faces, return_inverse=True)
    return Mesh(one.vertices_mm[used], number.reshape(-1, 3).astype(np.int64))


def bore_mm(points: Array, at: tuple[float, float], about_mm: float, low_mm: float, high_mm: float) -> float:
    """Diameter of an upright bore by least squares over the corners between two heights (Kasa)."""
    rel = points[:, :2] - np.array(at)
    wall = (np.abs(np.hypot(*rel.T) - about_mm / 2) < 0.3) & (points[:, 2] > low_mm) & (points[:, 2] < high_mm)
    x, y = rel[wall].T
    fit = np.linalg.lstsq(np.column_stack([2 * x, 2 * y, np.ones_like(x)]), x * x + y * y, rcond=None)[0]
    return float(2.0 * np.sqrt(fit[2] + fit[0] ** 2 + fit[1] ** 2))


def rib_mm(points: Array) -> float:
    """Thickness of the cover's rib: between the means of its two sides."""
    upright = (np.abs(np.abs(points[:, 0]) - 0.5) < 0.3) & (np.abs(points[:, 1]) < 8.0)
    side = points[upright & (points[:, 2] > 7.0) & (points[:, 2] < 13.0), 0]
    return float(side[side > 0].mean() - side[side < 0].mean())
