"""The dimension sheet of one part: what the calliper said, and how much a copy may differ."""

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

SizeKind = Literal[
    "overall", "thickness", "bore", "boss", "centre distance", "edge distance", "step", "angle"
]
UnitOfFile = Literal["micron", "mm", "cm", "m", "in", "ft"]
Gauge = Literal["outside jaws", "inside jaws", "pin", "depth rod"]


class SheetRow(BaseModel):
    """One size of the part.

    reading : what the calliper said on the original, mm (degrees for an angle); None until it has been measured
    nominal : the drawing's size, when there is one; the limits then lie about it and no longer about the reading
    tolerance : 0.15 for +-0.15, or a class: 'ISO 2768-m', 'IT12' (+-half of it), 'H11', 'js12', ...
    limits : least and greatest size allowed, in place of a tolerance
    between : two bores or bosses by their row names (centre distance, or the line an overall size is taken along)
    of : the bore or boss an edge distance starts from
    along : which overall size: 'length' (longest), 'width', 'height'
    gauged : how the reading was taken; decides its uncertainty and the correction for flats
    required : whether the part can pass without it
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: str = Field(min_length=1, max_length=80)
    kind: SizeKind
    reading: Annotated[float, Field(gt=0, lt=10_000, allow_inf_nan=False)] | None = None
    nominal: Annotated[float, Field(gt=0, lt=10_000, allow_inf_nan=False)] | None = None
    tolerance: Annotated[float, Field(gt=0, allow_inf_nan=False)] | str | None = None
    limits: tuple[float, float] | None = None
    between: tuple[str, str] | None = None
    of: str | None = None
    along: Literal["length", "width", "height"] | None = None
    gauged: Gauge | None = None
    required: bool = True

    @model_validator(mode="after")
    def _holds_together(self) -> Self:
        if self.kind == "centre distance" and self.between is None:
            raise ValueError("a centre distance needs between = [\"…\", \"…\"], the two bores or bosses by name")
        if self.kind == "edge distance" and self.of is None:
            raise ValueError("an edge distance needs of = \"…\", the bore or boss it starts from")
        if self.limits is not None and self.tolerance is not None:
            raise ValueError("give tolerance or limits, not both")
        if self.limits is not None and not self.limits[0] < self.limits[1]:
            raise ValueError("limits = [least, greatest]: the first must be the smaller")
        return self


class Sheet(BaseModel):
    """One part's sheet.

    part : the part's name; the scan's name up to its first dot must equal it
    unit : unit of the export, only where it is known for certain
    filament, printer, calliper : names in the rules
    general_tolerance : class for rows that give none of their own, such as 'ISO 2768-m'
    upright : which overall size stands along the build direction; else the part rests on its largest flat
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    part: str = Field(min_length=1, max_length=120)
    description: str = ""
    unit: UnitOfFile | None = None
    filament: str | None = None
    printer: str | None = None
    calliper: str | None = None
    general_tolerance: str | None = None
    upright: Literal["length", "width", "height"] | None = None
    infill: Annotated[float, Field(gt=0, le=1)] = 1.0
    size: tuple[SheetRow, ...] = ()

    @property
    def rows(self) -> tuple[SheetRow, ...]:
        """The sizes, in the order written."""
        return self.size
