"""Which way up a part is printed: the largest flat that carries it, or the side the sheet wants upright."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from verifier.finding.feature import Features, Plane
from verifier.mending.solid import Solid
from verifier.mesh import Array, Mesh, face_vectors_mm2
from verifier.rulebook.sheet import Sheet

# Corners this close to the lowest one lie on the bed. A scan's flat is uneven by 0.1 to 0.2 mm (three or four times its
# scatter), and a first layer is about 0.2 mm high.
TOUCHES_WITHIN_MM = 0.25

# A part whose mass lies nearer to the edge of its support than this share of its height is knocked over by the nozzle:
# 0.1 is a tilt of six degrees. Common practice, no source.
LEAST_MARGIN_OF_HEIGHT = 0.1

# Faces that lean further over than 45 degrees want a support. Common practice, no source.
OVERHANG_COSINE = -np.cos(np.radians(45.0))


@dataclass(frozen=True, slots=True)
class Resting:
    """How a part stands.

    turn : (3, 3) rows are the bed's x, y and up in the frame of the scan: standing = points @ turn.T
    rests_on : completes 'rests on …'
    notes : what to know about it, sentences
    """

    turn: Array
    rests_on: str
    notes: tuple[str, ...] = ()


def choose_resting(copy: Solid, features: Features, sheet: Sheet) -> Resting:
    """Choose the way up: as the sheet says, else on the largest flat that carries the part, else on its hull's."""
    mesh = copy.mesh
    middle_mm = centre_of_mass_mm(mesh)
    if sheet.upright is not None:
        return _upright(mesh, middle_mm, features, sheet.upright)
    by_area = sorted(features.planes, key=lambda plane: -plane.area_mm2)
    for plane in by_area:
        if carries(mesh, middle_mm, -plane.normal):
            return _standing(mesh, -plane.normal, plane.name)
    up = _up_of_hull(mesh, middle_mm)
    return _standing(mesh, up, "its own corners", ("No flat face carries the part: print it with supports or a raft.",))


def carries(mesh: Mesh, middle_mm: Array, up: Array) -> bool:
    """Whether a part set down with this direction up stays standing.

    The centre of mass has to lie over the hull of what touches the bed, inside its edge by a share of its height.
    """
    heights = mesh.vertices_mm @ up
    touching = mesh.vertices_mm[heights <= heights.min() + TOUCHES_WITHIN_MM]
    across = _across(up)
    inside_mm = _inside_hull_mm(touching @ across.T, across @ middle_mm)
    return inside_mm >= LEAST_MARGIN_OF_HEIGHT * (float(middle_mm @ up) - float(heights.min()))


def centre_of_mass_mm(mesh: Mesh) -> Array:
    """Centre of mass of the solid inside a closed mesh, (3,), from the tetrahedra between its middle and each face."""
    about = mesh.vertices_mm.mean(axis=0)
    a, b, c = (mesh.vertices_mm[mesh.faces[:, k]] - about for k in range(3))
    volumes = np.einsum("ij,ij->i", a, np.cross(b, c))
    return np.asarray(about + volumes @ (a + b + c) / (4.0 * volumes.sum()))


def _upright(mesh: Mesh, middle_mm: Array, features: Features, name: str) -> Resting:
    """The named overall size along the build direction, on the end with the larger flat."""
    up = _direction_of(name, mesh, features)
    best = max((up, -up), key=lambda way: _flat_under(features.planes, way))
    flat = _widest_flat(features.planes, best)
    told = () if carries(mesh, middle_mm, best) else (f"Standing with its {name} upright it tips over: use a brim.",)
    return _standing(mesh, best, f"its end, {name} upright" if flat is None else f"{flat.name}, {name} upright", told)


def _direction_of(name: str, mesh: Mesh, features: Features) -> Array:
    """Of an overall size: as it was found, else by the scatter of the corners, which is longest along the length."""
    for extent in features.extents:
        if extent.name == name:
            return extent.direction
    centred = mesh.vertices_mm - mesh.vertices_mm.mean(axis=0)
    longest_first = np.linalg.eigh(centred.T @ centred)[1].T[::-1]
    return np.asarray(longest_first[("length", "width", "height").index(name)])


def _facing_down(planes: Iterable[Plane], up: Array) -> list[Plane]:
    return [plane for plane in planes if float(plane.normal @ up) < -0.99]


def _flat_under(planes: Sequence[Plane], up: Array) -> float:
    return sum(plane.area_mm2 for plane in _facing_down(planes, up))


def _widest_flat(planes: Sequence[Plane], up: Array) -> Plane | None:
    return max(_facing_down(planes, up), key=lambda plane: plane.area_mm2, default=None)


def _up_of_hull(mesh: Mesh, middle_mm: Array) -> Array:
    """Up for the facet of the convex hull over which the part stands with its centre of mass lowest."""
    hull = ConvexHull(mesh.vertices_mm)
    ways = np.unique(np.round(hull.equations, 3), axis=0)
    depths = -(ways[:, :3] @ middle_mm + ways[:, 3])
    # The lowest centre of mass is always over its facet, or the part would roll on to a lower one.
    normal = ways[np.argmin(depths), :3]
    return np.asarray(-normal / np.linalg.norm(normal))


def _standing(mesh: Mesh, up: Array, rests_on: str, notes: tuple[str, ...] = ()) -> Resting:
    turn = turned_to(mesh, up / np.linalg.norm(up))
    return Resting(turn, rests_on, (*notes, *_overhang_note(mesh, turn[2])))


def turned_to(mesh: Mesh, up: Array) -> Array:
    """Axes with this direction up, x along the longer side of the smallest rectangle round the part's shadow."""
    across = _across(up)
    shadow = mesh.vertices_mm @ across.T
    corners = shadow[ConvexHull(shadow).vertices]
    sides = np.roll(corners, -1, axis=0) - corners
    angles = np.arctan2(sides[:, 1], sides[:, 0]) % (np.pi / 2.0)
    ways = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    long = np.ptp(corners @ ways.T, axis=0)
    wide = np.ptp(corners @ np.stack([-ways[:, 1], ways[:, 0]]), axis=0)
    best = int(np.argmin(long * wide))
    along = ways[best] if long[best] >= wide[best] else np.array([-ways[best, 1], ways[best, 0]])
    x = along @ across
    return np.stack([x, np.cross(up, x), up])


def _across(up: Array) -> Array:
    """Two unit directions square to a third, (2, 3); right-handed with it."""
    start = np.eye(3)[np.argmin(np.abs(up))]
    x = np.cross(start, up)
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(up, x)])


def _inside_hull_mm(points_mm: Array, at_mm: Array) -> float:
    """How far a point lies inside the hull of others in a plane; negative outside, and where there is no hull."""
    try:
        hull = ConvexHull(points_mm)
    except QhullError:
        return -np.inf
    return -float(np.max(hull.equations[:, :2] @ at_mm + hull.equations[:, 2]))


def _overhang_note(mesh: Mesh, up: Array) -> tuple[str, ...]:
    heights = mesh.vertices_mm @ up
    on_bed = (heights <= heights.min() + TOUCHES_WITHIN_MM)[mesh.faces].all(axis=1)
    vectors = face_vectors_mm2(mesh)[~on_bed]
    doubled = np.linalg.norm(vectors, axis=1)
    area_mm2 = 0.5 * float(doubled[vectors @ up < OVERHANG_COSINE * doubled].sum())
    if area_mm2 < 1.0:
        return ()
    return (f"About {area_mm2:.0f} mm² hang over by more than 45 degrees and want supports.",)
