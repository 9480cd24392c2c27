"""Whether one way of putting two sides together is the only one, and what is said when it is not."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from verifier.joining.evidence import MOST_MM, Evidence
from verifier.joining.laid_together import moved
from verifier.joining.side import Side
from verifier.mesh import Array

# By how much the pieces of rim must speak against another way, in units of their own scatter. Of two ways that are as
# good as each other the sums of some 400 squares differ by 40 at random.
SURE = 120.0
# Ways whose parts differ by less than this anywhere are one part: half of what a join is allowed to be off.
ALIKE_MM = 0.5
# Share of the surface that may differ by more: specks, and the ragged ends of the scans.
STRAY_SHARE = 0.002


@dataclass(frozen=True, slots=True)
class Doubt:
    """What speaks against the best way.

    differs : for each other way, what tells it from the best
    """

    sure: bool
    why: str
    do: str
    differs: tuple[str, ...]


def alike(pose: Array, other: Array, first: Side, second: Side) -> bool:
    """Whether two poses give one and the same part, because either side looks the same moved from one to the other."""
    motion = np.linalg.inv(pose) @ other  # in the second side's frame
    return _maps_to_itself(second.face_mm, motion) or _maps_to_itself(first.face_mm, other @ np.linalg.inv(pose))


def _maps_to_itself(points_mm: Array, motion: Array) -> bool:
    """Whether a thinned surface, moved, lies on itself.

    A point's distance from the plane of the nearest three is asked: the points of the moved surface lie between them.
    """
    tree = cKDTree(points_mm)
    asked = moved(points_mm[:: max(1, len(points_mm) // 4000)], motion)
    _, near = tree.query(asked, k=12)
    around = points_mm[near]
    middle = around.mean(axis=1, keepdims=True)
    normal = np.linalg.svd(around - middle, full_matrices=False)[2][:, 2]
    off = np.abs(np.einsum("ij,ij->i", asked - middle[:, 0], normal))
    beside = np.linalg.norm(asked - around[:, 0], axis=1) - 4.0 * np.median(
        np.linalg.norm(asked - around[:, 0], axis=1)
    )
    return bool((np.maximum(off, np.maximum(beside, 0.0)) > ALIKE_MM).mean() < STRAY_SHARE)


def doubt_of(best: Evidence, others: list[Evidence]) -> Doubt:
    """Weigh the best way against the others by the pieces of the rim."""
    doubt_mm, pieces = best.doubt_mm, max(1, len(best.off_mm))
    scatter = max(1.0, best.misfit(doubt_mm) / pieces)
    against = [(other.misfit(doubt_mm) - best.misfit(doubt_mm)) / scatter for other in others]
    differs = tuple(map(_what_differs, others))
    if all(each > SURE for each in against):
        why = (
            "No other way of laying the rims on each other fits." if others else "It is the only way that makes a part."
        )
        return Doubt(True, why, "", differs)
    rivals = f"{best.rms_mm:.2f} and {others[0].rms_mm:.2f} mm apart at the rim"
    why = f"Two ways of putting the sides together fit alike: {rivals}"
    do = (
        "Look at both in the report and write join = 1 or join = 2 into the sheet;"
        " a dot stuck on the rim before the next scan would have told them apart"
    )
    return Doubt(False, f"{why}.", f"{do}.", differs)


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
