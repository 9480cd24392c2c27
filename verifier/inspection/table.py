"""What all tables of the report have in common."""

from typing import Literal

from pydantic import BaseModel, ConfigDict

REFUSAL_SCHEMA = "verifier.refusal/1"

Verdict = Literal["PASS", "FAIL", "UNDECIDED"]
JobVerdict = Literal["PASS", "FAIL", "UNDECIDED", "REFUSED"]
Point = tuple[float, float, float]
Row4 = tuple[float, float, float, float]


class Part(BaseModel):
    """Base of all the report's tables: unknown keys are mistakes, values never change."""

    model_config = ConfigDict(extra="forbid", frozen=True)
