"""Spikes: a corner that was joined to the wrong place, and drags the faces around it there.

    the part          one of its corners welded to a speck, to the table, to another wall
                            *  speck
                           /|
    __________      ______/ |_____

Taken away before anything asks where surfaces hang together, lie or end: a spike answers for the wrong place.
"""

import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.edges import components
from verifier.mending.telling import boxes_of_groups, tell_faces
from verifier.mesh import Array, BoolArray, IntArray, Mesh

# A face with an edge this many times the middle length is part of a spike where it crosses an ordinary one: a scan's
# triangles are of one size.
SPIKE_RATIO = 6.0
# The faces of a spike are larger than this many middle ones, on one side of it at least: asked first, being at hand.
SPIKE_AREAS = 2.0
# A face with a side of so many middle ones is looked at: shorter than that, a spike is a dent or a fold.
ASKED_RATIO = 3.0
# A fan that runs to a corner half again as far off as the fan is wide, where faces meet that do not: joined there.
JOINED_SLENDERNESS = 1.5
# One that runs to a corner where nothing else is, six times as far: nothing is moulded to such a point.
LONE_SLENDERNESS = 6.0
# One face that stands alone is a fin, cut off as such, or the corner of a sheet.
LEAST_LONE_FACES = 2


def cut_off_spikes(draft: Draft) -> Draft:
    """Take away every fan of faces that runs to a corner where it does not belong; its foot is then a hole."""
    tips = _tips(draft)
    if not tips.any():
        return draft
    face, fan, slenderness, is_alone = _fans_at(draft.mesh, tips)
    size = np.bincount(fan)
    lone = is_alone & (slenderness > LONE_SLENDERNESS) & (size >= LEAST_LONE_FACES)
    spike = lone | ~is_alone & (slenderness > JOINED_SLENDERNESS)
    faces, first = np.unique(face[spike[fan]], return_index=True)
    dropped = np.zeros(len(draft.mesh.faces), dtype=bool)
    dropped[faces] = True
    step = tell_faces("Cut off spikes", draft.mesh, faces, fan[spike[fan]][first])
    return draft.without(dropped).telling(step)


def longest_sides_mm(mesh: Mesh, faces: IntArray) -> Array:
    """Longest side of each of the faces."""
    return np.asarray(_sides_mm(mesh, faces).max(axis=1))


def usual_side_mm(mesh: Mesh) -> float:
    """Middle longest side, of ten thousand faces taken all over: all of a million take 0.3 s and say the same."""
    return float(np.median(longest_sides_mm(mesh, _taken_all_over(len(mesh.faces)))))


def _tips(draft: Draft) -> BoolArray:
    """Corners that a face far longer than the others runs to, (n,)."""
    mesh, areas = draft.mesh, draft.areas_mm2
    large = np.flatnonzero(areas > SPIKE_AREAS * np.median(areas[_taken_all_over(len(areas))]))
    tips = np.zeros(len(mesh.vertices_mm), dtype=bool)
    if len(large):
        sides = _sides_mm(mesh, large)
        long = sides.max(axis=1) > ASKED_RATIO * usual_side_mm(mesh)
        opposite = (sides[long].argmin(axis=1) + 2) % 3
        tips[mesh.faces[large[long], opposite]] = True
    return tips


def _fans_at(mesh: Mesh, tips: BoolArray) -> tuple[IntArray, IntArray, Array, BoolArray]:
    """Fans of faces at some corners, whichever way round the faces run and however many meet at an edge.

    A face (one for each of its tips) and the fan it is in; then for every fan how far it runs by how wide its foot is,
    and whether no other fan, or only others as slender, meets it at the tip.
    """
    face, side = np.nonzero(tips[mesh.faces])
    tip = mesh.faces[face, side]
    foot = mesh.faces[face[:, None], (side[:, None] + [1, 2]) % 3]
    keys, spoke = np.unique(tip[:, None] * len(tips) + foot, return_inverse=True)
    here = np.arange(len(face))
    spoke = len(face) + spoke.reshape(-1, 2)
    groups, label = components(len(face) + len(keys), np.r_[here, here], np.r_[spoke[:, 0], spoke[:, 1]])
    fan = label[: len(face)]
    low, high = boxes_of_groups(mesh.vertices_mm[foot], fan, groups)
    reach = np.full(groups, np.inf)
    np.minimum.at(reach, fan, np.linalg.norm(mesh.vertices_mm[foot] - mesh.vertices_mm[tip][:, None], axis=2).min(1))
    slenderness = reach / np.maximum(np.linalg.norm(high - low, axis=1), 1e-12)
    tip_of_fan = np.empty(groups, dtype=np.int64)
    tip_of_fan[fan] = tip
    blunt = np.bincount(tip_of_fan[slenderness <= JOINED_SLENDERNESS], minlength=len(tips)) > 0
    return face, fan, slenderness, np.asarray(~blunt[tip_of_fan])


def _sides_mm(mesh: Mesh, faces: IntArray) -> Array:
    """Length of the sides of some faces, (k, 3), side 0 from corner 0 to 1."""
    corners = mesh.vertices_mm[mesh.faces[faces]]
    return np.asarray(np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2))


def _taken_all_over(count: int) -> IntArray:
    return np.arange(0, count, 1 + count // 10_000)
