"""Of many rims only those are asked closely that may face each other, and no pair that does is left out."""

from itertools import combinations

import numpy as np

from verifier.mending import rims
from verifier.mending.rims import Rim


def some_rims(count: int, rng: np.random.Generator) -> list[Rim]:
    """Rims about a few axes, leaning and wandering off by about what is allowed, of about one size."""
    axes = np.vstack([np.eye(3), -np.eye(3)])[rng.integers(6, size=count)] + rng.normal(0.0, 0.1, (count, 3))
    axes /= np.linalg.norm(axes, axis=1, keepdims=True)
    middles = rng.normal(0.0, 0.2, (count, 3)) + rng.uniform(0.0, 6.0, (count, 1)) * axes
    return [
        Rim(np.arange(3), int(rng.random() < 0.2), middle, axis, float(rng.uniform(2.0, 2.6)))
        for middle, axis in zip(middles, axes, strict=True)
    ]


def test_no_pair_of_rims_that_face_each_other_is_left_out():
    found = some_rims(120, np.random.default_rng(71))
    pairs = list(combinations(range(len(found)), 2))
    asked = list(rims._looking_apart(found))
    facing = [(i, j) for i, j in pairs if rims._face_each_other(found[i], found[j])]
    assert len(facing) > 50
    assert [pair for pair in asked if pair in set(facing)] == facing
    assert len(asked) < 0.2 * len(pairs)


def test_rims_one_of_which_no_other_looks_away_from_are_no_pairs():
    one = some_rims(1, np.random.default_rng(72))
    assert list(rims._looking_apart(one)) == []
    assert list(rims._looking_apart([*one, *one])) == []
    assert list(rims._looking_apart([])) == []
