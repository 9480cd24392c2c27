"""Two to twelve views of one small part: where each goes, how sure that is, and what is said when it is not."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from verifier.comparing.align import size_mm
from verifier.errors import CannotJoin
from verifier.joining.abreast import abreast
from verifier.joining.agreement import IMPOSSIBLE_SHARE, Agreement, unlike
from verifier.joining.arranging import (
    RIVAL_SHARE,
    Arrangement,
    Met,
    arrangements,
    asking,
    finest,
    meetings,
    met_by,
    pairs_in_rounds,
    size_of,
)
from verifier.joining.dots.dot import NO_DOTS, Dots
from verifier.joining.dots.matching import poses_by_dots
from verifier.joining.dots.telling import dots_together, told_apart
from verifier.joining.foreign import foreign_faces
from verifier.joining.one_side import MOST_ONE_WAY, may_be_one_side, may_be_whole
from verifier.joining.painted_views import told_by_paint
from verifier.joining.posed import Alternative, Link, Placing, Residual
from verifier.joining.twins import alike
from verifier.joining.view import View, view_of, without
from verifier.mesh import Array
from verifier.reading.scan import Scan

# Every view shows at least this share of what some other shows.
LEAST_OVERLAP = 0.12
# In a right arrangement nothing is impossible beyond what stray points say.
MOST_IMPOSSIBLE = 3.0 * IMPOSSIBLE_SHARE
# Scatter of two handheld scans of a dull surface against each other is at most 0.2 mm (common practice, no source).
MOST_RMS_MM = 0.3
# A pair found from nothing closes the loop when it is no farther from where all views put it; its scale is its own.
CLOSES_MM, CLOSES_SHARE = 0.3, 0.006
# Centimetres and inches are 2.54 apart, and no two units are nearer; views of one part seldom differ as much.
OTHER_UNIT = 2.4
# What is told of other ways.
MOST_WAYS = 3

NO_OVERLAP_DO = (
    "Scan each side a little past the rim, so that both see the same band of it; add a third view from the side, or"
    " stick dots 100 to 200 mm apart, some to be seen from either side"
)
FIT_ALIKE = "Two ways of putting the views together fit alike"
ONE_SIDE_TWICE = "One way makes a whole part, but in another the views lie better on each other, as one side seen twice"
MAY_BE_WHOLE = "As they lie on each other the views show one side twice, and turned over they would make a whole part"
ONE_MORE_DO = "Add a view from the side, or stick dots on the part, some of which two views show"
ONE_MORE_TELLS = (
    "one more view from the side, or a dot stuck on the part before the next scan, would have told them apart"
)
OTHER_SIDE_DO = "if the scans do show one side only, scan the other one too, or add a view from the side"
TOLD_BY_SHAPE = "No other way of putting the views together fits."
SAME_PART_DO = "See whether all the scans show the same part; if they do, scan again with more of one view in the next"
TOLD_BY_PAINT = (
    "Several ways of putting the views together fit alike by their shape, and the colours of the scans tell this one:"
    " in no other do they agree where the views meet."
)


@dataclass(frozen=True, slots=True)
class Found:
    """The arrangements that were found, the best first, and what the pairs said alone.

    rivals : how many of the ways right after the best could as well be right by their shape
    one_side : whether each of those makes one side of a part only
    by_paint : whether the colours told the best from those that fit alike
    told_by_dots : how many marker dots lie on each other in the best, where they ruled others out
    may_be_whole : whether the best makes one side of a part, and a whole one with a view turned over
    """

    ways: tuple[Arrangement, ...]
    met: dict[tuple[int, int], tuple[Met, ...]]
    size_mm: float
    rivals: int = 0
    one_side: bool = False
    told_by_dots: int = 0
    by_paint: bool = False
    may_be_whole: bool = False

    @property
    def doubt(self) -> str:
        """Why the best is not sure; empty when it is."""
        if self.rivals and not self.by_paint:
            return ONE_SIDE_TWICE if self.one_side else FIT_ALIKE
        if self.may_be_whole:
            return MAY_BE_WHOLE
        if self.ways[0].impossible > MOST_IMPOSSIBLE:
            return f"{100 * self.ways[0].impossible:.1f} % of the views stand where another view shows that nothing is"
        return ""


def place_views(scans: Sequence[Scan], dots: Sequence[Dots] = ()) -> Placing:
    """Put all views of a small part to each other, in the first one's frame.

    dots : the marker dots of each, in its own frame
    Raises CannotJoin when they show no common surface, or when nothing fits.
    """
    views = [view_of(scan, each) for scan, each in zip(scans, dots or [NO_DOTS] * len(scans), strict=True)]
    found = _by_paint(_found(views), views)
    if not found.ways:
        raise _cannot(views, "they do not overlap: no surface was found that two of them show")
    best = found.ways[0]
    _refuse_unfit(best, views)
    if not (found.doubt or found.told_by_dots or found.by_paint):
        found = replace(found, may_be_whole=may_be_whole(best, views, found.size_mm))
    kept = [without(view, faces) for view, faces in zip(views, foreign_faces(best, views), strict=True)]
    return _placing(found, kept)


def _found(views: Sequence[View]) -> Found:
    """Pairs are tried until one arrangement stands out."""
    met: dict[tuple[int, int], tuple[Met, ...]] = {}
    by_dots: dict[tuple[int, int], tuple[Met, ...]] = {}
    size = size_of(views)
    found, ask = Found((), met, size), asking(views, size)
    for pairs in pairs_in_rounds(len(views)):
        met |= dict(zip(pairs, abreast(lambda pair: meetings(views[pair[0]], views[pair[1]]), pairs), strict=True))
        for i, j in pairs:
            if those := met_by(poses_by_dots(views[i].dots, views[j].dots), views[i], views[j]):
                by_dots[i, j] = those
        ways = arrangements(views, met, ask) + (arrangements(views, met | by_dots, ask) if by_dots else [])
        found = _told_apart(_finest(ways, views, size), views, found)
        if found.ways and not found.doubt:
            break
    return found


def _finest(ways: Sequence[Arrangement], views: Sequence[View], size: float) -> list[Arrangement]:
    """Each way refined; those found both with the dots and without them once."""
    made_of = [b"".join(way.poses[k].tobytes() for k in range(len(views))) for way in ways]
    once = dict(zip(made_of, ways, strict=True))
    fine = dict(zip(once, abreast(lambda way: finest(way, views, size), once.values()), strict=True))
    return [fine[each] for each in made_of]


def _told_apart(ways: list[Arrangement], views: Sequence[View], found: Found) -> Found:
    """The best first, then its rivals, less those that dots rule out, and those that make the same part."""
    ways = sorted(ways, key=lambda each: -each.worth)
    dots = [view.dots for view in views]
    together = [dots_together(dots, [way.poses[k] for k in range(len(views))]) for way in ways]
    left = told_apart(together, [_fits_alike(way, ways[0]) or may_be_one_side(way, ways[0], views) for way in ways])
    kept: list[Arrangement] = []
    for way in (ways[k] for k in left):
        if not any(alike(other, way, views) for other in kept):
            kept.append(way)
    told = together[left[0]] if len(left) < len(ways) else 0
    return _rivals_first(replace(found, ways=tuple(kept), told_by_dots=told), views)


def _rivals_first(found: Found, views: Sequence[View]) -> Found:
    """With the ways that could as well be right moved up to the best, and counted."""
    best, others = found.ways[:1], found.ways[1:]
    alike_fit = [_fits_alike(way, best[0]) for way in others]
    one_side = [not fits and may_be_one_side(way, best[0], views) for way, fits in zip(others, alike_fit, strict=True)]
    order = sorted(range(len(others)), key=lambda k: not (alike_fit[k] or one_side[k]))
    return replace(
        found,
        ways=best + tuple(others[k] for k in order),
        rivals=sum(alike_fit) + sum(one_side),
        one_side=any(one_side) and not any(alike_fit),
    )


def _by_paint(found: Found, views: Sequence[View]) -> Found:
    """With the way first that the colours tell from all that fit alike, where they tell one."""
    alike = found.ways[: found.rivals + 1]
    told = told_by_paint(alike, views) if found.rivals else None
    if told is None:
        return found
    others = tuple(way for k, way in enumerate(found.ways) if k != told)
    return replace(found, ways=(alike[told], *others), by_paint=True)


def _fits_alike(way: Arrangement, best: Arrangement) -> bool:
    return way.worth > RIVAL_SHARE * best.worth


def _refuse_unfit(best: Arrangement, views: Sequence[View]) -> None:
    for k, view in enumerate(views):
        shared = max(_shown(best, k, j) for j in range(len(views)) if j != k)
        if shared < LEAST_OVERLAP:
            raise _cannot(views, f"{view.name} and the others do not overlap: hardly any surface was seen by both")
    if best.one_way > MOST_ONE_WAY:
        raise _cannot(views, "they do not overlap, or all show one side: laid on each other they make no whole part")
    rms = max(said.rms_mm for said in best.agreements.values() if said.agree > LEAST_OVERLAP)
    if rms > MOST_RMS_MM:
        raise _cannot(views, f"they do not fit: {rms:.1f} mm apart at best where they overlap")


def _shown(way: Arrangement, view: int, other: int) -> float:
    """Share of the smaller of two views that both show."""
    return way.agreements[min(view, other), max(view, other)].agree


def _cannot(views: Sequence[View], what: str) -> CannotJoin:
    names = ", ".join(view.name for view in views)
    small, large = (pick(views, key=lambda view: size_mm(view.cloud)) for pick in (min, max))
    times = size_mm(large.cloud) / size_mm(small.cloud)
    if times > OTHER_UNIT:
        what += f"; {large.name} is {times:.1f} times as long as {small.name}: is one of them in another unit?"
    return CannotJoin(what, where=names, do=NO_OVERLAP_DO)


def _placing(found: Found, views: Sequence[View]) -> Placing:
    best, doubt = found.ways[0], found.doubt
    rivals = found.ways[1 : 1 + found.rivals][: MOST_WAYS - 1]
    return Placing(
        method="views laid on each other",
        alternatives=tuple(_alternative(way, best, views) for way in (best, *rivals)),
        chosen=0,
        sure=not doubt,
        why=f"{doubt}." if doubt else _why_sure(found),
        do=_to_do(found, len(rivals), views) if doubt else "",
        keep_faces=tuple(view.keep_faces for view in views),
        overlap_share=best.agree,
        residuals=_residuals(best, views),
        trimmed=tuple(view.trimmed for view in views),
        links=_links(found, views),
    )


def _why_sure(found: Found) -> str:
    if found.by_paint:
        return TOLD_BY_PAINT
    if found.told_by_dots:
        return (
            f"Marker dots that two views show lie on each other {found.told_by_dots} times, in no other way as often."
        )
    return TOLD_BY_SHAPE


def _to_do(found: Found, rivals: int, views: Sequence[View]) -> str:
    if found.may_be_whole:
        return f"{ONE_MORE_DO}."
    if not rivals:
        odd = found.ways[0].odd_one(MOST_IMPOSSIBLE)
        if odd is not None:
            name = views[odd].name
            return f"See whether {name} shows the same part as the other scans; if it does, scan that side again."
        return f"{SAME_PART_DO}."
    ways = " or ".join(f"join = {k}" for k in range(1, rivals + 2))
    told_by = OTHER_SIDE_DO if found.one_side else ONE_MORE_TELLS
    return f"Look at the ways in the report and write {ways} into the sheet; {told_by}."


def _alternative(way: Arrangement, best: Arrangement, views: Sequence[View]) -> Alternative:
    close = [said for said in way.agreements.values() if said.agree > LEAST_OVERLAP]
    rms = float(np.sqrt(np.mean([said.rms_mm**2 for said in close]))) if close else float("inf")
    differs = "" if way is best else _what_differs(way, best, views)
    return Alternative(
        poses=tuple(way.poses[k] for k in range(len(views))),
        score=-float(np.log(max(way.worth, 1e-300))),
        rms_mm=rms,
        tilt_deg=None,
        thickness_mm=None,
        differs=differs,
    )


def _what_differs(way: Arrangement, best: Arrangement, views: Sequence[View]) -> str:
    apart = {k: unlike(view.asked.points_mm, way.poses[k], best.poses[k]) for k, view in enumerate(views)}
    k = max(apart, key=lambda view: apart[view])
    cannot_be = f", and {100 * way.impossible:.2f} % of it cannot be" if way.impossible > 0.0 else ""
    return (
        f"{views[k].name} lies up to {apart[k]:.0f} mm elsewhere; {100 * way.agree:.0f} % of the surface is seen more"
        f" than once against {100 * best.agree:.0f} %{cannot_be}."
    )


def _links(found: Found, views: Sequence[View]) -> tuple[Link, ...]:
    """Pairs that show common surface, and how far what they said alone is from where all views put them.

    Two views of a part that is symmetric as far as they show it say several things alone: the nearest counts.
    """
    best = found.ways[0]
    links = []
    for (i, j), said in sorted(best.agreements.items()):
        if said.agree < LEAST_OVERLAP and not found.met.get((i, j)):
            continue
        off = _off_alone(best, found.met.get((i, j), ()), i, j, views)
        used = said.agree >= LEAST_OVERLAP and off < CLOSES_MM + CLOSES_SHARE * found.size_mm
        links.append(Link(i, j, said.agree, said.rms_mm if said.agree > 0 else 0.0, used, off))
    return tuple(links)


def _off_alone(best: Arrangement, alone: Sequence[Met], i: int, j: int, views: Sequence[View]) -> float:
    if not alone:
        return 0.0
    between: Array = np.linalg.inv(best.poses[i]) @ best.poses[j]
    good = [each for each in alone if each.worth > RIVAL_SHARE * alone[0].worth]
    return min(unlike(views[j].asked.points_mm, each.pose, between) for each in good)


def _residuals(best: Arrangement, views: Sequence[View]) -> tuple[Residual, ...]:
    """One for every two views that show common surface."""
    return tuple(
        _residual(f"{views[i].name} on {views[j].name}", said, views[i], best.poses[i])
        for (i, j), said in sorted(best.agreements.items())
        if said.agree >= LEAST_OVERLAP
    )


def _residual(where: str, said: Agreement, view: View, pose: Array) -> Residual:
    at = view.asked.points_mm[said.first.agree] if said.first.agree.any() else view.asked.points_mm
    x, y, z = (float(value) for value in pose[:3, :3] @ at.mean(axis=0) + pose[:3, 3])
    return Residual(where, (x, y, z), said.rms_mm, int(said.first.agree.sum() + said.second.agree.sum()))
