"""The sizes that say something about scale and coat: those with a calliper reading of the original."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from verifier.measuring.size import Size
from verifier.mesh import Array, BoolArray
from verifier.rulebook import CalliperReading, Rules, Sheet, SheetRow, reading_of
from verifier.rulebook.size_kinds import SHAPE_KINDS


@dataclass(frozen=True, slots=True)
class Evidence:
    """The n sizes that were both scanned and read with a calliper.

    measured_mm, reading_mm : (n,)
    walls : (n,) coated walls each size crosses, see Size
    u_mm : (n,) standard uncertainty of measured less reading
    """

    names: tuple[str, ...]
    measured_mm: Array
    reading_mm: Array
    walls: Array
    u_mm: Array

    def __len__(self) -> int:
        return len(self.names)

    @property
    def outside_walls(self) -> Array:
        """Those of the walls that powder from outside reaches everywhere, (n,)."""
        return np.maximum(self.walls, 0.0)

    @property
    def inside_walls(self) -> Array:
        """Those that lie in a bore or a slot, where it may lie thinner, (n,); negative."""
        return np.minimum(self.walls, 0.0)

    def only(self, keep: BoolArray) -> "Evidence":
        """The rows where keep, (n,), is true."""
        names = tuple(name for name, kept in zip(self.names, keep, strict=True) if kept)
        return Evidence(names, self.measured_mm[keep], self.reading_mm[keep], self.walls[keep], self.u_mm[keep])

    def without(self, name: str) -> "Evidence":
        """All rows but the one of this name."""
        return self.only(np.array([other != name for other in self.names], dtype=bool))

    def plus(self, reading_mm: float, walls: float, u_mm: float) -> "Evidence":
        """The same with one more row that was read and scanned without any error: for asking what it would tell."""
        return Evidence(
            (*self.names, "one more"),
            np.append(self.measured_mm, reading_mm),
            np.append(self.reading_mm, reading_mm),
            np.append(self.walls, float(walls)),
            np.append(self.u_mm, u_mm),
        )


def gather_evidence(sizes: Sequence[Size], sheet: Sheet, rules: Rules) -> Evidence:
    """The rows that have a reading and one clear measured value; angles, forms and ties say nothing of lengths."""
    rows = {row.name: row for row in sheet.rows}
    pairs = [
        (size, reading)
        for size in sizes
        if tells_lengths(size, rows[size.name]) and (reading := reading_of(rows[size.name], sheet, rules)) is not None
    ]
    return _as_arrays(pairs)


def tells_lengths(size: Size, row: SheetRow) -> bool:
    """Whether a size was found, without a rival that fits as well, and is a length."""
    return size.measured_mm is not None and not size.alternatives_mm and row.kind not in SHAPE_KINDS


def _as_arrays(pairs: Sequence[tuple[Size, CalliperReading]]) -> Evidence:
    # The calliper's part is scale * u, and a scale differs from 1 by a hundredth at most: a hundredth of u is let go.
    return Evidence(
        names=tuple(size.name for size, _ in pairs),
        measured_mm=np.array([size.measured_mm for size, _ in pairs], dtype=np.float64),
        reading_mm=np.array([reading.value for _, reading in pairs], dtype=np.float64),
        walls=np.array([size.walls for size, _ in pairs], dtype=np.float64),
        u_mm=np.array([np.hypot(size.u_mm, reading.u) for size, reading in pairs], dtype=np.float64),
    )
