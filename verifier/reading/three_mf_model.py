"""A 3MF model part: objects, how they are put together, and what is to be built."""

from collections.abc import Callable
from itertools import chain
from operator import itemgetter
from typing import Any
from xml.parsers import expat

import numpy as np
from numpy.typing import NDArray

from verifier.errors import Malformed, NotAMesh
from verifier.mesh import Array
from verifier.reading.file_bytes import EXPORT_AGAIN
from verifier.reading.placing import IDENTITY, too_many_objects
from verifier.reading.polygons import too_many_corners, too_many_triangles
from verifier.reading.scan import UnitName
from verifier.reading.three_mf_objects import ModelObject, ModelPart, Placed
from verifier.reading.three_mf_package import Package, parse_part
from verifier.reading.three_mf_rows import Feed, Listing
from verifier.rulebook.rules import Reading

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
# Extensions a file may require and still have all its surface in plain triangles.
HARMLESS = {
    PRODUCTION,
    "http://schemas.microsoft.com/3dmanufacturing/material/2015/02",
    "http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07",
}
UNITS: dict[str, UnitName] = {
    "micron": "micron",
    "millimeter": "mm",
    "centimeter": "cm",
    "meter": "m",
    "inch": "in",
    "foot": "ft",
}
VERTEX, TRIANGLE = f"{CORE} vertex", f"{CORE} triangle"
LISTS = (f"{CORE} vertices", f"{CORE} triangles")
VERTEX_COLUMNS, TRIANGLE_COLUMNS = ("x", "y", "z"), ("v1", "v2", "v3")
# Rows are turned into numbers this many at a time, so that their text stays under 10 MiB.
BATCH = 20_000
# Open Packaging Conventions allow UTF-8 and UTF-16; the two others have the same letters wherever a number or tag is.
ASCII_LIKE, ENCODINGS = {"", "utf-8", "us-ascii", "iso-8859-1"}, {"", "utf-8", "us-ascii", "iso-8859-1", "utf-16"}
# Corners and triangles lie six elements deep, those of further extensions little deeper.
MAX_DEPTH = 64
# The core specification has five attributes for a triangle at most, extensions two or three more.
MAX_ROW_ATTRIBUTES = 64
# Different names of elements and attributes, and prefixes: the specification and all its extensions have some hundred.
MAX_NAMES = 10_000
# An identifier, a path within the package, a kind.
MAX_KEPT_LETTERS = 1_024


class ModelParser:
    """Turns the elements of one model part into a ModelPart, a batch of corners or triangles at a time."""

    def __init__(self, part: str, package: Package, limits: Reading) -> None:
        self.model = ModelPart()
        self._part, self._where, self._limits, self._effort = part, package.where, limits, package.effort
        self._object: ModelObject | None = None
        self._rows: list[dict[str, str]] = []
        self._lists: set[str] = set()
        self._triangles = self._vertices = self._placings = self._depth = 0
        self._spaces: dict[str, str] = {}
        self._begin: dict[str, Callable[[dict[str, str]], None]] = {
            f"{CORE} model": self._model,
            f"{CORE} object": self._new_object,
            f"{CORE} component": self._component,
            f"{CORE} item": self._item,
        }
        self._end = {LISTS[0]: self._keep_vertices, LISTS[1]: self._keep_triangles}
        self._ascii_like = True
        self._opened = ("", -1)
        self.parser = self._parser()

    def _parser(self) -> expat.XMLParserType:
        """An XML parser that reports to this."""
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.XmlDeclHandler = self._declared
        parser.StartNamespaceDeclHandler = self._named_space
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._stop
        return parser

    def _declared(self, version: str, encoding: str | None, standalone: int) -> None:
        if (encoding or "").lower() not in ENCODINGS:
            raise self._malformed("its XML is neither UTF-8 nor UTF-16")
        self._ascii_like = (encoding or "").lower() in ASCII_LIKE

    def _named_space(self, prefix: str | None, uri: str | None) -> None:
        self._spaces[prefix or ""] = uri or ""
        if len(self._spaces) > MAX_NAMES:
            raise self._malformed(f"its XML has more than {MAX_NAMES:,} prefixes")

    def parse(self, text: bytes, last: bool) -> None:
        """Parse the next bytes of the part; raises TooLarge when it has become more than the package may ask for."""
        self._effort.parsing(text)
        self.parser.Parse(text, last)
        if len(self.parser.intern) > MAX_NAMES:
            raise self._malformed(f"its XML has more than {MAX_NAMES:,} different names")

    def has_opened(self, listing: Listing, place: int) -> bool:
        """Whether the XML parser has just seen this list open at this byte, and its rows may come past it."""
        ready = self._ascii_like and self._object is not None and not self._rows and self._depth < MAX_DEPTH
        return ready and self._opened == (f"{CORE} {listing.name}", place)

    def take(self, listing: Listing, rows: NDArray[Any], of_one_make: bool) -> None:
        """Keep rows of the list that is open."""
        self._effort.rows(len(rows), of_one_make)
        if listing.name == "vertices":
            self._count_vertices(len(rows))
            self._current().vertices.append(rows)
        else:
            self._count_triangles(len(rows))
            self._current().triangles.append(rows)

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        if self._depth > MAX_DEPTH:
            raise self._malformed("its elements lie in one another without end")
        if name in (TRIANGLE, VERTEX):
            self._row(name, attributes)
        elif name in LISTS:
            self._new_list(name)
        elif name in self._begin:
            self._begin[name](attributes)
        elif name.endswith(" model"):
            raise self._malformed("its model is of no version of 3MF known")

    def _row(self, name: str, attributes: dict[str, str]) -> None:
        if len(attributes) > MAX_ROW_ATTRIBUTES:
            raise self._malformed(f"a row of it has more than {MAX_ROW_ATTRIBUTES} attributes")
        self._rows.append(attributes)
        if len(self._rows) == BATCH:
            self._keep_triangles() if name == TRIANGLE else self._keep_vertices()

    def _new_list(self, name: str) -> None:
        """A mesh has one list of corners and one of triangles; more would be a corner each, a million times."""
        self._current()
        if name in self._lists:
            raise self._malformed("a mesh of it has two lists of corners or of triangles")
        self._lists.add(name)
        self._opened = (name, self.parser.CurrentByteIndex)

    def _stop(self, name: str) -> None:
        self._depth -= 1
        if name in self._end:
            self._end[name]()

    def _model(self, attributes: dict[str, str]) -> None:
        unit = attributes.get("unit", "millimeter")
        if unit not in UNITS:
            raise self._malformed("it states a unit that 3MF does not know")
        self.model.unit = UNITS[unit]
        for prefix in attributes.get("requiredextensions", "").split():
            if self._spaces.get(prefix) not in HARMLESS:
                what = "it needs an extension of 3MF that is more than triangles"
                raise NotAMesh(what, where=self._where, do="Export the scan as a plain triangle mesh")

    def _new_object(self, attributes: dict[str, str]) -> None:
        name = self._wanted(attributes, "id")
        if name in self.model.objects or self._rows:
            raise self._malformed("its objects run into each other")
        if len(self.model.objects) == self._limits.max_instances:
            raise too_many_objects(self._limits.max_instances, self._where)
        self._lists.clear()
        self._object = self.model.objects[name] = ModelObject(self._short(attributes.get("type", "model")))

    def _component(self, attributes: dict[str, str]) -> None:
        self._current().components.append(self._placed(attributes))

    def _item(self, attributes: dict[str, str]) -> None:
        self.model.items.append(self._placed(attributes))

    def _placed(self, attributes: dict[str, str]) -> Placed:
        self._placings += 1
        if self._placings > self._limits.max_instances:
            raise too_many_objects(self._limits.max_instances, self._where)
        path = self._short(attributes.get(f"{PRODUCTION} path", self._part))
        return Placed(path, self._wanted(attributes, "objectid"), self._transform(attributes.get("transform")))

    def _transform(self, text: str | None) -> Array:
        """Twelve numbers, row by row, the last row the shift; one without volume is refused."""
        if text is None:
            return IDENTITY
        numbers = self._numbers(text.split(), float)
        if len(numbers) != 12 or not np.isfinite(numbers).all():
            raise self._malformed("a transform of it is not of twelve numbers")
        matrix = np.eye(4)
        matrix[:, :3] = numbers.reshape(4, 3)
        if np.linalg.det(matrix[:3, :3]) == 0:
            raise self._malformed("a transform of it flattens the object")
        return matrix

    def _keep_vertices(self) -> None:
        self._count_vertices(len(self._rows))
        if self._rows:
            self._current().vertices.append(self._table(VERTEX_COLUMNS, float))

    def _keep_triangles(self) -> None:
        self._count_triangles(len(self._rows))
        if self._rows:
            self._current().triangles.append(self._table(TRIANGLE_COLUMNS, int))

    def _count_vertices(self, more: int) -> None:
        self._vertices += more
        if self._vertices > 3 * self._limits.max_triangles:
            raise too_many_corners(self._vertices, self._limits.max_triangles, self._where)

    def _count_triangles(self, more: int) -> None:
        self._triangles += more
        if self._triangles > self._limits.max_triangles:
            raise too_many_triangles(self._triangles, self._limits.max_triangles, self._where)

    def finished(self) -> ModelPart:
        """What the part says, once all of it was parsed."""
        if self._rows:
            raise self._malformed("it has corners or triangles outside their lists")
        return self.model

    def _table(self, names: tuple[str, str, str], kind: Callable[[str], Any]) -> NDArray[Any]:
        """The named attributes of all rows gathered, (rows, 3); further attributes, such as colours, are left."""
        rows, self._rows = self._rows, []
        try:
            texts = list(chain.from_iterable(map(itemgetter(*names), rows)))
        except KeyError as missing:
            raise self._malformed(f"an element of it lacks {missing}") from missing
        return self._numbers(texts, kind).reshape(-1, 3)

    def _numbers(self, texts: list[str], kind: Callable[[str], Any]) -> NDArray[Any]:
        try:
            return np.fromiter(map(kind, texts), dtype=np.int64 if kind is int else np.float64, count=len(texts))
        except (ValueError, OverflowError) as error:
            raise self._malformed("it has something that is no number where a number belongs") from error

    def _wanted(self, attributes: dict[str, str], name: str) -> str:
        if name not in attributes:
            raise self._malformed(f"an element of it lacks '{name}'")
        return self._short(attributes[name])

    def _short(self, text: str) -> str:
        if len(text) > MAX_KEPT_LETTERS:
            raise self._malformed(f"a name in it has more than {MAX_KEPT_LETTERS:,} letters")
        return text

    def _current(self) -> ModelObject:
        if self._object is None:
            raise self._malformed("it has a mesh outside an object")
        return self._object

    def _malformed(self, what: str) -> Malformed:
        return Malformed(what, where=self._where, do=EXPORT_AGAIN)


def read_model_part(package: Package, part: str, limits: Reading) -> ModelPart:
    """Parse one model part of a package.

    Raises Malformed, NotAMesh, TooLarge.
    """
    reader = ModelParser(part, package, limits)
    try:
        parse_part(package, part, reader.parser, Feed(reader.parse, reader).feed)
    finally:
        del reader.parser  # it and its parser know each other, and would keep the part in memory for a while
    return reader.finished()
