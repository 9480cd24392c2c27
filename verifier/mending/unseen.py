"""Where a solid was filled without having been seen: each place with its size, for the one who scans again."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from verifier.mending.edges import Edges, components, pair_edges
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Array, IntArray, Mesh, face_areas_mm2, face_normals, face_vectors_mm2, touching

# A square has a strip width of half its box's, a rectangle three times as long as wide 0.375; a seam around a part less
# than a tenth. Ragged rims are longer by a third.
WINDING_SHARE = 0.2
# Faces around a flat hole look as it does (1), around one over a right edge 0.71, around the cut end of a wall 0;
# around one in the wall of a bore, as wide as the radius, 0.93.
LEADS_ON = 0.8
# A tube's faces look every way: their sum is under this share of their area, as a hole's over an edge is not. A bore's
# look to its axis, all but the ragged ones at its ends.
LOOKS_EVERY_WAY, LOOKS_IN = 0.15, 0.9
# A winding strip with a place so many times as wide runs into a hole there; ragged ones vary by half.
WIDER = 2.0


@dataclass(frozen=True, slots=True)
class Unseen:
    """One stretch of surface that was filled.

    at_mm : (3,) its middle, in the export's own axes
    length_mm, width_mm : its size along and across; of a winding strip, how wide the strip is
    seen_from : (3,) unit vector towards where it is looked at square on
    over_an_edge : whether the surface around it leads elsewhere: an edge, a bore's mouth or the end of a wall is in it
    inside_a_bore : it is the wall of a bore between its two ends; as long as that, as wide as the bore
    """

    at_mm: Array
    length_mm: float
    width_mm: float
    area_mm2: float
    seen_from: Array
    over_an_edge: bool
    inside_a_bore: bool = False


def unseen_places(solid: Solid, at_least_mm: float = 0.0) -> tuple[Unseen, ...]:
    """Stretches of filled surface that hang together, the widest first; those narrower than so much left out."""
    filled = np.flatnonzero(solid.origin == Origin.FILLED)
    if len(filled) == 0:
        return ()
    part = Mesh(solid.mesh.vertices_mm, solid.mesh.faces[filled])
    edges = pair_edges(part.faces, len(part.vertices_mm))
    count, stretch = components(len(filled), edges.paired // 3, edges.twin[edges.paired] // 3)
    order = np.argsort(stretch, kind="stable")
    groups = np.split(order, np.cumsum(np.bincount(stretch, minlength=count))[:-1])
    areas = np.bincount(stretch, face_areas_mm2(part), count)
    # A stretch so wide has at least the area of a strip so wide and so long.
    worth = [group for group, area in zip(groups, areas, strict=True) if area >= 0.5 * at_least_mm**2]
    seen = _seen_beside(solid, part.faces)
    found = [_unseen(part, group, _rim(part, edges, group), seen) for group in worth]
    return tuple(sorted((one for one in found if one.width_mm >= at_least_mm), key=lambda one: -one.width_mm))


def _seen_beside(solid: Solid, filled: IntArray) -> IntArray:
    """The faces that were seen and have a corner on filled ones, (k, 3): of a million some thousand."""
    on_filled = np.zeros(len(solid.mesh.vertices_mm), dtype=bool)
    on_filled[filled] = True
    beside = touching(solid.mesh.faces, on_filled) & (solid.origin != Origin.FILLED)
    return np.asarray(solid.mesh.faces[beside])


def _rim(part: Mesh, edges: Edges, faces: IntArray) -> Array:
    """The rim of a stretch: its edges' ends, (q, 2, 3)."""
    half_edges = (3 * faces[:, None] + np.arange(3)).ravel()
    rim = half_edges[edges.twin[half_edges] < 0]
    return np.asarray(part.vertices_mm[np.column_stack([edges.start[rim], edges.ends_of(rim)])])


def _unseen(part: Mesh, faces: IntArray, rim_mm: Array, seen: IntArray) -> Unseen:
    """Size in the plane square to where the stretch looks.

    Twice area over rim is the width of a strip and half the width of a square or a disc: where it is far less than the
    box says, the stretch winds around, as a seam does, and is no hole as large as its box. But it may run into one:
    then its widest place alone is told.
    """
    piece = Mesh(part.vertices_mm, part.faces[faces])
    lining = _as_lining(piece)
    if lining is not None:
        return lining
    whole = _looked_at(part, piece, seen)
    strip_mm = 2.0 * whole.area_mm2 / max(float(np.linalg.norm(rim_mm[:, 1] - rim_mm[:, 0], axis=1).sum()), 1e-9)
    if strip_mm >= WINDING_SHARE * whole.width_mm:
        return whole
    middles = piece.corners_mm.mean(axis=1)
    off_rim, _ = cKDTree(rim_mm.mean(axis=1)).query(middles)
    widest_mm = 2.0 * float(off_rim.max())
    if widest_mm < WIDER * strip_mm:
        return replace(whole, width_mm=strip_mm)
    around = np.linalg.norm(middles - middles[off_rim.argmax()], axis=1) < widest_mm
    place = _looked_at(part, Mesh(part.vertices_mm, piece.faces[around]), seen)
    return replace(place, width_mm=min(widest_mm, place.width_mm), area_mm2=whole.area_mm2)


def _as_lining(piece: Mesh) -> Unseen | None:
    """A piece as the wall of a bore; None where it does not look to an axis from all around."""
    vectors = face_vectors_mm2(piece)
    areas = np.linalg.norm(vectors, axis=1)
    if np.linalg.norm(vectors.sum(axis=0)) > LOOKS_EVERY_WAY * areas.sum():
        return None
    normals = vectors / np.maximum(areas, 1e-12)[:, None]
    axis = np.linalg.eigh((normals * areas[:, None]).T @ normals)[1][:, 0]
    middles = piece.corners_mm.mean(axis=1)
    middle = np.average(middles, axis=0, weights=areas)
    looks_in = np.einsum("ij,ij->i", normals, middle - middles - ((middle - middles) @ axis)[:, None] * axis) > 0
    if areas[looks_in].sum() < LOOKS_IN * areas.sum():
        return None
    points = piece.vertices_mm[np.unique(piece.faces)]
    width_mm, _ = _narrowest_box_mm(points @ _square_to(axis).T)
    return Unseen(middle, float(np.ptp(points @ axis)), width_mm, float(areas.sum()), axis, False, inside_a_bore=True)


def _looked_at(part: Mesh, piece: Mesh, seen: IntArray) -> Unseen:
    """A piece with the narrowest box around it, as it is looked at square on."""
    points = part.vertices_mm[np.unique(piece.faces)]
    looking = face_vectors_mm2(piece).sum(axis=0)
    seen_from = looking / max(float(np.linalg.norm(looking)), 1e-12)
    width_mm, length_mm = _narrowest_box_mm((points - points.mean(axis=0)) @ _square_to(seen_from).T)
    over_an_edge = _share_looking(part, piece, seen, seen_from) < LEADS_ON
    area = float(face_areas_mm2(piece).sum())
    return Unseen(points.mean(axis=0), length_mm, width_mm, area, seen_from, over_an_edge)


def _share_looking(part: Mesh, piece: Mesh, seen: IntArray, direction: Array) -> float:
    """Mean cosine between a direction and the seen faces around a stretch; 1 where there are none."""
    on_piece = np.zeros(len(part.vertices_mm), dtype=bool)
    on_piece[piece.faces] = True
    around = seen[touching(seen, on_piece)]
    return float((face_normals(Mesh(part.vertices_mm, around)) @ direction).mean()) if len(around) else 1.0


def _square_to(direction: Array) -> Array:
    """Two unit vectors square to a direction and to each other, (2, 3)."""
    return np.asarray(np.linalg.svd(direction[None])[2][1:])


def _narrowest_box_mm(flat_mm: Array) -> tuple[float, float]:
    """Width and length of the narrowest box around points of a plane, (n, 2), its turn good to 5 degrees."""
    turns = np.radians(np.arange(0.0, 180.0, 5.0))
    spans = np.ptp(flat_mm @ np.array([np.cos(turns), np.sin(turns)]), axis=0)
    narrowest = int(spans.argmin())
    return float(spans[narrowest]), float(spans[(narrowest + len(turns) // 2) % len(turns)])
