"""Faces that are warped: the pieces a band about one plane cuts them into are put together again."""

import numpy as np

from verifier.finding.fits import fit_plane
from verifier.finding.planes import CONE_DEG, Flat
from verifier.finding.surface import Surface
from verifier.mesh import Array, IntArray

# A strip 100 mm long that warps by 0.6 mm turns by 1.4 degrees from its middle to its ends; draft is 0.5 degrees and
# more, yet between faces that a kink parts.
WARPED_DEG = 1.5
# Farther off the larger piece than this, it is another face; a step this high shows as an edge between the two.
WARPED_MM = 0.6
# Of a face whose normals turn no more than 8 degrees all is taken this far off its plane, for its form.
FORM_REACH_MM = 1.0


def whole_faces(surface: Surface, flats: list[Flat]) -> list[Flat]:
    """The flats, largest first, with those made one that are pieces of one warped face.

    Pieces that a rib or a hole parts stay apart: no surface joins them.
    """
    whole: list[Flat] = []
    for flat in flats:
        at = next((i for i, larger in enumerate(whole) if _nearly_one(flat, larger)), None)
        if at is not None and _joined(surface, flat, whole[at]):
            whole[at] = _together(surface, whole[at], flat)
        else:
            whole.append(flat)
    return sorted(whole, key=lambda flat: -flat.area_mm2)


def face_points(surface: Surface, seeds: IntArray, normal: Array, centre_mm: Array, reach_mm: float) -> IntArray:
    """The connected patch of seen surface that faces as the seeds do, within a reach of their plane, (k,)."""
    facing = surface.normals @ normal.astype(np.float32) > np.cos(np.radians(CONE_DEG))
    near = np.flatnonzero(facing & surface.seen)
    near = near[np.abs((surface.points_mm[near] - centre_mm) @ normal) < reach_mm]
    among = near[np.isin(near, seeds)]
    if len(among) == 0:
        return seeds
    _, patch = surface.patches(near)
    main = int(np.bincount(patch[np.searchsorted(near, among)]).argmax())
    return np.asarray(near[patch == main])


def _nearly_one(small: Flat, large: Flat) -> bool:
    if float(small.normal @ large.normal) < np.cos(np.radians(WARPED_DEG)):
        return False
    return abs(float(large.normal @ (small.centre_mm - large.centre_mm))) < WARPED_MM


def _joined(surface: Surface, small: Flat, large: Flat) -> bool:
    """Whether surface that faces the same way leads from one to the other."""
    face = face_points(surface, large.points, large.normal, large.centre_mm, WARPED_MM + 0.5)
    return float(np.isin(small.points, face).mean()) > 0.5


def _together(surface: Surface, large: Flat, small: Flat) -> Flat:
    """One plane through all points of both, without robust weights: they would leave out the ends again."""
    points = np.concatenate([large.points, small.points])
    fit = fit_plane(surface.points_mm[points])
    sign = np.sign(fit.normal @ large.normal)
    area = large.area_mm2 + small.area_mm2
    return Flat(fit.normal * sign, fit.centre_mm, area, points, fit.residuals_mm * sign, fit.weights)
