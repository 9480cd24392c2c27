"""One figure of the rules, and the plain mistake that a check of it reports."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field
from pydantic_core import PydanticCustomError

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1)]

Fit = Literal["fine", "medium", "coarse", "sliding"]

PLAIN = "plain"


def plain_mistake(what: str, do: str) -> PydanticCustomError:
    """A mistake in the trade's words, for a validator to raise.

    what, do : sentences without their full stops
    """
    return PydanticCustomError(PLAIN, "{what}. {do}.", {"what": what, "do": do})


class Row(BaseModel):
    """A figure of the rules; none is taken without its source."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    source: str = Field(min_length=3)
