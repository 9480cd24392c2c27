"""Whether the sheet can be that of the scanned part."""

from collections.abc import Sequence

import numpy as np

from verifier.measuring.belief import first_belief, predict
from verifier.measuring.size import Size
from verifier.rulebook import Rules, Sheet, reading_of
from verifier.rulebook.size_kinds import SHAPE_KINDS

# A sound reading lies within so many standard uncertainties of the scan, scale and powder as they may be at first.
SOUND_WITHIN = 4.0

# One reading that fits nothing is a slip of the pen; from so many on, and twice as many as fit, it is another part.
FEWEST_MISFITS, MISFITS_TO_EACH_FIT = 3, 2


def speaks_of_another_part(sizes: Sequence[Size], sheet: Sheet, rules: Rules) -> tuple[int, int] | None:
    """How many readings fit nothing on the scan and how many fit, where the two can hardly be of one part; else None.

    Readings with several places or none that their row could be told by count for neither.
    """
    misfits, fits = 0, 0
    for row, size in zip(sheet.rows, sizes, strict=True):
        reading = None if row.kind in SHAPE_KINDS else reading_of(row, sheet, rules)
        if reading is None or (size.measured_mm is None and not size.fits_nothing):
            continue
        if size.measured_mm is None or not _sound(size, reading.value, reading.u, rules):
            misfits += 1
        else:
            fits += 1
    another = misfits >= FEWEST_MISFITS and misfits > MISFITS_TO_EACH_FIT * fits
    return (misfits, fits) if another else None


def _sound(size: Size, reading: float, u_reading: float, rules: Rules) -> bool:
    """Whether a measured size can be what was read, by scale and powder as they are before anything is measured."""
    assert size.measured_mm is not None
    expected, variance = (float(each[0]) for each in predict(first_belief(rules), reading, size.walls))
    u = float(np.sqrt(variance + size.u_mm**2 + u_reading**2))
    return abs(size.measured_mm - expected) <= SOUND_WITHIN * u
