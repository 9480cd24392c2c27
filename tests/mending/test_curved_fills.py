"""How far a filled hole lies from the true surface: cylinder, sphere, saddle and flat, by closed forms."""

import faults
import numpy as np
import pytest

from verifier.mending.draft import Draft
from verifier.mending.holes import fill_holes
from verifier.mesh import Mesh

SPACING_MM = 0.5
RADIUS_MM = 10.0


def sheet(height_of, across_mm: float, hole_mm: float, scatter_mm: float, seed: int) -> Mesh:
    """A square of a surface z(x, y) in triangles of the spacing, corners shaken, a round hole in its middle."""
    rng = np.random.default_rng(seed)
    count = int(across_mm / SPACING_MM)
    x, y = np.meshgrid(*2 * [np.linspace(-across_mm / 2, across_mm / 2, count + 1)], indexing="ij")
    x, y = (each.ravel() + rng.uniform(-0.15, 0.15, each.size) * SPACING_MM for each in (x, y))
    number = np.arange((count + 1) ** 2).reshape(count + 1, -1)
    a, b, c, d = number[:-1, :-1].ravel(), number[1:, :-1].ravel(), number[1:, 1:].ravel(), number[:-1, 1:].ravel()
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    points = np.column_stack([x, y, height_of(x, y) + rng.normal(0.0, scatter_mm, x.size)])
    return faults.with_hole(Mesh(points, faces), np.array([0.0, 0.0, float(height_of(0.0, 0.0))]), hole_mm)


def on_flat(points: np.ndarray) -> np.ndarray:
    return points[:, 2]


def on_cylinder(points: np.ndarray) -> np.ndarray:
    return np.hypot(points[:, 1], points[:, 2]) - RADIUS_MM


def on_sphere(points: np.ndarray) -> np.ndarray:
    return np.linalg.norm(points, axis=1) - RADIUS_MM


def on_saddle(points: np.ndarray) -> np.ndarray:
    """Height above it over the length of its gradient: to first order the distance."""
    x, y, z = points.T
    return (z - (x**2 - y**2) / (2 * RADIUS_MM)) / np.sqrt(1.0 + (x**2 + y**2) / RADIUS_MM**2)


FORMS = {
    on_flat: lambda x, y: 0.0 * x,
    on_cylinder: lambda x, y: np.sqrt(RADIUS_MM**2 - y**2 + 0.0 * x),
    on_sphere: lambda x, y: np.sqrt(RADIUS_MM**2 - x**2 - y**2),
    on_saddle: lambda x, y: (x**2 - y**2) / (2 * RADIUS_MM),
}


@pytest.mark.parametrize("hole_mm", [2.0, 5.5, 8.0, 12.0])
@pytest.mark.parametrize(("off", "height_of"), FORMS.items(), ids=lambda each: getattr(each, "__name__", ""))
def test_a_fill_follows_the_surface_around_it(off, height_of, hole_mm):
    """A lid over 8 mm of a 10 mm radius lies 0.84 mm off; the hole is at the very top, where a plate sticks out.

    Without scatter the faces' own chords are left, and what the rim's bends are misread by, led on over the hole: an
    eighth of the spacing up to 5.5 mm, and as the square of the width beyond. With scatter of 0.02 mm, four times that
    up to 5.5 mm, growing with the width.
    """
    wider = max(1.0, hole_mm / 5.5)
    for scatter_mm, limit_mm in ((0.0, wider**2 * SPACING_MM / 8), (0.02, wider**2 * 4 * 0.02)):
        for seed in range(30, 32):
            holed = sheet(height_of, 14.0 if hole_mm < 10.0 or off is on_sphere else 18.0, hole_mm, scatter_mm, seed)
            filled = fill_holes(Draft(holed, np.zeros(len(holed.faces), dtype=np.uint8)), keep_longest=True).mesh
            made = Mesh(filled.vertices_mm, filled.faces[len(holed.faces) :])
            places = np.concatenate([filled.vertices_mm[len(holed.vertices_mm) :], faults.middles(made)])
            assert np.abs(off(places)).max() < (1e-9 if off is on_flat and scatter_mm == 0.0 else limit_mm)
