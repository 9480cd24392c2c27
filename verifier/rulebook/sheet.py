"""The dimension sheet of one part: what the calliper said, and how much a copy may differ."""

import re
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr, field_validator, model_validator

from verifier.rulebook.reference import inside_only
from verifier.rulebook.reshape_row import Reshape
from verifier.rulebook.row import Finite, Fit, plain_mistake
from verifier.rulebook.seat_row import SeatForm, seat_mistake
from verifier.rulebook.size_kinds import FORM_KINDS, IN_DEGREES, SizeKind, missing_key
from verifier.rulebook.tolerance_tables import Tolerances

__all__ = ["FORM_KINDS", "Sheet", "SheetRow", "SizeKind"]

UnitOfFile = Literal["micron", "mm", "cm", "m", "in", "ft"]
Gauge = Literal["outside jaws", "inside jaws", "pin", "depth rod"]
BoreUse = Literal["slides", "threads", "insert", "press", "true", "drill", "keep"]

# What can reach a bore or a boss; for any other size each of them has its use.
GAUGES_OF: dict[str, tuple[Gauge, ...]] = {
    "bore": ("inside jaws", "pin"),
    "boss": ("outside jaws",),
    "countersink diameter": ("inside jaws",),
    "counterbore diameter": ("inside jaws", "pin"),
    "counterbore depth": ("depth rod",),
}

# What a bore is made for, in words; and for which of them the screw decides the hole.
USE_IN_WORDS: dict[BoreUse, str] = {
    "slides": "lets a screw slide through",
    "threads": "lets a screw form its own thread",
    "insert": "takes a heat-set insert",
    "press": "holds a pin by a press fit",
    "true": "is made round at its size",
    "drill": "is filled, to be drilled",
    "keep": "is kept as scanned",
}
NEEDS_SCREW: tuple[BoreUse, ...] = ("slides", "threads", "insert")
MAY_NAME_SCREW: tuple[BoreUse, ...] = (*NEEDS_SCREW, "drill")
MAY_NAME_FIT: tuple[BoreUse, ...] = ("slides", "drill")

# More views than this of one part are a film, and nobody joins one by hand either.
MOST_SCANS = 12


def _printable(text: str) -> str:
    """Names go to terminals and into file names: an escape character there would be obeyed, or refused."""
    if not text.isprintable():
        raise plain_mistake("a character in this name cannot be printed", "Write it with letters and digits")
    return text


class SheetRow(BaseModel):
    """One size of the part.

    reading : what the calliper said on the original, mm (degrees for an angle); None until it has been measured
    nominal : the drawing's size, when there is one; the limits then lie about it and no longer about the reading
    tolerance : 0.15 for +-0.15, or a class: 'ISO 2768-m', 'IT12' (+-half of it), 'H11', 'js12', ...
    limits : least and greatest size allowed, in place of a tolerance
    between : two bores or bosses by their row names (centre distance, or the line an overall size is taken along)
    of : the row an edge distance, a countersink, a counterbore or a form is of or starts from, such as the bore
    through : three or more bores or bosses by their row names, whose axes a pitch circle goes through
    datum : the row whose face or axis a parallelism or a perpendicularity is judged against
    along : which overall size: 'length' (longest), 'width', 'height'
    gauged : how the reading was taken; decides its uncertainty and the correction for flats
    required : whether the part can pass without it
    use : what a bore is for, which decides the hole it is rebuilt as; None and 'keep' leave it as scanned
    screw : the screw it is for, such as 'M6'; fit : how freely that slides, 'medium' when not said
    seat : what its mouth has for the screw's head or nut; seat_on : the flat face it opens on, 'plane 2'
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: str = Field(min_length=1, max_length=80)
    kind: SizeKind
    reading: Annotated[float, Field(gt=0, lt=10_000, allow_inf_nan=False)] | None = None
    nominal: Annotated[float, Field(gt=0, lt=10_000, allow_inf_nan=False)] | None = None
    tolerance: Annotated[float, Field(gt=0, allow_inf_nan=False)] | str | None = None
    limits: tuple[Finite, Finite] | None = None
    between: tuple[str, str] | None = None
    of: str | None = None
    through: tuple[str, ...] | None = None
    datum: str | None = None
    along: Literal["length", "width", "height"] | None = None
    gauged: Gauge | None = None
    required: bool = True
    use: BoreUse | None = None
    screw: Annotated[str, Field(min_length=1, max_length=20)] | None = None
    fit: Fit | None = None
    seat: SeatForm | None = None
    seat_on: Annotated[str, Field(max_length=20)] | None = None

    _name_is_printable = field_validator("name")(_printable)

    @model_validator(mode="after")
    def _holds_together(self) -> Self:
        lacking = missing_key(self.kind, self.model_dump(include={"between", "of", "through", "datum"}))
        if lacking is not None:
            raise plain_mistake(*lacking)
        if self.through is not None and len(set(self.through)) < 3:
            raise plain_mistake("a circle wants three different bores or bosses", "Name three or more in through")
        if self.kind in IN_DEGREES and self.reading is not None and self.reading > 180:
            raise plain_mistake(f"an angle of {self.reading:g} degrees is more than half a turn", "Give it in degrees")
        if self.gauged is not None and self.gauged not in GAUGES_OF.get(self.kind, (self.gauged,)):
            fitting = " or ".join(f"'{gauge}'" for gauge in GAUGES_OF[self.kind])
            raise plain_mistake(f"a {self.kind} cannot be gauged with '{self.gauged}'", f"Write gauged = {fitting}")
        return self

    @model_validator(mode="after")
    def _form_is_judged_by_its_greatest(self) -> Self:
        if self.kind not in FORM_KINDS:
            return self
        if (self.reading, self.nominal, self.gauged) != (None, None, None):
            do = "Take reading, nominal and gauged out: give the greatest allowed as its tolerance"
            raise plain_mistake(f"a {self.kind} is judged by what the scan shows, and has no reading", do)
        if not isinstance(self.tolerance, float) or self.limits is not None:
            do = "Add tolerance = 0.2, the greatest allowed in millimetres"
            raise plain_mistake(f"this {self.kind} does not say how much is allowed", do)
        return self

    @model_validator(mode="after")
    def _limits_make_sense(self) -> Self:
        if self.limits is not None and self.tolerance is not None:
            raise plain_mistake("this row has both tolerance and limits", "Take one of the two out")
        if self.limits is not None and not 0 <= self.limits[0] < self.limits[1]:
            raise plain_mistake(
                "these limits do not go from the least size up to the greatest", "Write limits = [least, greatest]"
            )
        size = self.size_limited
        if isinstance(self.tolerance, float) and size is not None and self.tolerance >= size:
            raise plain_mistake(
                f"a tolerance of {self.tolerance:g} is no smaller than the size, {size:g}",
                "Give the deviation allowed to each side, such as 0.15",
            )
        return self

    @model_validator(mode="after")
    def _use_makes_sense(self) -> Self:
        if self.kind != "bore" and (self.use or self.screw or self.fit) is not None:
            raise plain_mistake(f"a {self.kind} has no use, screw or fit", "Take them out: they are for bores")
        if self.use in NEEDS_SCREW and self.screw is None:
            raise plain_mistake(f"this bore {USE_IN_WORDS[self.use]}, and no screw is named", 'Add screw = "M4"')
        if self.screw is not None and self.use not in MAY_NAME_SCREW:
            does = "nothing says what it is for" if self.use is None else f"the bore {USE_IN_WORDS[self.use]}"
            raise plain_mistake(f"a screw is named, and {does}", 'Write use = "slides", "threads", "insert" or "drill"')
        if self.fit is not None and (self.use not in MAY_NAME_FIT or self.screw is None):
            do = 'Add use = "slides" and a screw, or take fit out'
            raise plain_mistake("a fit says how freely a screw slides, and none does here", do)
        if self.use == "press" and (self.nominal is None or not isinstance(self.tolerance, str)):
            do = 'Add nominal = the size of the pin, and a tolerance such as "H7"'
            raise plain_mistake("a press fit wants the pin's size and a class", do)
        wrong = seat_mistake(self.seat, self.seat_on, self.use, self.screw)
        if wrong is not None:
            raise wrong
        return self

    @property
    def size_limited(self) -> float | None:
        """The size a tolerance lies about: the drawing's if there is one, else what the calliper said."""
        return self.reading if self.nominal is None else self.nominal


class Sheet(BaseModel):
    """One part's sheet.

    part : the part's name; the scan's name up to its first dot must equal it
    unit : unit of the export, only where it is known for certain
    filament, printer, calliper : names in the rules
    general_tolerance : class for rows that give none of their own, such as 'ISO 2768-m'
    upright : which overall size stands along the build direction; else the part rests on its best flat
    reference : what the copy is compared with: a file in the rules folder, "mirror of FILE", or "last PASS"
    rests_on : the flat face it is printed on, 'plane 2', in place of the best one
    load : 'between pivot and pin', two bores or bosses: its layers must not part when it is pulled or bent there
    reshape : what is done to the copy before it is printed, in this order
    scans : how many scans of the part there are to be joined; None when one file holds it all, or nobody has said
    join : which of several ways of putting the scans together is right, by its number in the report
    dots : whether small round bumps alike are marker dots; not so where a part was moulded with such
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
    rests_on: Annotated[str, Field(max_length=80)] | None = None
    load: Annotated[str, Field(max_length=200)] | None = None
    infill: Annotated[float, Field(gt=0, le=1)] = 1.0
    reference: Annotated[str, Field(min_length=1, max_length=300)] | None = None
    scans: Annotated[int, Field(ge=1, le=MOST_SCANS)] | None = None
    join: Annotated[int, Field(ge=1, le=MOST_SCANS)] | None = None
    dots: bool = True
    size: tuple[SheetRow, ...] = ()
    reshape: tuple[Reshape, ...] = ()

    _name_is_printable = field_validator("part")(_printable)
    _reference_is_inside = field_validator("reference")(inside_only)
    _tables: Tolerances | None = PrivateAttr(default=None)

    def with_tables(self, tables: Tolerances | None) -> Self:
        """The same sheet, its tolerance classes looked up in these tables from now on."""
        copy = self.model_copy()
        copy._tables = tables
        return copy

    @property
    def tables(self) -> Tolerances | None:
        """The tolerance tables it was loaded with; None for those that come with the verifier."""
        return self._tables

    @model_validator(mode="after")
    def _stands_one_way(self) -> Self:
        if self.upright is not None and self.rests_on is not None:
            raise plain_mistake("both upright and rests_on say how it stands", "Take one of the two out")
        if self.rests_on is not None and not re.fullmatch(r"plane [1-9]\d{0,3}", self.rests_on):
            do = "Write a flat face by its name in the report, such as rests_on = 'plane 2'"
            raise plain_mistake(f"rests_on is {self.rests_on!r}", do)
        return self

    @property
    def load_ends(self) -> tuple[str, str] | None:
        """The two rows the load goes between; None without a load, or where they are no rows."""
        names = {row.name for row in self.size if row.kind in ("bore", "boss")}
        words = (self.load or "").removeprefix("between ").split(" and ")
        halves = ((" and ".join(words[:k]), " and ".join(words[k:])) for k in range(1, len(words)))
        return next((ends for ends in halves if set(ends) <= names and ends[0] != ends[1]), None)

    @property
    def twin(self) -> str | None:
        """The part it is mirrored from, where that is another one: its scan, and without rows of its own its rows."""
        return next((each.of for each in self.reshape if each.do == "mirror" and each.of is not None), None)

    @property
    def rows(self) -> tuple[SheetRow, ...]:
        """The sizes, in the order written."""
        return self.size
