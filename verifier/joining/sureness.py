"""Whether one way of putting two sides together is the only one, and what is said when it is not."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from verifier.joining.evidence import MOST_MM, PIECE_SHARE, Evidence, in_plan, pieces_of
from verifier.joining.laid_together import moved
from verifier.joining.outline import Outline
from verifier.joining.rows import Moving, Target
from verifier.joining.side import Side
from verifier.mesh import Array

# By how much the pieces of rim must speak against another way, in units of their own scatter. Of two ways that are as
# good as each other the sums of some 400 squares differ by 40 at random.
SURE = 120.0
# Ways whose parts differ by less than this anywhere are one part: half of what a join is allowed to be off.
ALIKE_MM = 0.5
CHOOSE = "Look at both in the report and write join = 1 or join = 2 into the sheet"
STICK = "a dot stuck on the rim before the next scan would have told them apart"
# Share of the places that may differ by more: ragged ends of the scans. A bump 50 mm long is more of a rim of 3 m.
STRAY_SHARE = 0.015
# The face is compared this many spacings away from its rim, with the plane of so many places.
INNER_SPACINGS, AROUND = 10.0, 12


@dataclass(frozen=True, slots=True)
class Doubt:
    """What speaks against the best way.

    differs : for each other way, what tells it from the best
    rivals : numbers of the others that fit as well
    """

    sure: bool
    why: str
    do: str
    differs: tuple[str, ...]
    rivals: tuple[int, ...] = ()


def alike(pose: Array, other: Array, first: Moving | Target, second: Moving | Target) -> bool:
    """Whether two poses give one and the same part, because either side looks the same moved from one to the other."""
    motion = np.linalg.inv(pose) @ other  # in the second side's frame
    back = other @ np.linalg.inv(pose)
    return any(
        _rim_stays(each.outline, move, each.side.length_mm) and _face_stays(each.side, move)
        for each, move in ((second, motion), (first, back))
    )


def _rim_stays(outline: Outline, motion: Array, length_mm: float) -> bool:
    """Whether a rim, moved, lies on itself in plan, piece by piece."""
    sure = outline if not outline.sure.any() else outline.chosen(outline.sure)
    at, off, way = in_plan(motion, outline, sure)
    if len(off) == 0:
        return False
    pieces_mm = pieces_of(at, off, way, PIECE_SHARE * length_mm)[1]
    return bool(np.quantile(np.abs(pieces_mm), 1.0 - STRAY_SHARE) < ALIKE_MM)


def _face_stays(side: Side, motion: Array) -> bool:
    """Heights of the thinned face over the plane of its nearest places."""
    inner = cKDTree(side.rim_mm[:, :2]).query(side.face_mm[:, :2])[0] > INNER_SPACINGS * side.spacing_mm
    points = side.face_mm[inner]
    if len(points) < AROUND:
        return True
    asked = moved(points[:: max(1, len(points) // 4000)], motion)
    near = cKDTree(points[:, :2]).query(asked[:, :2], k=AROUND)[1]
    around = points[near]
    middle = around.mean(axis=1, keepdims=True)
    normal = np.linalg.svd(around - middle, full_matrices=False)[2][:, 2]
    rise = np.einsum("ij,ij->i", asked - middle[:, 0], normal * np.sign(normal[:, 2:]))
    level = np.column_stack([asked[:, :2], np.ones(len(asked))])
    left = rise - level @ np.linalg.lstsq(level, rise, rcond=None)[0]  # a shift or lean is the pose's, not the part's
    return bool(np.quantile(np.abs(left), 1.0 - STRAY_SHARE) < ALIKE_MM)


def doubt_of(best: Evidence, others: list[Evidence]) -> Doubt:
    """Weigh the best way against the others by the pieces of the rim."""
    against = against_of(best, others)
    differs = tuple(map(_what_differs, others))
    if all(each > SURE for each in against):
        why = (
            "No other way of laying the rims on each other fits." if others else "It is the only way that makes a part."
        )
        return Doubt(True, why, "", differs)
    rivals = f"{best.rms_mm:.2f} and {others[0].rms_mm:.2f} mm apart at the rim"
    why = f"Two ways of putting the sides together fit alike: {rivals}"
    rivals_at = tuple(k for k, each in enumerate(against) if each <= SURE)
    return Doubt(False, f"{why}.", f"{CHOOSE}; {STICK}.", differs, rivals_at)


def against_of(best: Evidence, others: list[Evidence]) -> list[float]:
    """How much the pieces of the rim speak against each other way, in units of their own scatter."""
    doubts, pieces = best.doubts_mm, max(1, len(best.off_mm))
    scatter = max(1.0, best.misfit(doubts) / pieces)
    return [(other.misfit(doubts) - best.misfit(doubts)) / scatter for other in others]


def told_by_dots(doubt: Doubt, together: int) -> Doubt:
    """The same where other ways were ruled out because so many marker dots lie on each other in this one."""
    return replace(
        doubt, why=f"{together} marker dots that both sides show lie on each other, in no other way as many."
    )


def told_by_paint(others: list[Evidence]) -> Doubt:
    """No doubt, since colours tell the way from the others."""
    why = "Another way of laying the rims on each other fits as well, and the colours of the scans tell this one."
    return Doubt(True, why, "", tuple(map(_what_differs, others)))


def torn(doubt: Doubt, together: int) -> Doubt:
    """The same where the rims speak for one way, and so many marker dots for another, whatever the colours say."""
    why = f"The rims fit best in one way, and {together} marker dots lie on each other in another."
    return replace(doubt, sure=False, why=why, do=f"{CHOOSE}.", rivals=())


def _what_differs(other: Evidence) -> str:
    """Where along the rim the other way fits worst."""
    if len(other.off_mm) == 0:
        return "Nothing of the rim can be compared."
    worst = int(np.abs(other.raw_mm).argmax())
    many = int((np.abs(other.off_mm) >= MOST_MM).sum())
    x, y, _ = other.at_mm[worst]
    return (
        f"{many} of {len(other.off_mm)} pieces of the rim are more than {MOST_MM:g} mm off;"
        f" the worst, {abs(other.raw_mm[worst]):.1f} mm, at {x:.0f}, {y:.0f} mm from the middle."
    )
