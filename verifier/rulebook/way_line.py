"""The line of a sheet that says which way of putting the scans together is right, and where it belongs."""

from dataclasses import dataclass

from verifier.rulebook.toml_lines import lines_of


@dataclass(frozen=True, slots=True)
class WayLine:
    """A sheet's text as lines, and where `join = …` goes.

    at : the line it takes the place of, or before which it is put
    replaces : whether the sheet has such a line already
    """

    lines: tuple[str, ...]
    at: int
    replaces: bool

    def with_way(self, number: int) -> str:
        """The sheet with a way chosen; every other line as it is."""
        kept = self.at + self.replaces
        return "\n".join([*self.lines[: self.at], f"join = {number}", *self.lines[kept:]])


def way_line(sheet: str) -> WayLine:
    """Where the choice goes in a sheet: in place of the one that is there, else below the part's name.

    sheet : a valid sheet; the part's name is the one key that each has, and stands before every table
    """
    lines = tuple(sheet.split("\n"))
    places = lines_of(sheet)
    there = places.get(("join",))
    if there is not None:
        return WayLine(lines, there - 1, replaces=True)
    return WayLine(lines, places[("part",)], replaces=False)
