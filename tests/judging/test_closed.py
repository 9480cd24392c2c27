import manifold3d
import numpy as np

from verifier.judging.closed import is_closed
from verifier.mesh import Mesh


def block() -> Mesh:
    raw = manifold3d.Manifold.cube((30, 20, 10)).refine(3).to_mesh()
    return Mesh(np.asarray(raw.vert_properties[:, :3], dtype=float), np.asarray(raw.tri_verts, dtype=np.int64))


def test_a_block_is_closed() -> None:
    assert is_closed(block())


def test_a_missing_face_a_turned_face_and_a_doubled_face_are_seen() -> None:
    mesh = block()
    turned = mesh.faces.copy()
    turned[4] = turned[4, ::-1]
    assert not is_closed(Mesh(mesh.vertices_mm, mesh.faces[1:]))
    assert not is_closed(Mesh(mesh.vertices_mm, turned))
    assert not is_closed(Mesh(mesh.vertices_mm, np.vstack([mesh.faces, mesh.faces[:1], mesh.faces[:1, ::-1]])))
    assert not is_closed(Mesh(mesh.vertices_mm, mesh.faces[:0]))
