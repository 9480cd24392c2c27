"""How thick the part is that two sides make, and what the calliper says of that."""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.spatial import ConvexHull, QhullError, cKDTree

from verifier.joining.laid_together import moved
from verifier.joining.side import Side
from verifier.joining.twin_sides import INNER_SPACINGS, rises
from verifier.mesh import Array
from verifier.rulebook import Sheet

# Cells the thickness is looked at in, as a share of the length.
CELL_SHARE = 1 / 100
# Two sides that lie through each other by more than this in more than that share of the part are no part; along a knife
# rim a cell's points differ by so much in 2 or 3 % of a sound part's cells. Nor are sides that mostly touch each other.
THROUGH_MM, THROUGH_SHARE = 0.5, 0.05
# Reading, powder on both sides and warp together, standard uncertainty: common practice, no source.
CALLIPER_MM = 0.15
# The calliper is believed to mean this thickness when it is no further off, as a share of the length (10 mm on 1.2 m).
MEANT_SHARE = 1 / 120

# A thinner wall (12 mm on 1.2 m) is no greatest thickness: on a curved shell these differ by more than the gap is off.
LEAST_READING = 1 / 100
# A wall is as thick all over when eight places in ten differ by no more, warp of both scans counted; so many tell it.
MOST_UNEVEN_MM, LEAST_PLACES = 1.0, 500
# A thin reading farther off is of something else, such as a rib, where no more is doubtful: no sure join is as far off.
MOST_WALL_OFF_MM = 1.5


@dataclass(frozen=True, slots=True)
class Gap:
    """How far two sides lie apart.

    greatest_mm : greatest thickness; overall_mm : least width between two flats across the part
    through_share : share of the part where the sides lie through each other
    """

    greatest_mm: float
    overall_mm: float
    through_share: float


def gap_between(pose: Array, first: Side, second: Side) -> Gap:
    """Thickness of the part that the second side makes with the first in a pose."""
    under = moved(second.face_mm, pose)
    thick = _thickness(first.face_mm, under, CELL_SHARE * first.length_mm)
    if len(thick) == 0:
        return Gap(0.0, 0.0, 1.0)
    greatest = float(np.quantile(thick, 0.997))
    through = 1.0 if np.median(thick) < THROUGH_MM else float((thick < -THROUGH_MM).mean())
    return Gap(greatest, _least_width(np.concatenate([first.face_mm, under])), through)


def _thickness(over_mm: Array, under_mm: Array, cell_mm: float) -> Array:
    """Height of the upper over the lower side, where both have points."""
    low = np.minimum(over_mm[:, :2].min(axis=0), under_mm[:, :2].min(axis=0))
    shape = (np.maximum(over_mm[:, :2].max(axis=0), under_mm[:, :2].max(axis=0)) - low) // cell_mm + 1
    top, bottom = (_mean_heights(points, low, shape.astype(np.int64), cell_mm) for points in (over_mm, under_mm))
    both = np.isfinite(top) & np.isfinite(bottom)
    return np.asarray((top - bottom)[both])


def _mean_heights(points_mm: Array, low: Array, shape: Array, cell_mm: float) -> Array:
    cell = ((points_mm[:, :2] - low) // cell_mm).astype(np.int64)
    name = cell[:, 0] * int(shape[1]) + cell[:, 1]
    count = np.bincount(name, minlength=int(shape.prod()))
    total = np.bincount(name, points_mm[:, 2], int(shape.prod()))
    return np.asarray(np.divide(total, count, out=np.full(len(total), np.nan), where=count > 0), dtype=np.float64)


def _least_width(points_mm: Array) -> float:
    """As two flats close on it, nearly along z."""
    try:
        hull = points_mm[ConvexHull(points_mm).vertices]
    except QhullError:
        return float(np.ptp(points_mm[:, 2]))
    start = {"initial_simplex": [[0, 0], [0.01, 0], [0, 0.01]], "xatol": 1e-5, "fatol": 1e-3}
    result = minimize(
        lambda lean: float(np.ptp(_heights(hull, lean))), np.zeros(2), method="Nelder-Mead", options=start
    )
    return float(result.fun)


def _heights(points_mm: Array, lean: Array) -> Array:
    along = np.array([lean[0], lean[1], 1.0])
    return np.asarray(points_mm @ (along / np.linalg.norm(along)))


def even_wall_mm(pose: Array, first: Side, second: Side) -> float | None:
    """Thickness square to the surface, away from the rim, of a wall that is as thick all over; None of another part."""
    inner = cKDTree(second.rim_mm[:, :2]).query(second.face_mm[:, :2])[0] > INNER_SPACINGS * second.spacing_mm
    rise, _, level, known = rises(moved(second.face_mm[inner], pose), first.face_mm)
    wall = -(rise * level)[known]
    if len(wall) < LEAST_PLACES or np.subtract(*np.quantile(wall, [0.9, 0.1])) > MOST_UNEVEN_MM:
        return None
    return float(np.median(wall))


def calliper_correction_mm(
    gap: Gap, wall_mm: float | None, sheet: Sheet | None, length_mm: float, gap_u_mm: float = 0.0
) -> tuple[float, float] | None:
    """How much further apart the sides belong by the sheet, and the reading that says so; None when none does.

    wall_mm : thickness of a wall that is as thick all over, which a thin reading means
    gap_u_mm : standard uncertainty of how far apart they lie without it
    """
    if sheet is None:
        return None
    meant = [
        (reading - found, reading)
        for row in sheet.rows
        if (reading := row.size_limited) is not None
        for found in _what_it_means(row.kind, row.along, reading > LEAST_READING * length_mm, gap, wall_mm)
    ]
    of_wall_mm = max(MOST_WALL_OFF_MM, 2.0 * gap_u_mm)
    near = [
        (off, reading)
        for off, reading in meant
        if abs(off) < (MEANT_SHARE * length_mm if reading > LEAST_READING * length_mm else of_wall_mm)
    ]
    return min(near, key=lambda pair: abs(pair[0]), default=None)


def reading_wanted(gap: Gap, wall_mm: float | None, length_mm: float) -> str:
    """What to read on the calliper so that the sheet says how far apart the sides lie."""
    if wall_mm is not None:
        return (
            "Measure the thickness of the wall with the calliper and write it into the sheet as a row of kind thickness"
        )
    if gap.greatest_mm > LEAST_READING * length_mm:
        return "Measure the greatest thickness with the calliper and write it into the sheet as a row of kind thickness"
    return "Measure the height over all and write it into the sheet as a row of kind overall, along height"


def _what_it_means(kind: str, along: str | None, thick: bool, gap: Gap, wall_mm: float | None) -> tuple[float, ...]:
    if kind == "thickness" and not thick:
        return () if wall_mm is None else (wall_mm,)
    if not thick:
        return ()
    if kind == "thickness":
        return (gap.greatest_mm,)
    return (gap.overall_mm,) if kind == "overall" and along == "height" else ()
