"""Whether a mesh encloses a volume."""

import numpy as np
from scipy import sparse

from verifier.mesh import Mesh


def is_closed(mesh: Mesh) -> bool:
    """Every edge runs once in each direction, so the surface has no rim and no side turned over."""
    if len(mesh.faces) == 0:
        return False
    count = len(mesh.vertices_mm)
    start, end = mesh.faces.ravel(), mesh.faces[:, [1, 2, 0]].ravel()
    edges = sparse.csr_array((np.ones(len(start), dtype=np.int8), (start, end)), shape=(count, count))
    back = edges.T.tocsr()
    return (
        bool(np.all(edges.data == 1))
        and np.array_equal(edges.indptr, back.indptr)
        and np.array_equal(edges.indices, back.indices)
    )
