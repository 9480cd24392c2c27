"""The drafted sheet for the page, with the places where the person types what the calliper says."""

from dataclasses import dataclass

BLANK = "# reading ="
GAUGE = "gauged ="


@dataclass(frozen=True, slots=True)
class TypedSheet:
    """A drafted sheet as lines, and which of them take what is typed.

    readings : for every row of the sheet, the line its reading goes to
    gauges : for every row, the line that says how it was gauged; None for a row that has none
    """

    lines: tuple[str, ...]
    readings: tuple[int, ...]
    gauges: tuple[int | None, ...]


def typed_sheet(drafted: str) -> TypedSheet:
    """The places to type into; the page puts readings there and leaves every other line as it is."""
    lines = tuple(drafted.split("\n"))
    rows = [at for at, line in enumerate(lines) if line == "[[size]]"]
    spans = [range(start, end) for start, end in zip(rows, [*rows[1:], len(lines)], strict=True)]
    return TypedSheet(
        lines,
        tuple(next(at for at in span if lines[at].startswith(BLANK)) for span in spans),
        tuple(next((at for at in span if lines[at].startswith(GAUGE)), None) for span in spans),
    )
