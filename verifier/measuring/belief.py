"""What is believed of scale and coat while rows are being matched: scan = scale * size + walls * coat.

A belief is (n, 5), one line a hypothesis: scale, coat in mm, var(scale), cov(scale, coat), var(coat). It only serves to
recognise features; the scale and coat that are reported are found in the correcting room.
"""

import numpy as np

from verifier.mesh import Array
from verifier.rulebook import Rules


def first_belief(rules: Rules) -> Array:
    """Scale and coat as the acceptance rules expect them before anything is measured, (1, 5)."""
    expected = rules.acceptance.expectation
    return np.array([[1.0, expected.coat_mm, expected.u_scale**2, 0.0, expected.u_coat_mm**2]])


def predict(belief: Array, size: float, walls: Array | float) -> tuple[Array, Array]:
    """What the scan should show for a size, (n,), and the variance of that from scale and coat alone, (n,)."""
    scale, coat, v_scale, v_both, v_coat = belief.T
    return scale * size + walls * coat, size**2 * v_scale + 2.0 * size * walls * v_both + walls**2 * v_coat


def learn(belief: Array, size: float, walls: Array | float, value: Array, variance: Array) -> Array:
    """The belief after a size was seen as value (n,) with variance (n,), (n, 5): a step of recursive least squares."""
    scale, coat, v_scale, v_both, v_coat = belief.T
    mean, spread = predict(belief, size, walls)
    to_scale, to_coat = v_scale * size + v_both * walls, v_both * size + v_coat * walls
    gain = (value - mean) / (spread + variance)
    total = spread + variance
    return np.column_stack(
        [
            scale + to_scale * gain,
            coat + to_coat * gain,
            v_scale - to_scale**2 / total,
            v_both - to_scale * to_coat / total,
            v_coat - to_coat**2 / total,
        ]
    )
