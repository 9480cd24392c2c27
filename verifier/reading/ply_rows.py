"""The records of one PLY element."""

from array import array
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verifier.errors import Malformed, Truncated
from verifier.mesh import IntArray
from verifier.reading.file_bytes import EXPORT_AGAIN
from verifier.reading.ply_body import BEYOND, Body, Numbers
from verifier.reading.ply_header import Element

# No face has more corners than this; a longer list is a false count.
MAX_LIST = 65_536
# A triangle takes four numbers of a text, and of a file with so many corners seven bytes. Lists of nothing would be
# walked through at half a microsecond for each of their bytes.
LEAST_PLACES, LISTS_AT_ALL_EVENTS = 3, 100_000


@dataclass(frozen=True, slots=True)
class Rows:
    """All records of one element.

    numbers : each single number by its name, (count,)
    lists : each list by its name: (all its values one after another, (count,) lengths)
    end : the place where the next element begins
    """

    numbers: dict[str, Numbers]
    lists: dict[str, tuple[Numbers, IntArray]]
    end: int


def read_rows(body: Body, start: int, element: Element, where: str) -> Rows:
    """Read the records of an element from a place on.

    Exporters nearly always write lists of one length (triangles), so the records are tried as equally long first and
    walked one by one only when they are not.
    Raises Truncated before anything is allocated for a count that the rest of the file cannot hold, and Malformed.
    """
    least = sum(body.size(column.count_code or column.code) for column in element.properties)
    if element.count * least > body.length - start:
        raise _ends_early(element, where)
    lists = element.count * element.list_count
    if lists > LISTS_AT_ALL_EVENTS and lists * LEAST_PLACES > body.length - start:
        raise Malformed("most of its lists are empty", where=where, do=EXPORT_AGAIN)
    if element.count == 0 or least == 0:
        return Rows({}, {}, start)
    lengths = _first_lengths(body, start, element, where)
    end = start + element.count * _record_size(body, element, lengths)
    if end <= body.length:
        table = body.table(start, _record(body, element, lengths), element.count)
        if all((table[f"length of {name}"] == length).all() for name, length in lengths.items()):
            return Rows(*_columns(table, element, lengths), end)
    if not lengths:
        raise _ends_early(element, where)
    return _walk(body, start, element, where)


def _ends_early(element: Element, where: str) -> Truncated:
    name = {"vertex": "vertices", "face": "faces"}.get(element.name, "further records")
    what = f"it announces {element.count:,} {name} and ends before the last of them"
    return Truncated(what, where=where, do=EXPORT_AGAIN)


def _first_lengths(body: Body, start: int, element: Element, where: str) -> dict[str, int]:
    """Length of each list of the first record."""
    one = Element(element.name, 1, element.properties)
    _, lengths, _ = _walked(body, start, one, where)
    return dict(zip((column.name for column in element.properties if column.count_code), lengths, strict=True))


def _record_size(body: Body, element: Element, lengths: dict[str, int]) -> int:
    heads = sum(body.size(column.count_code) for column in element.properties if column.count_code)
    return heads + sum(lengths.get(column.name, 1) * body.size(column.code) for column in element.properties)


def _record(body: Body, element: Element, lengths: dict[str, int]) -> np.dtype[np.void]:
    """The numpy type of a record whose lists are as long as the first record's."""
    fields: list[tuple[str, str] | tuple[str, str, tuple[int]]] = []
    for column in element.properties:
        if column.count_code is None:
            fields.append((column.name, body.kind(column.code)))
        else:
            fields.append((f"length of {column.name}", body.kind(column.count_code)))
            fields.append((f"list {column.name}", body.kind(column.code), (lengths[column.name],)))
    return np.dtype(fields)


def _columns(
    table: NDArray[np.void], element: Element, lengths: dict[str, int]
) -> tuple[dict[str, Numbers], dict[str, tuple[Numbers, IntArray]]]:
    single = {column.name: table[column.name] for column in element.properties if column.count_code is None}
    lists = {
        name: (table[f"list {name}"].reshape(-1), np.full(element.count, length, dtype=np.int64))
        for name, length in lengths.items()
    }
    return single, lists


def _walk(body: Body, start: int, element: Element, where: str) -> Rows:
    """Records of different lengths; single numbers beside lists are passed over, since no reader asks for them."""
    places, lengths, end = _walked(body, start, element, where)
    if end > body.length:
        raise _ends_early(element, where)
    columns = [(column.name, column.code) for column in element.properties if column.count_code]
    starts, counts = (np.frombuffer(kept, dtype=np.int64).reshape(-1, len(columns)) for kept in (places, lengths))
    lists = {}
    for k, (name, code) in enumerate(columns):
        lists[name] = body.gather(starts[:, k], counts[:, k], code), counts[:, k]
    return Rows({}, lists, end)


def _walked(body: Body, start: int, element: Element, where: str) -> tuple["array[int]", "array[int]", int]:
    """Where each list of each record begins, how long it is, and where the records end.

    The one loop over faces of this room: a record's place is known only from the one before. 0.6 s a million faces.
    """
    places, lengths = array("q"), array("q")
    steps = _steps(body, element)
    try:
        for _ in range(element.count):
            for gap, head, size, whole_at in steps:
                start += gap
                if whole_at is not None:
                    length = whole_at(start)
                    if not (0 <= length <= MAX_LIST and length == int(length)):
                        raise Malformed("it has a list of impossible length", where=where, do=EXPORT_AGAIN)
                    start += head
                    places.append(start)
                    lengths.append(int(length))
                    start += int(length) * size
    except BEYOND as error:
        raise _ends_early(element, where) from error
    return places, lengths, start


def _steps(body: Body, element: Element) -> list[tuple[int, int, int, Callable[[int], float] | None]]:
    """How to go through a record: places to pass over, then a list's count, its numbers' size, and how it is read."""
    steps: list[tuple[int, int, int, Callable[[int], float] | None]] = []
    gap = 0
    for column in element.properties:
        if column.count_code is None:
            gap += body.size(column.code)
        else:
            code = column.count_code
            steps.append((gap, body.size(code), body.size(column.code), body.whole_at(code)))
            gap = 0
    return [*steps, (gap, 0, 0, None)] if gap else steps
