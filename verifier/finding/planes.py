"""Flat faces: where many normals agree, connected, and no wider when one looks less strictly."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from verifier.finding.doubt import evenly, fit_covariance
from verifier.finding.feature import Noise, Plane
from verifier.finding.fits import PlaneFit, fit_plane, frame_along
from verifier.finding.robust import spread_mm
from verifier.finding.surface import Surface
from verifier.mesh import Array, BoolArray, IntArray

LEAST_AREA_MM2 = 4.0
# A rounded edge 0.25 mm in radius holds a strip 0.2 mm wide whose normals agree; along 24 mm it has 4 mm2.
LEAST_WIDTH_MM = 0.7
VOTERS, SEEDS = 20_000, 1500
VOTE_DEG = 4.0
# Scatter of 0.04 mm shared over 2 mm tilts normals by 1.2 degrees (one sigma); 8 degrees keeps them all in.
CONE_DEG, WIDER_CONE_DEG = 8.0, 14.0
# A flat gains only its blends when the cone widens; any curved face gains by 14/8 or more.
MOST_GAIN = 1.25
OFFSET_BIN_MM, OFFSET_WINDOW_MM = 0.04, 0.2
LEAST_BAND_MM = 0.03
BAND_SPREADS = 4.0
MOST_DIRECTIONS = 60
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
    flats: list[Flat] = []
    for _ in range(PASSES):
        before = len(flats)
        for direction in _directions(surface, free):
            for flat in _flats_facing(surface, free, direction):
                flats.append(flat)
                free[flat.points] = False
        if len(flats) == before:
            break
    return sorted(flats, key=lambda flat: -flat.area_mm2)


def _directions(surface: Surface, free: BoolArray) -> Iterator[Array]:
    """Directions most normals agree on, strongest first, each at least 6 degrees from those before.

    The seeds are normals of the part itself, so that the outcome does not hang on how the part lies.
    """
    voters = np.flatnonzero(free)
    if len(voters) == 0:
        return
    area_per_voter = surface.areas_mm2[voters].sum() / min(len(voters), VOTERS)
    normals = surface.normals[voters[evenly(len(voters), VOTERS)]]
    seeds = normals[evenly(len(normals), SEEDS)]
    agree = seeds @ normals.T > np.cos(np.radians(VOTE_DEG))
    votes = agree.sum(axis=1)
    # Half the smallest patch is asked of the votes: the vote cone is narrower than the patch's own.
    least = max(3.0, 0.5 * LEAST_AREA_MM2 / area_per_voter)
    taken: list[Array] = []
    for seed in np.argsort(-votes, kind="stable"):
        if votes[seed] < least or len(taken) >= MOST_DIRECTIONS:
            return
        if taken and (np.array(taken) @ seeds[seed]).max() > np.cos(np.radians(6.0)):
            continue
        mean = normals[agree[seed]].astype(np.float64).mean(axis=0)
        taken.append(mean / np.linalg.norm(mean))
        yield taken[-1]


def _flats_facing(surface: Surface, free: BoolArray, direction: Array) -> Iterator[Flat]:
    """Connected patches that face this way and are flat."""
    facing = surface.normals @ direction.astype(np.float32)
    wide = np.flatnonzero(free & (facing > np.cos(np.radians(WIDER_CONE_DEG))))
    around = np.flatnonzero(surface.seen & (facing > np.cos(np.radians(WIDER_CONE_DEG + 6.0))))
    count, patch = surface.patches(wide)
    area = np.bincount(patch, surface.areas_mm2[wide], minlength=count)
    for label in np.flatnonzero(area >= LEAST_AREA_MM2):
        flat = _flat_in(surface, wide[patch == label], around, direction)
        if flat is not None:
            yield flat


def _flat_in(surface: Surface, patch: IntArray, around: IntArray, direction: Array) -> Flat | None:
    """The flat that most of a patch lies on, or nothing where the patch is curved.

    around : all measured points that face about this way, also those of other flats
    """
    normal = _settled_normal(surface, patch, direction)
    facing = surface.normals[patch] @ normal.astype(np.float32)
    inside = patch[facing > np.cos(np.radians(CONE_DEG))]
    if surface.areas_mm2[inside].sum() < LEAST_AREA_MM2:
        return None
    fit = _plane_among(surface.points_mm[inside], normal)
    away = (surface.points_mm[inside] - fit.centre_mm) @ fit.normal
    band = max(BAND_SPREADS * spread_mm(fit.residuals_mm), LEAST_BAND_MM)
    kept = _largest_patch(surface, inside[np.abs(away) < band])
    area = float(surface.areas_mm2[kept].sum())
    if area < LEAST_AREA_MM2 or _width_mm(surface, kept) < LEAST_WIDTH_MM:
        return None
    if _gain(surface, around, kept, fit, band) > MOST_GAIN:
        return None
    fit = fit_plane(surface.points_mm[kept], robust=True, least_spread_mm=LEAST_BAND_MM / BAND_SPREADS)
    sign = np.sign(fit.normal @ normal)
    return Flat(fit.normal * sign, fit.centre_mm, area, kept, fit.residuals_mm * sign, fit.weights)


def _plane_among(points_mm: Array, normal: Array) -> PlaneFit:
    """Robust plane through most points: from all of them, or from the commonest offset where that is the tighter.

    Two flats that meet at a few degrees pull the plane through all of them half-way between; the commonest offset
    along one flat's own normal belongs to that flat alone.
    """
    least = LEAST_BAND_MM / BAND_SPREADS
    whole = fit_plane(points_mm, robust=True, least_spread_mm=least)
    height = points_mm @ normal
    count, edge = np.histogram(height, bins=max(1, int(np.ptp(height) / OFFSET_BIN_MM)))
    near = np.abs(height - edge[int(np.argmax(count))]) < OFFSET_WINDOW_MM
    if near.mean() > 0.95 or near.sum() < 12:
        return whole
    part = fit_plane(points_mm[near], robust=True, least_spread_mm=least)
    return part if spread_mm(part.residuals_mm) < 0.5 * spread_mm(whole.residuals_mm) else whole


def _settled_normal(surface: Surface, patch: IntArray, direction: Array) -> Array:
    """Mean of the normals within the cone, until it stands still."""
    normals = surface.normals[patch].astype(np.float64)
    for _ in range(20):
        near = normals[normals @ direction > np.cos(np.radians(VOTE_DEG))]
        if len(near) == 0:
            return direction
        mean = near.mean(axis=0)
        mean /= np.linalg.norm(mean)
        settled = 1.0 - float(mean @ direction) < 1e-12
        direction = mean
        if settled:
            break
    return direction


def _largest_patch(surface: Surface, chosen: IntArray) -> IntArray:
    if len(chosen) == 0:
        return chosen
    count, patch = surface.patches(chosen)
    area = np.bincount(patch, surface.areas_mm2[chosen], minlength=count)
    return chosen[patch == int(np.argmax(area))]


def _width_mm(surface: Surface, kept: IntArray) -> float:
    """Width of the patch as that of a rectangle with the same second moment."""
    away = surface.points_mm[kept] - surface.points_mm[kept].mean(axis=0)
    return float(np.sqrt(12.0 * np.linalg.eigvalsh(away.T @ away / len(away))[1]))


def _gain(surface: Surface, around: IntArray, kept: IntArray, fit: PlaneFit, band_mm: float) -> float:
    """By how much the patch grows when band and cone are widened, points of other flats counted in."""
    facing = np.abs(surface.normals[around] @ fit.normal.astype(np.float32))
    away = np.abs((surface.points_mm[around] - fit.centre_mm) @ fit.normal)
    loose = around[(facing > np.cos(np.radians(WIDER_CONE_DEG))) & (away < 2.0 * band_mm)]
    _, patch = surface.patches(loose)
    joined = np.isin(patch, np.unique(patch[np.isin(loose, kept)]))
    return float(surface.areas_mm2[loose[joined]].sum() / max(surface.areas_mm2[kept].sum(), 1e-12))


def plane_of(flat: Flat, surface: Surface, noise: Noise, number: int) -> Plane:
    """A flat with its name and its uncertainties."""
    points = surface.points_mm[flat.points]
    u, v, _ = frame_along(flat.normal)
    rel = points - flat.centre_mm
    slope = np.column_stack([np.ones(len(rel)), rel @ u, rel @ v])
    cov = fit_covariance(slope, points, noise)
    return Plane(
        name=f"plane {number}",
        normal=flat.normal,
        centre_mm=flat.centre_mm,
        area_mm2=flat.area_mm2,
        rms_mm=float(np.sqrt(np.average(flat.away_mm**2, weights=flat.weights))),
        form_error_mm=_flatness_mm(rel @ u, rel @ v, flat.away_mm),
        u_offset_mm=float(np.sqrt(cov[0, 0])),
        u_tilt_rad=float(np.sqrt(max(cov[1, 1], cov[2, 2]))),
        point_count=len(flat.points),
        faces=surface.faces_of(flat.points),
        points_mm=points[evenly(len(points), KEPT_POINTS)],
    )


def _flatness_mm(x_mm: Array, y_mm: Array, away_mm: Array, cell_mm: float = 2.0) -> float:
    """Peak to valley of the means over 2 mm cells: a straightedge bridges the scatter of single points."""
    cells = np.stack([np.floor(x_mm / cell_mm), np.floor(y_mm / cell_mm)]).astype(np.int64)
    _, cell, count = np.unique(cells[0] * 1_000_003 + cells[1], return_inverse=True, return_counts=True)
    means = np.bincount(cell, away_mm) / count
    full = means[count >= 0.5 * np.median(count)]
    return float(np.ptp(full))
