"""Two sides of one large part: every way of laying rim on rim, each refined, weighed, and the best one taken or not."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import islice

import numpy as np

from verifier.errors import CannotJoin
from verifier.joining.abreast import abreast
from verifier.joining.dots.dot import NO_DOTS, Dots
from verifier.joining.dots.matching import poses_by_dots
from verifier.joining.dots.telling import dots_together, told_apart, told_otherwise
from verifier.joining.evidence import Evidence, evidence_of
from verifier.joining.gap_known import gap_u_mm, of_hidden_wall_mm
from verifier.joining.laid_together import moved
from verifier.joining.outline import Outline, lay_rims, outline_of
from verifier.joining.painted_sides import side_told_by_paint
from verifier.joining.posed import Alternative, Placing, Residual, scale_of
from verifier.joining.profile import RimHeights, rim_heights
from verifier.joining.refining import (
    LEAST_SCALE,
    Refined,
    refine,
    start_pose,
)
from verifier.joining.rows import Moving, Target
from verifier.joining.side import Side, side_of, turned_over
from verifier.joining.sureness import (
    SURE,
    Doubt,
    against_of,
    doubt_of,
    told_by_dots,
    told_by_paint,
    too_loose,
    torn,
)
from verifier.joining.thickness import (
    CALLIPER_MM,
    THROUGH_SHARE,
    Gap,
    calliper_correction_mm,
    even_wall_mm,
    gap_between,
    reading_wanted,
)
from verifier.joining.twin_sides import alike
from verifier.mesh import Array
from verifier.reading.scan import Scan
from verifier.rulebook import Sheet

# Rims of one part fit within this, as a share of its length, but for a fifth of the pieces (2 mm on 1.2 m).
FITS_SHARE = 1 / 600
# Share of the rim that must have been seen by both sides.
LEAST_OVERLAP = 0.05
# Mean normals of two sides of one part are never further apart (reference: gate of four degrees).
MOST_TILT_DEG = 4.0
REGIONS = 8
# A join is sure to 1.5 mm when twice its standard uncertainty is no more.
MOST_GAP_U_MM = 0.75
# The best way is weighed against so many that make another part.
MOST_OTHERS = 2

NO_OVERLAP_DO = (
    "Scan each side a little past the rim, so that both see the same band of it; add a third view from the side, or"
    " stick dots 100 to 200 mm apart along the rim, some to be seen from either side"
)


@dataclass(frozen=True, slots=True)
class Way:
    """One way of putting the second side to the first, in the first side's frame."""

    refined: Refined
    evidence: Evidence
    gap: Gap

    @property
    def pose(self) -> Array:
        """Of the turned-over second side in the first side's frame."""
        return self.refined.pose


@dataclass(frozen=True, slots=True)
class Pair:
    """Two sides and what is asked of them again and again."""

    target: Target
    moving: Moving

    @property
    def length_mm(self) -> float:
        """The longest way across the part."""
        return self.target.side.length_mm

    def dots_together(self, pose: Array) -> int:
        """How many marker dots of the two sides lie on each other."""
        return dots_together((self.target.dots, self.moving.dots), (np.eye(4), pose))

    def way(self, start: Array, *, finely: bool, with_scale: bool) -> Way:
        """Refine one start and weigh it."""
        found = refine(start, self.target, self.moving, finely=finely, with_scale=with_scale)
        evidence = evidence_of(found.pose, self.target, self.moving)
        return Way(found, evidence, gap_between(found.pose, self.target.side, self.moving.side))


def pair_of(first: Scan, second: Scan, dots: tuple[Dots, Dots] = (NO_DOTS, NO_DOTS)) -> Pair:
    """Trim both scans and look at their rims, one beside the other."""
    one, over = abreast(_rim_seen, (lambda: side_of(first), lambda: turned_over(side_of(second))))
    here, there = (each.placed(side.to_side) for each, side in zip(dots, (one[0], over[0]), strict=True))
    return Pair(Target(*one, here), Moving(*over, there))


def _rim_seen(seen: Callable[[], Side]) -> tuple[Side, Outline, RimHeights]:
    side = seen()
    outline = outline_of(side)
    return side, outline, rim_heights(side, outline)


def place_two_sides(
    first: Scan, second: Scan, sheet: Sheet | None, dots: tuple[Dots, Dots] = (NO_DOTS, NO_DOTS)
) -> Placing:
    """Put the second scan to the first.

    dots : the marker dots of each, in its own frame
    Raises CannotJoin when nothing fits, or when the sides share no surface.
    """
    pair = pair_of(first, second, dots)
    fitting = _ways(pair)
    ways, otherwise = _as_dots_tell(fitting, pair)
    if not ways:
        raise _cannot(pair, "no way of laying one side's rim on the other's gives a part")
    best = _finest_of_best(pair, ways[0])
    if _rim_overlap(best, pair) < LEAST_OVERLAP:
        raise _cannot(pair, "they do not overlap: no band along the rim was seen from both sides")
    if best.evidence.rms_mm > FITS_SHARE * pair.length_mm:
        raise _cannot(pair, f"their rims do not fit: {best.evidence.rms_mm:.1f} mm apart at best")
    # Ways that make the same part crowd out none that makes another: of a round lid there are many.
    unlike = (way for way in ways[1:] if not alike(way.pose, best.pose, pair.target, pair.moving))
    others = abreast(lambda way: _finest(pair, way), islice(unlike, MOST_OTHERS))
    doubt = doubt_of(best.evidence, [way.evidence for way in others])
    if otherwise is not None and not alike(otherwise.pose, best.pose, pair.target, pair.moving):
        doubt = torn(doubt, pair.dots_together(otherwise.pose))
    elif doubt.sure and len(ways) < len(fitting):
        doubt = told_by_dots(doubt, pair.dots_together(best.pose))
    ways, doubt = _by_paint([best, *others], doubt, pair)
    return _placing(pair, ways, doubt, _rim_overlap(ways[0], pair), sheet)


def _by_paint(ways: list[Way], doubt: Doubt, pair: Pair) -> tuple[list[Way], Doubt]:
    """With the way first that colours tell from all others, where shape leaves a doubt and they tell one."""
    if not doubt.rivals:
        return ways, doubt
    told = side_told_by_paint([way.pose for way in ways], pair.target, pair.moving)
    if told is None or (told > 0 and told - 1 not in doubt.rivals):
        return ways, doubt
    others = [way for k, way in enumerate(ways) if k != told]
    return [ways[told], *others], told_by_paint([way.evidence for way in others])


def _cannot(pair: Pair, what: str) -> CannotJoin:
    where = f"{pair.target.side.scan.source.name} and {pair.moving.side.scan.source.name}"
    return CannotJoin(what, where=where, do=NO_OVERLAP_DO)


def _ways(pair: Pair) -> list[Way]:
    """The ways that make a part, the one that fits best first; all are weighed by the same doubt."""
    starts = lay_rims(pair.target.outline, pair.moving.outline, pair.length_mm)
    poses = [start_pose(laid, pair.target.heights, pair.moving.heights) for laid in starts]
    poses += list(poses_by_dots(pair.target.dots, pair.moving.dots))
    ways = abreast(lambda pose: pair.way(pose, finely=False, with_scale=False), poses)
    ways = [way for way in ways if way.gap.through_share <= THROUGH_SHARE and _tilt_deg(way.pose) < MOST_TILT_DEG]
    kept: list[Way] = []
    for way in _best_first(ways):
        if not any(_same(way.pose, other.pose, pair) for other in kept):
            kept.append(way)
    return kept


def _as_dots_tell(ways: list[Way], pair: Pair) -> tuple[list[Way], Way | None]:
    """The ways that marker dots leave, theirs first; and the way they would take though the rims speak against it.

    That one is never taken, and stands second.
    """
    if not ways:
        return ways, None
    together = [pair.dots_together(way.pose) for way in ways]
    allowed = [each <= SURE for each in against_of(ways[0].evidence, [way.evidence for way in ways])]
    otherwise = told_otherwise(together, allowed)
    left = told_apart(together, allowed)
    if otherwise is not None:
        left = [left[0], otherwise, *(k for k in left[1:] if k != otherwise)]
    return [ways[k] for k in left], None if otherwise is None else ways[otherwise]


def _best_first(ways: list[Way]) -> list[Way]:
    """By their misfit, all weighed by the doubt of the one whose pieces agree best."""
    if not ways:
        return []
    doubts = min(ways, key=lambda way: way.evidence.rms_mm).evidence.doubts_mm
    return sorted(ways, key=lambda way: way.evidence.misfit(doubts))


def _finest(pair: Pair, way: Way) -> Way:
    """With more points, and with a difference of scale when there is one beyond doubt."""
    scaled = pair.way(way.pose, finely=True, with_scale=True)
    return scaled if _is_scaled(scaled) else pair.way(way.pose, finely=True, with_scale=False)


def _finest_of_best(pair: Pair, way: Way) -> Way:
    """The same on both cores: the sides of one part seldom differ in scale, so both are worked out at once."""
    scaled, plain = abreast(lambda with_scale: pair.way(way.pose, finely=True, with_scale=with_scale), (True, False))
    return scaled if _is_scaled(scaled) else plain


def _is_scaled(way: Way) -> bool:
    return abs(scale_of(way.pose) - 1.0) > LEAST_SCALE


def _same(one: Array, other: Array, pair: Pair) -> bool:
    """Whether two poses put the second rim to one place, within a 200th of the length."""
    rim = pair.moving.side.rim_mm[:: max(1, len(pair.moving.side.rim_mm) // 200)]
    away = np.linalg.norm(moved(rim, one) - moved(rim, other), axis=1)
    return bool(away.max() < pair.length_mm / 200)


def _tilt_deg(pose: Array) -> float:
    return float(np.degrees(np.arccos(np.clip(pose[2, 2] / np.linalg.norm(pose[:3, 2]), -1.0, 1.0))))


def _rim_overlap(way: Way, pair: Pair) -> float:
    """Share of the rim's pieces where both sides saw the same surface."""
    piece_mm = pair.length_mm / 60
    rim = np.floor(moved(pair.moving.side.rim_mm, way.pose)[:, :2] / piece_mm).astype(np.int64)
    both = np.floor(way.refined.seen.at_mm[way.refined.seen.matched][:, :2] / piece_mm).astype(np.int64)
    pieces = set(map(tuple, rim.tolist()))
    return len(pieces & set(map(tuple, both.tolist()))) / max(1, len(pieces))


def _placing(pair: Pair, ways: list[Way], doubt: Doubt, overlap: float, sheet: Sheet | None) -> Placing:
    sides = pair.target.side, pair.moving.side
    gap_us = [gap_u_mm(way.refined, pair.target, pair.moving) for way in ways]
    gap_us[0] = max(gap_us[0], of_hidden_wall_mm(ways[0].refined, pair.target, pair.moving))
    walls = [even_wall_mm(way.pose, *sides) for way in ways]
    corrections = [
        calliper_correction_mm(way.gap, wall, sheet, pair.length_mm, u)
        for way, wall, u in zip(ways, walls, gap_us, strict=True)
    ]
    if doubt.sure and corrections[0] is None and gap_us[0] > MOST_GAP_U_MM:
        doubt = too_loose(doubt, gap_us[0], reading_wanted(ways[0].gap, walls[0], pair.length_mm))
    alternatives = tuple(
        _alternative(way, pair, pull, ("", *doubt.differs)[k], way.evidence.misfit(ways[0].evidence.doubts_mm))
        for k, (way, pull) in enumerate(zip(ways, map(_pull_mm, corrections, gap_us), strict=True))
    )
    return Placing(
        method="rim laid on rim",
        alternatives=alternatives,
        chosen=0,
        sure=doubt.sure,
        why=doubt.why,
        do=doubt.do,
        keep_faces=(pair.target.side.keep_faces, pair.moving.side.keep_faces),
        overlap_share=overlap,
        residuals=_residuals(ways[0], pair),
        trimmed=(pair.target.side.trimmed, pair.moving.side.trimmed),
        calliper_mm=corrections[0][1] if corrections[0] else None,
    )


def _pull_mm(correction: tuple[float, float] | None, gap_u_mm: float) -> float:
    """How much further apart the calliper sets the sides, as far as it is the better known of the two."""
    return 0.0 if correction is None else correction[0] * gap_u_mm**2 / (gap_u_mm**2 + CALLIPER_MM**2)


def _alternative(way: Way, pair: Pair, pull_mm: float, differs: str, misfit: float) -> Alternative:
    """One way in the first scan's frame, its gap set by the calliper where the sheet has a reading."""
    pose, gap_mm = way.pose.copy(), way.gap.greatest_mm + pull_mm
    pose[2, 3] -= pull_mm
    in_scan = np.linalg.inv(pair.target.side.to_side) @ pose @ pair.moving.side.to_side
    rim = moved(pair.moving.side.rim_mm, pose)
    return Alternative(
        poses=(np.eye(4), in_scan),
        score=misfit,
        rms_mm=way.evidence.rms_mm,
        tilt_deg=_tilt_deg(pose),
        thickness_mm=gap_mm,
        differs=differs,
        outlines_mm=(_thinned(pair.target.side.rim_mm), _thinned(rim)),
    )


def _thinned(rim_mm: Array) -> Array:
    """Some 300 points of a rim in plan, in order about its middle, to be drawn."""
    flat = rim_mm[:: max(1, len(rim_mm) // 300), :2]
    about = flat - flat.mean(axis=0)
    return np.asarray(flat[np.argsort(np.arctan2(about[:, 1], about[:, 0]))])


def _residuals(way: Way, pair: Pair) -> tuple[Residual, ...]:
    """The pieces of the rim by eighths of a turn about its middle."""
    evidence = way.evidence
    turn = np.arctan2(evidence.at_mm[:, 1], evidence.at_mm[:, 0])
    region = np.floor((turn + np.pi) / (2 * np.pi) * REGIONS).astype(np.int64) % REGIONS
    back: Array = np.asarray(np.linalg.inv(pair.target.side.to_side), dtype=np.float64)
    return tuple(
        _residual(f"rim, {k + 1} of {REGIONS}", moved(evidence.at_mm[region == k], back), evidence.raw_mm[region == k])
        for k in range(REGIONS)
        if (region == k).any()
    )


def _residual(where: str, at_mm: Array, off_mm: Array) -> Residual:
    x, y, z = (float(value) for value in at_mm.mean(axis=0))
    return Residual(where, (x, y, z), float(np.sqrt(np.median(off_mm**2))), len(off_mm))
