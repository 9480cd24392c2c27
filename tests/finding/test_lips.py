"""A block whose edges a scanner raised, and one with a pad of the same height that is its own."""

import numpy as np
import pytest

from inbox_demo import simulated as sim
from verifier.finding import find_features
from verifier.mending.solid import Solid
from verifier.mesh import Mesh

SIZE_MM = (40.0, 30.0, 20.0)
RAISED_MM = 0.2


def block(p: sim.Array) -> sim.Array:
    return sim.intersect(sim.box2(p, (0, 0), SIZE_MM[:2]), sim.slab(p[:, 2], 0.0, SIZE_MM[2]))


def with_lip(p: sim.Array) -> sim.Array:
    """A bead of 0.4 mm across along the edges of the top, its crest 0.2 mm above it."""
    rim = np.abs(sim.box2(p, (0, 0), (SIZE_MM[0] - 0.4, SIZE_MM[1] - 0.4)))
    bead = np.hypot(rim, p[:, 2] - (SIZE_MM[2] - 0.2)) - 0.2 - RAISED_MM
    return sim.unite(block(p), bead)


def with_pad(p: sim.Array) -> sim.Array:
    pad = sim.intersect(sim.box2(p, (5, 3), (4, 4)), sim.slab(p[:, 2], 10.0, SIZE_MM[2] + RAISED_MM), radius_mm=0.05)
    return sim.unite(block(p), pad)


def height_of(distance: sim.Distance, spacing_mm: float = 0.5) -> float:
    shape = sim.Shape("block", distance, (-22, -17, -2), (22, 17, 22))
    made = sim.scan(shape, spacing_mm=spacing_mm, seed=77, white_mm=0.01, correlated_mm=0.0)
    solid = Solid(Mesh(made.vertices_mm, made.faces), np.zeros(len(made.faces), dtype=np.uint8))
    up = made.turn @ np.array([0.0, 0.0, 1.0])
    features = find_features(solid)
    return next(e.length_mm for e in features.extents if abs(float(e.direction @ up)) > 0.9)


def test_a_lip_along_the_rim_adds_nothing_to_the_height():
    assert height_of(with_lip) == pytest.approx(SIZE_MM[2], abs=0.01)


def test_a_pad_away_from_the_rim_does():
    # Nine cells of 0.5 mm along the pad, and its edges are rounded: half of its height is the least a foot meets.
    assert height_of(with_pad) > SIZE_MM[2] + 0.5 * RAISED_MM


def test_a_plain_block_is_as_high_as_it_is():
    assert height_of(block) == pytest.approx(SIZE_MM[2], abs=0.01)


def bored_with_lips(p: sim.Array) -> sim.Array:
    """A bore of 10 mm that a scanner narrowed by 0.24 mm in a ring just inside each mouth."""
    off = np.hypot(p[:, 0], p[:, 1])
    inside = np.minimum(p[:, 2], SIZE_MM[2] - p[:, 2])
    narrowed = 0.12 * np.exp(-(((inside - 0.8) / 0.35) ** 2))
    return sim.cut(block(p), off - 5.0 + narrowed)


def test_the_lips_of_a_bores_mouths_are_no_bore_of_their_own():
    shape = sim.Shape("block", bored_with_lips, (-22, -17, -2), (22, 17, 22))
    made = sim.scan(shape, spacing_mm=0.4, seed=78, white_mm=0.01, correlated_mm=0.0)
    solid = Solid(Mesh(made.vertices_mm, made.faces), np.zeros(len(made.faces), dtype=np.uint8))
    bores = find_features(solid).bores
    assert [bore.diameter_mm for bore in bores] == pytest.approx([10.0], abs=0.02)


def rib(p: sim.Array) -> sim.Array:
    """A rib of 2 mm on the block, round on top."""
    across = sim.intersect(sim.slab(p[:, 1], -1.0, 1.0), sim.slab(p[:, 2], 5.0, SIZE_MM[2] + 4.0), radius_mm=1.2)
    return sim.intersect(across, sim.slab(p[:, 0], -15.0, 15.0))


def lip_below(p: sim.Array) -> sim.Array:
    """The same bead as `with_lip` has, along the edges of the underside."""
    return np.hypot(np.abs(sim.box2(p, (0, 0), (SIZE_MM[0] - 0.4, SIZE_MM[1] - 0.4))), p[:, 2] - 0.2) - 0.2 - RAISED_MM


def u_height_of(distance: sim.Distance) -> float:
    shape = sim.Shape("block", distance, (-22, -17, -2), (22, 17, 26))
    made = sim.scan(shape, spacing_mm=0.5, seed=78, white_mm=0.01, correlated_mm=0.0)
    features = find_features(Solid(Mesh(made.vertices_mm, made.faces), np.zeros(len(made.faces), dtype=np.uint8)))
    up = made.turn @ np.array([0.0, 0.0, 1.0])
    return next(e.u_length_mm for e in features.extents if abs(float(e.direction @ up)) > 0.9)


def test_a_narrow_top_is_known_less_well_where_the_same_scan_has_lips_elsewhere():
    with_lips = u_height_of(lambda p: sim.unite(block(p), rib(p), lip_below(p)))
    assert with_lips > u_height_of(lambda p: sim.unite(block(p), rib(p))) + 0.02
