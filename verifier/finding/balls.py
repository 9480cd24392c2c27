"""Balls and sockets: points whose normals all meet in one place, over a good part of a sphere."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from verifier.finding.arcs import U_CORNERS, most_smoothing_mm2
from verifier.finding.cones import large_patches
from verifier.finding.doubt import evenly, fit_covariance, scatter_ratio
from verifier.finding.feature import Ball, Noise
from verifier.finding.fits import SphereFit, fit_sphere, sphere_through
from verifier.finding.rings import SHIELD_COSINE
from verifier.finding.surface import Surface
from verifier.finding.walls import END_TRIM_MM
from verifier.mesh import Array, BoolArray, IntArray

# A rounded corner of a box is an eighth of a ball, a rounded end of a rod half of one, a ball on its neck nine tenths.
LEAST_SHARE = 0.3
LEAST_RADIUS_MM, MOST_RADIUS_MM = 1.0, 150.0
JUDGES, FIRST_NEAR, LAST_NEAR = 1500, 8, 48
LEAST_TURNED = 0.02  # squared difference of two unit normals, 8 degrees: nearer ones tell no radius
MOST_TRIALS = 150
MOST_LOOKS = 3
FITTED_POINTS = 6000
LEAST_POINTS = 60


@dataclass(frozen=True, slots=True)
class _Sphere:
    """A sphere as first seen; the radius is negative for a socket."""

    centre_mm: Array
    radius_mm: float

    def holds(self, at: Array, facing: Array, band_mm: Array) -> BoolArray:
        """Which points lie on it and face away from its centre (towards it in a socket), (n,)."""
        return np.asarray(_held(self.centre_mm[None], np.array([self.radius_mm]), at, facing, band_mm)[0])


def _held(centres_mm: Array, radii_mm: Array, at: Array, facing: Array, band_mm: Array) -> BoolArray:
    """Which points, (n,), lie on each of several spheres, (k,), and face the right way, (k, n)."""
    x, y, z = (points - centre[:, None] for points, centre in zip(at.T, centres_mm.T, strict=True))
    distance = np.maximum(np.sqrt(x * x + y * y + z * z), 1e-9)
    outwards = (x * facing[:, 0] + y * facing[:, 1] + z * facing[:, 2]) / distance * np.sign(radii_mm)[:, None]
    on = np.abs(distance - np.abs(radii_mm)[:, None]) < band_mm
    return np.asarray(on & (outwards > SHIELD_COSINE))


def find_balls(surface: Surface, free: BoolArray, noise: Noise) -> tuple[Ball, ...]:
    """Balls, then sockets, each numbered by diameter, largest first.

    free : (n,) seen points in no plane, round wall or cone
    """
    band_mm = max(4.0 * noise.spread_mm, 0.06)
    balls = [
        ball
        for patch in large_patches(surface, np.flatnonzero(free))
        for ball in _balls_in(surface, patch, band_mm, noise)
    ]
    balls.sort(key=lambda ball: -ball.diameter_mm)
    of_kind = [[ball for ball in balls if ball.kind == kind] for kind in ("ball", "socket")]
    return tuple(replace(ball, name=f"{ball.kind} {i + 1}") for group in of_kind for i, ball in enumerate(group))


def _balls_in(surface: Surface, patch: IntArray, band_mm: float, noise: Noise) -> Iterator[Ball]:
    """One after the other the balls of a connected patch; rounded edges join many things to one patch."""
    looks = MOST_LOOKS
    while looks > 0 and len(patch) >= LEAST_POINTS:
        sphere = _sphere_by_vote(surface, patch, band_mm)
        if sphere is None:
            return
        at, facing = surface.points_mm[patch], surface.normals[patch].astype(np.float64)
        on = sphere.holds(at, facing, band_mm + surface.chord_mm[patch])
        points = max(large_patches(surface, patch[on]), key=len, default=patch[:0])
        if _share(surface, points, sphere.radius_mm) >= LEAST_SHARE:
            yield _fitted(surface, points, sphere, noise)
            patch = np.setdiff1d(patch, points, assume_unique=True)
        else:  # rounded corners, most often; what is left may still hold a ball
            looks -= 1
            patch = patch[~on]


def _share(surface: Surface, points: IntArray, radius_mm: float) -> float:
    """Share of the whole sphere that these points are."""
    return float(surface.areas_mm2[points].sum() / (4.0 * np.pi * radius_mm**2))


def _sphere_by_vote(surface: Surface, patch: IntArray, band_mm: float) -> _Sphere | None:
    """The sphere that most points agree on in place and in normal.

    Two neighbouring points p, q with normals m, n give the radius (p - q).(m - n) / |m - n|^2; on a sphere p - q is
    that much of m - n and nothing besides, which most pairs elsewhere fail.
    """
    few = patch[evenly(len(patch), JUDGES)]
    p, n = surface.points_mm[few], surface.normals[few].astype(np.float64)
    if len(few) <= LAST_NEAR:
        return None
    near = cKDTree(p).query(p, k=LAST_NEAR)[1]
    rows = np.arange(len(p))
    partner = near[rows, FIRST_NEAR + rows % (LAST_NEAR - FIRST_NEAR)]
    way, turned = p - p[partner], n - n[partner]
    square = np.maximum(np.einsum("ij,ij->i", turned, turned), 1e-12)
    radius = np.einsum("ij,ij->i", way, turned) / square
    besides = np.linalg.norm(way - radius[:, None] * turned, axis=1)
    likely = np.flatnonzero(
        (square > LEAST_TURNED)
        & (besides < 0.25 * np.linalg.norm(way, axis=1) + band_mm)
        & (np.abs(radius) > LEAST_RADIUS_MM)
        & (np.abs(radius) < MOST_RADIUS_MM)
    )
    if len(likely) == 0:
        return None
    tried = likely[evenly(len(likely), MOST_TRIALS)]
    centre, reach = p[tried] - radius[tried, None] * n[tried], band_mm + surface.chord_mm[few]
    votes = [np.count_nonzero(on) for on in _held(centre, radius[tried], p, n, 3.0 * reach)]
    best = int(np.argmax(votes))
    return _settled(p, n, _Sphere(centre[best], float(radius[tried[best]])), reach)


def _settled(p: Array, n: Array, sphere: _Sphere, reach_mm: Array) -> _Sphere:
    """The sphere through all points near it, until it stands still."""
    for factor in (3.0, 2.0, 1.0, 1.0, 1.0):
        on = sphere.holds(p, n, factor * reach_mm)
        if np.count_nonzero(on) < LEAST_POINTS // 4:
            break
        # Averaged normals turn less than the surface does, and would say it is the flatter: the places alone count.
        centre, radius = sphere_through(p[on])
        sphere = _Sphere(centre, radius * float(np.sign(sphere.radius_mm)))
    return sphere


def _fitted(surface: Surface, points: IntArray, sphere: _Sphere, noise: Noise) -> Ball:
    """The ball by least squares, with its uncertainties.

    A smoothing over s draws a sphere in twice as far as a cylinder, s^2 / r, for it bends both ways: half of the most
    that may be is given back (see `arcs.lift_of`). Of a coarse net only its own corners count.
    """
    whole = points
    inner = _clear_of_rim(surface, points)
    points = inner if len(inner) >= LEAST_POINTS else points
    if surface.coarse and np.count_nonzero(points < surface.corner_count) >= LEAST_POINTS:
        points = points[points < surface.corner_count]
    points = points[evenly(len(points), FITTED_POINTS)]
    at = surface.points_mm[points]
    fit = fit_sphere(at, start=(sphere.centre_mm, abs(sphere.radius_mm)), least_spread_mm=max(noise.white_mm, 1e-4))
    kept = fit.weights > 0.2
    out = (at[kept] - fit.centre_mm) / np.linalg.norm(at[kept] - fit.centre_mm, axis=1, keepdims=True)
    slope = np.column_stack([out, np.ones(len(out))])
    form = np.column_stack([slope, *_lobes(out)])
    covariance = fit_covariance(slope, at[kept], noise)
    covariance *= max(1.0, scatter_ratio(form, fit.residuals_mm[kept], at[kept], noise))
    drawn_mm = most_smoothing_mm2(surface, noise) / fit.radius_mm
    arc_mm = U_CORNERS * float(np.median(surface.chord_mm[points]))
    u_radius_mm = float(np.sqrt(covariance[3, 3] + drawn_mm**2 / 12.0 + arc_mm**2))
    return Ball(
        name="",
        kind="ball" if sphere.radius_mm > 0.0 else "socket",
        centre_mm=fit.centre_mm,
        towards=out.mean(axis=0) / max(float(np.linalg.norm(out.mean(axis=0))), 1e-12),
        diameter_mm=2.0 * fit.radius_mm + drawn_mm,
        form_error_mm=_form_error_mm(form, fit, kept),
        seen_share=min(1.0, _share(surface, whole, fit.radius_mm)),
        rms_mm=float(np.sqrt(np.average(fit.residuals_mm**2, weights=fit.weights))),
        u_diameter_mm=2.0 * u_radius_mm,
        u_position_mm=float(np.sqrt(np.linalg.eigvalsh(covariance[:3, :3])[-1])),
        point_count=int(kept.sum()),
        faces=surface.faces_of(whole),
    )


def _clear_of_rim(surface: Surface, points: IntArray) -> IntArray:
    """Those clear of the rim, where edges are rounded; by steps from neighbour to neighbour, two at least."""
    kept = np.zeros(len(surface.points_mm), dtype=np.float32)
    kept[points] = 1.0
    for _ in range(max(2, int(np.ceil(2.0 * END_TRIM_MM / surface.spacing_mm)))):
        rows = surface.neighbours[points]
        points = points[rows @ kept == np.diff(rows.indptr)]
        kept[:] = 0.0
        kept[points] = 1.0
    return points


def _lobes(out: Array) -> list[Array]:
    """The five ways in which a ball is first out of round: second harmonics of its unit vectors (n, 3)."""
    x, y, z = out.T
    return [x * y, y * z, z * x, x * x - y * y, 3.0 * z * z - 1.0]


def _form_error_mm(form: Array, fit: SphereFit, kept: BoolArray) -> float:
    """Peak to valley of those lobes, where points were seen."""
    found = np.linalg.lstsq(form, fit.residuals_mm[kept], rcond=None)[0]
    return float(np.ptp(form[:, 4:] @ found[4:]))
