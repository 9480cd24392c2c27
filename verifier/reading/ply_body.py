"""The numbers behind a PLY header, in bytes or in text, under one set of questions."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from verifier.mesh import Array, IntArray

Numbers = NDArray[np.generic]


class Body(Protocol):
    """A row of numbers; a place is a byte in a binary file and a number's turn in a text."""

    @property
    def length(self) -> int:
        """One beyond the last place."""

    def size(self, code: str) -> int:
        """Places that a number of this type takes."""

    def kind(self, code: str) -> str:
        """The numpy type that a number of this type is stored as."""

    def whole_at(self, place: int, code: str) -> int:
        """The whole number at a place that exists; -1 for one that is not whole."""

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

    def whole_at(self, place: int, code: str) -> int:
        """Whole number of any size and order."""
        end = "little" if self.order == "<" else "big"
        return int.from_bytes(self.data[place : place + int(code[1])], end, signed=code[0] == "i")  # type: ignore[arg-type]

    def table(self, start: int, record: np.dtype[np.void], count: int) -> NDArray[np.void]:
        """Records without a copy."""
        return np.frombuffer(self.data, dtype=record, count=count, offset=start)

    def gather(self, starts: IntArray, counts: IntArray, code: str) -> Numbers:
        """Numbers at places that need not be aligned."""
        size = self.size(code)
        places = _places(starts, counts, size)
        letters = np.frombuffer(self.data, dtype=np.uint8)
        picked = np.empty((len(places), size), dtype=np.uint8)
        for k in range(size):
            picked[:, k] = letters[places + k]
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

    def whole_at(self, place: int, code: str) -> int:
        """The number if it is whole."""
        value = float(self.values[place])
        return int(value) if value.is_integer() else -1

    def table(self, start: int, record: np.dtype[np.void], count: int) -> NDArray[np.void]:
        """Records without a copy."""
        return self.values[start : start + count * (record.itemsize // 8)].view(record)

    def gather(self, starts: IntArray, counts: IntArray, code: str) -> Numbers:
        """Numbers by their turn."""
        return self.values[_places(starts, counts, 1)]
