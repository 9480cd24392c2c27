"""The tolerance tables of the rules: ISO 2768-1, ISO 286-1 and DIN 16742, range by range."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Annotated, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, model_validator

from verifier.rulebook.row import Finite, Positive, Row, plain_mistake

LEAST_GRADE = 5
GREATEST_GRADE = 14
GRADE_COUNT = GREATEST_GRADE - LEAST_GRADE + 1


class SizeRange(Row):
    """Sizes over `over_mm`, up to and including `to_mm`; the smallest range of a table includes its lower end too."""

    over_mm: Annotated[float, Field(ge=0, allow_inf_nan=False)]
    to_mm: Positive

    @model_validator(mode="after")
    def _rises(self) -> Self:
        if not self.over_mm < self.to_mm:
            raise plain_mistake("over_mm is not smaller than to_mm", "Give the lower end of the range in over_mm")
        return self


class GeneralRange(SizeRange):
    """ISO 2768-1, linear sizes: plus and minus this much; None where the standard gives no value."""

    f: Positive | None = None
    m: Positive | None = None
    c: Positive | None = None
    v: Positive | None = None


class GradeRange(SizeRange):
    """ISO 286-1 tolerance grades, micrometres, IT5 first."""

    it_um: Annotated[tuple[Positive, ...], Field(min_length=GRADE_COUNT, max_length=GRADE_COUNT)]

    @model_validator(mode="after")
    def _widens(self) -> Self:
        if any(finer >= coarser for finer, coarser in pairwise(self.it_um)):
            raise plain_mistake("it_um does not grow from grade to grade", "Compare the row with ISO 286-1")
        return self


class DeviationRange(SizeRange):
    """ISO 286-1 fundamental deviations of shafts, micrometres: upper (es) of f and g, lower (ei) of p."""

    f_es_um: Finite
    g_es_um: Finite
    p_ei_um: Finite


class MouldedRange(SizeRange):
    """DIN 16742 group TG6: plus and minus this much, within one mould part (w) or across its parting (nw)."""

    w_mm: Positive
    nw_mm: Positive


RangeRow = TypeVar("RangeRow", bound=SizeRange)


class Tolerances(BaseModel):
    """rules/tolerances.toml; every table runs from its smallest range up without a gap."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    general: Annotated[tuple[GeneralRange, ...], Field(min_length=1)]
    grade: Annotated[tuple[GradeRange, ...], Field(min_length=1)]
    deviation: Annotated[tuple[DeviationRange, ...], Field(min_length=1)]
    moulded: Annotated[tuple[MouldedRange, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _without_gaps(self) -> Self:
        for table in (self.general, self.grade, self.deviation, self.moulded):
            for lower, upper in pairwise(table):
                if lower.to_mm != upper.over_mm:
                    raise plain_mistake(
                        f"the range up to {lower.to_mm:g} mm is followed by one over {upper.over_mm:g} mm",
                        "Let each range begin where the one before it ends",
                    )
        return self


def range_of(size_mm: float, table: Sequence[RangeRow]) -> RangeRow | None:
    """The row a size belongs to, None outside the table.

    A size at the upper end of a range belongs to that range, and not to the next: 30 is in 18-30.
    """
    if size_mm < table[0].over_mm:
        return None
    return next((row for row in table if size_mm <= row.to_mm), None)
