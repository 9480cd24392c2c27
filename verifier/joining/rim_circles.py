"""Circles laid through both sides of a rim, window by window: how far apart the sides are in height, and whether the
rim is round at all.

A place is off by its distance square to the circle. Off by its distance in plan, with its height taken for true, a rim
scanned with 0.1 mm of scatter seems flatter by a tenth and its part half a millimetre thicker.
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from verifier.joining.profile import EVERY_SHARE, WINDOW_SHARE
from verifier.joining.rim_windows import Windows
from verifier.mesh import Array, BoolArray

# The rims of both sides stand out equally far within this: warp, and how they were laid together.
PLAN_MM = 0.15
# A rim bends alike along this much of it, as a share of the part's length.
ALIKE_SHARE = 1 / 12
ROUNDS = 4
# The bend by normals is right within this factor.
MOST_OFF = 4.0
# A rim is round that bends by so many standard uncertainties.
ROUND = 4.0
# A window that knows no better than this how far apart the sides are says nothing.
MOST_U_MM = 1.5
# So many windows share each place.
SHARED_BY = WINDOW_SHARE / EVERY_SHARE
# What a window's fit solves for: where the circle's vertex is in plan (level, slope and bend along the rim), where in
# height (level, slope), how much further in and higher the second side's is, and one over the radius.
IN, IN_SLOPE, IN_BEND, HIGH, HIGH_SLOPE, FURTHER_IN, HIGHER, BEND = range(8)
# No more is expected of any of them; it keeps a window of few places from having no answer.
LOOSE_MM = 10.0


@dataclass(frozen=True, slots=True)
class Circles:
    """What the windows' circles say.

    rise_mm, u_mm : (w,) how much further up the second side belongs, and its standard uncertainty
    known : (w,) which windows say it
    flat, flat_u : how far the rim bends less towards its middle than a circle does, in radii times the cube of the
        sine of the slope, and its standard uncertainty
    """

    rise_mm: Array
    u_mm: Array
    known: BoolArray
    flat: float
    flat_u: float


def circles_in(windows: Windows, length_mm: float) -> Circles:
    """Lay a circle through each window; neighbours share one bend, which none of them knows on its own."""
    guess = _bend_by_normals(windows)
    near = cKDTree(windows.middle_mm).query_ball_point(windows.middle_mm, ALIKE_SHARE * length_mm)
    found = _first_guess(windows, guess)
    for _ in range(ROUNDS):
        normal, wanted, _ = _equations(windows, found, *_rows(windows, found)[:2])
        spread = np.linalg.inv(normal)
        own = found[:, BEND] + np.einsum("wj,wj->w", spread[:, BEND], wanted)
        bend, bend_u = _alike(own, np.sqrt(spread[:, BEND, BEND]), near)
        bend = np.clip(bend, guess / MOST_OFF, guess * MOST_OFF)
        normal[:, BEND, BEND] += bend_u**-2
        wanted[:, BEND] += (bend - found[:, BEND]) * bend_u**-2
        spread = np.linalg.inv(normal)
        found = found + np.einsum("wij,wj->wi", spread, wanted)
        found[:, BEND] = bend
    u = np.sqrt(spread[:, HIGHER, HIGHER])
    known = (bend > ROUND * bend_u) & (u < MOST_U_MM)
    return Circles(-found[:, HIGHER], u, known, *_flatness(windows, found))


def _bend_by_normals(windows: Windows) -> float:
    """One over the radius, by how the normals turn with height; the middle of all windows."""
    height, upward = (each - _mean(windows, each)[windows.of] for each in (windows.height_mm, windows.upward))
    turn, rise = (np.add.reduceat(upward * each, windows.starts) for each in (height, upward))
    return 1.0 / max(float(np.median(turn / np.maximum(rise, 1e-12))), 0.1)


def _mean(windows: Windows, value: Array) -> Array:
    return np.asarray(np.add.reduceat(value, windows.starts) / windows.counts)


def _first_guess(windows: Windows, bend: float) -> Array:
    """Circles of that bend about the middles that the places and normals of either side point to, (w, 8)."""
    radius = 1.0 / bend
    inward = windows.inward_mm + radius * (windows.outward - 1.0)
    height = windows.height_mm - radius * windows.upward
    second = windows.second.astype(np.float64)
    share = _mean(windows, second)
    guess = np.zeros((len(windows.starts), 8))
    for level, beyond, value in ((IN, FURTHER_IN, inward), (HIGH, HIGHER, height)):
        guess[:, level] = _mean(windows, value * (1.0 - second)) / (1.0 - share)
        guess[:, beyond] = _mean(windows, value * second) / share - guess[:, level]
    guess[:, BEND] = bend
    return guess


def _rows(windows: Windows, found: Array) -> tuple[Array, Array, Array]:
    """What a step from the circles found does to each place, (k, 8), how far it is off, and the sine of its slope."""
    of, along, second = windows.of, windows.along_mm, windows.second.astype(np.float64)
    at = found[of]
    radius = 1.0 / at[:, BEND]
    vertex = at[:, IN] + at[:, IN_SLOPE] * along + at[:, IN_BEND] * along**2 + at[:, FURTHER_IN] * second
    out = vertex + radius - windows.inward_mm
    over = windows.height_mm - (at[:, HIGH] + at[:, HIGH_SLOPE] * along + at[:, HIGHER] * second)
    away = np.hypot(out, over)
    cos, sin = out / away, over / away
    matrix = np.empty((len(of), 8))
    matrix[:, IN], matrix[:, IN_SLOPE], matrix[:, IN_BEND] = cos, cos * along, cos * along**2
    matrix[:, HIGH], matrix[:, HIGH_SLOPE] = -sin, -sin * along
    matrix[:, FURTHER_IN], matrix[:, HIGHER] = cos * second, -sin * second
    matrix[:, BEND] = radius**2 * (1.0 - cos)
    return matrix, radius - away, sin


def _equations(windows: Windows, found: Array, matrix: Array, off_mm: Array) -> tuple[Array, Array, Array]:
    """Normal equations of a step, (w, 8, 8) and (w, 8), in units of each window's scatter, and its square, (w,)."""
    normal = np.add.reduceat(matrix[:, :, None] * matrix[:, None, :], windows.starts)
    wanted = np.add.reduceat(matrix * off_mm[:, None], windows.starts)
    loose = np.eye(8) / LOOSE_MM**2
    step = np.linalg.solve(normal + 1e-4 * loose, wanted[..., None])[..., 0]
    left = np.add.reduceat((off_mm - np.einsum("ij,ij->i", matrix, step[windows.of])) ** 2, windows.starts)
    square = left / np.maximum(windows.counts - 8, 1) + 1e-6
    normal, wanted = normal / square[:, None, None] + loose, wanted / square[:, None]
    normal[:, FURTHER_IN, FURTHER_IN] += PLAN_MM**-2
    wanted[:, FURTHER_IN] -= found[:, FURTHER_IN] * PLAN_MM**-2
    return normal, wanted, square


def _alike(own: Array, own_u: Array, near: Array) -> tuple[Array, Array]:
    """Mean of each window's neighbours and its standard uncertainty."""
    counts = np.array([len(each) for each in near])
    flat, starts = np.concatenate(near).astype(np.int64), np.r_[0, np.cumsum(counts)[:-1]]
    weight = own_u**-2
    total = np.add.reduceat(weight[flat], starts)
    return np.add.reduceat((weight * own)[flat], starts) / total, np.sqrt(SHARED_BY / total)


def _flatness(windows: Windows, found: Array) -> tuple[float, float]:
    """The first thing beside a circle that is the same on both sides of the middle, from all windows together."""
    matrix, off, sin = _rows(windows, found)
    normal, wanted, square = _equations(windows, found, matrix, off)
    beside = np.abs(sin) ** 3 / found[windows.of, BEND]
    shared = np.add.reduceat(matrix * beside[:, None], windows.starts) / square[:, None]
    explained = np.linalg.solve(normal, shared[..., None])[..., 0]
    own = np.add.reduceat(beside**2, windows.starts) / square - np.einsum("wi,wi->w", explained, shared)
    said = np.add.reduceat(beside * off, windows.starts) / square - np.einsum("wi,wi->w", explained, wanted)
    return float(said.sum() / own.sum()), float(np.sqrt(SHARED_BY / own.sum()))
