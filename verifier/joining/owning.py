"""Which of the scans that saw a place it is taken from: the one that saw it better.

how well seen    \\          /      a scan sees well far from its own rim, where its points are dense, and where it
                  \\        /       looks the way it was held; where two are level, in the middle of the overlap, is
                   \\      /        the seam
                    \\____/_
                  first  second
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from verifier.joining.abreast import abreast
from verifier.joining.feet import Feet, feet_on
from verifier.joining.layer import ROUNDS, Layer
from verifier.mending.edges import components
from verifier.mesh import Array, BoolArray, IntArray, crossed, touching, within

# How much a face that looks the way the scan was held is better seen than one that looks across.
FACING = 0.5
# Two scans with one rim see everything about equally well: the one with more surface is then preferred by so much, and
# the part is not cut to shreds.
PREFERRED = 0.15
# An island between seams that is smaller than this many faces goes to the scan around it.
LEAST_ISLAND = 40
# Leads are averaged with their neighbours' so often: they rest on the nearest corner of a rim, which is ragged.
LEAD_ROUNDS = 3
# A lead without a rival, in spacings: more than a seam's band.
ALONE_SPACINGS = 8.0
# Slope of the lead across a seam: 2 where both rims are parallel, less where they are not.
SLOPES = (0.3, 2.5)


@dataclass(frozen=True, slots=True)
class Lead:
    """How far every corner of a patch lies on its own scan's side of the seam.

    lead_mm : (q,) about the distance to the seam; below nought another scan has the place
    rival : (q,) the scan that comes next; -1 where no other saw it
    foot_mm : (q, 3) where the corner lies on that scan
    half_mm : (q,) how far the seam's band may reach: half-way to the nearer rim
    """

    lead_mm: Array
    rival: IntArray
    foot_mm: Array
    half_mm: Array


def leads_of(layers: Sequence[Layer], reach_mm: float) -> list[Lead]:
    """Weigh every patch against the others."""
    numbers = range(len(layers))

    def feet_of(i: int) -> list[Feet | None]:
        return [None if i == j else feet_on(layers[i], other, reach_mm) for j, other in enumerate(layers)]

    feet, seen = abreast(feet_of, numbers), _how_well_seen(layers)
    for _ in range(2):
        leads = abreast(partial(_lead, layers=layers, feet=feet, seen=seen), numbers)
        islands = abreast(lambda both: _islands(*both), zip(layers, leads, strict=True))
        if not any(island.any() for island in islands):
            break
        seen = [np.where(island, -1.0, well) for island, well in zip(islands, seen, strict=True)]
    return leads


def _how_well_seen(layers: Sequence[Layer]) -> list[Array]:
    """How well every corner was seen, in millimetres from its scan's rim as they would count at the middle spacing."""
    spacings = abreast(lambda layer: layer.spacings_mm, layers)
    abreast(lambda layer: layer.rim_away_mm, layers)  # each keeps its own
    middle_mm = float(np.median(np.concatenate(spacings))) if any(map(len, spacings)) else 1.0
    order = np.argsort([-len(layer.mesh.faces) for layer in layers], kind="stable")
    rank = np.argsort(order)
    return [
        layer.rim_away_mm
        * (1.0 + FACING * layer.normals @ layer.way)
        * np.clip(np.sqrt(middle_mm / np.maximum(spacing, 1e-9)), 0.5, 2.0)
        * (1.0 + PREFERRED * (len(layers) - 1 - int(rank[k])) / max(1, len(layers) - 1))
        for k, (layer, spacing) in enumerate(zip(layers, spacings, strict=True))
    ]


def _lead(i: int, layers: Sequence[Layer], feet: Sequence[Sequence[Feet | None]], seen: Sequence[Array]) -> Lead:
    layer = layers[i]
    count = len(layer.corners)
    best, rival = np.full(count, -np.inf), np.full(count, -1)
    foot, other_rim = layer.patch.vertices_mm.copy(), np.zeros(count)
    for j, each in enumerate(feet[i]):
        if each is None or not len(layers[j].patch.faces):
            continue
        faces = layers[j].patch.faces
        well = np.where(each.found, each.of(seen[j], faces), -np.inf)
        better = well > best
        best, rival = np.where(better, well, best), np.where(better, j, rival)
        foot = np.where(better[:, None], each.foot_mm, foot)
        other_rim = np.where(better, each.of(layers[j].rim_away_mm, faces), other_rim)
    rivalled: BoolArray = np.asarray(rival >= 0)
    raw = layer.evened_among(rivalled, np.where(rivalled, seen[i] - best, 0.0), LEAD_ROUNDS)
    lead = np.where(rivalled, raw / _slope(layer, raw, rivalled), ALONE_SPACINGS * layer.spacings_mm)
    return Lead(lead, rival, foot, 0.5 * (layer.rim_away_mm + other_rim))


def _slope(layer: Layer, values: Array, chosen: BoolArray) -> Array:
    """How fast a figure of the corners changes along the surface, among some of them, evened, (q,)."""
    whole = within(layer.patch.faces, chosen)
    faces, normal = layer.patch.faces[whole], layer.vectors_mm2[whole]
    a, b, c = (layer.patch.vertices_mm[faces[:, k]] for k in range(3))
    square = np.maximum(np.einsum("mx,mx->m", normal, normal), 1e-300)[:, None]
    sides = (c - b, a - c, b - a)
    across = np.sum([values[faces[:, k], None] * crossed(normal, side) for k, side in enumerate(sides)], axis=0)
    steep = np.minimum(np.linalg.norm(across / square, axis=1), 2.0 * SLOPES[1])
    count = np.bincount(faces.ravel(), minlength=len(values))
    mean = np.bincount(faces.ravel(), np.repeat(steep, 3), len(values)) / np.maximum(count, 1)
    return np.clip(layer.evened_among(np.asarray(count > 0), mean, ROUNDS), *SLOPES)


def _islands(layer: Layer, lead: Lead) -> BoolArray:
    """Corners of small pieces that the seams would leave of a scan, (q,)."""
    ahead = lead.lead_mm > 0.0
    faces = layer.patch.faces
    whole: BoolArray = ~touching(faces, ~ahead)
    low = layer.edges.paired
    left, right = low // 3, layer.edges.twin[low] // 3
    both = whole[left] & whole[right]
    _, piece = components(len(faces), left[both], right[both])
    size = np.bincount(piece[whole], minlength=piece.max(initial=0) + 1)
    # What runs on past the patch is no island.
    ends = np.unique(piece[whole & touching(faces, ~layer.inner)])
    large = size >= LEAST_ISLAND
    large[ends] = True
    kept = np.zeros(len(ahead), dtype=bool)
    kept[faces[whole & large[piece]]] = True
    return np.asarray(ahead & ~kept & (lead.rival >= 0))
