"""From a deviation to its table of the report."""

from verifier.comparing.changes import Change
from verifier.comparing.compared import Compared
from verifier.comparing.deviation import Side, Spread
from verifier.inspection import (
    ChangeTable,
    DeviationTable,
    HistogramTable,
    OtherPoseTable,
    Row4,
    SideTable,
    SpreadTable,
    WithinTable,
)
from verifier.mesh import Array


def deviation_table(compared: Compared | None) -> DeviationTable | None:
    """The table; None where nothing was compared."""
    if compared is None:
        return None
    reference, deviation = compared.reference, compared.deviation
    alignment = deviation.alignment
    return DeviationTable(
        reference=reference.name,
        mirrored=reference.mirrored,
        pose=_rows(alignment.pose),
        overlap=alignment.overlap,
        reference_overlap=alignment.fixed_overlap,
        sure=alignment.sure,
        reason=alignment.reason,
        others=tuple(
            OtherPoseTable(turn_deg=other.turn_deg, harmless=other.harmless, pose=_rows(other.pose))
            for other in alignment.alternatives
        ),
        whole=_spread(deviation.whole),
        outside=_side(deviation.outside),
        inside=_side(deviation.inside),
        within=tuple(WithinTable(limit_mm=limit, share=share) for limit, share in deviation.within),
        regions=tuple(map(_spread, deviation.regions)),
        changes=tuple(map(_change, compared.changes)),
        histogram=HistogramTable(limit_mm=deviation.histogram.limit_mm, shares=deviation.histogram.shares),
    )


def _change(change: Change) -> ChangeTable:
    return ChangeTable(
        name=change.name,
        what=change.what,
        before=change.before,
        after=change.after,
        change=change.change,
        standard_uncertainty=change.u,
        significant=change.significant,
    )


def _spread(spread: Spread) -> SpreadTable:
    return SpreadTable(
        name=spread.name,
        area_mm2=spread.area_mm2,
        mean_mm=spread.mean_mm,
        rms_mm=spread.rms_mm,
        least_mm=spread.least_mm,
        greatest_mm=spread.greatest_mm,
    )


def _side(side: Side) -> SideTable:
    return SideTable(share=side.share, mean_mm=side.mean_mm, largest_mm=side.largest_mm)


def _rows(pose: Array) -> tuple[Row4, Row4, Row4, Row4]:
    a, b, c, d = ((float(w), float(x), float(y), float(z)) for w, x, y, z in pose)
    return a, b, c, d
