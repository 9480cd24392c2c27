"""The container of a GLB file (glTF 2.0): its JSON as checked values, and its numbers as arrays."""

from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, Field, ValidationError

from verifier.errors import Malformed, Truncated
from verifier.reading.file_bytes import EXPORT_AGAIN

MAGIC = b"glTF"
HEADER_BYTES, CHUNK_HEAD_BYTES = 12, 8
# A scene of scans has kilobytes of JSON; its values take 230 times their text in memory, and two seconds a
# megabyte.
MAX_JSON_BYTES = 1 << 19
WIDTHS = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}
COMPONENTS = {5121: "<u1", 5123: "<u2", 5125: "<u4", 5126: "<f4"}

Count = Annotated[int, Field(ge=0, lt=2**53)]
Index = Annotated[int, Field(ge=0, lt=2**31)]
Number = Annotated[float, Field(allow_inf_nan=False)]


class BufferView(BaseModel):
    """A stretch of the file's numbers."""

    buffer: Index
    byteOffset: Count = 0
    byteLength: Count
    byteStride: Annotated[int, Field(ge=4, le=252)] | None = None


class Accessor(BaseModel):
    """How a stretch is to be taken as numbers."""

    bufferView: Index | None = None
    byteOffset: Count = 0
    componentType: int
    count: Annotated[int, Field(ge=1, lt=2**53)]
    type: str
    sparse: Any = None


class Primitive(BaseModel):
    """Triangles (mode 4), strips, lines or points."""

    attributes: dict[str, Index]
    indices: Index | None = None
    mode: int = 4


class GlbMesh(BaseModel):
    """Several primitives."""

    primitives: list[Primitive]


class Node(BaseModel):
    """A mesh put somewhere, and what hangs on it."""

    mesh: Index | None = None
    children: list[Index] = []
    matrix: Annotated[list[Number], Field(min_length=16, max_length=16)] | None = None
    translation: tuple[Number, Number, Number] = (0, 0, 0)
    rotation: tuple[Number, Number, Number, Number] = (0, 0, 0, 1)
    scale: tuple[Number, Number, Number] = (1, 1, 1)


class Scene(BaseModel):
    """What is to be shown."""

    nodes: list[Index] = []


class Gltf(BaseModel):
    """The JSON of a GLB, as far as it concerns the surface."""

    extensionsRequired: list[str] = []
    scene: Index = 0
    scenes: list[Scene] = []
    nodes: list[Node] = []
    meshes: list[GlbMesh] = []
    accessors: list[Accessor] = []
    bufferViews: list[BufferView] = []


@dataclass(frozen=True, slots=True)
class Glb:
    """A GLB file taken apart."""

    gltf: Gltf
    numbers: memoryview
    where: str

    def table(self, accessor: Index, width: int) -> NDArray[np.generic]:
        """The numbers of an accessor, (count, width); raises Malformed when they lie outside the file."""
        found = self.table_or_why_not(accessor, (width,))
        if isinstance(found, str):
            raise self.malformed(found)
        return found

    def table_or_why_not(self, accessor: Index, widths: tuple[int, ...]) -> NDArray[np.generic] | str:
        """The numbers of an accessor, (count, one of the widths), or what is wrong with it."""
        what = self.gltf.accessors[accessor] if accessor < len(self.gltf.accessors) else None
        if what is None or what.sparse is not None or what.bufferView is None:
            return "its surface refers to numbers that it does not hold"
        width = WIDTHS.get(what.type)
        if what.componentType not in COMPONENTS or width not in widths:
            return "its corners are of a kind of number that glTF does not allow there"
        if what.bufferView >= len(self.gltf.bufferViews) or self.gltf.bufferViews[what.bufferView].buffer != 0:
            return "its surface lies in another file"
        stretch = self.gltf.bufferViews[what.bufferView]
        end = stretch.byteOffset + stretch.byteLength
        kind = np.dtype(COMPONENTS[what.componentType])
        stride, start = stretch.byteStride or kind.itemsize * width, stretch.byteOffset + what.byteOffset
        if end > len(self.numbers) or start + stride * (what.count - 1) + kind.itemsize * width > end:
            return "its surface refers to numbers beyond its end"
        return np.ndarray((what.count, width), kind, self.numbers, start, (stride, kind.itemsize))

    def malformed(self, what: str) -> Malformed:
        """The refusal, with what to do."""
        return Malformed(what, where=self.where, do=EXPORT_AGAIN)


def open_glb(data: bytes, where: str) -> Glb:
    """Take a GLB apart: twelve bytes of header, a chunk of JSON, a chunk of numbers.

    Raises Truncated, Malformed.
    """
    announced = int.from_bytes(data[8:12], "little")
    if len(data) < HEADER_BYTES + CHUNK_HEAD_BYTES or announced > len(data):
        raise Truncated(f"it announces {announced:,} bytes and has {len(data):,}", where=where, do=EXPORT_AGAIN)
    if announced != len(data) or data[4:8] != b"\2\0\0\0":
        raise Malformed("it is no GLB of version 2 of the length it announces", where=where, do=EXPORT_AGAIN)
    text, place = _chunk(data, HEADER_BYTES, b"JSON", where)
    numbers, _ = _chunk(data, place, b"BIN\0", where) if place < len(data) else (memoryview(b""), place)
    if len(text) > MAX_JSON_BYTES:
        raise Malformed(f"its description has {len(text):,} bytes", where=where, do="Export the part alone")
    try:
        return Glb(Gltf.model_validate_json(bytes(text)), numbers, where)
    except ValidationError as error:
        raise Malformed("its description is no glTF", where=where, do=EXPORT_AGAIN) from error


def _chunk(data: bytes, place: int, kind: bytes, where: str) -> tuple[memoryview, int]:
    """The chunk at a place, and the place behind it."""
    start = place + CHUNK_HEAD_BYTES
    end = start + int.from_bytes(data[place : place + 4], "little")
    if data[place + 4 : start] != kind or end > len(data):
        raise Malformed("its chunks do not fit its length", where=where, do=EXPORT_AGAIN)
    return memoryview(data)[start:end], end
