"""Numbers out of text, many at a time."""

import warnings

import numpy as np
from numpy.typing import NDArray

from verifier.errors import Malformed, TooLarge
from verifier.mesh import Array, IntArray
from verifier.reading.alike_rows import NUMBER_LETTERS, listed_floats
from verifier.reading.lines import some_lines_at_a_time

EXPORT_BINARY = "Export the scan again, best in a binary format"
# Texts whose numbers are all taken at once need up to seven times their length in memory (measured, OBJ): this is 3.5
# gigabytes, or twelve million triangles. Text STL is taken a piece at a time and needs three times its length.
MAX_BYTES_AT_ONCE = 512 << 20
# The same text in lines of 18 bytes, fewer than a corner or a face of so large a mesh takes.
MAX_LINES_AT_ONCE = 30_000_000
# A text of more lines than this whose half is line ends says nothing in them, and costs forty bytes for each.
LINES_THAT_MAY_BE_EMPTY = 1_000_000
VALUES_AT_ONCE = 1 << 20
BLANKS = b" \t\n\r\v\f"
TO_COMMAS = bytes.maketrans(BLANKS, b"," * len(BLANKS))


def refuse_long_text(data: bytes, where: str) -> None:
    """Raise TooLarge for a text too long to take all its numbers at once."""
    lines = data.count(b"\n") + data.count(b"\r")
    if lines > MAX_LINES_AT_ONCE or (lines > LINES_THAT_MAY_BE_EMPTY and 2 * lines > len(data)):
        raise TooLarge(f"it is a text of {lines:,} lines", where=where, do=EXPORT_BINARY)
    if len(data) > MAX_BYTES_AT_ONCE:
        what = f"it is a text of {len(data):,} bytes and the limit for its format is {MAX_BYTES_AT_ONCE:,}"
        raise TooLarge(what, where=where, do=EXPORT_BINARY)


def plain_text(data: bytes, max_line_bytes: int, where: str) -> bytes:
    """The same text without byte-order mark, with lines ended by a line feed, the last one too.

    Raises Malformed for a NUL byte and TooLarge for a line beyond the limit.
    """
    text = data.removeprefix(b"\xef\xbb\xbf")
    if b"\0" in text:
        raise Malformed("it has NUL bytes in the middle of its text", where=where, do=EXPORT_BINARY)
    if b"\r" in text:
        text = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if not text.endswith(b"\n"):
        text += b"\n"
    _refuse_long_lines(text, max_line_bytes, where)
    return text


def _refuse_long_lines(text: bytes, max_line_bytes: int, where: str) -> None:
    """Hop from line end to line end, as far as a line may reach at once."""
    start = 0
    while len(text) - start > max_line_bytes:
        end = text.rfind(b"\n", start, start + max_line_bytes + 1)
        if end < 0:
            raise TooLarge(f"it has a line of more than {max_line_bytes:,} bytes", where=where, do=EXPORT_BINARY)
        start = end + 1


def cut_short(data: bytes) -> tuple[str, ...]:
    """The notice for a text without a last line end: its last number may have lost digits, which no count shows."""
    if data.endswith((b"\n", b"\r")):
        return ()
    return (
        "Its last line has no end: if the export was stopped half-way, the end of the surface is missing or wrong.",
    )


def numbers(text: bytes, where: str) -> Array:
    """All numbers of a text that has nothing else, (n,) float64.

    Raises Malformed when there is anything else.
    """
    found = [_numbers_of_lines(lines, where) for lines in some_lines_at_a_time(text)]
    return np.concatenate(found) if found else np.empty(0)


def _numbers_of_lines(text: bytes, where: str) -> Array:
    """Numbers with one blank or several between them, as a list where they are plain, and one by one where not."""
    text = text.strip()
    if text.translate(None, NUMBER_LETTERS + BLANKS):
        return _numbers_one_by_one(text, where)
    listed = text.translate(TO_COMMAS)
    if b",," in listed:
        listed = b",".join(text.split())
    values = listed_floats(listed)
    return _numbers_one_by_one(text, where) if values is None else values


def _numbers_one_by_one(text: bytes, where: str) -> Array:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", DeprecationWarning)  # numpy before 2.3 warns where it now raises
            return np.fromstring(text, dtype=np.float64, sep=" ")
    except (ValueError, DeprecationWarning) as error:
        what = "it has something that is no number where a number belongs (a decimal comma, perhaps)"
        raise Malformed(what, where=where, do=EXPORT_BINARY) from error


def numbers_by_line(text: bytes, where: str) -> tuple[Array, IntArray]:
    """All numbers, (n,), and how many each line has, (lines,), empty lines included; every line ends in a line feed."""
    values = numbers(text, where)
    found = [_counts(lines) for lines in some_lines_at_a_time(text)]
    counts = np.concatenate(found) if found else np.empty(0, np.int64)
    if counts.sum() != len(values):
        raise Malformed("it has numbers that run into each other", where=where, do=EXPORT_BINARY)
    return values, counts


def _counts(lines: bytes) -> IntArray:
    """How many words each line has."""
    letters = np.frombuffer(lines, dtype=np.uint8)
    blank = letters <= 32
    begins = ~blank
    begins[1:] &= blank[:-1]
    so_far: IntArray = np.cumsum(begins, dtype=np.int64)[letters == 10]
    return np.diff(so_far, prepend=np.int64(0))


def whole_numbers(values: NDArray[np.generic], where: str) -> IntArray:
    """The same numbers as int64; raises Malformed when one is not whole or is beyond any index."""
    found = np.empty(len(values), dtype=np.int64)
    for start in range(0, len(values), VALUES_AT_ONCE):
        some = values[start : start + VALUES_AT_ONCE].astype(np.float64)
        if not np.all((np.abs(some) < 2**53) & (some == np.rint(some))):
            raise Malformed("it has a corner number that is no whole number", where=where, do=EXPORT_BINARY)
        found[start : start + len(some)] = some
    return found
