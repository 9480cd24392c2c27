"""Surface that runs through itself: found exactly, cut out around the place, and filled."""

import igl.predicates
import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.fans import split_bow_ties
from verifier.mending.holes import fill_holes
from verifier.mending.loops import cut_knotted_loops
from verifier.mending.meeting_boxes import may_meet_any
from verifier.mending.one_layer import may_cross
from verifier.mending.penetration import run_through_each_other
from verifier.mending.pieces import remove_debris_and_fins
from verifier.mending.solid import Origin
from verifier.mending.spikes import SPIKE_RATIO, longest_sides_mm, usual_side_mm
from verifier.mending.telling import boxes_of_groups, tell_faces
from verifier.mesh import BoolArray, IntArray, Mesh

# A fold is cut and filled, again with one more ring of faces where something still crosses. Folds of the simulated
# scans are gone after one or two. Wide holes are filled worse than narrow ones: what crosses there is cut out narrowly
# again. What crosses after all of that is left as it is and told.
ROUNDS = 4
RINGS = (*range(1, ROUNDS + 1), *range(1, ROUNDS + 1))
# That is worth its time where no more than this share of the faces that crossed at first is left to be cut out.
FEW_SHARE = 0.1
# In so many of them a measured face that is crossed by an invented one alone is spared: the invented one was wrong.
SPARING_ROUNDS = 2
# More than this share of the faces crossing is no fold but two surfaces through each other, as from two passes that
# were not aligned. Cutting that out would leave a hole where the part is.
CROSSING_SHARE = 0.05
# Along a line where two surfaces cross, every side of a triangle makes about so many pairs; fewer pairs than the second
# figure are no such line.
PAIRS_A_SIDE = 3.0
LEAST_BETWEEN = 50
# With more than this share of the faces crossing there is no surface to speak of.
HOPELESS_SHARE = 0.25
# Passes that are not aligned show surface through surface: in four of ten crossings both faces were seen. Where in more
# than this share one was invented, too little was seen instead.
OF_FILLED = 0.9
# What is told of the holes filled where they were cut out.
FILLED_CROSSING = "Filled where the surface crossed itself"
# What is told of faces that still cross after all rounds.
LEFT_CROSSING = "Left faces that cross each other"


class RunsThroughItself(Exception):
    """The surface crosses itself beyond mending; the message says how.

    of_filled : whether it is what was filled that crosses, and hardly anything that was seen
    """

    def __init__(self, message: str, *, of_filled: bool) -> None:
        super().__init__(message)
        self.of_filled = of_filled


def mend_crossings(draft: Draft, *, among: BoolArray | None = None, keep_longest: bool = False) -> Draft:
    """Cut out the faces that cross others, with the ring around them, and fill; look again near what is new.

    among : (m,) the faces that are looked at in the beginning, all when left out
    keep_longest : leave the longest open loop open
    Crossings that are left are told. Raises RunsThroughItself when they are too many to be folds.
    """
    draft = draft.untelling(LEFT_CROSSING)
    pairs = _crossing_anywhere(draft) if among is None else _crossing_among(draft.mesh, np.flatnonzero(among))
    if len(pairs) == 0:
        return draft
    _refuse_two_bodies(draft, pairs)
    crossed_at_first = len(np.unique(pairs))
    for tried, ring in enumerate(RINGS):
        hit = _culprits(draft, pairs, sparing=ring <= SPARING_ROUNDS)
        if len(hit) == 0 or len(hit) > CROSSING_SHARE * len(draft.mesh.faces):
            break
        if tried == ROUNDS and len(hit) > FEW_SHARE * crossed_at_first:
            break
        first_new = len(draft.mesh.vertices_mm)
        draft = _cut_out(draft, hit, ring, sparing=ring <= SPARING_ROUNDS)
        first_new_face = len(draft.mesh.faces)
        draft = fill_holes(draft, FILLED_CROSSING, fair=ring < ROUNDS, keep_longest=keep_longest)
        pairs = _crossing_any(draft.mesh, _fresh(draft, first_new, first_new_face))
    _refuse_two_surfaces(draft, pairs)
    left = np.unique(pairs)
    return draft.telling(tell_faces(LEFT_CROSSING, draft.mesh, left)) if len(left) else draft


def crossing_pairs(mesh: Mesh) -> IntArray:
    """Pairs of faces that run through each other, (k, 2): found by exact predicates, touching ones left out."""
    found, pairs, _ = igl.predicates.find_self_intersections(mesh.vertices_mm, mesh.faces)
    if not found:
        return np.empty((0, 2), dtype=np.int64)
    return np.asarray(pairs[run_through_each_other(mesh, pairs)], dtype=np.int64)


def crossing_near(mesh: Mesh, fresh: BoolArray, *, closely: bool = False) -> IntArray:
    """Crossing pairs, (k, 2), among the fresh faces and all whose box comes near theirs.

    closely : no more than finds every pair that a fresh face has; pairs of others around are left out
    """
    return _crossing_among(mesh, np.flatnonzero(may_meet_any(mesh, fresh, closely=closely)))


def _crossing_any(mesh: Mesh, fresh: BoolArray) -> IntArray:
    """Crossing pairs, (k, 2), that have a fresh face.

    The others around were not among those looked at: where scatter folds small faces over, each round would find more
    of them beside what it cut out, and cut them out with ever wider rings.
    """
    pairs = crossing_near(mesh, fresh, closely=True)
    return pairs[fresh[pairs].any(axis=1)]


def _culprits(draft: Draft, pairs: IntArray, *, sparing: bool) -> IntArray:
    """The faces to cut out: both of a pair, but one alone where only that one is a spike or, sparing, was invented."""
    mesh = draft.mesh
    blamed = longest_sides_mm(mesh, pairs.ravel()).reshape(pairs.shape) > SPIKE_RATIO * usual_side_mm(mesh)
    if sparing:
        blamed = np.where(blamed.any(axis=1, keepdims=True), blamed, draft.origin[pairs] > Origin.MEASURED)
    return np.unique(pairs[blamed | ~blamed.any(axis=1, keepdims=True)])


def _refuse_two_bodies(draft: Draft, pairs: IntArray) -> None:
    """Raise RunsThroughItself where separate surfaces cross along more than the smaller one's length.

    Asked first: cutting out and filling along such a line takes far longer than all the rest, and mends nothing.
    """
    count, piece = draft.pieces
    between = pairs[piece[pairs[:, 0]] != piece[pairs[:, 1]]]
    if len(between) < LEAST_BETWEEN:
        return
    small = np.bincount(piece[between].ravel(), minlength=count)
    low, high = boxes_of_groups(draft.mesh.corners_mm, piece, count)
    smallest_mm = float(np.linalg.norm(high - low, axis=1)[small > 0].min())
    if len(between) / PAIRS_A_SIDE * usual_side_mm(draft.mesh) > smallest_mm:
        raise _between(draft, between)


def _refuse_two_surfaces(draft: Draft, pairs: IntArray) -> None:
    _, piece = draft.pieces
    between = pairs[piece[pairs[:, 0]] != piece[pairs[:, 1]]]
    if len(between):
        raise _between(draft, between)
    share = len(np.unique(pairs)) / len(draft.mesh.faces)
    if share > HOPELESS_SHARE:
        raise RunsThroughItself(
            f"{100 * share:.0f} % of the faces cross other faces", of_filled=_of_filled(draft, pairs)
        )


def _between(draft: Draft, pairs: IntArray) -> RunsThroughItself:
    if _of_filled(draft, pairs):
        said = f"what had to be filled runs through other surfaces in {len(pairs)} places: too little of it was seen"
        return RunsThroughItself(said, of_filled=True)
    return RunsThroughItself(f"separate surfaces run through each other in {len(pairs)} places", of_filled=False)


def _of_filled(draft: Draft, pairs: IntArray) -> bool:
    """Whether what was seen hardly crosses what was seen."""
    return bool((draft.origin[pairs] > Origin.MEASURED).any(axis=1).mean() > OF_FILLED)


def _cut_out(draft: Draft, hit: IntArray, rings: int, *, sparing: bool) -> Draft:
    """The draft less some faces and the rings around them; sparing, the rings of invented faces stay among those."""
    invented = draft.origin > Origin.MEASURED
    seen = hit[~invented[hit]] if sparing else hit
    dropped = with_rings(draft.mesh, seen, rings)
    if len(seen) < len(hit):
        dropped |= with_rings(draft.mesh, hit, rings) & invented
    step = tell_faces("Cut out faces that crossed each other", draft.mesh, hit)
    cut = remove_debris_and_fins(draft.without(dropped).telling(step))
    return cut_knotted_loops(split_bow_ties(cut, after_cut=True))


def with_rings(mesh: Mesh, chosen: IntArray, rings: int) -> BoolArray:
    """The chosen faces and so many rings around them, (m,); long faces are no ring, but half of a flat."""
    taken = np.zeros(len(mesh.faces), dtype=bool)
    taken[chosen] = True
    longest_mm = SPIKE_RATIO * usual_side_mm(mesh)
    for _ in range(rings):
        corners = np.zeros(len(mesh.vertices_mm), dtype=bool)
        corners[mesh.faces[taken]] = True
        a, b, c = (np.take(corners, mesh.faces[:, k]) for k in range(3))
        around = np.flatnonzero((a | b | c) & ~taken)
        taken[around[longest_sides_mm(mesh, around) < longest_mm]] = True
    return taken


def _fresh(draft: Draft, first_new_corner: int, first_new_face: int) -> BoolArray:
    """Faces made in this round, and those that got a new corner; all others were looked at in an earlier one."""
    a, b, c = (draft.mesh.faces[:, k] >= first_new_corner for k in range(3))
    fresh: BoolArray = np.asarray(a | b | c)
    fresh[first_new_face:] = True
    return fresh


def _crossing_anywhere(draft: Draft) -> IntArray:
    """Crossing pairs of the whole surface; of a closed one only the faces that are not in one layer are tried."""
    if not draft.edges.is_clean():
        return crossing_pairs(draft.mesh)
    return _crossing_among(draft.mesh, np.flatnonzero(may_cross(draft.mesh)))


def _crossing_among(mesh: Mesh, faces: IntArray) -> IntArray:
    """Crossing pairs among some faces."""
    return faces[crossing_pairs(Mesh(mesh.vertices_mm, mesh.faces[faces]))]
