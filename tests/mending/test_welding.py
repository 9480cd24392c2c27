"""Corners in one place become the first of them, also where places that differ share a hash."""

import numpy as np
import pytest

from verifier.mending import welding


@pytest.mark.parametrize("hash_bits", [0, 4, 64])
def test_every_corner_is_named_after_the_first_in_its_place(monkeypatch, hash_bits):
    whole = welding._hash
    monkeypatch.setattr(welding, "_hash", lambda bits: whole(bits) & np.uint64((1 << 64) - (1 << (64 - hash_bits))))
    points = np.random.default_rng(1).integers(-4, 5, (2000, 3)).astype(float)
    points[::7] *= -0.0  # zeros of both signs are one place
    first, number = welding.equal_corners(points)
    _, lead, place = np.unique(points + 0.0, axis=0, return_index=True, return_inverse=True)
    assert first.tolist() == sorted(lead.tolist())
    assert np.array_equal(first[number], lead[place.reshape(-1)])
