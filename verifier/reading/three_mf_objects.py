"""What a 3MF model part says, as it is kept: objects, and where they are put."""

from dataclasses import dataclass, field

from verifier.mesh import Array, IntArray
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


@dataclass(slots=True)
class ModelPart:
    """What one model part says; filled while it is parsed."""

    unit: UnitName = "mm"
    objects: dict[str, ModelObject] = field(default_factory=dict)
    items: list[Placed] = field(default_factory=list)
