"""GLB: a glTF 2.0 scene in one file, in metres. Only its triangles are taken; no other file is opened."""

from collections.abc import Iterator

import numpy as np

from verifier.errors import NotAMesh, NoTriangles
from verifier.mesh import Array, IntArray
from verifier.reading.colours import Colours, as_colours
from verifier.reading.glb_file import Glb, Node, Primitive, open_glb
from verifier.reading.placing import IDENTITY, Amounts, Piece, joined, moved, too_many_objects
from verifier.reading.polygons import refuse_crowded
from verifier.reading.raw_mesh import RawMesh
from verifier.rulebook.rules import Reading

TRIANGLES = 4
# What stands for full light in each type of number.
FULL_LIGHT = {"u1": 255.0, "u2": 65535.0, "f4": 1.0}
# Extensions a file may require that leave its corners and triangles as they are.
HARMLESS = ("KHR_materials_", "KHR_texture_", "EXT_texture_", "KHR_lights_")


def read_glb(data: bytes, where: str, limits: Reading) -> RawMesh:
    """Read the scene of a GLB file (glTF 2.0, whose unit of length is the metre).

    Raises Truncated, Malformed, NoTriangles, NotAMesh, TooLarge.
    """
    glb = open_glb(data, where)
    if not all(name.startswith(HARMLESS) for name in glb.gltf.extensionsRequired):
        do = "Export the scan without compression of its mesh"
        raise NotAMesh("it needs an extension of glTF to be read", where=where, do=do)
    amounts, pieces, colours = Amounts(limits, len(data), where), [], []
    for node, transform in _instances(glb, limits, where):
        for primitive in _primitives(glb, node):
            piece = _piece(glb, primitive, amounts)
            pieces.append(moved(piece, transform))
            colours.append(_colours(glb, primitive, len(piece[0])))
            if len(pieces) > limits.max_instances:
                raise too_many_objects(limits.max_instances, where)
    if not pieces:
        raise NoTriangles("its scene has no triangles", where=where, do="Export the scan as a mesh, with its triangles")
    known = [each for each in colours if each is not None]
    return RawMesh(*joined(pieces), "m", colours=np.concatenate(known) if len(known) == len(pieces) else None)


def _instances(glb: Glb, limits: Reading, where: str) -> Iterator[tuple[Node, Array]]:
    """Every node of the scene with its place; a node that holds itself runs into the limit of instances."""
    scenes, nodes = glb.gltf.scenes, glb.gltf.nodes
    waiting = [(index, IDENTITY) for index in scenes[glb.gltf.scene].nodes] if glb.gltf.scene < len(scenes) else []
    for _ in range(limits.max_instances):
        if not waiting:
            return
        index, outer = waiting.pop()
        if index >= len(nodes):
            raise glb.malformed("its scene has a node that does not exist")
        node = nodes[index]
        transform = _transform(node) @ outer
        if not (transform[:, 3] == IDENTITY[:, 3]).all():
            raise glb.malformed("a node of it is placed by no turning, scaling and shifting")
        yield node, transform
        waiting += [(child, transform) for child in node.children]
    if waiting:
        raise too_many_objects(limits.max_instances, where)


def _transform(node: Node) -> Array:
    """Placing of a node for row vectors: glTF lists a matrix column by column, which is its transpose row by row."""
    if node.matrix is not None:
        return np.array(node.matrix).reshape(4, 4)
    x, y, z, w = node.rotation
    turn = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y + z * w), 2 * (x * z - y * w)],
            [2 * (x * y - z * w), 1 - 2 * (x * x + z * z), 2 * (y * z + x * w)],
            [2 * (x * z + y * w), 2 * (y * z - x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
    placed = np.eye(4)
    placed[:3, :3] = np.diag(node.scale) @ turn
    placed[3, :3] = node.translation
    return placed


def _primitives(glb: Glb, node: Node) -> list[Primitive]:
    if node.mesh is None:
        return []
    if node.mesh >= len(glb.gltf.meshes):
        raise glb.malformed("its scene has a mesh that does not exist")
    found = glb.gltf.meshes[node.mesh].primitives
    if any(primitive.mode > TRIANGLES for primitive in found):
        do = "Export the scan as a mesh, with its triangles"
        raise NoTriangles("its surface is written in strips or fans", where=glb.where, do=do)
    return [primitive for primitive in found if primitive.mode == TRIANGLES]


def _piece(glb: Glb, primitive: Primitive, amounts: Amounts) -> Piece:
    if "POSITION" not in primitive.attributes:
        raise glb.malformed("its triangles have no corners")
    corners = glb.table(primitive.attributes["POSITION"], 3)
    indices = None if primitive.indices is None else glb.table(primitive.indices, 1)
    count = len(corners) if indices is None else len(indices)
    if corners.dtype != np.float32 or (indices is not None and indices.dtype.kind != "u") or count % 3:
        raise glb.malformed("its corners do not make triangles")
    amounts.add(len(corners), count // 3)
    faces: IntArray = np.arange(count) if indices is None else indices.astype(np.int64)
    refuse_crowded(faces, count // 3, len(corners), glb.where)
    return corners.astype(np.float64), faces.reshape(-1, 3)


def _colours(glb: Glb, primitive: Primitive, corners: int) -> Colours | None:
    """Colours of a piece's corners, which may have a fourth number for how far they are seen through."""
    if "COLOR_0" not in primitive.attributes:
        return None
    found = glb.table_or_why_not(primitive.attributes["COLOR_0"], (3, 4))
    if isinstance(found, str) or len(found) != corners:
        return None
    return as_colours(found[:, :3], FULL_LIGHT.get(found.dtype.str[1:]))
