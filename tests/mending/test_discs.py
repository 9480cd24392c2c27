"""One loop closed by a disc."""

import numpy as np
import pytest

from verifier.mending.discs import disc_over


def strip_mm(shortest_mm: float) -> np.ndarray:
    """A rim 18 mm long on one side and in many small steps on the other, one of them so short."""
    steps = np.cumsum(np.r_[shortest_mm, np.full(150, 0.12)])
    back = np.column_stack([steps, 0.3 + 0.05 * np.sin(7.0 * steps), np.zeros(len(steps))])
    return np.concatenate([[[0.0, 0.0, 0.0], [steps[-1], 0.0, 0.0]], back[::-1], [[0.0, 0.3, 0.0]]])


@pytest.mark.parametrize(("shortest_mm", "refined"), [(0.1, True), (0.0004, False)])
def test_corners_are_put_inside_unless_the_rim_is_too_uneven_for_that(shortest_mm: float, refined: bool) -> None:
    loop_mm = strip_mm(shortest_mm)
    disc = disc_over(loop_mm, loop_mm + (loop_mm - loop_mm.mean(axis=0)) * 0.1)
    assert len(disc.faces) == len(loop_mm) + 2 * len(disc.inside_mm) - 2  # a disc, by Euler's formula
    assert (len(disc.inside_mm) > 0) == refined
