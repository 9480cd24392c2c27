"""Where a size lies within its tolerance, the one calculation behind the bars of terminal and page."""

from dataclasses import dataclass

from verifier.inspection import SizeTable


@dataclass(frozen=True, slots=True)
class Bar:
    """A size on a scale where the least size allowed is 0 and the greatest is 1.

    at : the corrected size; below 0 or above 1 when it is out of tolerance
    guard : width of the guard band inside either limit, at most 0.5: the two bands then meet and nothing can pass
    spread : the expanded uncertainty on the same scale
    aim : the size that was asked for, None when the row has neither nominal nor reading
    one_sided : only the upper limit is one; at the lower lies perfection, and no guard band
    """

    at: float
    guard: float
    spread: float
    aim: float | None
    one_sided: bool = False


def bar_of(size: SizeTable) -> Bar | None:
    """The bar of one row, or None when the row has no tolerance or could not be measured."""
    if size.tolerance_mm is None or size.corrected_mm is None:
        return None
    least, greatest = size.tolerance_mm
    span = greatest - least
    if span <= 0:
        return None
    spread = (size.expanded_uncertainty_mm or 0.0) / span
    wanted = size.nominal_mm if size.nominal_mm is not None else size.reading_mm
    return Bar(
        at=(size.corrected_mm - least) / span,
        guard=min(spread, 1.0 if size.one_sided else 0.5),
        spread=spread,
        aim=None if wanted is None else (wanted - least) / span,
        one_sided=size.one_sided,
    )
