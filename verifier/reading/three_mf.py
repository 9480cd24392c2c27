"""3MF: a package that states its unit, and whose objects are put together and placed by transforms."""

from collections.abc import Iterator
from dataclasses import dataclass

from verifier.errors import Malformed, NoTriangles
from verifier.mesh import Array
from verifier.reading.file_bytes import EXPORT_AGAIN
from verifier.reading.placing import Amounts, Piece, joined, moved, too_many_objects
from verifier.reading.polygons import refuse_crowded
from verifier.reading.raw_mesh import RawMesh
from verifier.reading.three_mf_model import read_model_part
from verifier.reading.three_mf_objects import ModelObject, ModelPart, Placed
from verifier.reading.three_mf_package import Package, open_package, root_model
from verifier.rulebook.rules import Reading


@dataclass(frozen=True, slots=True)
class Parts:
    """The model parts of a package, each parsed when it is first asked for, and once."""

    package: Package
    limits: Reading
    known: dict[str, ModelPart]

    def part(self, name: str) -> ModelPart:
        """The model part of this name."""
        key = name.lstrip("/").lower()
        if key not in self.known:
            self.known[key] = read_model_part(self.package, name, self.limits)
        return self.known[key]

    def object(self, placed: Placed) -> ModelObject:
        """The object that is placed."""
        found = self.part(placed.part).objects.get(placed.object_id)
        if found is None:
            raise Malformed("it places an object that it does not hold", where=self.package.where, do=EXPORT_AGAIN)
        return found


def read_three_mf(data: bytes, where: str, limits: Reading) -> RawMesh:
    """Read a 3MF package (core specification 1.4.0, with the production extension's further parts).

    Raises Truncated, Malformed, NoTriangles, NotAMesh, TooLarge.
    """
    package = open_package(data, where, limits)
    root = root_model(package)
    parts = Parts(package, limits, {})
    model = parts.part(root)
    pieces, notices = _placed_meshes(parts, model, len(data), where)
    _refuse_mixed_units(parts, model, where)
    if not pieces:
        do = "Export the scan as a mesh, with an object on the build plate"
        raise NoTriangles("nothing with a surface is on its build plate", where=where, do=do)
    return RawMesh(*joined(pieces), model.unit, notices)


def _placed_meshes(parts: Parts, model: ModelPart, file_bytes: int, where: str) -> tuple[list[Piece], tuple[str, ...]]:
    """Every mesh where the build plate has it, and what was left out."""
    pieces: list[Piece] = []
    amounts, supports = Amounts(parts.limits, file_bytes, where), 0
    for found, transform in _instances(parts, model, where):
        supports += found.kind == "support"
        if found.kind == "support" or not found.triangles:
            continue
        amounts.add(sum(map(len, found.vertices)), sum(map(len, found.triangles)))
        vertices, faces = found.piece()
        refuse_crowded(faces, len(faces), len(vertices), where)
        pieces.append(moved((vertices, faces), transform))
    return pieces, _notices(model, supports)


def _instances(parts: Parts, model: ModelPart, where: str) -> Iterator[tuple[ModelObject, Array]]:
    """Every object as often as items and components place it, as far as the limit of instances.

    A component that leads back to itself runs into the same limit.
    """
    waiting = model.items[::-1]
    for _ in range(parts.limits.max_instances):
        if not waiting:
            return
        placed = waiting.pop()
        found = parts.object(placed)
        yield found, placed.transform
        waiting += [_within(inner, placed) for inner in reversed(found.components)]
    if waiting:
        raise too_many_objects(parts.limits.max_instances, where)


def _within(inner: Placed, outer: Placed) -> Placed:
    return Placed(inner.part, inner.object_id, inner.transform @ outer.transform)


def _notices(model: ModelPart, supports: int) -> tuple[str, ...]:
    built = {placed.object_id for placed in model.items}
    inner = {placed.object_id for found in model.objects.values() for placed in found.components}
    left = sum(1 for name, found in model.objects.items() if found.triangles and name not in built | inner)
    said = []
    if supports:
        said.append(f"{supports} objects are support structures and were left out.")
    if left:
        said.append(f"{left} objects are not on the build plate and were left out.")
    return tuple(said)


def _refuse_mixed_units(parts: Parts, model: ModelPart, where: str) -> None:
    if any(part.unit != model.unit for part in parts.known.values()):
        raise Malformed("its parts are in different units", where=where, do=EXPORT_AGAIN)
