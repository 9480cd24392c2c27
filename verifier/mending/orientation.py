"""Which side is out: faces agree with their neighbours, and the part encloses a positive volume."""

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

from verifier.mending.draft import Draft
from verifier.mending.edges import components
from verifier.mending.patches import beside_rims
from verifier.mending.solid import MendStep
from verifier.mending.telling import tell_faces
from verifier.mesh import Array, BoolArray, IntArray, face_volumes_mm3, middle_mm

# An open piece that would be thinner than this when closed is a sheet seen from one side. No moulded wall is: they are
# from half a millimetre up (common practice, no source).
SHEET_MM = 0.1


def make_faces_agree(draft: Draft) -> Draft:
    """Turn the faces that run round against their neighbours; the smaller surface is the one that is turned.

    Faces that agree already form patches; the patches are walked over their longest shared borders. An edge that still
    disagrees after that (a surface with one side only) loses its faces.
    """
    disagreeing = draft.edges.disagreeing()
    if len(disagreeing) == 0:
        return draft
    count, patch = _agreeing_patches(draft)
    left, right = patch[disagreeing // 3], patch[draft.edges.twin[disagreeing] // 3]
    area: Array = np.bincount(patch, draft.areas_mm2, count).astype(np.float64)
    turned = _patches_to_turn(count, left, right, area)[patch]
    faces = np.flatnonzero(turned)
    draft = draft.with_turned(turned).telling(tell_faces("Turned flipped faces", draft.mesh, faces, patch[faces]))
    return _cut_one_sided(draft)


def settle_pieces(draft: Draft) -> Draft:
    """Turn every piece outward, and take away open sheets that enclose nothing.

    A piece faces out when the volume that it encloses is positive, its holes closed in thought. Of a patch, a strip of
    wall or half a part on its table that says little. What lies along a rim of the largest piece is another pass's
    share of the part: it looks as that piece does, and the volume of all of them together says which way is out.
    Anywhere else an open sheet is table or wall, seen from one side.
    """
    count, piece = draft.pieces
    volume_mm3 = enclosed_volumes_mm3(draft, piece, count)
    inward, size_mm3 = volume_mm3 < 0, np.abs(volume_mm3)
    area = np.bincount(piece, draft.areas_mm2, count)
    is_largest = np.arange(count) == int(area.argmax())
    is_open = np.bincount(piece[draft.edges.border // 3], minlength=count) > 0
    outward = draft.with_turned(inward[piece]) if inward.any() else draft
    side = beside_rims(outward, piece, is_open & ~is_largest) if is_open.any() else np.zeros(count, dtype=np.int64)
    together_mm3 = float((size_mm3 * np.where(side < 0, -1.0, 1.0))[is_largest | (side != 0)].sum())
    again = (side < 0) ^ ((is_largest | (side != 0)) & (together_mm3 < 0))
    settled = outward.with_turned(again[piece]) if again.any() else outward
    settled = settled.telling(
        _tell(draft, "Turned inside-out parts outward", inward & ~again),
        _tell(draft, "Turned patches like the rim they lie along", again & ~inward),
    )
    enclosed_mm3 = np.where(is_largest, abs(together_mm3), size_mm3)
    is_sheet = is_open & (side == 0) & (2.0 * enclosed_mm3 < SHEET_MM * area)
    return settled.without(is_sheet[piece]).telling(_tell(draft, "Removed loose sheets", is_sheet))


def _tell(draft: Draft, what: str, chosen: BoolArray) -> MendStep:
    """Tell of some pieces, chosen : (count,)."""
    _, piece = draft.pieces
    faces = np.flatnonzero(chosen[piece])
    return tell_faces(what, draft.mesh, faces, piece[faces])


def enclosed_volumes_mm3(draft: Draft, piece: IntArray, count: int) -> Array:
    """Signed volume of every piece by the divergence theorem, each open loop closed by a fan to its middle.

    The signed volume of an open surface depends on where the origin is; with the loops closed it does not.
    """
    volume = np.bincount(piece, 6.0 * face_volumes_mm3(draft.mesh), count)
    vertices = draft.mesh.vertices_mm - middle_mm(draft.mesh)
    border = draft.edges.border
    if len(border):
        start, end = draft.edges.start[border], draft.edges.ends_of(border)
        middle = _loop_middles(vertices, start, end)
        lid = np.einsum("ij,ij->i", middle, np.cross(vertices[end], vertices[start]))
        volume += np.bincount(piece[border // 3], lid, count)
    return np.asarray(volume / 6.0)


def _agreeing_patches(draft: Draft) -> tuple[int, IntArray]:
    edges = draft.edges
    low = edges.paired
    agreeing = low[edges.start[low] != edges.start[edges.twin[low]]]
    return components(len(edges.faces), agreeing // 3, edges.twin[agreeing] // 3)


def _patches_to_turn(count: int, left: IntArray, right: IntArray, area_mm2: Array) -> BoolArray:
    """Which patches are turned, so that neighbours agree over the longest borders: parity on a spanning tree.

    The tree is doubled: patch k as it is, and k + count turned. A border between patches links one to the other turned.
    """
    length = sparse.coo_matrix((np.ones(2 * len(left)), (np.r_[left, right], np.r_[right, left])), (count, count))
    tree = csgraph.minimum_spanning_tree(-length.tocsr()).tocoo()
    one, other = tree.row.astype(np.int64), tree.col.astype(np.int64)
    groups, side = components(2 * count, np.r_[one, one + count], np.r_[other + count, other])
    as_it_is = np.bincount(side, np.r_[area_mm2, np.zeros(count)], groups)
    heavier_turned = as_it_is[side[count:]] > as_it_is[side[:count]]
    tie = as_it_is[side[count:]] == as_it_is[side[:count]]
    return np.asarray(heavier_turned | (tie & (side[:count] > side[count:])))


def _cut_one_sided(draft: Draft) -> Draft:
    """Take away the faces at edges that no turning makes agree."""
    disagreeing = draft.edges.disagreeing()
    if len(disagreeing) == 0:
        return draft
    dropped = np.zeros(len(draft.mesh.faces), dtype=bool)
    dropped[disagreeing // 3] = dropped[draft.edges.twin[disagreeing] // 3] = True
    step = tell_faces("Cut a one-sided surface", draft.mesh, np.flatnonzero(dropped))
    return draft.without(dropped).telling(step)


def _loop_middles(vertices_mm: Array, start: IntArray, end: IntArray) -> Array:
    """For every border edge the middle of the loop it is on, however unevenly its corners lie along it."""
    corners, name = np.unique(np.r_[start, end], return_inverse=True)
    loops, label = components(len(corners), name[: len(start)], name[len(start) :])
    loop = label[name[: len(start)]]
    length_mm = np.linalg.norm(vertices_mm[end] - vertices_mm[start], axis=1)
    along = 0.5 * (vertices_mm[start] + vertices_mm[end]) * length_mm[:, None]
    middle = np.column_stack([np.bincount(loop, along[:, k], loops) for k in range(3)])
    return np.asarray((middle / np.maximum(np.bincount(loop, length_mm, loops), 1e-300)[:, None])[loop])
