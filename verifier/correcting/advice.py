"""What would make scale and coat surer: the size to read, the reading to take again, each as one sentence."""

from collections.abc import Sequence

import numpy as np

from verifier.correcting.evidence import Evidence, tells_lengths
from verifier.correcting.misreadings import Misread
from verifier.correcting.stretched import stretched
from verifier.correcting.terms import FEWEST_READINGS, MOST_CORRELATION, Terms, correlation
from verifier.measuring.size import Size
from verifier.mesh import Array
from verifier.rulebook.rules import Expectation
from verifier.rulebook.sheet import Sheet

# Under a tenth, an error of a reading goes to nine tenths into the scale and hardly shows in the row itself.
UNCHECKABLE_REDUNDANCY = 0.1

# A scatter that comes by chance in one sheet of a hundred is told as not fitting the model.
LACK_OF_FIT_BELOW = 0.01

# What a reading with a usual calliper and scan is good for, to compare sizes that were not read yet.
_USUAL_U_MM = 0.03


def give_advice(
    sizes: Sequence[Size],
    sheet: Sheet,
    evidence: Evidence,
    terms: Terms,
    misread: Misread,
    expected: Expectation,
    covariance: Array,
) -> tuple[str, ...]:
    """Everything worth telling about the readings, most urgent first.

    covariance : (3, 3) of the terms, after enlarging
    """
    sound = evidence.only(misread.sound)
    return (
        *stretched(sizes, evidence, expected),
        *_readings_to_take_again(misread),
        *_size_to_add(sizes, sheet, sound, terms),
        *_lack_of_fit(terms),
        *_beyond_expectation(terms, expected, covariance),
        *_uncheckable(sound, terms),
    )


def quoted(names: Sequence[str]) -> str:
    """Names as a sentence lists them: 'a', 'b' or 'c'."""
    marked = [f"'{name}'" for name in names]
    return " or ".join([", ".join(marked[:-1]), marked[-1]] if len(marked) > 1 else marked)


def _readings_to_take_again(misread: Misread) -> tuple[str, ...]:
    return tuple(
        f"Read {quoted(group)} again with the calliper: "
        + ("it does not fit the other readings." if len(group) == 1 else "one of them does not fit the other readings.")
        for group in misread.groups
    )


def _size_to_add(sizes: Sequence[Size], sheet: Sheet, sound: Evidence, terms: Terms) -> tuple[str, ...]:
    if terms.separable:
        return ()
    if len(sound) == 0:
        return ("Read some sizes with the calliper: a long one, a thickness and a bore tell scale and coat apart.",)
    return (f"{_why_inseparable(sound)}: {_best_addition(sizes, sheet, sound)}.",)


def _why_inseparable(sound: Evidence) -> str:
    if len(sound) < FEWEST_READINGS:
        count = {1: "One reading", 2: "Two readings"}[len(sound)]
        return f"{count} cannot tell scale from coat with anything left to check them"
    return f"These {len(sound)} readings cannot tell scale from coat (correlation {correlation(sound):+.2f})"


def _best_addition(sizes: Sequence[Size], sheet: Sheet, sound: Evidence) -> str:
    """The row that was scanned but not read, or else the kind of size, that parts the two terms best."""
    rows = {row.name: row for row in sheet.rows}
    unread = [
        (f"read '{size.name}' with the calliper", float(size.measured_mm), size.walls)
        for size in sizes
        if size.measured_mm is not None and tells_lengths(size, rows[size.name]) and rows[size.name].reading is None
    ]
    longest = float(sound.reading_mm.max())
    kinds = [
        ("add a bore to the sheet", 0.1 * longest, -2),
        (f"add a centre distance or a step of about {longest:.0f} mm to the sheet", longest, 0),
        ("add a thickness of a few millimetres to the sheet", 0.05 * longest, 2),
    ]

    def left_over(candidate: tuple[str, float, float]) -> float:
        return abs(correlation(sound.plus(candidate[1], candidate[2], _USUAL_U_MM)))

    best_unread = min(unread, key=left_over, default=None)
    if best_unread is not None and left_over(best_unread) <= MOST_CORRELATION:
        return best_unread[0]
    return min(kinds, key=left_over)[0]


def _lack_of_fit(terms: Terms) -> tuple[str, ...]:
    if terms.chance >= LACK_OF_FIT_BELOW:
        return ()
    return (
        f"The readings do not follow one scale and one coat (they scatter {terms.understatement:.1f} times as much as "
        "their uncertainties allow): look for an uneven coat, a bent part or a coarse scan.",
    )


def _beyond_expectation(terms: Terms, expected: Expectation, covariance: Array) -> tuple[str, ...]:
    """A term that no scanner and no powder should give, and that points at something else."""
    if not terms.separable:
        return ()
    u_scale, u_coat, _ = np.sqrt(np.diag(covariance))
    told = []
    if abs(terms.scale - 1.0) > 4.0 * np.hypot(expected.u_scale, u_scale):
        told.append(
            f"A scale error of {100 * (terms.scale - 1.0):+.1f} % is far beyond this scanner's usual "
            f"{100 * expected.u_scale:.1f} %: check the unit of the export and that the readings belong to this part."
        )
    if terms.coat_mm > expected.coat_max_mm + 2.0 * u_coat:
        told.append(
            f"A coat of {terms.coat_mm:.2f} mm is thicker than powder lies (at most {expected.coat_max_mm:.2f} mm): "
            "look for paint, glue or dirt on the part, or for readings of another part."
        )
    if terms.coat_mm < -2.0 * u_coat:
        told.append(
            f"The scan lies {-terms.coat_mm:.2f} mm under the faces, as it does where light enters a clear or shiny "
            "plastic: dust the part and scan again."
        )
    return tuple(told)


def _uncheckable(sound: Evidence, terms: Terms) -> tuple[str, ...]:
    if not terms.separable:
        return ()
    return tuple(
        f"A misreading of '{sound.names[row]}' would hide in {_hides_in(int(row), sound, terms)} to the sheet."
        for row in np.flatnonzero(terms.redundancies < UNCHECKABLE_REDUNDANCY)
    )


def _hides_in(row: int, sound: Evidence, terms: Terms) -> str:
    """The term that would follow a misreading of this row farthest, and what to add so that it cannot."""
    shares = np.array([sound.reading_mm[row], sound.outside_walls[row], sound.inside_walls[row]])
    followed = np.abs(shares) * np.sqrt(np.diag(terms.covariance))
    return (
        "the scale: add a second size of about that length",
        "the powder: add a second thickness or another short outside size",
        "the powder in bores: add a second bore or slot",
    )[int(np.argmax(followed))]
