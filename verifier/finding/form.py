"""How far a face departs from a true plane, the scan's own scatter taken out: flatness, and what lies askew to a datum.

ISO 1101:2017 judges the real surface between two parallel planes, and ISO 12781-1:2011 takes short waves off it first.
Here the smoothed surface is a polynomial of up to the fourth degree, and the places about which the mean over a disc
of 2.4 mm or more lies off that by more than scatter explains; what scatter alone could have made is no form.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog
from scipy.spatial import ConvexHull, cKDTree
from scipy.special import chdtri, ndtri

from verifier.finding.doubt import evenly, fit_covariance
from verifier.finding.feature import Noise, Plane
from verifier.finding.fits import frame_along
from verifier.finding.surface import Surface
from verifier.finding.whole_faces import FORM_REACH_MM, face_points
from verifier.mesh import Array, IntArray

MOST_DEGREE = 4
# Each term of the polynomial wants so many independent patches of shared scatter, or it only follows the scatter.
PATCHES_A_TERM = 3.0
# A dent narrower than this about its middle is no form (a straightedge bridges it), and it is a mean of enough points.
DENT_MM, POINTS_A_DENT = 1.2, 12.0
# A scanner rounds every edge over about its point spacing, and a blend begins before the band of the flat ends.
EDGE_MM, LEAST_POINTS = 0.8, 60
# Departures are looked for over so many places of a face.
PLACES = 1000
# One sound face in twenty shows a departure that is not there: each degree of the polynomial above the first, and the
# dents off it, have a quarter of that chance.
SURE = 1.0 - 0.05 / 4.0
# The same for a tilt, in its standard uncertainties.
SURE_TILT = 1.96


@dataclass(frozen=True, slots=True)
class Smoothed:
    """A face without its scatter.

    places_mm : (k, 3) on the fitted plane; heights_mm : (k,) of the smoothed face over it
    u_between : (k, k) standard uncertainty of the difference of two heights
    """

    places_mm: Array
    heights_mm: Array
    u_between: Array


@dataclass(frozen=True, slots=True)
class Form:
    """Width of the zone a face lies in, its standard uncertainty, and the two places that make it, (2, 3)."""

    value_mm: float
    u_mm: float
    points_mm: Array


def face_of(surface: Surface, plane: Plane, noise: Noise) -> Smoothed:
    """The smoothed face of a found plane, clear of its rounded edges."""
    seeds = surface.points_of(plane.faces)
    face = face_points(surface, seeds, plane.normal, plane.centre_mm, FORM_REACH_MM)
    return smoothed_face(surface.points_mm[_inner(surface, face)], plane.normal, noise)


def _inner(surface: Surface, points: IntArray) -> IntArray:
    """The points that lie EDGE_MM or more from the patch's border; all, where the patch is too narrow for that."""
    inside = np.zeros(len(surface.points_mm), dtype=np.float32)
    inside[points] = 1.0
    around = surface.neighbours[points]
    count = np.diff(around.indptr)
    kept = points
    for _ in range(int(np.clip(EDGE_MM / surface.spacing_mm, 1, 8))):
        within = (around @ inside == count) & (inside[points] > 0.0)
        if within.sum() < max(LEAST_POINTS, 0.4 * len(points)):
            break
        kept = points[within]
        inside[points] = within
    return np.asarray(kept)


def smoothed_face(points_mm: Array, normal: Array, noise: Noise) -> Smoothed:
    """The face over its least-squares plane, at up to PLACES of its points.

    points_mm : (n, 3) of one flat face; normal : (3,) roughly its own
    """
    u, v, w = frame_along(normal)
    rel = points_mm - points_mm.mean(axis=0)
    flat, height = np.column_stack([rel @ u, rel @ v]), rel @ w
    basis = _basis(flat, _degree(flat, noise))
    found = basis.T @ height / len(height)
    covariance = fit_covariance(basis, points_mm, noise)
    form = np.concatenate([found[:3], _calmed(found, covariance)[3:]])
    places = _places(flat)
    local, u_local = _local(flat, height - basis @ form, noise, places)
    form[:3] = 0.0
    shape = basis[places]
    on_plane = shape[:, :3] @ found[:3] - height[places]
    # Height and tilt say where the plane lies, not what form the face has.
    shape[:, :3] = 0.0
    return Smoothed(
        places_mm=points_mm[places] + on_plane[:, None] * w,
        heights_mm=shape @ form + local,
        u_between=_u_between(shape, covariance, u_local),
    )


def flatness(face: Smoothed) -> Form:
    """The least zone between two parallel planes (ISO 1101:2017), by linear programming."""
    rel = face.places_mm - face.places_mm.mean(axis=0)
    across = np.linalg.svd(rel, full_matrices=False)[2][:2]
    x, y = rel @ across.T[:, 0], rel @ across.T[:, 1]
    one = np.ones_like(x)
    above = np.column_stack([-x, -y, -one, -0.5 * one])
    below = np.column_stack([x, y, one, -0.5 * one])
    limits = np.concatenate([-face.heights_mm, face.heights_mm])
    best = linprog([0, 0, 0, 1.0], A_ub=np.vstack([above, below]), b_ub=limits, bounds=[(None, None)] * 3 + [(0, None)])
    left = face.heights_mm - np.column_stack([x, y, one]) @ best.x[:3]
    return _zone(face, left)


def zone_along(face: Smoothed, direction: Array, u_tilt_rad: float) -> Form:
    """The zone between two planes square to a direction given by a datum (ISO 1101:2017).

    u_tilt_rad : of the face against the datum
    """
    along = face.places_mm @ direction
    rise, u_rise = float(np.ptp(along)), u_tilt_rad * _size_mm(face)[1]
    # A tilt that scatter alone explains is none, and a larger one is shortened by what scatter adds to it.
    sure = 0.0 if rise < SURE_TILT * u_rise else np.sqrt(1.0 - (u_rise / max(rise, 1e-12)) ** 2)
    found = _zone(face, sure * (along - along.mean()) + face.heights_mm)
    reach = float(np.linalg.norm(found.points_mm[1] - found.points_mm[0]))
    return Form(found.value_mm, float(np.hypot(found.u_mm, u_tilt_rad * reach)), found.points_mm)


def _zone(face: Smoothed, heights_mm: Array) -> Form:
    low, high = int(np.argmin(heights_mm)), int(np.argmax(heights_mm))
    # Where nothing stands out of the scatter, the two places that could be farthest apart unseen say how sure that is.
    flat = float(np.ptp(face.heights_mm)) == 0.0
    u_mm = float(face.u_between.max() if flat else face.u_between[low, high])
    value_mm = float(np.ptp(heights_mm))
    # What the outermost strip, too rounded to look at, would add: of a tilt its share of the face, of a bow twice that;
    # somewhere between nought and that (a rectangular distribution).
    unseen = value_mm * sum(2.0 * EDGE_MM / max(side, 2.0 * EDGE_MM) for side in _size_mm(face)) * 2.0
    return Form(value_mm, float(np.hypot(u_mm, unseen / np.sqrt(12.0))), face.places_mm[[low, high]])


def _size_mm(face: Smoothed) -> tuple[float, float]:
    """The shorter and the longer side of the face."""
    rel = face.places_mm - face.places_mm.mean(axis=0)
    sides = np.ptp(rel @ np.linalg.svd(rel, full_matrices=False)[2][:2].T, axis=0)
    return float(sides.min()), float(sides.max())


def _degree(flat: Array, noise: Noise) -> int:
    """The highest degree whose terms all have enough of the face to rest on."""
    area = float(np.prod(np.ptp(flat @ np.linalg.svd(flat, full_matrices=False)[2].T, axis=0)))
    patches = area / (2.0 * np.pi * max(noise.correlation_mm, 0.3) ** 2)
    fitting = [d for d in range(2, MOST_DEGREE + 1) if PATCHES_A_TERM * (d + 1) * (d + 2) / 2.0 <= patches]
    return max(fitting, default=2)


def _basis(flat: Array, degree: int) -> Array:
    """Polynomials of rising degree, orthonormal over the points (mean square one), (n, terms)."""
    x, y = (flat / np.maximum(np.abs(flat).max(axis=0), 1e-9)).T
    terms = [x ** (d - k) * y**k for d in range(degree + 1) for k in range(d + 1)]
    orthonormal, _ = np.linalg.qr(np.column_stack(terms))
    return np.asarray(orthonormal * np.sqrt(len(flat)))


def _calmed(found: Array, covariance: Array) -> Array:
    """The coefficients, degree by degree shortened by the scatter in them; nought where scatter alone reaches them."""
    calmed = np.zeros_like(found)
    start, degree = 3, 2
    while start < len(found):
        part = slice(start, start + degree + 1)
        a, c = found[part], covariance[part, part]
        if float(a @ np.linalg.pinv(c) @ a) > chdtri(degree + 1, 1.0 - SURE):
            calmed[part] = a * np.sqrt(max(0.0, 1.0 - float(np.trace(c)) / float(a @ a)))
        start, degree = start + degree + 1, degree + 1
    return calmed


def _places(flat: Array) -> IntArray:
    """Places spread evenly over a face, and the corners of its outline."""
    return np.unique(np.concatenate([evenly(len(flat), PLACES), ConvexHull(flat).vertices]))


def _local(flat: Array, away_mm: Array, noise: Noise, places: IntArray) -> tuple[Array, Array]:
    """Mean within a dent's reach of each place where scatter does not explain it, else nought; and its uncertainty."""
    area_a_point = float(np.prod(np.ptp(flat, axis=0))) / len(flat)
    reach_mm = max(DENT_MM, float(np.sqrt(POINTS_A_DENT * area_a_point / np.pi)))
    tree = cKDTree(flat)
    near = tree.query_ball_point(flat[places], reach_mm)
    count = np.array([len(among) for among in near])
    mean = np.array([float(away_mm[among].mean()) for among in near])
    disc_mm2 = np.pi * reach_mm**2
    u = np.array([noise.mean_u_mm(disc_mm2, int(points)) for points in count])
    discs = max(1.0, len(flat) * area_a_point / disc_mm2)
    stands_out = (count >= 0.5 * np.median(count)) & (np.abs(mean) > -ndtri((1.0 - SURE) / (2.0 * discs)) * u)
    return np.where(stands_out, mean, 0.0), np.where(stands_out, u, 0.0)


def _u_between(shape: Array, covariance: Array, u_local: Array) -> Array:
    own = shape @ covariance @ shape.T
    variance = np.diag(own)[:, None] + np.diag(own)[None] - 2.0 * own + u_local[:, None] ** 2 + u_local[None] ** 2
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)))
