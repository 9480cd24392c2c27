"""The header of a PLY file: which elements follow, how many of each, and of what numbers each is made."""

import re
from dataclasses import dataclass
from typing import Literal

from verifier.errors import Malformed, Truncated
from verifier.reading.file_bytes import EXPORT_AGAIN

Form = Literal["ascii", "binary_little_endian", "binary_big_endian"]

MAX_HEADER_BYTES = 64 << 10
TYPES = {
    "char": "i1",
    "uchar": "u1",
    "short": "i2",
    "ushort": "u2",
    "int": "i4",
    "uint": "u4",
    "float": "f4",
    "double": "f8",
    "int8": "i1",
    "uint8": "u1",
    "int16": "i2",
    "uint16": "u2",
    "int32": "i4",
    "uint32": "u4",
    "float32": "f4",
    "float64": "f8",
    "int64": "i8",
    "uint64": "u8",
}
LINE_END = re.compile(rb"ply[ \t]*(\r\n|\n|\r)")


@dataclass(frozen=True, slots=True)
class Property:
    """One number of an element, or one list of numbers.

    code : numpy type of the number, without byte order
    count_code : numpy type of the list's length; None for a single number
    """

    name: str
    code: str
    count_code: str | None = None


@dataclass(frozen=True, slots=True)
class Element:
    """One kind of thing in the file, such as vertex or face."""

    name: str
    count: int
    properties: tuple[Property, ...]

    @property
    def list_count(self) -> int:
        """Lists in each record."""
        return sum(column.count_code is not None for column in self.properties)


@dataclass(frozen=True, slots=True)
class Header:
    """What a PLY announces; body is where its numbers begin."""

    form: Form
    elements: tuple[Element, ...]
    body: int


def read_header(data: bytes, where: str) -> Header:
    """Read the header of a PLY file.

    Raises Malformed, and Truncated when the header does not end.
    """
    first = LINE_END.match(data[:MAX_HEADER_BYTES])
    if first is None:
        raise Malformed("its first line is not 'ply' alone", where=where, do=EXPORT_AGAIN)
    line_end = first[1]
    closing = line_end + b"end_header"
    end = data.find(closing, 0, MAX_HEADER_BYTES)
    stop = data.find(line_end, end + len(closing)) if end >= 0 else -1
    if stop < 0:
        raise Truncated("its header has no end", where=where, do=EXPORT_AGAIN)
    lines = data[first.end() : end].decode("ascii", "replace").split(line_end.decode())
    words = [line.split() for line in lines]
    return Header(_form(words, where), _elements(words, where), stop + len(line_end))


def _form(lines: list[list[str]], where: str) -> Form:
    for form in ("ascii", "binary_little_endian", "binary_big_endian"):
        if ["format", form, "1.0"] in lines:
            return form
    raise Malformed("it is of no PLY form known: neither text nor binary 1.0", where=where, do=EXPORT_AGAIN)


def _elements(lines: list[list[str]], where: str) -> tuple[Element, ...]:
    elements: list[Element] = []
    for line in lines:
        match line:
            case ["element", name, count] if count.isascii() and count.isdigit() and len(count) < 19:
                elements.append(Element(name, int(count), ()))
            case ["property", *_] if elements:
                last = elements[-1]
                elements[-1] = Element(last.name, last.count, (*last.properties, _property(line, where)))
            case [] | ["comment" | "obj_info" | "format", *_]:
                pass
            case _:
                raise _bad_line(line, where)
    _refuse_doubles([element.name for element in elements], where)
    for element in elements:
        _refuse_doubles([column.name for column in element.properties], where)
    return tuple(elements)


def _refuse_doubles(names: list[str], where: str) -> None:
    if len(set(names)) < len(names):
        raise Malformed("its header names one element or property twice", where=where, do=EXPORT_AGAIN)


def _property(line: list[str], where: str) -> Property:
    match line:
        case ["property", "list", counts, kind, name] if counts in TYPES and kind in TYPES and TYPES[counts][0] != "f":
            return Property(name, TYPES[kind], TYPES[counts])
        case ["property", kind, name] if kind in TYPES:
            return Property(name, TYPES[kind])
    raise _bad_line(line, where)


def _bad_line(line: list[str], where: str) -> Malformed:
    said = "".join(letter for letter in " ".join(line)[:60] if letter.isprintable())
    return Malformed(f"its header has a line that cannot be understood: '{said}'", where=where, do=EXPORT_AGAIN)
