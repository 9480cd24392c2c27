"""Whether one way of putting two sides together is the only one, and what is said when it is not."""

from dataclasses import dataclass, replace

import numpy as np

from verifier.joining.evidence import MOST_MM, Evidence

# By how much the pieces of rim must speak against another way, in units of their own scatter. Of two ways that are as
# good as each other the sums of some 400 squares differ by 40 at random.
SURE = 120.0
CHOOSE = "Look at both in the report and write join = 1 or join = 2 into the sheet"
STICK = "a dot stuck on the rim before the next scan would have told them apart"


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


def too_loose(doubt: Doubt, gap_u_mm: float, reading: str) -> Doubt:
    """The same where one way alone is right, and too little of the rim was seen to tell how far apart the sides lie."""
    why = f"How far apart the two sides lie is known to {2.0 * gap_u_mm:.1f} mm only: too little of their rim was seen."
    return replace(doubt, sure=False, why=why, do=f"{reading}, or scan each side 3 mm past the middle of its rim.")


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
