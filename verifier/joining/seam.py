"""What the seams of fused scans were like before they were closed: how long, how high a step, how wide a gap."""

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from verifier.joining.layer import Layer
from verifier.joining.owning import Lead
from verifier.joining.posed import Point, Seam, Spread
from verifier.mending.draft import Draft
from verifier.mesh import Array, IntArray

# Places of both scans within this many spacings of the seam say how high its step is.
BESIDE_SPACINGS = 1.0


def seam_of(layers: Sequence[Layer], leads: Sequence[Lead], zipped: Draft, before: int) -> Seam | None:
    """The seam of a zipped surface, None where nothing was joined.

    before : number of faces before the strips, which come last
    """
    if len(zipped.mesh.faces) == before:
        return None
    at, step = _steps(layers, leads)
    strip = zipped.mesh.vertices_mm[zipped.mesh.faces[before:]]
    sides = np.linalg.norm(strip - np.roll(strip, -1, axis=1), axis=2)
    along = zipped.edges.twin.reshape(-1, 3)[before:] // 3
    length_mm = 0.5 * float(sides[(along >= 0) & (along < before)].sum())
    wide_at, gap = _gaps(strip, sides, along, before, at)
    return Seam(length_mm, spread_of(step, at), spread_of(gap, wide_at))


def _steps(layers: Sequence[Layer], leads: Sequence[Lead]) -> tuple[Array, Array]:
    """Places at the seam that both scans saw, and how far apart they saw them."""
    at, step = [np.empty((0, 3))], [np.empty(0)]
    for layer, lead in zip(layers, leads, strict=True):
        near = (lead.rival >= 0) & (np.abs(lead.lead_mm) < BESIDE_SPACINGS * layer.spacings_mm)
        off = lead.foot_mm[near] - layer.patch.vertices_mm[near]
        at.append(layer.patch.vertices_mm[near])
        step.append(np.abs(np.einsum("qx,qx->q", off, layer.normals[near])))
    return np.concatenate(at), np.concatenate(step)


def _gaps(strip_mm: Array, sides_mm: Array, along: IntArray, before: int, seen_mm: Array) -> tuple[Array, Array]:
    """Middles of the strip's faces and how wide a gap nobody saw they bridge: nought where both scans saw the place."""
    middle = strip_mm.mean(axis=1)
    across = np.where((along >= 0) & (along < before), 0.0, sides_mm).max(axis=1)
    if len(seen_mm) == 0:
        return middle, across
    away = cKDTree(seen_mm).query(middle)[0]
    return middle, np.where(away < across, 0.0, across)


def spread_of(values_mm: Array, at_mm: Array) -> Spread:
    """Middle, 95 of 100, and the largest with its place."""
    if len(values_mm) == 0:
        return Spread(0.0, 0.0, 0.0, None)
    worst = int(values_mm.argmax())
    x, y, z = (float(value) for value in at_mm[worst])
    where: Point = (x, y, z)
    return Spread(float(np.median(values_mm)), float(np.quantile(values_mm, 0.95)), float(values_mm[worst]), where)
