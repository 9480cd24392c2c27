"""Faces that are not tried for crossings: none that crosses is among them, and most of a smooth part is."""

import numpy as np
import pytest
import trimesh

from verifier.mending.crossings import crossing_pairs
from verifier.mending.one_layer import may_cross
from verifier.mesh import Mesh

BALL = trimesh.creation.icosphere(4)


def together(*places: np.ndarray, turned: bool = False) -> Mesh:
    """Balls over these corners; `turned`, the last of them inside out."""
    faces = [BALL.faces + k * len(BALL.vertices) for k in range(len(places))]
    faces[-1] = faces[-1][:, ::-1] if turned else faces[-1]
    return Mesh(np.concatenate(places), np.concatenate(faces).astype(np.int64))


def dented(rng: np.random.Generator) -> np.ndarray:
    """A ball with places drawn into, out of and over each other, scatter on all of it."""
    points = np.asarray(BALL.vertices) * rng.uniform(0.5, 2.0, 3)
    for _ in range(6):
        away = np.linalg.norm(points - points[rng.integers(len(points))], axis=1)
        width = rng.uniform(0.1, 0.3)
        points = points + np.exp(-((away / width) ** 2))[:, None] * rng.normal(0.0, 1.5 * width, 3)
    return points + rng.normal(0.0, 0.002, points.shape)


@pytest.mark.parametrize("seed", range(6400, 6408))
def test_every_face_that_crosses_another_is_tried(seed):
    rng = np.random.default_rng(seed)
    mesh = together(dented(rng), dented(rng) + rng.uniform(-0.5, 0.5, 3), turned=seed % 2 == 1)
    pairs = crossing_pairs(mesh)
    assert len(pairs) > 0
    assert may_cross(mesh)[pairs].all()


def test_a_layer_laid_on_another_is_tried():
    points = np.asarray(BALL.vertices, dtype=np.float64)
    assert may_cross(together(points, points + 1e-3)).all()
    assert may_cross(together(points, points + 1e-3, turned=True)).all()


def test_of_a_smooth_ball_and_a_hollow_one_few_faces_are_tried():
    points = np.asarray(BALL.vertices, dtype=np.float64)
    assert may_cross(together(points)).mean() < 0.1
    assert may_cross(together(points, 0.5 * points, turned=True)).mean() < 0.1
