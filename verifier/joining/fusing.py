"""Several posed scans made one surface: every place from the scan that saw it best, joined along narrow seams.

first   ____________                          ____________
                ________________     ->                   ~~________    in the seam's band brought together by
second          overlap                                  seam           fractions of the step, elsewhere bit for bit
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from verifier.joining.abreast import abreast
from verifier.joining.laid_together import placed
from verifier.joining.layer import Layer, layers_of
from verifier.joining.owning import Lead, leads_of
from verifier.joining.posed import SEAM, Fused, Posed
from verifier.joining.seam import seam_of
from verifier.mending.clipping import clipped
from verifier.mending.draft import Draft
from verifier.mending.fans import split_bow_ties
from verifier.mending.holes import fill_loops
from verifier.mending.loops import open_loops
from verifier.mending.solid import Origin
from verifier.mending.strips import zip_owned
from verifier.mesh import Array, BoolArray, IntArray, Mesh, drop_unused_vertices, extents_mm

# Two scans of one surface are looked for within this share of the part's length, and within these lengths: a join is
# allowed to be off by 1 mm on 1.2 m, at either scan, and small parts have steps of a millimetre.
REACH_SHARE, LEAST_REACH_MM, MOST_REACH_MM = 1 / 400, 0.5, 2.5
# Both scans end so many spacings short of the seam, and a strip of faces joins them: nearer, the strip would be thinner
# than the scans' own scatter, and further, surface would be lost.
SHORT_SPACINGS = 0.4
# The seam's band reaches so many spacings to either side, or so many steps, so that no slope of it shows.
BAND_SPACINGS, BAND_STEPS = 2.0, 4.0
# A cut keeps off corners by this many spacings.
OFF_CORNERS = 0.1
# What lies further apart than this many spacings is no seam but a hole.
STRIP_SPACINGS = 3.0
# Between strips there stay holes of at most so many edges where three scans meet.
MOST_LEFT_OPEN = 24


@dataclass(frozen=True, slots=True)
class Piece:
    """What is left of a patch: its draft, corners that were not moved or made at the seam, and its borders' spacing."""

    draft: Draft
    own: BoolArray


def fuse(posed: Sequence[Posed]) -> Fused:
    """One mesh of several posed scans.

    Corners outside the seams' bands keep every bit of their placed coordinates.
    """
    if len(posed) == 1:
        mesh = placed(posed[0])
        return Fused(mesh, np.zeros(len(mesh.faces), dtype=np.int16))
    layers = layers_of(posed, reach_mm(posed))
    leads = leads_of(layers, reach_mm(posed))
    pieces = abreast(lambda k: _piece(k, layers, leads), range(len(layers)))
    return _assembled(layers, pieces, leads)


def reach_mm(posed: Sequence[Posed]) -> float:
    """How far apart two scans of one surface may lie."""
    length = max(float(np.linalg.norm(extents_mm(each.scan.mesh))) * each.scale for each in posed)
    return float(np.clip(REACH_SHARE * length, LEAST_REACH_MM, MOST_REACH_MM))


def _piece(k: int, layers: Sequence[Layer], leads: Sequence[Lead]) -> Piece:
    """A patch less what other scans saw better, brought to the mean with them towards the seam."""
    layer, lead = layers[k], leads[k]
    spacing = layer.spacings_mm
    shift = _towards_rival(k, layers, lead)
    still: BoolArray = np.asarray((shift == 0.0).all(axis=1))
    at = np.where(still[:, None], layer.patch.vertices_mm, layer.patch.vertices_mm + shift)
    height = lead.lead_mm - SHORT_SPACINGS * spacing
    height = np.where(height < 0.0, -1.0, 1.0) * np.maximum(np.abs(height), OFF_CORNERS * spacing)
    draft = Draft(Mesh(at, layer.patch.faces), np.full(len(layer.near), Origin.MEASURED, dtype=np.uint8))
    left = clipped(draft, height)
    own = np.zeros(len(left.mesh.vertices_mm), dtype=bool)
    own[: len(at)] = still
    return Piece(left, own)


def _towards_rival(k: int, layers: Sequence[Layer], lead: Lead) -> Array:
    """How far every corner of a patch is moved across the surface, (q, 3): to the weighted mean at the seam."""
    layer = layers[k]
    scatter = np.array([_scatter_mm(each) for each in layers])
    seen = lead.rival >= 0
    off = np.where(seen[:, None], lead.foot_mm - layer.patch.vertices_mm, 0.0)
    across = np.einsum("qx,qx->q", off, layer.normals)
    share = scatter[k] ** 2 / (scatter[k] ** 2 + scatter[np.maximum(lead.rival, 0)] ** 2)
    step_mm = float(np.median(np.abs(across[seen]))) if seen.any() else 0.0
    band = np.minimum(np.maximum(BAND_SPACINGS * layer.spacings_mm, BAND_STEPS * step_mm), 0.9 * lead.half_mm)
    t = np.clip(np.abs(lead.lead_mm) / np.maximum(band, 1e-9), 0.0, 1.0)
    weight = np.where(seen, share * (1.0 - t * t * (3.0 - 2.0 * t)), 0.0)
    return np.asarray((weight * across)[:, None] * layer.normals)


def _scatter_mm(layer: Layer) -> float:
    """Scatter of the corners across the surface, told from their neighbours."""
    points = layer.patch.vertices_mm
    if len(points) == 0:
        return 1.0
    off = np.einsum("qx,qx->q", points - layer.evened(points, 1), layer.normals)
    return max(1.4826 * float(np.median(np.abs(off - np.median(off)))), 1e-6)


def _assembled(layers: Sequence[Layer], pieces: Sequence[Piece], leads: Sequence[Lead]) -> Fused:
    """The pieces joined by strips, and the rest of every scan."""
    firsts = np.cumsum([0, *(len(piece.draft.mesh.vertices_mm) for piece in pieces)])
    joint = Mesh(
        np.concatenate([piece.draft.mesh.vertices_mm for piece in pieces]),
        np.concatenate([piece.draft.mesh.faces + first for piece, first in zip(pieces, firsts, strict=False)]),
    )
    owner = np.repeat(np.arange(len(pieces)), [len(piece.draft.mesh.faces) for piece in pieces])
    draft = split_bow_ties(Draft(joint, np.zeros(len(owner), dtype=np.uint8)))
    width_mm = _strip_reach_mm(layers, leads)
    copies_mm = draft.mesh.vertices_mm[len(joint.vertices_mm) :]
    own = np.concatenate([*(piece.own for piece in pieces), np.zeros(len(copies_mm), dtype=bool)])
    zipped = _closed_at_seams(zip_owned(draft, owner, width_mm), own, width_mm)
    source = np.full(len(zipped.mesh.faces), SEAM, dtype=np.int16)
    source[: len(owner)] = np.where(own[draft.mesh.faces].all(axis=1), owner, SEAM)
    made_mm = zipped.mesh.vertices_mm[len(joint.vertices_mm) :]
    number, vertices = _numbered(layers, pieces, made_mm)
    rest = [_rest(layer) for layer in layers]
    offsets = np.cumsum([0, *(len(layer.mesh.vertices_mm) for layer in layers)])
    faces = [each + offset for each, offset in zip(rest, offsets, strict=False)]
    sources = np.repeat(np.arange(len(rest), dtype=np.int16), [len(each) for each in rest])
    mesh = drop_unused_vertices(Mesh(vertices, np.concatenate([*faces, number[zipped.mesh.faces]])))
    seam = seam_of(layers, leads, zipped, len(owner))
    return Fused(mesh, np.concatenate([sources, source]), seam)


def _closed_at_seams(draft: Draft, own: BoolArray, width_mm: float) -> Draft:
    """The draft with the small holes filled that strips left between themselves, where three scans meet."""
    start = draft.edges.start
    loops = [
        loop
        for loop in open_loops(draft.edges)
        if len(loop) <= MOST_LEFT_OPEN
        and not own[start[loop]].any()
        and len(np.unique(start[loop])) == len(loop)
        and float(np.ptp(draft.mesh.vertices_mm[start[loop]], axis=0).max()) < 2.0 * width_mm
    ]
    return fill_loops(draft, loops, "Closed between seams")


def _rest(layer: Layer) -> IntArray:
    """Faces of the scan outside the patch."""
    outside = np.ones(len(layer.mesh.faces), dtype=bool)
    outside[layer.near] = False
    return layer.mesh.faces[outside]


def _numbered(layers: Sequence[Layer], pieces: Sequence[Piece], made_mm: Array) -> tuple[IntArray, Array]:
    """Numbers of the pieces' corners among all corners, and these: every scan's own in order, cuts, what was made."""
    total = sum(len(layer.mesh.vertices_mm) for layer in layers)
    numbers, vertices, cuts, first = [], [], [], 0
    for layer, piece in zip(layers, pieces, strict=True):
        patch, made = len(layer.corners), len(piece.draft.mesh.vertices_mm) - len(layer.corners)
        numbers += [first + layer.corners, total + np.arange(made)]
        at = layer.mesh.vertices_mm.copy()
        at[layer.corners] = piece.draft.mesh.vertices_mm[:patch]
        vertices.append(at)
        cuts.append(piece.draft.mesh.vertices_mm[patch:])
        first, total = first + len(at), total + made
    numbers.append(total + np.arange(len(made_mm)))
    return np.concatenate(numbers), np.concatenate([*vertices, *cuts, made_mm])


def _strip_reach_mm(layers: Sequence[Layer], leads: Sequence[Lead]) -> float:
    """How wide a strip may be: spacings where the seams run."""
    at_seam = [
        layer.spacings_mm[(lead.rival >= 0) & (np.abs(lead.lead_mm) < 2.0 * layer.spacings_mm)]
        for layer, lead in zip(layers, leads, strict=True)
    ]
    spacings = np.concatenate(at_seam)
    return STRIP_SPACINGS * float(np.quantile(spacings, 0.95)) if len(spacings) else 0.0
