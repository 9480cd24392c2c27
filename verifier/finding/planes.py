"""Flat faces: where many normals agree, connected, and no wider when one looks less strictly."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verifier.finding.directions import VOTE_DEG, common_directions, settled_direction
from verifier.finding.doubt import evenly, fit_covariance, scatter_ratio
from verifier.finding.feature import Noise, Plane
from verifier.finding.fits import PlaneFit, fit_plane, frame_along
from verifier.finding.robust import spread_mm
from verifier.finding.surface import Surface
from verifier.finding.warped import is_warped_flat
from verifier.mesh import Array, BoolArray, IntArray

LEAST_AREA_MM2 = 4.0
# A rounded edge 0.25 mm in radius holds a strip 0.2 mm wide whose normals agree; along 24 mm it has 4 mm2.
LEAST_WIDTH_MM = 0.7
# Scatter of 0.04 mm shared over 2 mm tilts normals by 1.2 degrees (one sigma); 8 degrees keeps them all in.
CONE_DEG, WIDER_CONE_DEG = 8.0, 14.0
# A flat gains only its blends when the cone widens; any curved face gains by 14/8 or more.
MOST_GAIN = 1.25
# The mean direction of a patch is known from so many of its points as well as from all.
SETTLING_POINTS = 20_000
GROWING_POINTS, GROWING_SEEDS, MUCH_TIGHTER = 500, 8, 0.6
# Of the area within 8 degrees a flat has four fifths or more within 4 degrees, a round wall half, a ball a quarter.
LEAST_PEAK = 0.62
LEAST_BEND_MM = 30.0
LEAST_BAND_MM = 0.03
BAND_SPREADS = 4.0
PASSES = 2
KEPT_POINTS = 400


@dataclass(frozen=True, slots=True)
class Flat:
    """A flat patch before its uncertainty is known.

    points : (k,) the surface's points it was fitted to
    away_mm : (k,) their signed distances
    """

    normal: Array
    centre_mm: Array
    area_mm2: float
    points: IntArray
    away_mm: Array
    weights: Array


def find_flats(surface: Surface) -> list[Flat]:
    """All flat patches of at least 4 mm2, largest first."""
    free = surface.seen.copy()
    curved = np.zeros(len(free), dtype=bool)
    flats: list[Flat] = []
    for _ in range(PASSES):
        before = len(flats)
        left, normals = _left(surface, free)
        for direction in common_directions(surface, free & ~curved, LEAST_AREA_MM2):
            if not free[left].all():  # a flat was found, and most directions follow when the largest are
                left, normals = _left(surface, free)
            for patch in _patches_facing(surface, left, normals, direction):
                flat = _flat_in(surface, free, patch, direction, curved)
                if flat is not None:
                    flats.append(flat)
                    free[flat.points] = False
        if len(flats) == before:
            break
    return sorted(flats, key=lambda flat: -flat.area_mm2)


def _left(surface: Surface, free: BoolArray) -> tuple[IntArray, NDArray[np.float32]]:
    """The free points, (k,), and their normals, (k, 3)."""
    left = np.flatnonzero(free)
    return left, np.take(surface.normals, left, axis=0)


def _patches_facing(
    surface: Surface, left: IntArray, normals: NDArray[np.float32], direction: Array
) -> Iterator[IntArray]:
    """Connected patches that face this way among the points left, (k,); normals : (k, 3) of these."""
    wide = left[normals @ direction.astype(np.float32) > np.cos(np.radians(WIDER_CONE_DEG))]
    count, patch = surface.patches(wide)
    area = np.bincount(patch, surface.areas_mm2[wide], minlength=count)
    for label in np.flatnonzero(area >= LEAST_AREA_MM2):
        yield wide[patch == label]


def _flat_in(surface: Surface, free: BoolArray, patch: IntArray, direction: Array, curved: BoolArray) -> Flat | None:
    """The flat that most of a patch lies on, or nothing where the patch is curved.

    curved : (n,) points of patches turned down before; those turned down here are added
    """
    normals = np.take(surface.normals, patch, axis=0)
    normal = settled_direction(normals[evenly(len(patch), SETTLING_POINTS)], direction)
    # Farther off than this, the patch holds but a part of what faces the way it settled; another direction has it all.
    if float(normal @ direction) < np.cos(np.radians(WIDER_CONE_DEG - CONE_DEG)):
        return None
    facing = normals @ normal.astype(np.float32)
    inside = patch[facing > np.cos(np.radians(CONE_DEG))]
    area = np.take(surface.areas_mm2, inside)
    if area.sum() < LEAST_AREA_MM2 or area[curved[inside]].sum() > 0.5 * area.sum():
        return None
    narrow = surface.areas_mm2[patch[facing > np.cos(np.radians(VOTE_DEG))]].sum()
    flat = _checked_flat(surface, free, inside, normal) if narrow > LEAST_PEAK * area.sum() else None
    if flat is None:
        curved[inside] = True
    return flat


def _checked_flat(surface: Surface, free: BoolArray, inside: IntArray, normal: Array) -> Flat | None:
    points_mm = np.take(surface.points_mm, inside, axis=0)
    fit = _plane_among(points_mm)
    away = (points_mm - fit.centre_mm) @ fit.normal
    band = max(BAND_SPREADS * spread_mm(fit.residuals_mm), LEAST_BAND_MM)
    kept = _largest_patch(surface, inside[np.abs(away) < band])
    area = float(surface.areas_mm2[kept].sum())
    if area < LEAST_AREA_MM2 or _width_mm(surface, kept) < LEAST_WIDTH_MM:
        return None
    if _gain(surface, free, kept, fit, band) > MOST_GAIN:
        return _warped_flat(surface, inside, normal)
    points_mm = np.take(surface.points_mm, kept, axis=0)
    if _is_bent(points_mm):
        return None
    fit = fit_plane(points_mm, robust=True, least_spread_mm=LEAST_BAND_MM / BAND_SPREADS)
    sign = np.sign(fit.normal @ normal)
    return Flat(fit.normal * sign, fit.centre_mm, area, kept, fit.residuals_mm * sign, fit.weights)


def _warped_flat(surface: Surface, inside: IntArray, normal: Array) -> Flat | None:
    """The plane through all of a face that is warped by more than it scatters; None where it is rather a curved one."""
    face = _largest_patch(surface, inside)
    if not is_warped_flat(surface.points_mm[face]):
        return None
    fit = fit_plane(surface.points_mm[face])
    sign = np.sign(fit.normal @ normal)
    area = float(surface.areas_mm2[face].sum())
    return Flat(fit.normal * sign, fit.centre_mm, area, face, fit.residuals_mm * sign, fit.weights)


def _plane_among(points_mm: Array) -> PlaneFit:
    """Robust plane through most points: from all of them, or grown from one place where that is much the tighter.

    Two flats that meet at a few degrees pull a plane through all of them half-way between; one grown from a place on
    either stays on it.
    """
    least = LEAST_BAND_MM / BAND_SPREADS
    whole = fit_plane(points_mm, robust=True, least_spread_mm=least)
    tighter_mm = MUCH_TIGHTER * BAND_SPREADS * spread_mm(whole.residuals_mm)
    if tighter_mm < LEAST_BAND_MM:
        return whole
    few = points_mm[evenly(len(points_mm), GROWING_POINTS)]
    grown = [_grown_plane(few, seed) for seed in few[evenly(len(few), GROWING_SEEDS)]]
    fit, band, count = max(grown, key=lambda g: g[2])
    if band > tighter_mm or count < 0.2 * len(few):
        return whole
    near = np.abs((points_mm - fit.centre_mm) @ fit.normal) < band
    return fit_plane(points_mm[near], robust=True, least_spread_mm=least)


def _grown_plane(points_mm: Array, seed_mm: Array) -> tuple[PlaneFit, float, int]:
    """Plane through the tenth of the points nearest a seed, grown over all that lie on it: fit, band, how many."""
    distance = np.linalg.norm(points_mm - seed_mm, axis=1)
    on = distance <= np.partition(distance, len(points_mm) // 10)[len(points_mm) // 10]
    fit = fit_plane(points_mm[on])
    band = max(BAND_SPREADS * spread_mm(fit.residuals_mm), LEAST_BAND_MM)
    for _ in range(6):
        before, on = on, np.abs((points_mm - fit.centre_mm) @ fit.normal) < band
        if on.sum() < 3 or np.array_equal(on, before):
            break
        fit = fit_plane(points_mm[on])
    return fit, band, int(on.sum())


def _largest_patch(surface: Surface, chosen: IntArray) -> IntArray:
    if len(chosen) == 0:
        return chosen
    count, patch = surface.patches(chosen)
    area = np.bincount(patch, surface.areas_mm2[chosen], minlength=count)
    return np.asarray(chosen[patch == int(np.argmax(area))])


def _width_mm(surface: Surface, kept: IntArray) -> float:
    """Width of the patch: of a rectangle with its second moment, or of one with its area and length if that is less."""
    away = np.take(surface.points_mm, kept, axis=0)
    away -= away.mean(axis=0)
    moments, axes = np.linalg.eigh(away.T @ away / len(away))
    length = float(np.ptp(away @ axes[:, 2]))
    return float(min(np.sqrt(12.0 * max(moments[1], 0.0)), surface.areas_mm2[kept].sum() / max(length, 1e-9)))


def _gain(surface: Surface, free: BoolArray, kept: IntArray, fit: PlaneFit, band_mm: float) -> float:
    """By how much the patch grows among the free points when band and cone are widened."""
    facing = np.abs(surface.normals @ fit.normal.astype(np.float32))
    around = np.flatnonzero(free & (facing > np.cos(np.radians(WIDER_CONE_DEG))))
    away = (np.take(surface.points_mm, around, axis=0) - fit.centre_mm) @ fit.normal
    loose = around[np.abs(away) < 2.0 * band_mm]
    count, patch = surface.patches(loose)
    joined = np.zeros(count, dtype=bool)
    joined[patch[np.searchsorted(loose, kept[np.isin(kept, loose)])]] = True
    return float(surface.areas_mm2[loose[joined[patch]]].sum() / max(surface.areas_mm2[kept].sum(), 1e-12))


def _is_bent(points_mm: Array) -> bool:
    """Whether the patch is a strip of a round wall of under 30 mm radius, its neighbours being other flats."""
    few = points_mm[evenly(len(points_mm), GROWING_POINTS * 4)]
    rel = few - few.mean(axis=0)
    x, y, h = (rel @ np.linalg.svd(rel, full_matrices=False)[2].T).T
    slope = np.column_stack([np.ones_like(x), x, y, 0.5 * x * x, x * y, 0.5 * y * y])
    found = np.linalg.lstsq(slope, h, rcond=None)[0]
    bends, turn = np.linalg.eigh(np.array([[found[3], found[4]], [found[4], found[5]]]))
    sharpest = int(np.argmax(np.abs(bends)))
    reach = 2.0 * float(np.std(turn.T[sharpest] @ np.stack([x, y])))
    sag = 0.5 * abs(float(bends[sharpest])) * reach**2
    return bool(abs(bends[sharpest]) > 1.0 / LEAST_BEND_MM and sag > spread_mm(h - slope @ found))


def plane_of(flat: Flat, surface: Surface, noise: Noise, number: int) -> Plane:
    """A flat with its name and its uncertainties."""
    points = np.take(surface.points_mm, flat.points, axis=0)
    u, v, _ = frame_along(flat.normal)
    rel = points - flat.centre_mm
    x, y = rel @ u, rel @ v
    slope = np.column_stack([np.ones(len(rel)), x, y])
    bowed = np.column_stack([slope, x * x, x * y, y * y])
    kept = flat.weights > 0.2
    cov = fit_covariance(slope, points, noise)
    cov *= max(1.0, scatter_ratio(bowed[kept], flat.away_mm[kept], points[kept], noise))
    across = np.stack([u, v])
    return Plane(
        name=f"plane {number}",
        normal=flat.normal,
        centre_mm=flat.centre_mm,
        area_mm2=flat.area_mm2,
        rms_mm=float(np.sqrt(np.average(flat.away_mm**2, weights=flat.weights))),
        form_error_mm=_flatness_mm(x, y, flat.away_mm),
        u_offset_mm=float(np.sqrt(cov[0, 0])),
        u_tilt_rad=float(np.sqrt(max(cov[1, 1], cov[2, 2]))),
        point_count=len(flat.points),
        faces=surface.faces_of(flat.points),
        points_mm=points[evenly(len(points), KEPT_POINTS)],
        slope_covariance=across.T @ cov[1:, 1:] @ across,
    )


def _flatness_mm(x_mm: Array, y_mm: Array, away_mm: Array, cell_mm: float = 2.0) -> float:
    """Peak to valley of the means over 2 mm cells: a straightedge bridges the scatter of single points."""
    cells = np.stack([np.floor(x_mm / cell_mm), np.floor(y_mm / cell_mm)]).astype(np.int64)
    _, cell, count = np.unique(cells[0] * 1_000_003 + cells[1], return_inverse=True, return_counts=True)
    means = np.bincount(cell, away_mm) / count
    full = means[count >= 0.5 * np.median(count)]
    return float(np.ptp(full))
