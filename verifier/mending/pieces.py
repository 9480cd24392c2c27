"""What hangs together and what does not: debris, fins, loose sheets, shells inside the part, several parts."""

from dataclasses import replace

import igl
import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.patches import beside_rims
from verifier.mending.solid import MendStep
from verifier.mending.telling import boxes_of_groups, tell_faces
from verifier.mesh import Array, BoolArray, IntArray, Mesh

# A speck has less than this share of the largest piece's surface; specks, skirt crumbs and fins of the simulated scans
# stay under 0.3 %, a second part put on the same turntable is over 5 %.
DEBRIS_SHARE = 0.01

# Corners of a piece that are asked whether they lie inside another one.
ASKED = 32


def remove_debris_and_fins(draft: Draft, *, keep_patches: bool = False) -> Draft:
    """Cut where more than two faces meet, and take away what is then small: specks, and fins that hung on there.

    keep_patches : leave small patches of another pass that lie along a rim; whoever joins passes takes them up

    Taking a fin away makes an ordinary edge of the place where it hung, so it is looked at again. What is left crowded
    after that (two large surfaces that share an edge) loses the faces at that edge, and is filled like any hole.
    """
    while True:
        count, piece = draft.pieces
        if count == 1:
            break
        small = _small_pieces(draft.areas_mm2, piece, count)
        hanging = np.zeros(count, dtype=bool)
        hanging[piece[draft.edges.crowded // 3]] = True
        fins, specks = small & hanging, small & ~hanging
        if keep_patches:
            specks &= beside_rims(draft, piece, small) == 0
        small = fins | specks
        if not small.any():
            break
        told = _tell(draft, "Cut off fins", fins[piece], piece), _tell(draft, "Removed debris", specks[piece], piece)
        draft = draft.without(small[piece]).telling(*told)
    return _cut_crowded(draft, keep_patches=keep_patches)


def drop_inner_shells(draft: Draft) -> Draft:
    """Take away every piece that lies inside another one: a moulded part has no hollow that a scanner could see."""
    count, piece = draft.pieces
    if count == 1:
        return draft
    area = np.bincount(piece, draft.areas_mm2, count)
    low, high = boxes_of_groups(draft.mesh.corners_mm, piece, count)
    by_size = np.argsort(-area, kind="stable")
    inner = np.zeros(count, dtype=bool)
    for rank, k in enumerate(by_size[1:].tolist(), start=1):
        around = (low[by_size[:rank]] <= low[k]).all(axis=1) & (high[by_size[:rank]] >= high[k]).all(axis=1)
        inner[k] = any(_winds_around(draft.mesh, piece, k, j) for j in by_size[:rank][around].tolist() if not inner[j])
    return draft.without(inner[piece]).telling(_tell(draft, "Dropped inner shells", inner[piece], piece))


def tell_bodies(draft: Draft) -> Draft:
    """Say so when several separate bodies were kept; bodies are counted by shared edges."""
    count, piece = draft.pieces
    if count == 1:
        return draft
    step = tell_faces(f"Kept {count} separate bodies", draft.mesh, np.arange(len(piece)), piece)
    return draft.telling(replace(step, area_mm2=0.0, box_mm=None))


def count_large_pieces(draft: Draft) -> int:
    """How many pieces are too large for debris."""
    count, piece = draft.pieces
    return int((~_small_pieces(draft.areas_mm2, piece, count)).sum())


def _small_pieces(areas_mm2: Array, piece: IntArray, count: int) -> BoolArray:
    area = np.bincount(piece, areas_mm2, count)
    return np.asarray(area < DEBRIS_SHARE * area.max())


def _cut_crowded(draft: Draft, *, keep_patches: bool) -> Draft:
    """Take away the faces at edges where more than two large surfaces meet."""
    crowded = np.unique(draft.edges.crowded // 3)
    if len(crowded) == 0:
        return draft
    dropped = np.zeros(len(draft.mesh.faces), dtype=bool)
    dropped[crowded] = True
    step = tell_faces("Cut away faces where more than two meet at an edge", draft.mesh, crowded)
    return remove_debris_and_fins(draft.without(dropped).telling(step), keep_patches=keep_patches)


def _winds_around(mesh: Mesh, piece: IntArray, inner: int, outer: int) -> bool:
    """Whether the outer piece winds around most of the inner one's corners."""
    corners = mesh.vertices_mm[np.unique(mesh.faces[piece == inner])]
    faces = mesh.faces[piece == outer]
    asked = corners[np.linspace(0, len(corners) - 1, ASKED).astype(np.int64)]
    return float(np.mean(np.abs(_winding(mesh.vertices_mm, faces, asked)) > 0.5)) > 0.5


def _winding(vertices_mm: Array, faces: IntArray, at_mm: Array) -> Array:
    """How often the faces wind around each place: 1 inside, 0 outside, a part of it near a hole."""
    return np.asarray(igl.winding_number(vertices_mm, faces, at_mm), dtype=np.float64).reshape(-1)


def _tell(draft: Draft, what: str, faces: BoolArray, piece: IntArray) -> MendStep:
    chosen = np.flatnonzero(faces)
    return tell_faces(what, draft.mesh, chosen, piece[chosen])
