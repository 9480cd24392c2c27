"""A join in plain sentences."""

from collections.abc import Iterable

from verifier.inspection import DotsTable, JoinLinkTable, JoinTable, JoinWayTable, SeamSpreadTable, SeamTable

# Gaps narrower than this are the strip between two ragged ends, and no news.
LEAST_GAP_MM = 0.5
# What is cut off below this would be told as 0.0 cm².
LEAST_CUT_MM2 = 5.0
# Two views that share less of their surface than this say nothing of each other.
MUCH_SHARED = 0.12


def join_in_words(join: JoinTable | None) -> Iterable[str]:
    """What the person is told of several scans made one; nothing for a part of one scan."""
    if join is None:
        return
    names = ", ".join(scan.name for scan in join.scans)
    yield f"{len(join.scans)} scans made one, {join.method}: {names}."
    taken = next(way for way in join.ways if way.taken)
    yield f"{join.why} {_how_near(join, taken)}"
    if taken.thickness_mm is not None and taken.tilt_deg is not None:
        by = "" if join.calliper_mm is None else f"; the calliper's {join.calliper_mm:g} mm was used to set it"
        yield f"Greatest thickness {taken.thickness_mm:.2f} mm, mean planes {taken.tilt_deg:.2f}° apart{by}."
    yield from (
        _trimmed(scan.name, scan.skirt_mm2, scan.debris_mm2)
        for scan in join.scans
        if max(scan.skirt_mm2, scan.debris_mm2) > LEAST_CUT_MM2
    )
    yield from (
        f"{scan.name} was taken {100 * (scan.scale - 1):+.2f} % in size."
        for scan in join.scans
        if abs(scan.scale - 1) > 5e-5
    )
    if worst := max(join.regions, key=lambda region: region.rms_mm, default=None):
        yield f"Worst region of the overlap: {worst.where}, {worst.rms_mm:.2f} mm."
    yield from (_link(link) for link in join.links if not link.used)
    if join.dots is not None:
        yield _dots(join.dots)
    if join.seam is not None:
        yield from _seam(join.seam)
    if len(join.ways) > 1:
        yield from map(way_in_words, join.ways)


def _how_near(join: JoinTable, taken: JoinWayTable) -> str:
    share = f"{100 * join.overlap_share:.0f} %"
    if join.links:
        return f"They lie {taken.rms_mm:.2f} mm apart where two of them show one surface, which {share} of it is."
    return f"They lie {taken.rms_mm:.2f} mm apart at the rim, {share} of which both saw."


def _dots(dots: DotsTable) -> str:
    """What held the scans together beside their shape, and what became of it."""
    used = (
        f"{dots.shared} marker dots of {dots.diameter_mm:.1f} mm that several scans show were used to put them together"
    )
    if dots.moulded:
        return f"{used}, and left on: the sheet says that they are part, or they lie as regularly as moulded ones."
    if not dots.taken_off:
        return f"{used}; they were left as holes, which were filled."
    return (
        f"{used}. {dots.taken_off} of {dots.height_mm:.2f} mm height were taken off the surface; if they belong to the"
        " part, write dots = false into the sheet."
    )


def _link(link: JoinLinkTable) -> str:
    """What two views said alone and the others did not bear out."""
    if link.overlap_share < MUCH_SHARED:
        return f"{link.first} and {link.second} share next to no surface; the other views hold them together."
    return (
        f"{link.first} and {link.second} alone would lie {link.off_mm:.1f} mm elsewhere; that does not go with the"
        " other views and was let fall."
    )


def _seam(seam: SeamTable) -> Iterable[str]:
    step, gap = seam.step, seam.gap
    yield (
        f"Seam {seam.length_mm:.0f} mm long. The scans lay {step.middle_mm:.2f} mm apart there, in 19 places of 20 no"
        f" more than {step.p95_mm:.2f} mm, at most {step.largest_mm:.2f} mm{_at(step)}; only a narrow band of both was"
        " moved to meet half-way."
    )
    if gap.largest_mm > LEAST_GAP_MM:
        yield (
            f"Where neither saw the surface the seam bridges a gap of at most {gap.largest_mm:.2f} mm{_at(gap)}, in 19"
            f" places of 20 no more than {gap.p95_mm:.2f} mm."
        )


def _at(spread: SeamSpreadTable) -> str:
    """Where the largest is, in the first scan's frame."""
    return "" if spread.at_mm is None else " at {:.0f}, {:.0f}, {:.0f}".format(*spread.at_mm)


def _trimmed(name: str, skirt_mm2: float, debris_mm2: float) -> str:
    return f"Cut from {name}: {skirt_mm2 / 100:.1f} cm² of skirt, {debris_mm2 / 100:.1f} cm² of debris."


def way_in_words(way: JoinWayTable) -> str:
    """How one way fits, and what tells it from the best."""
    thick = "" if way.thickness_mm is None else f", {way.thickness_mm:.2f} mm thick"
    taken = " (taken)" if way.taken else ""
    differs = f" {way.differs}" if way.differs else ""
    return f"Way {way.number}{taken}: {way.rms_mm:.2f} mm apart{thick}, misfit {way.misfit:.3g}.{differs}"
