"""The scanner: a part in some pose, meshed askew, with powder, scale error and scatter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inbox_demo.simulated.distances import Array, Distance, Faces
from inbox_demo.simulated.net import grid_values, surface_net, without_pinches
from inbox_demo.simulated.parts import Shape


def rotation(seed: int) -> Array:
    """A turn drawn evenly from all turns (unit quaternion of four normal numbers), (3, 3)."""
    w, x, y, z = (lambda q: q / np.linalg.norm(q))(np.random.default_rng(seed).normal(size=4))
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
            [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
            [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
        ]
    )


def _gradient(distance: Distance, points: Array, step_mm: float = 1e-4) -> Array:
    """Central differences of the distance, (n, 3)."""
    steps = np.eye(3) * step_mm
    slope = [(distance(points + e) - distance(points - e)) / (2.0 * step_mm) for e in steps]
    return np.stack(slope, axis=1)


def _smooth_field(points: Array, length_mm: float, rng: np.random.Generator, waves: int = 160) -> Array:
    """A random field of unit variance with covariance exp(-r^2 / (2 length^2)), from random plane waves."""
    wave = rng.normal(size=(waves, 3)) / length_mm
    phase = rng.uniform(0.0, 2.0 * np.pi, waves)
    out = np.empty(len(points))
    for part in np.array_split(np.arange(len(points)), max(1, len(points) // 20_000)):
        out[part] = np.cos(points[part] @ wave.T + phase).sum(axis=1)
    return np.asarray(out * np.sqrt(2.0 / waves))


@dataclass(frozen=True)
class Scanned:
    """A simulated export.

    vertices_mm : (n, 3); faces : (m, 3)
    turn, shift_mm : where the part lies: vertex = scale * (turn @ part point) + shift
    normals : (n, 3) outward, of the true surface
    """

    vertices_mm: Array
    faces: Faces
    turn: Array
    shift_mm: Array
    normals: Array


def scan(
    shape: Shape,
    *,
    spacing_mm: float = 0.5,
    seed: int = 1,
    turn: Array | None = None,
    shift_mm: tuple[float, float, float] = (13.0, -7.0, 41.0),
    white_mm: float = 0.015,
    correlated_mm: float = 0.015,
    correlation_mm: float = 1.0,
    coat_mm: float = 0.0,
    scale: float = 1.0,
) -> Scanned:
    """A closed, welded, outward-facing scan with scatter, powder and scale error.

    spacing_mm : distance of neighbouring points
    coat_mm : powder on every face; scale : what the scanner makes of one millimetre
    """
    rng = np.random.default_rng(seed)
    turned = rotation(seed) if turn is None else turn

    def coated(points: Array) -> Array:
        return shape.distance(points @ turned) - coat_mm

    box = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=float)
    corners = (np.asarray(shape.low_mm) + box * (np.asarray(shape.high_mm) - np.asarray(shape.low_mm))) @ turned.T
    low = corners.min(axis=0) - 2.0 * spacing_mm + rng.uniform(0.0, spacing_mm, 3)
    counts = np.ceil((corners.max(axis=0) + 2.0 * spacing_mm - low) / spacing_mm).astype(int) + 1
    vertices, faces = surface_net(without_pinches(grid_values(coated, low, counts, spacing_mm)), low, spacing_mm)
    for _ in range(3):
        slope = _gradient(coated, vertices)
        steep = np.maximum((slope**2).sum(axis=1), 0.25)
        move = (coated(vertices) / steep)[:, None] * slope
        length = np.linalg.norm(move, axis=1, keepdims=True)
        vertices = vertices - move * np.minimum(1.0, 0.5 * spacing_mm / np.maximum(length, 1e-12))
    normals = _gradient(coated, vertices)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-9)
    scatter = white_mm * rng.normal(size=len(vertices))
    if correlated_mm:
        scatter = scatter + correlated_mm * _smooth_field(vertices, correlation_mm, rng)
    vertices = scale * (vertices + scatter[:, None] * normals) + np.asarray(shift_mm)
    return Scanned(vertices, faces, turned, np.asarray(shift_mm, float), normals)
