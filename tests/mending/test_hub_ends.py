"""A hub whose end nobody saw, lower than another: its end is flat, where its wall was last seen, and its bore open."""

from functools import lru_cache
from math import hypot

import faults
import numpy as np
import pytest
from test_mend import euler, steps

from verifier.mending import Origin, mend
from verifier.mending.crossings import crossing_pairs
from verifier.mending.draft import Draft
from verifier.mending.hub_ends import CLOSED_END, close_hub_ends
from verifier.mesh import Mesh

TOP_MM, RADIUS_MM, BORE_MM = 8.0, 6.0, 2.5


@lru_cache
def rocker_with_two_hubs() -> Mesh:
    """An arm with a hub at either end, the second 3 mm higher; a bore through each."""

    def inside(x, y, z):
        p = (x, y, z)
        hub = max(hypot(x, y) - RADIUS_MM, -z, z - TOP_MM)
        higher = max(hypot(x - 18.0, y) - 5.0, -z, z - TOP_MM - 3.0)
        arm = faults.box(p, (0, -3, 0), (18, 3, 3))
        return -max(min(hub, higher, arm), faults.bore(p, 0, 0, BORE_MM), faults.bore(p, 18, 0, 2))

    return faults._part(inside, (-7, -7, -1, 24, 7, 12))


def without_end(depth_mm: float, seed: int) -> Mesh:
    """The rocker with no face of the lower hub's end, and none of its walls down to a depth drawn place by place."""
    mesh, rng = rocker_with_two_hubs(), np.random.default_rng(seed)
    x, y, z = faults.middles(mesh).T
    turn, at = np.arctan2(y, x), np.linspace(-np.pi, np.pi, 25)
    depths = (np.interp(turn, at, rng.uniform(0.1, depth_mm, 25), period=2 * np.pi) for _ in range(2))
    depth = np.where(np.hypot(x, y) > 0.5 * (RADIUS_MM + BORE_MM), *depths)
    return Mesh(mesh.vertices_mm, mesh.faces[(np.hypot(x, y) > RADIUS_MM + 0.2) | (z < TOP_MM - depth)])


@pytest.mark.parametrize(("depth_mm", "seed"), [(0.3, 1), (1.5, 2), (3.0, 3)])
def test_a_ragged_hub_lower_than_another_ends_flat_and_its_bore_stays_open(depth_mm, seed):
    scan = without_end(depth_mm, seed)
    seen_mm = scan.vertices_mm[np.unique(scan.faces)]
    last_seen_mm = seen_mm[np.hypot(seen_mm[:, 0], seen_mm[:, 1]) < RADIUS_MM + 0.2, 2].max()
    solid = mend(faults.scan_of(faults.turned(scan, np.random.default_rng(seed))))
    assert steps(solid)[CLOSED_END] == 1
    assert euler(solid) == -2
    assert len(crossing_pairs(solid.mesh)) == 0
    solid = mend(faults.scan_of(scan))
    new = solid.mesh.corners_of(np.flatnonzero(solid.origin == Origin.FILLED))
    # Flat and square: no corner higher than a tenth of a millimetre over the last seen, which the axis of 6 mm high
    # walls of a net of half a millimetre, rough by 0.01 mm, is surely known to.
    assert abs(new[:, :, 2].max() - last_seen_mm) < 0.1
    # On the round wall, the bore's, or the end: chords of the net's own sides lie 0.01 mm within the round.
    x, y, z = new.mean(axis=1).T
    off_mm = np.min([np.abs(np.hypot(x, y) - r) for r in (RADIUS_MM, BORE_MM)] + [np.abs(z - last_seen_mm)], axis=0)
    assert off_mm.max() < 0.15


def test_a_tube_with_a_belt_of_it_not_seen_is_not_cut_in_two():
    def inside(x, y, z):
        return -max(hypot(x, y) - 5.0, -z, z - 14.0, 3.0 - hypot(x, y))

    tube = faults._part(inside, (-6, -6, -1, 6, 6, 15))
    z = faults.middles(tube)[:, 2]
    seen = tube.faces[(z < 5.0) | (z > 9.0)]
    draft = Draft(Mesh(tube.vertices_mm, seen), np.zeros(len(seen), dtype=np.uint8))
    assert close_hub_ends(draft) is draft
