"""Text STL: solid … facet normal … outer loop … vertex … endloop … endfacet … endsolid."""

import re
from itertools import chain

import numpy as np

from verifier.errors import Malformed, NoTriangles, TooLarge, Truncated
from verifier.mesh import Array
from verifier.reading.alike_rows import NUMBER, listed_floats, rows_alike
from verifier.reading.file_bytes import EXPORT_AGAIN
from verifier.reading.numbers import plain_text
from verifier.reading.polygons import too_many_triangles
from verifier.reading.raw_mesh import RawMesh
from verifier.rulebook.rules import Reading

# The words of one triangle; None is a number. Normals are not kept: the corners say the same, and better.
PATTERN = (
    *(b"facet", b"normal", None, None, None, b"outer", b"loop"),
    *(b"vertex", None, None, None) * 3,
    *(b"endloop", b"endfacet"),
)
CORNER_WORDS = tuple(k + axis for k in (8, 12, 16) for axis in range(3))
NUMBERS = PATTERN.count(None)
# A first facet, each of its numbers a group; what stands between them is the make of the others.
FACET = re.compile(
    rb"\s+".join(b"(%s)" % NUMBER if word is None else word for word in PATTERN[:-2])
    + rb"(?P<end>\s+endloop\s+endfacet)(?P<gap>\s*)"
)
# Words are taken apart this many bytes at a time, so that their list stays under 0.3 GiB.
CHUNK_BYTES = 4 << 20
# No assembly has this many solids in one file; without a limit, a file of empty solids takes minutes.
MAX_SOLIDS = 50_000
SOLID_LINE = re.compile(rb"solid\b[^\n]*\n")
END_LINE = re.compile(rb"endsolid\b[^\n]*\n\s*")


def read_stl_text(data: bytes, where: str, limits: Reading) -> RawMesh:
    """Read a text STL, word for word: what departs from the format is refused and never skipped.

    Raises Truncated, Malformed, NoTriangles, TooLarge.
    """
    text = plain_text(data, limits.max_text_line_bytes, where).lower()
    count = text.count(b"endfacet")
    if count > limits.max_triangles:
        raise too_many_triangles(count, limits.max_triangles, where)
    corners = _all_solids(text, where)
    if not sum(len(part) for part in corners):
        raise NoTriangles("it has no facets", where=where, do="Export the scan as a mesh, with its surface")
    vertices = np.concatenate(corners)
    return RawMesh(vertices, np.arange(len(vertices), dtype=np.int64).reshape(-1, 3))


def _all_solids(text: bytes, where: str) -> list[Array]:
    """The corners of one solid after another."""
    parts: list[Array] = []
    place = len(text) - len(text.lstrip())
    for _ in range(MAX_SOLIDS):
        if place == len(text):
            return parts
        opening = SOLID_LINE.match(text, place)
        if opening is None:
            raise Malformed("something stands outside its solids", where=where, do=EXPORT_AGAIN)
        end = _end_of_solid(text, opening.end(), where)
        parts += _facets(text, opening.end(), end.start(), where)
        place = end.end()
    raise TooLarge(f"it has more than {MAX_SOLIDS:,} solids", where=where, do="Export the part alone")


def _end_of_solid(text: bytes, body: int, where: str) -> re.Match[bytes]:
    end = text.find(b"endsolid", body)
    found = END_LINE.match(text, end) if end >= 0 else None
    if found is None:
        count = text.count(b"endfacet", body)
        raise Truncated(f"it ends after {count:,} facets without its last line", where=where, do=EXPORT_AGAIN)
    return found


def _facets(text: bytes, start: int, end: int, where: str) -> list[Array]:
    """Corners of the facets between two places of the text, chunk by chunk."""
    parts = []
    while start < end:
        stop = min(start + CHUNK_BYTES, end)
        if stop < end:
            last = text.rfind(b"endfacet", start, stop)
            stop = last + len(b"endfacet") if last >= 0 else end
        parts.append(_corners(text[start:stop].strip(), where))
        start = stop
    return parts


def _corners(text: bytes, where: str) -> Array:
    """Corners of whole facets, (3 k, 3): all at once where they are of one make, word by word where not."""
    corners = _corners_alike(text)
    if corners is not None:
        return corners
    words = text.split()
    corners = _corners_alike(b" ".join(words))  # numbers in columns have blanks of any number between them
    return _corners_by_word(words, where) if corners is None else corners


def _corners_alike(text: bytes) -> Array | None:
    """Corners of facets of one make; None when there is any doubt of it."""
    first = FACET.match(text)
    if first is None:
        return None
    end = first.group("end")
    ends = [first.end(k + 1) for k in range(NUMBERS)]
    starts = [first.start(k + 1) for k in range(NUMBERS)]
    to_next = end + first.group("gap") + text[: starts[0]]
    between = [text[a:b] for a, b in zip(ends[:-1], starts[1:], strict=True)]
    if not text.endswith(end):
        return None
    rows = rows_alike(text[starts[0] : len(text) - len(end)], [*between, to_next], listed_floats)
    return None if rows is None else rows[:, 3:].reshape(-1, 3)


def _corners_by_word(words: list[bytes], where: str) -> Array:
    """Corners of whole facets given word by word, (3 k, 3)."""
    count, rest = divmod(len(words), len(PATTERN))
    for place, expected in enumerate(PATTERN):
        if expected is not None and words[place :: len(PATTERN)] != [expected] * (count + (place < rest)):
            raise Malformed(f"a facet lacks the word '{expected.decode()}'", where=where, do=EXPORT_AGAIN)
    if rest:
        raise Malformed("a facet is incomplete", where=where, do=EXPORT_AGAIN)
    rows = zip(*(words[place :: len(PATTERN)] for place in CORNER_WORDS), strict=True)
    try:
        values = np.fromiter(map(float, chain.from_iterable(rows)), dtype=np.float64, count=9 * count)
    except ValueError as error:
        raise Malformed("a corner of a facet is not of numbers", where=where, do=EXPORT_AGAIN) from error
    return values.reshape(-1, 3)
