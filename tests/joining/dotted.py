"""Marker dots stuck on simulated parts, as they come out in a scan: a flat or domed bump, or a round hole.

A dot is put on a view after it was made: the corners under it are raised along the surface, or the faces under it are
left out. Nothing here is used by the verifier, and nothing of it is used here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from scipy.spatial import cKDTree

from inbox_demo.simulated import Shape
from inbox_demo.simulated.distances import bore, cut, disc, intersect, slab, unite
from tests.joining import turntable, views
from tests.joining.views import Array, Faces

Seen = TypeVar("Seen", views.View, turntable.View)


@dataclass(frozen=True)
class Dots:
    """What was stuck on a part.

    at_mm : (n, 3) middles on its surface, facing : (n, 3) outward, both in the part's own axes
    """

    at_mm: Array
    facing: Array
    diameter_mm: float = 5.0
    height_mm: float = 0.15
    domed: bool = False


def stuck_on(view: Seen, dots: Dots, *, holes: float = 0.0, rng: np.random.Generator | None = None) -> Seen:
    """The view with the dots that it shows; so many of them, as a share, as round holes."""
    part = view.vertices_mm @ view.to_part[:3, :3].T + view.to_part[:3, 3]
    normals, middles = _corner_normals(part, view.faces), part[view.faces].mean(axis=1)
    vertices, kept = view.vertices_mm.copy(), np.ones(len(view.faces), dtype=bool)
    back, tree, radius = np.linalg.inv(view.to_part[:3, :3]), cKDTree(part), dots.diameter_mm / 2.0
    for at, way in zip(dots.at_mm, dots.facing, strict=True):
        near = np.array(tree.query_ball_point(at, radius), dtype=np.int64)
        near = near[normals[near] @ way > 0.5]
        if rng is not None and rng.uniform() < holes:
            kept &= ~((np.linalg.norm(middles - at, axis=1) < radius) & (normals[view.faces[:, 0]] @ way > 0.5))
            continue
        share = (np.linalg.norm(part[near] - at, axis=1) / radius) ** 2
        rise = dots.height_mm * (1.0 - share if dots.domed else np.ones(len(near)))
        vertices[near] += (rise[:, None] * normals[near]) @ back.T
    return replace(view, vertices_mm=vertices, faces=view.faces[kept], is_part=view.is_part[kept])


def _corner_normals(points: Array, faces: Faces) -> Array:
    a, b, c = (points[faces[:, k]] for k in range(3))
    flat = np.cross(b - a, c - a)
    total = np.zeros_like(points)
    for k in range(3):
        np.add.at(total, faces[:, k], flat)
    return total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12)


def lid_with_a_heel(long_mm: float = 1200.0, wide_mm: float = 400.0) -> views.Large:
    """A lid whose rim is the same turned half round, and whose faces are not: one end is thicker inside."""

    def half(x: Array, y: Array, inward: Array) -> Array:
        return 14.0 + 14.0 * views.rising(inward, 0.37 * wide_mm) * (1.0 + 0.2 * np.tanh(8.0 * x / long_mm))

    outline = views.superellipse(long_mm / 2.0, wide_mm / 2.0, 3.0)
    return views.Large("trough_lid", outline, lambda x, y: 0.0 * x, half, 14.0, 14.0, 56.0)


def round_lid() -> views.Large:
    """A round lid: its rim says nothing of how one face is turned to the other."""

    def half(x: Array, y: Array, inward: Array) -> Array:
        return 14.0 + 12.0 * views.rising(inward, 100.0) * (1.0 + 0.2 * x / 250.0)

    return views.Large("drum_lid", lambda angle: 250.0 + 0.0 * angle, lambda x, y: 0.0 * x, half, 14.0, 14.0, 52.0)


def on_rim(part: views.Large, at_mm: Array) -> Array:
    """How far places near the rim lie off it, outward positive: the rim is half round about a line round the part."""
    angle = np.linspace(0.0, 2.0 * np.pi, 20_000)
    line = views._at(part, angle, np.full(len(angle), -part.round_mm * np.pi / 2.0), 1)[:, :2]
    inside = cKDTree(line).query(at_mm[:, :2])[0]
    return np.hypot(inside, at_mm[:, 2]) - part.round_mm


def dots_round_rim(part: views.Large, rng: np.random.Generator, count: int = 10, **how: float) -> Dots:
    """Dots along the middle of the rim, spaced by eye."""
    angle = views._rim_angles(part, 1.0, 0.0)
    step = len(angle) / count
    chosen = angle[((np.arange(count) + rng.uniform(-0.35, 0.35, count)) * step).astype(int) % len(angle)]
    low = rng.uniform(-1.0, 1.0, count)
    at = views._at(part, chosen, low, 1)
    ahead = views._at(part, chosen + 1e-4, low, 1) - at
    facing = np.column_stack([ahead[:, 1], -ahead[:, 0], 0.0 * low])
    return Dots(at, facing / np.linalg.norm(facing, axis=1, keepdims=True), **how)


def round_cap() -> Shape:
    """A cap 80 mm across: a boss off its middle on one face, a rib on the other, and a round wall that both share."""

    def distance(p: Array) -> Array:
        drum = intersect(disc(p, (0, 0), 40.0), slab(p[:, 2], -10.0, 10.0), radius_mm=4.0)
        boss = intersect(disc(p, (18, 0), 6.0), slab(p[:, 2], 0.0, 13.0))
        rib = intersect(slab(p[:, 0], -20.0, 20.0), slab(p[:, 1], 6.0, 10.0), slab(p[:, 2], -13.0, 0.0))
        return unite(drum, boss, rib)

    return Shape("round_cap", distance, (-41, -41, -14), (41, 41, 14))


def dots_round_cap(rng: np.random.Generator, count: int = 6, **how: float) -> Dots:
    """Dots round the cap's wall, spaced by eye."""
    turn = (np.arange(count) + rng.uniform(-0.3, 0.3, count)) * 2.0 * np.pi / count
    out = np.column_stack([np.cos(turn), np.sin(turn), 0.0 * turn])
    return Dots(40.0 * out + np.column_stack([0.0 * turn, 0.0 * turn, rng.uniform(-1.0, 1.0, count)]), out, **how)


# Five places that no turn and no mirror brings onto each other.
PLACES_MM = ((-38.0, -17.0), (-20.0, 9.0), (3.0, -14.0), (21.0, 13.0), (38.0, -6.0))


def plate_with(feature: str, size_mm: float) -> Shape:
    """A plate with five of one real feature, each as wide as a dot: boss, bore, blind bore, countersink, raised lip."""

    def distance(p: Array) -> Array:
        solid = intersect(slab(p[:, 0], -50.0, 50.0), slab(p[:, 1], -28.0, 28.0), slab(p[:, 2], 0.0, 8.0))
        for at in PLACES_MM:
            aside, z = np.hypot(p[:, 0] - at[0], p[:, 1] - at[1]), p[:, 2]
            if feature in ("boss", "lip"):
                wide_mm = 2.5 if feature == "boss" else 3.0
                solid = unite(solid, intersect(aside - wide_mm, slab(z, 4.0, 8.0 + size_mm)))
            if feature in ("bore", "lip"):
                solid = cut(solid, bore(p, at, size_mm if feature == "bore" else 4.0))
            if feature == "blind bore":
                solid = cut(solid, np.maximum(aside - 2.5, 8.0 - size_mm - z))
            if feature == "countersink":
                solid = cut(cut(solid, bore(p, at, 3.2)), (aside - size_mm / 2.0 - (z - 8.0)) / np.sqrt(2.0))
        return solid

    return Shape("plate", distance, (-52, -30, -2), (52, 30, 12))


# What looks like a dot and is none: kind and size, mm.
REAL = (
    *(("boss", size) for size in (0.6, 0.8, 1.0, 2.0)),
    *(("bore", size) for size in (3.2, 4.2, 5.0, 6.0)),
    *(("blind bore", size) for size in (0.3, 1.0, 3.0)),
    *(("countersink", size) for size in (5.0, 6.0)),
    *(("lip", size) for size in (0.3, 0.8)),
)
