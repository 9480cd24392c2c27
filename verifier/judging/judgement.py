"""The value that leaves the judging room: a verdict for every row and one for the part, each with its reasons."""

from dataclasses import dataclass

from verifier.inspection import Verdict


@dataclass(frozen=True, slots=True)
class RowJudgement:
    """One row of the sheet: millimetres, or degrees for an angle.

    limits : least and greatest size allowed; None without a tolerance or a size for it to lie about
    one_sided : there is a greatest only, of a deviation from a true shape
    deviation : corrected size less the nominal, or less the reading without one
    expanded_u : coverage_factor times the standard uncertainty of the corrected size
    printed, printed_expanded_u, printed_verdict : as the print is expected to come out; information, not the verdict
    printed_doubt : why the print is not proven, which way it may be wrong and by how much; no full stop, '' where it is
    reshaped_by : how much larger than the original's the size is made on purpose; printed and its verdict count it
    reason : one sentence; do : what the person can do about it, a sentence, empty when there is nothing to do
    """

    name: str
    required: bool
    verdict: Verdict
    reason: str
    do: str = ""
    limits: tuple[float, float] | None = None
    limits_source: str = ""
    one_sided: bool = False
    corrected: float | None = None
    deviation: float | None = None
    expanded_u: float | None = None
    coverage_factor: float | None = None
    printed: float | None = None
    printed_expanded_u: float | None = None
    printed_verdict: Verdict | None = None
    printed_doubt: str = ""
    reshaped_by: float = 0.0


@dataclass(frozen=True, slots=True)
class Judgement:
    """The whole part.

    rows : in the order of the sheet
    reasons : why the verdict is what it is, each a sentence
    next_steps : what the person does now, first thing first
    """

    rows: tuple[RowJudgement, ...]
    verdict: Verdict
    reasons: tuple[str, ...]
    next_steps: tuple[str, ...]
