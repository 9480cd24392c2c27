"""The numbers behind a PLY header, in bytes or in text, under one set of questions."""

from collections.abc import Callable
from dataclasses import dataclass
from struct import Struct
from struct import error as StructError
from typing import Protocol, cast

import numpy as np
from numpy.typing import NDArray

from verifier.mesh import Array, IntArray
from verifier.reading.blocks import blocks

Numbers = NDArray[np.generic]

BEYOND = (IndexError, StructError)
STRUCT_CODES = {"i1": "b", "u1": "B", "i2": "h", "u2": "H", "i4": "i", "u4": "I", "i8": "q", "u8": "Q"}


class Body(Protocol):
    """A row of numbers; a place is a byte in a binary file and a number's turn in a text."""

    @property
    def length(self) -> int:
        """One beyond the last place."""

    def size(self, code: str) -> int:
        """Places that a number of this type takes."""

    def kind(self, code: str) -> str:
        """The numpy type that a number of this type is stored as."""

    def whole_at(self, code: str) -> Callable[[int], float]:
        """A function that gives the number of a whole type at a place; it raises BEYOND past the end."""

    def table(self, start: int, record: np.dtype[np.void], count: int) -> NDArray[np.void]:
        """Records of equal length from a place on."""

    def gather(self, starts: IntArray, counts: IntArray, code: str) -> Numbers:
        """Stretches of counts numbers from each of starts, one after another."""


def _places(starts: IntArray, counts: IntArray, size: int) -> IntArray:
    within = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    return np.asarray(np.repeat(starts, counts) + size * within, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class BytesBody:
    """A binary file; order is '<' or '>'."""

    data: bytes
    order: str

    @property
    def length(self) -> int:
        """Bytes of the file."""
        return len(self.data)

    def size(self, code: str) -> int:
        """Bytes of the type."""
        return int(code[1])

    def kind(self, code: str) -> str:
        """The type with the file's byte order."""
        return self.order + code

    def whole_at(self, code: str) -> Callable[[int], float]:
        """Whole number of any size and order; nearly every file counts in single bytes, which need no unpacking."""
        if code == "u1":
            return self.data.__getitem__
        unpack = Struct(self.order + STRUCT_CODES[code]).unpack_from
        return lambda place: cast(int, unpack(self.data, place)[0])

    def table(self, start: int, record: np.dtype[np.void], count: int) -> NDArray[np.void]:
        """Records without a copy."""
        return np.frombuffer(self.data, dtype=record, count=count, offset=start)

    def gather(self, starts: IntArray, counts: IntArray, code: str) -> Numbers:
        """Numbers at places that need not be aligned."""
        size = self.size(code)
        letters = np.frombuffer(self.data, dtype=np.uint8)
        picked, done = np.empty((int(counts.sum()), size), dtype=np.uint8), 0
        for some in blocks(counts):
            places = _places(starts[some], counts[some], size)
            for k in range(size):
                picked[done : done + len(places), k] = letters[places + k]
            done += len(places)
        return picked.view(self.kind(code)).reshape(-1)


@dataclass(frozen=True, slots=True)
class NumbersBody:
    """A text file, its numbers already taken."""

    values: Array

    @property
    def length(self) -> int:
        """How many numbers there are."""
        return len(self.values)

    def size(self, code: str) -> int:
        """A number is one number."""
        return 1

    def kind(self, code: str) -> str:
        """All of them are float64."""
        return "f8"

    def whole_at(self, code: str) -> Callable[[int], float]:
        """The number itself, whole or not."""
        return self.values.data.__getitem__

    def table(self, start: int, record: np.dtype[np.void], count: int) -> NDArray[np.void]:
        """Records without a copy."""
        return self.values[start : start + count * (record.itemsize // 8)].view(record)

    def gather(self, starts: IntArray, counts: IntArray, code: str) -> Numbers:
        """Numbers by their turn."""
        picked, done = np.empty(int(counts.sum())), 0
        for some in blocks(counts):
            places = _places(starts[some], counts[some], 1)
            picked[done : done + len(places)] = self.values[places]
            done += len(places)
        return picked
