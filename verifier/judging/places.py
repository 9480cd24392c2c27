"""Where on the part something is, in words: places in the export's own axes and the side they are seen from."""

from collections.abc import Sequence

import numpy as np

from verifier.mending.solid import MendStep, Solid
from verifier.mending.unseen import Unseen, unseen_places
from verifier.mesh import Array
from verifier.rulebook.rules import Decision

# More places than this are not told one by one: whoever scans again sees the rest on the way.
PLACES_TOLD = 4
# A thrown-away piece from this size on may be a piece of the part: a broken-off lug, a pin. Specks of a scan are
# smaller (under 2 mm, common practice, no source).
LARGE_PIECE_MM = 3.0
# Sides named together when the second one counts for more than this (cosine of 67 degrees).
SECOND_SIDE = 0.38

# Over an edge of the part a filled place of this share of the width that may pass is too wide already: the wall between
# a bore and the outside, or a bore's mouth, is no wider and can be in it.
EDGE_SHARE = 0.5

THROWN_AWAY = ("Removed debris", "Removed loose sheets", "Cut off fins", "Cut surface that hung by one corner")


def what_was_not_seen(solid: Solid, limits: Decision) -> tuple[str, str] | None:
    """Why so much or so wide a filled surface cannot pass, and what to do; None where it can.

    The wall of a narrow bore between its two ends counts to neither: no scanner sees it, and the ends say how it runs.
    """
    most, widest = limits.max_filled_share, limits.max_filled_width_mm
    wide = _wide_places(solid, widest)
    share = solid.filled_share
    if share > most:
        share -= _lined_mm2(solid, widest) / solid.area_mm2
    if share <= most and not wide:
        return None
    places = wide or unseen_places(solid)
    reasons = (
        f"{100 * share:.1f} % of the surface was filled without having been seen; {100 * most:.1f} % may be."
        if share > most
        else "",
        _too_wide(wide, widest) if wide else "",
    )
    return " ".join(reason for reason in reasons if reason), where_to_scan_again(places)


def widest_hole(solid: Solid, limits: Decision) -> str | None:
    """Where the widest filled place lies that is too wide to pass, in the export's own axes; None where there is none.

    Not the inside of a bore, which was found.
    """
    holes = [one for one in _wide_places(solid, limits.max_filled_width_mm) if not one.inside_a_bore]
    return _at(max(holes, key=lambda one: one.width_mm).at_mm) if holes else None


def _wide_places(solid: Solid, widest_mm: float) -> tuple[Unseen, ...]:
    places = unseen_places(solid, EDGE_SHARE * widest_mm)
    return tuple(one for one in places if one.width_mm >= widest_mm or one.over_an_edge)


def _lined_mm2(solid: Solid, widest_mm: float) -> float:
    return sum(one.area_mm2 for one in unseen_places(solid) if one.inside_a_bore and one.width_mm < widest_mm)


def where_to_scan_again(places: Sequence[Unseen]) -> str:
    """'Scan again here: hole 23 x 18 mm at (12.0, 4.0, 5.0), seen from +z.'"""
    told = "; ".join(map(_place_in_words, places[:PLACES_TOLD]))
    rest = len(places) - PLACES_TOLD
    more = f"; and {rest} smaller" if rest > 0 else ""
    return f"Scan again here (mm, in the export's own axes): {told}{more}."


def _place_in_words(one: Unseen) -> str:
    what = "inside of a bore" if one.inside_a_bore else "hole"
    size = f"{one.length_mm:.0f} × {one.width_mm:.0f} mm"
    return f"{what} {size} at {_at(one.at_mm)}, seen from {side_of(one.seen_from)}"


def what_was_thrown_away(solid: Solid) -> tuple[str, ...]:
    """A sentence about thrown-away pieces that are large enough to be one of the part; none where there are none."""
    large = [step for step in solid.steps if step.what in THROWN_AWAY and step.largest_mm >= LARGE_PIECE_MM]
    if not large:
        return ()
    largest = sorted(large, key=lambda step: -step.largest_mm)
    told = "; ".join(map(_thrown_in_words, largest[:PLACES_TOLD]))
    more = "; and smaller ones" if len(largest) > PLACES_TOLD else ""
    return (
        "Look whether the part has all its pieces. What hung on nothing was thrown away: "
        f"{told}{more}. If it belongs to the part, scan again so that the scan joins it to the rest.",
    )


def side_of(direction: Array) -> str:
    """'+z', or 'between +z and -x': the side of the export's axes that a direction points to."""
    order = np.argsort(-np.abs(direction))
    first, second = (f"{'+' if direction[k] >= 0 else '-'}{'xyz'[k]}" for k in order[:2].tolist())
    if abs(float(direction[order[1]])) < SECOND_SIDE:
        return first
    return f"between {first} and {second}"


def _too_wide(wide: Sequence[Unseen], widest_mm: float) -> str:
    holes = [one for one in wide if not one.inside_a_bore]
    bores = [one for one in wide if one.inside_a_bore]
    return " ".join([*([_holes_in_words(holes, widest_mm)] if holes else []), *map(_bore_in_words, bores)])


def _bore_in_words(bore: Unseen) -> str:
    size = f"{bore.width_mm:.0f} mm across was lined over {bore.length_mm:.0f} mm"
    return f"A bore {size} between its ends, where its wall was not seen: another may open into it there."


def _holes_in_words(wide: Sequence[Unseen], widest_mm: float) -> str:
    many = "1 hole" if len(wide) == 1 else f"{len(wide)} holes"
    was = "was" if len(wide) == 1 else "were"
    size = f"{wide[0].length_mm:.0f} × {wide[0].width_mm:.0f} mm"
    limit = (
        f"{widest_mm:g} mm across" if wide[0].width_mm >= widest_mm else f"{EDGE_SHARE * widest_mm:g} mm over an edge"
    )
    return f"{many} of more than {limit} {was} filled, up to {size}: a bore may be hidden there."


def _thrown_in_words(step: MendStep) -> str:
    place = f" at {_at(np.array(step.places_mm[0]))}" if step.places_mm else ""
    return f"{step.largest_mm:.1f} mm across{place}, under '{step.what}'"


def _at(place_mm: Array) -> str:
    x, y, z = (float(value) for value in place_mm)
    return f"({x:.1f}, {y:.1f}, {z:.1f})"
