"""What a 3MF model part says, as it is kept: objects, and where they are put."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from verifier.mesh import Array, IntArray
from verifier.reading.placing import Piece
from verifier.reading.scan import UnitName


@dataclass(frozen=True, slots=True)
class Placed:
    """An object put somewhere; transform is 4 x 4 and acts on row vectors, as 3MF writes it."""

    part: str
    object_id: str
    transform: Array


@dataclass(slots=True)
class ModelObject:
    """A mesh, or other objects put together; filled while the part is parsed."""

    kind: str
    vertices: list[Array] = field(default_factory=list)
    triangles: list[IntArray] = field(default_factory=list)
    components: list[Placed] = field(default_factory=list)

    def piece(self) -> Piece:
        """All its corners and triangles, in one array each."""
        self.vertices = [_gathered(self.vertices, np.float64)]
        self.triangles = [_gathered(self.triangles, np.int64)]
        return self.vertices[0], self.triangles[0]


def _gathered(rows: list[NDArray[Any]], kind: type) -> NDArray[Any]:
    """The rows in one array; each part is let go once it is copied, so that all of them are never there twice."""
    if len(rows) == 1:
        return rows[0]
    place = sum(map(len, rows))
    table: NDArray[Any] = np.empty((place, 3), dtype=kind)
    while rows:
        part = rows.pop()
        table[place - len(part) : place] = part
        place -= len(part)
    return table


@dataclass(slots=True)
class ModelPart:
    """What one model part says; filled while it is parsed."""

    unit: UnitName = "mm"
    objects: dict[str, ModelObject] = field(default_factory=dict)
    items: list[Placed] = field(default_factory=list)
