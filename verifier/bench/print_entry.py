"""A finished print on its way into the ledger."""

import uuid
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from verifier.learning.kept_print import Condition
from verifier.learning.row import ReadRow

Number = Annotated[float, Field(allow_inf_nan=False)]


class PrintRowEntry(BaseModel):
    """One size that was read, as PrintRow and ReadRow have it."""

    model_config = ConfigDict(frozen=True)

    name: str
    kind: str
    model_mm: Number
    u_model_mm: Number
    expected_mm: Number
    rise: Number
    walls: int
    upright_hole: bool
    read_mm: Number
    u_mm: Number

    @property
    def columns(self) -> dict[str, object]:
        """Column -> value."""
        return self.model_dump()


class PrintEntry(BaseModel):
    """A print and its readings.

    token : drawn when it is entered, so that a request that is carried out twice keeps it once
    job : the scan whose mesh was printed
    u_scale : standard uncertainty of the scale that all readings share; 0 for a calliper, which read the original too
    """

    model_config = ConfigDict(frozen=True)

    token: str = Field(default_factory=lambda: uuid.uuid4().hex)
    part: str
    job: int
    filament: str
    printer: str
    condition: Condition | None
    u_scale: Number = 0.0
    rows: tuple[PrintRowEntry, ...]

    @property
    def about(self) -> dict[str, object]:
        """Column -> value of the print itself."""
        return self.model_dump(exclude={"token", "rows"})


def row_entry(read: ReadRow) -> PrintRowEntry:
    """A read row as it is kept."""
    row = read.row
    return PrintRowEntry(
        name=row.name,
        kind=row.kind,
        model_mm=row.model_mm,
        u_model_mm=row.u_model_mm,
        expected_mm=row.expected_mm,
        rise=row.rise,
        walls=row.walls,
        upright_hole=row.upright_hole,
        read_mm=read.read_mm,
        u_mm=read.u_mm,
    )
