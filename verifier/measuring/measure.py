"""One size for each row of the sheet, taken between found features."""

from collections.abc import Mapping, Sequence

import numpy as np

from verifier.finding.feature import Features
from verifier.measuring import belief as beliefs
from verifier.measuring.by_size import options_by_size
from verifier.measuring.candidate import Candidate
from verifier.measuring.circles import circle_options
from verifier.measuring.decide import Case, decide
from verifier.measuring.frame import frame_of
from verifier.measuring.kinds import KINDS
from verifier.measuring.matched import (
    Matched,
    edge_options,
    line_options,
    match_named,
    mouth_options,
    named_options,
    pair_options,
)
from verifier.measuring.option import Option
from verifier.measuring.size import Size
from verifier.measuring.support import doubt, held_by_one_distance
from verifier.measuring.wanted import Wanted, wanted_rows
from verifier.mesh import Array
from verifier.rulebook import Rules, Sheet, SheetRow

NO_SIZE = "it has neither a reading nor a nominal, and nothing else on the sheet says which it is"
ONE_DISTANCE = "told from a look-alike by one distance alone: one more, such as to an edge, would make it sure"
NO_ENDS = "the sheet has no bore or boss rows by the names it is taken between"


def measure(features: Features, sheet: Sheet, rules: Rules) -> tuple[Size, ...]:
    """One Size for each row of the sheet, in its order, on the scan as it is; also for rows that were not found.

    Which feature is which row is settled by all rows together, for an unknown scale and coat, missing and surplus
    features, and one misread value. Where two matchings are as good and give different sizes, the row says so.
    """
    everything = wanted_rows(sheet, rules)
    wanted = tuple(row for row in everything if KINDS[row.row.kind].derive is None)
    matched = match_named(frame_of(features, wanted), wanted, beliefs.first_belief(rules))
    cases = [_case(row, wanted, matched) for row in wanted if not _by_own_size(row)]
    cases += _own_cases([row for row in wanted if _by_own_size(row)], features, matched.belief)
    found = {size.name: size for size in decide(sorted(cases, key=lambda case: case.wanted.index))}
    return tuple(_derived(row.row, features, found) for row in everything)


def _derived(row: SheetRow, features: Features, found: Mapping[str, Size]) -> Size:
    """The row's size: as matched, or from the features that other rows were matched to."""
    derive = KINDS[row.kind].derive
    return found[row.name] if derive is None else derive(features, row, found)


def _by_own_size(row: Wanted) -> bool:
    return KINDS[row.row.kind].found == "own" and row.row.between is None


def _case(row: Wanted, wanted: Sequence[Wanted], matched: Matched) -> Case:
    """A row that names a bore, or is taken between or from named ones."""
    if KINDS[row.row.kind].found == "named":
        return _named_case(row, wanted, matched)
    ends = matched.frame.ends(row)
    if not ends:
        return Case(row, (), matched.belief, missing=NO_ENDS)
    take = {
        "pair": pair_options,
        "from": edge_options,
        "mouth": mouth_options,
        "own": line_options,
        "circle": circle_options,
    }[KINDS[row.row.kind].found]
    doubts = [found for end in ends if (found := doubt(matched, wanted, end))]
    # What does harm counts before what only leaves equals to choose from.
    worst = min(doubts, key=lambda found: found.among_equals, default=None)
    lost = [matched.frame.named[end].row.name for end in ends if matched.best(end) is None]
    missing = f"'{lost[0]}' was not found" if lost else ""
    images = matched.images and KINDS[row.row.kind].found in ("pair", "from") and set(ends) <= set(matched.tied)
    return Case(row, take(matched, row), matched.belief, worst, missing, _remark(wanted, matched, ends), images)


def _remark(wanted: Sequence[Wanted], matched: Matched, places: Sequence[int]) -> str:
    return ONE_DISTANCE if any(held_by_one_distance(matched, wanted, place) for place in places) else ""


def _named_case(row: Wanted, wanted: Sequence[Wanted], matched: Matched) -> Case:
    place = matched.frame.place[row.row.name]
    unknown = row.size is None and place not in matched.tied
    options = named_options(matched, place)
    missing = NO_SIZE if unknown else ""
    images = matched.images and place in matched.tied
    remark = _remark(wanted, matched, [place])
    return Case(row, options, matched.belief, doubt(matched, wanted, place), missing, remark, images)


def _own_cases(rows: Sequence[Wanted], features: Features, belief: Array) -> list[Case]:
    """Rows found by their own size: once with what the bores said of scale and coat, then with what the others add."""
    places = _places(rows, features)
    first = _own_options(rows, places, np.repeat(belief[None], len(rows), axis=0))
    learnt = np.array([_learnt(i, rows, first, belief) for i in range(len(rows))]).reshape(len(rows), 5)
    options = _own_options(rows, places, learnt)
    return [
        Case(*each, missing="" if each[0].size or each[1] else NO_SIZE)
        for each in zip(rows, options, learnt, strict=True)
    ]


def _places(rows: Sequence[Wanted], features: Features) -> list[list[Candidate]]:
    """Where each row could have been taken; face pairs are looked through once for all thicknesses."""
    same = [row.row if row.row.kind in ("overall", "angle") else row.row.kind for row in rows]
    known = {key: row.row for key, row in zip(same, rows, strict=True)}
    found = {key: KINDS[row.kind].candidates(features, row) for key, row in known.items()}
    return [found[key] for key in same]


def _own_options(rows: Sequence[Wanted], places: Sequence[list[Candidate]], belief: Array) -> list[tuple[Option, ...]]:
    # A row without a reading has the one place there is for its kind; of several nothing says which.
    options = [_only(each) if row.size is None else () for row, each in zip(rows, places, strict=True)]
    for kind in {row.row.kind for row in rows}:
        mine = [i for i, row in enumerate(rows) if row.row.kind == kind and row.size is not None]
        if mine:
            found = options_by_size([rows[i] for i in mine], [places[i] for i in mine], belief[mine])
            for i, option in zip(mine, found, strict=True):
                options[i] = option
    return [_as_named(row, at, option) for row, at, option in zip(rows, places, options, strict=True)]


def _only(places: Sequence[Candidate]) -> tuple[Option, ...]:
    return (Option(places[0], 0.0),) if len(places) == 1 else ()


def _as_named(row: Wanted, places: Sequence[Candidate], options: tuple[Option, ...]) -> tuple[Option, ...]:
    """An overall size is named by its direction: where only one can be meant it is that, whatever was read."""
    if row.row.kind != "overall" or row.row.along is None:
        return options
    named = [place for place in places if place.features == (row.row.along,)]
    certain = len(places) == 1 or not any(option.candidate for option in options)
    return (Option(named[0], 0.0),) if certain and named else options


def _learnt(but: int, rows: Sequence[Wanted], options: Sequence[tuple[Option, ...]], belief: Array) -> Array:
    """The belief with every other row added that has one place and fits it, (5,)."""
    for i, (row, mine) in enumerate(zip(rows, options, strict=True)):
        if i == but or len(mine) != 1 or row.row.kind in ("overall", "angle"):
            continue
        belief = _with(belief, row, mine[0].candidate)
    return belief


def _with(belief: Array, row: Wanted, place: Candidate | None) -> Array:
    """The belief after one row, unless its reading is more than a little off (it may be misread)."""
    if place is None or row.size is None:
        return belief
    mean, spread = beliefs.predict(belief[None], row.size, place.walls)
    variance = np.array([row.u**2 + place.u**2 + 0.03**2])
    if abs(place.value - mean[0]) > 3.0 * np.sqrt(spread[0] + variance[0]):
        return belief
    return np.asarray(beliefs.learn(belief[None], row.size, place.walls, np.array([place.value]), variance)[0])
