"""The faults of an export: holes, specks, flipped and doubled faces, a bore not seen to its bottom."""

from __future__ import annotations

import numpy as np

from inbox_demo.simulated.distances import Array, Faces
from inbox_demo.simulated.scanner import Scanned


def with_holes(faces: Faces, vertices_mm: Array, *, count: int, across_mm: float, seed: int) -> Faces:
    """Faces without those within so many round patches."""
    rng = np.random.default_rng(seed)
    middles = vertices_mm[faces].mean(axis=1)
    keep = np.ones(len(faces), dtype=bool)
    for centre in middles[rng.integers(0, len(faces), count)]:
        keep &= np.linalg.norm(middles - centre, axis=1) > across_mm / 2.0
    return faces[keep]


def without_bore_wall(
    scanned: Scanned, centre_mm: tuple[float, float], radius_mm: float, z_mm: tuple[float, float], scale: float = 1.0
) -> Faces:
    """Faces without those inside a cylinder of the part: a bore whose depth the scanner did not see."""
    part = (scanned.vertices_mm - scanned.shift_mm) @ scanned.turn / scale
    middles = part[scanned.faces].mean(axis=1)
    inside = np.hypot(middles[:, 0] - centre_mm[0], middles[:, 1] - centre_mm[1]) < radius_mm
    return scanned.faces[~(inside & (middles[:, 2] > z_mm[0]) & (middles[:, 2] < z_mm[1]))]


def with_specks(vertices_mm: Array, faces: Faces, *, count: int, across_mm: float, seed: int) -> tuple[Array, Faces]:
    """Adds loose eight-faced specks round about the part."""
    rng = np.random.default_rng(seed)
    ball = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]], dtype=float)
    hull = np.array([[0, 2, 4], [2, 1, 4], [1, 3, 4], [3, 0, 4], [2, 0, 5], [1, 2, 5], [3, 1, 5], [0, 3, 5]])
    low, high = vertices_mm.min(axis=0), vertices_mm.max(axis=0)
    for centre in rng.uniform(low - 8.0, high + 8.0, (count, 3)):
        faces = np.concatenate([faces, hull + len(vertices_mm)])
        vertices_mm = np.concatenate([vertices_mm, centre + ball * across_mm / 2.0 * rng.uniform(0.4, 1.0)])
    return vertices_mm, faces.astype(np.int64)


def with_flipped(faces: Faces, *, share: float, seed: int) -> Faces:
    """Turns a share of the faces inside out."""
    flipped = faces.copy()
    chosen = np.random.default_rng(seed).random(len(faces)) < share
    flipped[chosen] = flipped[chosen][:, ::-1]
    return flipped


def with_doubled(faces: Faces, *, count: int, seed: int) -> Faces:
    """Repeats some faces."""
    return np.concatenate([faces, faces[np.random.default_rng(seed).integers(0, len(faces), count)]])
