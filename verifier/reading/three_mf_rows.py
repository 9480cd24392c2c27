"""The lists of corners and triangles in a 3MF model part, taken past the XML parser when they are plain."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from verifier.reading.alike_rows import NUMBER, Numbers, listed_floats, listed_ints, rows_alike
from verifier.reading.mixed_rows import Row, mixed_rows

BLANKS = b" \t\r\n"  # all that XML calls white space
OPENING = re.compile(rb"<(?:vertices|triangles)>")
# Shorter lists are left to the XML parser, which is done with them before this is under way.
LEAST_BYTES = 4096
LONGEST_OPENING = len(b"<triangles>")


@dataclass(frozen=True, slots=True)
class Listing:
    """One of the two lists of a mesh.

    name : of the list's element
    row : what its rows are made of
    pattern : matches a plain row: a name and a number for each of three attributes, and the blanks behind the row
    numbers : what turns text into them
    """

    name: str
    row: Row
    pattern: re.Pattern[bytes]
    numbers: Numbers

    @property
    def row_begin(self) -> bytes:
        """How the element of a row begins."""
        return b"<" + self.row.name

    @property
    def closing(self) -> bytes:
        """The tag at the list's end."""
        return f"</{self.name}>".encode()


def _listing(name: str, row: Row, numbers: Numbers) -> Listing:
    blank = b"[" + BLANKS + b"]"
    each = [
        rb"%s+(%s)=([\"'])(%s)\%d" % (blank, b"|".join(row.columns), NUMBER, 3 * k + 2) for k in range(len(row.columns))
    ]
    pattern = rb"<%s%s%s*(?:/>|></%s>)(?P<gap>%s*)" % (row.name, b"".join(each), blank, row.name, blank)
    return Listing(name, row, re.compile(pattern), numbers)


# A triangle's further attributes are the property group and one property for each corner: colours, for the most part.
LISTINGS = {
    b"<vertices>": _listing("vertices", Row(b"vertex", (b"x", b"y", b"z")), listed_floats),
    b"<triangles>": _listing(
        "triangles", Row(b"triangle", (b"v1", b"v2", b"v3"), (b"pid", b"p1", b"p2", b"p3")), listed_ints
    ),
}


def rows_of(text: bytes, listing: Listing) -> tuple[NDArray[Any] | None, bool]:
    """The numbers of a stretch of a list, (rows, 3), and whether its rows are of one make.

    None when anything but rows of numbers is in it.
    """
    text = text.strip(BLANKS)
    rows = plain_rows(text, listing)
    return (mixed_rows(text, listing.row, listing.numbers), False) if rows is None else (rows, True)


def plain_rows(text: bytes, listing: Listing) -> NDArray[Any] | None:
    """The same, where all rows are like the first one; None when anything else is in it."""
    first = listing.pattern.match(text)
    names = first.group(1, 4, 7) if first else ()
    if first is None or set(names) != set(listing.row.columns):
        return None
    end = text[first.end(9) : first.start("gap")]
    if not text.endswith(end):
        return None
    begin = first.start(3)
    to_next = text[first.end(9) : first.end()] + text[:begin]
    between = (text[first.end(3) : first.start(6)], text[first.end(6) : first.start(9)], to_next)
    rows = rows_alike(text[begin : len(text) - len(end)], between, listing.numbers)
    return None if rows is None else np.ascontiguousarray(rows[:, [names.index(name) for name in listing.row.columns]])


class Reader(Protocol):
    """What hears of the elements of a model part."""

    def has_opened(self, listing: Listing, place: int) -> bool:
        """Whether this list was opened last, by the tag at this place, and its rows may come past the parser."""

    def take(self, listing: Listing, rows: NDArray[Any], of_one_make: bool) -> None:
        """Keep rows of the list that is open."""


class Feed:
    """Hands a part to an XML parser, all but the plain rows of its lists, and these to the reader.

    parse : the parser's, takes bytes and whether they are the last
    Between two rows the parser has nothing pending, so that what it never sees changes nothing of what it finds.
    """

    def __init__(self, parse: Callable[[bytes, bool], object], reader: Reader) -> None:
        self._parse, self._reader = parse, reader
        self._parsed = 0
        self._held = b""
        self._open: Listing | None = None

    def feed(self, text: bytes, last: bool) -> None:
        """Take the next bytes of the part.

        One doubt hands the rest of them to the parser: a part full of doubtful lists would else be gone through once
        for each.
        """
        text, self._held = self._held + text, b""
        place, doubt = self._past_rows(text, 0) if self._open else (0, False)
        while not doubt and not self._open and (found := OPENING.search(text, place)):
            self._hand_on(text[place : found.end()])
            place, listing = found.end(), LISTINGS[found.group()]
            if self._reader.has_opened(listing, self._parsed - len(found.group())):
                self._open = listing
                place, doubt = self._past_rows(text, place)
        kept = place if self._open else self._begun_tag(text, place)
        if last:
            kept = len(text)
        self._hand_on(text[place:kept], last)
        self._held = text[kept:]

    def _past_rows(self, text: bytes, place: int) -> tuple[int, bool]:
        """The place behind the plain rows of the open list, and whether there was anything else."""
        assert self._open is not None
        listing, closed = self._open, text.find(self._open.closing, place)
        end = closed if closed >= 0 else text.rfind(listing.row_begin, place)
        if end - place < LEAST_BYTES:
            waits = closed < 0 and len(text) - place < 2 * LEAST_BYTES
            self._open = listing if waits else None
            return place, closed < 0
        rows, of_one_make = rows_of(text[place:end], listing)
        self._open = listing if closed < 0 and rows is not None else None
        if rows is None:
            return place, True
        self._reader.take(listing, rows, of_one_make)
        return end, False

    @staticmethod
    def _begun_tag(text: bytes, place: int) -> int:
        """Where a tag begins that may be an opening cut in two; the end of the text where none does."""
        begun = text.rfind(b"<", max(place, len(text) - LONGEST_OPENING))
        return begun if begun >= 0 else len(text)

    def _hand_on(self, text: bytes, last: bool = False) -> None:
        self._parse(text, last)
        self._parsed += len(text)
