"""One loop closed by a disc."""

import numpy as np
import pytest

from verifier.mending.discs import MOST_FACES, disc_over


def strip_mm(shortest_mm: float) -> np.ndarray:
    """A rim 18 mm long on one side and in many small steps on the other, one of them so short."""
    steps = np.cumsum(np.r_[shortest_mm, np.full(150, 0.12)])
    back = np.column_stack([steps, 0.3 + 0.05 * np.sin(7.0 * steps), np.zeros(len(steps))])
    return np.concatenate([[[0.0, 0.0, 0.0], [steps[-1], 0.0, 0.0]], back[::-1], [[0.0, 0.3, 0.0]]])


def uneven_rim(edges: int, run: int, bent: float) -> tuple[np.ndarray, np.ndarray]:
    """A round rim, flat or bent, of runs of edges of 3 mm and runs of edges a three hundredth as long."""
    long = np.arange(edges) // run % 2 == 0
    edges_mm = np.where(long, 3.0, 0.01) * np.random.default_rng(3).uniform(0.9, 1.0, edges)
    turn = -2.0 * np.pi * np.cumsum(edges_mm) / edges_mm.sum()
    away = np.column_stack([np.cos(turn), np.sin(turn), bent * np.cos(2.0 * turn)])
    radius_mm = edges_mm.sum() / (2.0 * np.pi)
    return radius_mm * away, (radius_mm + 0.4) * away


def is_disc(disc, edges: int) -> bool:
    """By Euler's formula."""
    return len(disc.faces) == edges + 2 * len(disc.inside_mm) - 2


@pytest.mark.parametrize("shortest_mm", [0.1, 0.0004])
def test_corners_are_put_inside_however_uneven_the_rim(shortest_mm: float) -> None:
    loop_mm = strip_mm(shortest_mm)
    disc = disc_over(loop_mm, loop_mm + (loop_mm - loop_mm.mean(axis=0)) * 0.1)
    assert is_disc(disc, len(loop_mm))
    assert len(disc.inside_mm) > 1


@pytest.mark.parametrize("bent", [0.0, 0.2])
def test_faces_grow_away_from_runs_of_tiny_edges(bent: float) -> None:
    """940 mm round a hole: 70,000 mm2 hold 18,000 faces with sides of 3 mm, and some smaller beside the tiny ones."""
    disc = disc_over(*uneven_rim(625, 25, bent))
    assert is_disc(disc, 625)
    assert 5_000 < len(disc.faces) < 36_000


def test_a_rim_of_very_many_edges_is_closed_with_larger_faces() -> None:
    turn = -2.0 * np.pi * np.arange(800) / 800
    away = np.column_stack([np.cos(turn), np.sin(turn), np.zeros(800)])
    disc = disc_over(64.0 * away, 64.45 * away)
    assert is_disc(disc, 800)
    assert len(disc.faces) < 1.1 * MOST_FACES  # 150,000 as small as the rim's edges
