"""What a sheet may ask of the mouth of a screw's bore: a seat for the head, or a pocket for the nut."""

import re
from typing import Literal, Self

from pydantic import model_validator
from pydantic_core import PydanticCustomError

from verifier.rulebook.row import Positive, Row, plain_mistake

SeatForm = Literal["countersunk", "counterbored", "hexagon"]


class SeatSize(Row):
    """What sinks into the part, and how much larger its seat is made; finished sizes.

    across_mm : greatest width of the head (a countersunk one to its theoretical sharp edge), or of the nut's flats
    height_mm : of head or nut; none for a cone of 90 degrees, which is as deep as its width makes it
    clearance_mm : added to the width; sunk_mm : added to the height, so that nothing stands proud
    least_floor_mm : plastic that has to be left beneath, which the head pulls on
    """

    form: SeatForm
    screw: str
    across_mm: Positive
    height_mm: Positive | None = None
    clearance_mm: Positive
    sunk_mm: Positive | None = None
    least_floor_mm: Positive

    @model_validator(mode="after")
    def _is_deep_enough(self) -> Self:
        stated = [self.height_mm is not None, self.sunk_mm is not None]
        if self.form == "countersunk" and any(stated):
            raise plain_mistake("a countersunk seat is as deep as its width makes it", "Take height_mm and sunk_mm out")
        if self.form != "countersunk" and not all(stated):
            raise plain_mistake(f"this {self.form} seat does not say how deep it is", "Add height_mm and sunk_mm")
        return self

    def deep_mm(self, across_mm: float, hole_mm: float) -> float:
        """Depth of a seat this wide over a hole; a cone of 90 degrees is as deep as half of what it narrows by."""
        if self.form == "countersunk":
            return 0.5 * (across_mm - hole_mm)
        return (self.height_mm or 0.0) + (self.sunk_mm or 0.0)


def seat_mistake(
    seat: SeatForm | None, seat_on: str | None, use: str | None, screw: str | None
) -> PydanticCustomError | None:
    """What is wrong with a row's seat; None where it holds together."""
    if seat is None:
        lone = "seat_on says where a seat is, and none is asked for"
        return None if seat_on is None else plain_mistake(lone, 'Add seat = "counterbored", or take seat_on out')
    if use != "slides" or screw is None:
        do = 'Add use = "slides" and screw = "M4", or take seat out'
        return plain_mistake("a seat is for a screw that slides through, and none does here", do)
    if seat_on is not None and not re.fullmatch(r"plane [1-9]\d{0,3}", seat_on):
        do = "Write the flat face its mouth opens on by its name in the report, such as seat_on = 'plane 2'"
        return plain_mistake(f"seat_on is {seat_on!r}", do)
    return None
