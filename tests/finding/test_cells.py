"""Whether a net was drawn through a grid of cells, and how large they were."""

import igl
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from inbox_demo import simulated as sim
from verifier.finding.cells import cell_mm


def fused_ball(cell, radius=9.0):
    """A scattered ball drawn by marching cubes, as mesh files hold it."""
    count = int(2.4 * radius / cell) + 1
    low = -1.2 * radius
    z, y, x = np.meshgrid(*(low + cell * np.arange(count),) * 3, indexing="ij")
    at = np.column_stack([x.ravel(), y.ravel(), z.ravel()])
    away = np.linalg.norm(at, axis=1) - radius + np.random.default_rng(2).normal(scale=0.02, size=len(at))
    return igl.marching_cubes(away, at, count, count, count, 0.0)[0].astype(np.float32).astype(np.float64)


@pytest.mark.parametrize("cell", [0.35, 0.7])
def test_a_net_drawn_by_marching_cubes_shows_its_cells_until_it_is_turned(cell):
    points = fused_ball(cell)
    assert cell_mm(points) == pytest.approx(cell, abs=1e-4)
    assert cell_mm(points @ Rotation.from_euler("x", 20, degrees=True).as_matrix()) == 0.0


def test_scanned_points_and_the_even_grid_of_a_drawing_show_none():
    scanned = sim.scan(sim.latch_lever(), spacing_mm=1.2, seed=3)
    assert cell_mm(scanned.vertices_mm) == 0.0
    steps = 0.5 * np.arange(21.0)
    grid = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(-1, 3)
    assert cell_mm(grid[(np.abs(grid - 5.0) == 5.0).any(axis=1)]) == 0.0
