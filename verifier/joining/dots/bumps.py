"""Small round bumps on a smooth surface."""

import numpy as np
from scipy.special import ndtr

from verifier.joining.dots.dot import (
    LEAST_DIAMETER_MM,
    LEAST_HEIGHT_MM,
    MOST_DIAMETER_MM,
    MOST_HEIGHT_MM,
    NO_DOTS,
    Dots,
)
from verifier.joining.dots.relief import standing_out
from verifier.joining.dots.surroundings import SECTORS, Around, around, corners_near, moved_along
from verifier.mesh import Array, BoolArray

# So many places that stand out are looked at, those first that stand out most.
LOOKED_AT = 240
# Before the size is known, the smooth surface is laid through this ring.
FIRST_RING_MM = (3.6, 6.2)
ROUNDS = 2
# Then through one so wide, as far off the dot's rim as a scan blurs it, in spacings and no less than this.
RING_WIDE_MM, BLUR_SPACINGS, LEAST_BLUR_MM = 2.2, 0.7, 0.4
# A dot's surroundings scatter by no more than this share of its height, and hold corners all round.
MOST_SCATTER = 1 / 3
# Shares of the corners well inside that stand out by half the height, and of the ring's that do.
LEAST_INSIDE, MOST_OUTSIDE = 0.88, 0.05
INSIDE_SHARE = 0.75
# Radii are looked for between these; a rim is blurred by so much.
NARROWEST_MM, WIDEST_MM, BESIDE_MM = 1.0, 4.2, 0.6
# Round: the narrowest spread of what stands out against the widest, and how much of a flat disc it fills.
LEAST_ROUND, FILLED = 0.5, (0.65, 1.3)
LEAST_CORNERS = 6
# Stickers are no thicker than this; what is higher is a lump of putty, whose outer half is well below its middle, or it
# is a boss.
MOST_FLAT_MM, DOMED = 0.4, 0.75


def bumps_on(points_mm: Array, normals: Array, spacing_mm: float) -> Dots:
    """All small round bumps, whatever their size within a dot's.

    points_mm, normals : (n, 3) corners and roughly the way the surface faces there
    """
    places = standing_out(points_mm, normals, spacing_mm, LOOKED_AT)
    if len(places.at_mm) == 0:
        return NO_DOTS
    near = corners_near(points_mm, places.at_mm)
    found = around(points_mm, normals, near, places.at_mm, places.along, np.tile(FIRST_RING_MM, (len(places.at_mm), 1)))
    some = np.flatnonzero(_may_be_dot(found))
    if len(some) == 0:
        return NO_DOTS
    middles, along, radius = (each[some] for each in _centred(found))
    near = near.of(some)
    blur_mm = max(LEAST_BLUR_MM, BLUR_SPACINGS * spacing_mm)
    for _ in range(ROUNDS):
        ring = radius[:, None] + blur_mm + np.array([0.0, RING_WIDE_MM])
        found = around(points_mm, normals, near, middles, along, ring)
        middles, along, radius = _centred(found)
    ring = radius[:, None] + blur_mm + np.array([0.0, RING_WIDE_MM])
    found = around(points_mm, normals, near, middles, along, ring)
    height = _height(found)
    good = _is_dot(found, height, radius, ring)
    return _once(Dots(found.at_mm, found.facing, 2.0 * radius, height).of(good))


def _may_be_dot(found: Around) -> BoolArray:
    """A first look, before middle and size are known, that leaves most places out."""
    height = _height(found)
    return np.asarray((height > 0.5 * LEAST_HEIGHT_MM) & (height < MOST_HEIGHT_MM) & (found.scatter_mm < height))


def _height(found: Around) -> Array:
    return found.middle(found.rise_mm, found.away_mm < 1.5)


def _above(found: Around, radius: Array) -> BoolArray:
    half = 0.5 * np.maximum(_height(found), 1e-3)[found.place]
    return np.asarray((found.rise_mm > half) & (found.away_mm < radius[found.place] + BESIDE_MM))


def _radius(found: Around) -> Array:
    """Of the disc that, raised as a whole, explains the most of the rises, half-way to the next corner out."""
    near = np.flatnonzero(found.away_mm < WIDEST_MM)
    near = near[np.lexsort((found.away_mm[near], found.place[near]))]
    place, away, rise = found.place[near], found.away_mm[near], found.rise_mm[near]
    radius = np.full(found.count, NARROWEST_MM)
    if len(near) == 0:
        return radius
    first = np.r_[True, np.diff(place) > 0]
    start = np.flatnonzero(first)[np.cumsum(first) - 1]
    total = np.cumsum(rise)
    total -= np.where(start > 0, total[start - 1], 0.0)
    explained = np.where((total > 0.0) & (away > NARROWEST_MM), total**2 / (np.arange(len(near)) - start + 1), 0.0)
    next_out = np.where(np.r_[first[1:], True], away, np.r_[away[1:], 0.0])
    best = np.lexsort((explained, place))[np.r_[first[1:], True]]
    radius[place[best]] = np.maximum(0.5 * (away + next_out)[best], NARROWEST_MM)
    return radius


def _centred(found: Around) -> tuple[Array, Array, Array]:
    """Middles of what stands out by half, the way they face, and its radius."""
    radius = _radius(found)
    above = _above(found, radius)
    many = np.maximum(found.total(above), 1.0)
    u, v = (found.total(each * above) / many for each in (found.u_mm, found.v_mm))
    return moved_along(found, u, v), found.facing, radius


def _is_dot(found: Around, height: Array, radius: Array, ring: Array) -> BoolArray:
    away, mine = found.away_mm, found.place
    inside = away < INSIDE_SHARE * radius[mine]
    outside = (away > ring[mine, 0]) & (away < ring[mine, 1])
    whole = found.rise_mm > 0.5 * height[mine]
    strays = ndtr(-0.5 * height / np.maximum(found.scatter_mm, 1e-6))  # so many are off by half the height at random
    dense = found.total(outside) / (np.pi * (ring[:, 1] ** 2 - ring[:, 0] ** 2))
    under = away < radius[mine] + BESIDE_MM
    filled = found.total(found.rise_mm * under) / np.maximum(dense * np.pi * radius**2 * height, 1e-9)
    return np.asarray(
        (height > LEAST_HEIGHT_MM)
        & (height < MOST_HEIGHT_MM)
        & (2.0 * radius > LEAST_DIAMETER_MM)
        & (2.0 * radius < MOST_DIAMETER_MM)
        & (found.sectors == SECTORS)
        & (found.scatter_mm < MOST_SCATTER * height)
        & (found.total(inside) >= LEAST_CORNERS)
        & (found.share(whole, inside) > LEAST_INSIDE - strays)
        & (found.share(whole, outside) < MOST_OUTSIDE + strays)
        & (filled > FILLED[0])
        & (filled < FILLED[1])
        & ((height < MOST_FLAT_MM) | (_edge_height(found, radius) < DOMED * height))
        & (_roundness(found, _above(found, radius)) > LEAST_ROUND)
    )


def _edge_height(found: Around, radius: Array) -> Array:
    """Mean rise of the outer half of the disc."""
    away, radii = found.away_mm, radius[found.place]
    outer = (away > 0.7 * radii) & (away < radii)
    return np.asarray(found.total(found.rise_mm * outer) / np.maximum(found.total(outer), 1.0))


def _roundness(found: Around, above: BoolArray) -> Array:
    """The narrowest spread of what stands out against the widest, as squares."""
    many = np.maximum(found.total(above), 1.0)
    u, v = (found.total(each * above) / many for each in (found.u_mm, found.v_mm))
    uu, vv, uv = (
        found.total(a * b * above) / many - c * d
        for a, b, c, d in (
            (found.u_mm, found.u_mm, u, u),
            (found.v_mm, found.v_mm, v, v),
            (found.u_mm, found.v_mm, u, v),
        )
    )
    middle, half = 0.5 * (uu + vv), np.hypot(0.5 * (uu - vv), uv)
    return np.asarray((middle - half) / np.maximum(middle + half, 1e-12))


def _once(dots: Dots) -> Dots:
    """One of those that lie on each other: two pictures may show one place."""
    kept: list[int] = []
    for k in np.argsort(-dots.height_mm, kind="stable").tolist():
        if all(np.linalg.norm(dots.at_mm[k] - dots.at_mm[j]) > LEAST_DIAMETER_MM for j in kept):
            kept.append(k)
    return dots.of(np.array(sorted(kept), dtype=np.int64))
