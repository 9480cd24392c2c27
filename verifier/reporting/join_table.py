"""The report of a join as a table of the inspection."""

from verifier.inspection import (
    DotsTable,
    JoinLinkTable,
    JoinRegionTable,
    JoinTable,
    JoinWayTable,
    PosedScanTable,
    SeamSpreadTable,
    SeamTable,
)
from verifier.joining import JoinReport
from verifier.joining.posed import Alternative, DotsTold, Link, Seam, Spread
from verifier.mesh import Array


def join_table(report: JoinReport | None) -> JoinTable | None:
    """What is told of a join; None for a part of one scan."""
    if report is None:
        return None
    placing = report.placing
    return JoinTable(
        method=placing.method,
        sure=placing.sure,
        why=placing.why,
        do=placing.do,
        overlap_share=round(placing.overlap_share, 4),
        calliper_mm=placing.calliper_mm,
        scans=tuple(_scan(report, k) for k in range(len(report.scans))),
        ways=tuple(_way(way, k, k == placing.chosen) for k, way in enumerate(placing.alternatives)),
        regions=tuple(
            JoinRegionTable(where=r.where, middle_mm=r.middle_mm, rms_mm=round(r.rms_mm, 4), pieces=r.points)
            for r in placing.residuals
        ),
        links=tuple(_link(report, link) for link in placing.links),
        seam=None if report.seam is None else _seam(report.seam),
        dots=None if report.dots is None else _dots(report.dots),
    )


def _scan(report: JoinReport, k: int) -> PosedScanTable:
    pose, trimmed = report.placing.taken.poses[k], report.placing.trimmed[k]
    return PosedScanTable(
        name=report.scans[k],
        pose=tuple((float(a), float(b), float(c), float(d)) for a, b, c, d in pose),
        scale=report.placing.taken.scale_of(k),
        kept_mm2=round(trimmed.kept_mm2, 1),
        skirt_mm2=round(trimmed.skirt_mm2, 1),
        debris_mm2=round(trimmed.debris_mm2, 1),
    )


def _link(report: JoinReport, link: Link) -> JoinLinkTable:
    return JoinLinkTable(
        first=report.scans[link.first],
        second=report.scans[link.second],
        overlap_share=round(link.overlap_share, 4),
        rms_mm=round(link.rms_mm, 4),
        used=link.used,
        off_mm=round(link.off_mm, 3),
    )


def _dots(dots: DotsTold) -> DotsTable:
    return DotsTable(
        shared=dots.shared,
        diameter_mm=round(dots.diameter_mm, 2),
        height_mm=round(dots.height_mm, 3),
        taken_off=dots.taken_off,
        moulded=dots.moulded,
    )


def _way(way: Alternative, k: int, taken: bool) -> JoinWayTable:
    return JoinWayTable(
        number=k + 1,
        taken=taken,
        misfit=round(way.score, 1),
        rms_mm=round(way.rms_mm, 4),
        tilt_deg=None if way.tilt_deg is None else round(way.tilt_deg, 4),
        thickness_mm=None if way.thickness_mm is None else round(way.thickness_mm, 3),
        differs=way.differs,
        outlines_mm=tuple(_line(outline) for outline in way.outlines_mm),
    )


def _line(outline_mm: Array) -> tuple[tuple[float, float], ...]:
    return tuple((round(float(x), 1), round(float(y), 1)) for x, y in outline_mm)


def _seam(seam: Seam) -> SeamTable:
    return SeamTable(length_mm=round(seam.length_mm, 1), step=_spread(seam.step), gap=_spread(seam.gap))


def _spread(spread: Spread) -> SeamSpreadTable:
    middle, p95, largest = (round(value, 4) for value in (spread.middle_mm, spread.p95_mm, spread.largest_mm))
    return SeamSpreadTable(middle_mm=middle, p95_mm=p95, largest_mm=largest, at_mm=spread.at_mm)
