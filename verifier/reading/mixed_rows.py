"""Numbers of XML rows that are not all of one make: attributes in any order, some rows with further ones."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from verifier.mesh import BoolArray
from verifier.reading.alike_rows import NUMBER_LETTERS, Numbers

# Each attribute becomes a mark, then the row's beginning and its end, from bytes that no XML holds.
MARKS = b"\1\2\3\4\5\6\7"
BEGIN, END, QUOTE = 0x0E, 0x0F, ord('"')
BLANKS_TO_ONE = bytes.maketrans(b"\t\r\n", b"   ")
TO_COMMAS = bytes.maketrans(MARKS, b"," * len(MARKS))
NO_NUMBERS = bytes((BEGIN, END, QUOTE))
IS_NUMBER = np.isin(np.arange(256), list(NUMBER_LETTERS))
IS_MARK = np.isin(np.arange(256), list(MARKS))


@dataclass(frozen=True, slots=True)
class Row:
    """A row's element.

    name : of the element
    columns : the three attributes every row must have
    further : attributes that a row may have, with whole numbers in them
    """

    name: bytes
    columns: tuple[bytes, bytes, bytes]
    further: tuple[bytes, ...] = ()


def mixed_rows(text: bytes, row: Row, numbers: Numbers) -> NDArray[Any] | None:
    """The columns of a stretch of rows, (rows, 3); None when there is any doubt of it.

    text : from the first row's < to the last row's >
    Where every letter is part of a number, an attribute's name, a quote, or a row's beginning or end, and these follow
    each other as in a row, there is nothing in the text but such rows.
    """
    marked = _marked(text, row)
    letters = np.frombuffer(marked, dtype=np.uint8)
    skeleton = np.frombuffer(marked.translate(None, NUMBER_LETTERS), dtype=np.uint8)
    if not _numbers_lie_behind_marks(letters) or not _is_rows(skeleton):
        return None
    values = numbers(marked.translate(TO_COMMAS, NO_NUMBERS)[1:])
    is_mark = IS_MARK[skeleton]
    if values is None or len(values) != int(is_mark.sum()):
        return None
    of_row = (np.cumsum(skeleton == BEGIN) - 1)[is_mark]
    return _columns(values, skeleton[is_mark], of_row, int((skeleton == BEGIN).sum()))


def _marked(text: bytes, row: Row) -> bytes:
    """The text with marks for all that a row may be made of; empty where it has such bytes already, and is no XML."""
    if any(byte in text for byte in (*MARKS, BEGIN, END)):
        return b""
    text = text.translate(BLANKS_TO_ONE)
    while b"  " in text:
        text = text.replace(b"  ", b" ")
    if b'"' not in text:
        text = text.replace(b"'", b'"')
    text = text.replace(b"></" + row.name + b">", b"/>").replace(b" />", b"/>").replace(b"/> <", b"/><")
    text = text.replace(b"<" + row.name, b"\x0e").replace(b"/>", b"\x0f")
    for k, attribute in enumerate((*row.columns, *row.further)):
        text = text.replace(b" " + attribute + b'="', MARKS[k : k + 1])
    return text


def _numbers_lie_behind_marks(letters: NDArray[np.uint8]) -> bool:
    """Whether each mark has a number behind it, and nothing else has."""
    if not len(letters) or letters[0] != BEGIN or letters[-1] != END:
        return False
    behind = IS_NUMBER[letters[1:]]
    before = letters[:-1]
    wrong = (IS_MARK[before] & ~behind) | (behind & ~IS_MARK[before] & ~IS_NUMBER[before])
    return not bool(wrong.any())


def _is_rows(skeleton: NDArray[np.uint8]) -> bool:
    """Whether the text without its numbers is rows: a beginning, attributes with a quote behind each, an end."""
    is_mark: BoolArray = IS_MARK[skeleton]
    if is_mark[-1] or not np.array_equal(np.flatnonzero(is_mark) + 1, np.flatnonzero(skeleton == QUOTE)):
        return False
    frame = skeleton[~is_mark & (skeleton != QUOTE)]
    return len(frame) % 2 == 0 and bool((frame[::2] == BEGIN).all() and (frame[1::2] == END).all())


def _columns(
    values: NDArray[Any], marks: NDArray[np.uint8], of_row: NDArray[np.int64], count: int
) -> NDArray[Any] | None:
    """Each value in its row and column; None when a row has an attribute twice or lacks one."""
    place = of_row * len(MARKS) + marks - 1
    times = np.bincount(place, minlength=count * len(MARKS)).reshape(count, len(MARKS))
    if times.max() > 1 or not times[:, :3].all():
        return None
    table = np.empty((count, len(MARKS)), dtype=values.dtype)
    table.reshape(-1)[place] = values
    return np.ascontiguousarray(table[:, :3])
