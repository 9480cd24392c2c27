"""Surface that runs through itself: found exactly, cut out around the place, and filled."""

import igl.predicates
import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.fans import split_bow_ties
from verifier.mending.holes import fill_holes
from verifier.mending.loops import cut_knotted_loops
from verifier.mending.pieces import remove_debris_and_fins
from verifier.mending.telling import tell_faces
from verifier.mesh import BoolArray, IntArray, Mesh, face_areas_mm2

# A fold is cut and filled; after this many tries, each with one more ring of faces, what still crosses is left as it is
# and told. Folds of the simulated scans are gone after one or two.
ROUNDS = 4
# More than this share of the surface crossing is no fold but two surfaces through each other, as from two passes that
# were not aligned. Cutting that out would leave a hole where the part is.
CROSSING_SHARE = 0.02


def mend_crossings(draft: Draft) -> Draft:
    """Cut out the faces that cross others, with the ring around them, and fill; look again near what is new."""
    hit = crossing_faces(draft.mesh)
    for ring in range(1, ROUNDS + 1):
        if len(hit) == 0 or share_of_surface(draft.mesh, hit) > CROSSING_SHARE:
            break
        first_new = len(draft.mesh.vertices_mm)
        draft = _cut_out(draft, hit, ring)
        draft = fill_holes(draft, "Filled where the surface crossed itself", fair=ring < ROUNDS)
        hit = _crossing_near(draft.mesh, _touching(draft, first_new))
    return draft.telling(tell_faces("Left faces that cross each other", draft.mesh, hit)) if len(hit) else draft


def crossing_faces(mesh: Mesh) -> IntArray:
    """Numbers of the faces that run through another face, by exact predicates."""
    found, pairs, _ = igl.predicates.find_self_intersections(mesh.vertices_mm, mesh.faces)
    return np.unique(pairs) if found else np.empty(0, dtype=np.int64)


def share_of_surface(mesh: Mesh, faces: IntArray) -> float:
    """Share of the surface that some faces make up."""
    areas = face_areas_mm2(mesh)
    return float(areas[faces].sum() / areas.sum())


def _cut_out(draft: Draft, hit: IntArray, rings: int) -> Draft:
    dropped = np.zeros(len(draft.mesh.faces), dtype=bool)
    dropped[hit] = True
    for _ in range(rings):
        corners = np.zeros(len(draft.mesh.vertices_mm), dtype=bool)
        corners[draft.mesh.faces[dropped]] = True
        dropped |= corners[draft.mesh.faces].any(axis=1)
    step = tell_faces("Cut out faces that crossed each other", draft.mesh, hit)
    cut = remove_debris_and_fins(draft.without(dropped).telling(step))
    return cut_knotted_loops(split_bow_ties(cut))


def _touching(draft: Draft, first_new: int) -> BoolArray:
    """Faces with a new corner, and all that were filled."""
    return np.asarray((draft.mesh.faces >= first_new).any(axis=1) | (draft.origin > 0))


def _crossing_near(mesh: Mesh, fresh: BoolArray) -> IntArray:
    """Crossing faces among the fresh ones and all whose box comes near theirs."""
    near = np.flatnonzero(_box_meets_any(mesh, fresh))
    return near[crossing_faces(Mesh(mesh.vertices_mm, mesh.faces[near]))]


def _box_meets_any(mesh: Mesh, fresh: BoolArray) -> BoolArray:
    """Faces whose box shares a cell of a coarse grid with a fresh face's box; too many rather than too few."""
    corners = mesh.corners_mm
    low, high = corners.min(axis=1), corners.max(axis=1)
    origin = low.min(axis=0)
    cell = max(4.0 * float(np.mean(high - low)), float((high.max(axis=0) - origin).max()) / 200.0)
    first, last = ((low - origin) / cell).astype(np.int64), ((high - origin) / cell).astype(np.int64)
    marked = np.zeros(last.max(axis=0) + 1, dtype=bool)
    for a, b in zip(first[fresh], last[fresh], strict=True):
        marked[a[0] : b[0] + 1, a[1] : b[1] + 1, a[2] : b[2] + 1] = True
    meets = (last - first > 1).any(axis=1)  # larger than a cell: always looked at
    for pick in range(8):
        x, y, z = (np.where(pick >> k & 1, last[:, k], first[:, k]) for k in range(3))
        meets |= marked[x, y, z]
    return np.asarray(meets)
