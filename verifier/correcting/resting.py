"""Which way up a part is printed: by supports, height, footprint, bed, bores and load, or as the sheet says."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from verifier.correcting.turning import TOUCHES_WITHIN_MM, across, turned_to
from verifier.correcting.way_up import LOAD_RISES_MOST_DEG, WayUp, ways_up, why_this_way
from verifier.finding.feature import Features, Plane
from verifier.mending.solid import Solid
from verifier.mesh import Array, Mesh, centre_of_mass_mm
from verifier.rulebook.rules import Printer
from verifier.rulebook.sheet import Sheet

# A part whose mass lies nearer to the edge of its support than this share of its height is knocked over by the nozzle:
# 0.1 is a tilt of six degrees. Common practice, no source.
LEAST_MARGIN_OF_HEIGHT = 0.1

# So many flat faces are tried, largest first.
TRIED_MOST = 12
LAYERS_PART = "The load pulls the layers off each other this way up: print it lying, or with more outlines and care."


@dataclass(frozen=True, slots=True)
class Resting:
    """How a part stands.

    turn : (3, 3) rows are the bed's x, y and up in the frame of the scan: standing = points @ turn.T
    rests_on : completes 'rests on …'
    notes : what to know about it, sentences
    why : why this way up and no other, a sentence
    """

    turn: Array
    rests_on: str
    notes: tuple[str, ...] = ()
    why: str = ""


def choose_resting(
    copy: Solid, features: Features, sheet: Sheet, printer: Printer | None = None, load: Array | None = None
) -> Resting:
    """Choose the way up: as the sheet says, else the best of the flats that carry the part, else on its hull's.

    printer : for its bed and how far faces may lean out; None takes 45 degrees and any bed
    load : (3,) unit, the direction in which the part is pulled or bent; its layers must not part under it
    """
    mesh = copy.mesh
    middle_mm = centre_of_mass_mm(mesh)
    if sheet.upright is not None:
        return _with_load_told(_upright(mesh, middle_mm, features, sheet.upright), load)
    by_area = sorted(features.planes, key=lambda plane: -plane.area_mm2)
    if sheet.rests_on is not None:
        return _with_load_told(_on_named(mesh, middle_mm, by_area, sheet.rests_on), load)
    able = [plane for plane in by_area[:TRIED_MOST] if carries(mesh, middle_mm, -plane.normal)]
    if able:
        ways = sorted(ways_up(mesh, features, able, printer, load), key=lambda way: way.order)
        best = ways[0].plane
        why = why_this_way(ways, reshaped=bool(sheet.reshape))
        return _standing(mesh, -best.normal, best.name, _load_notes(ways[0]), why)
    up = _up_of_hull(mesh, middle_mm)
    told = ("No flat face carries the part: print it with supports or a raft.",)
    return _standing(mesh, up, "its own corners", told, "No other way up is stable.")


def _on_named(mesh: Mesh, middle_mm: Array, planes: Sequence[Plane], name: str) -> Resting:
    """On the flat the sheet names; a name that no flat has is told, and the largest is taken."""
    plane = next((each for each in planes if each.name == name), None)
    if plane is None:
        largest = planes[0] if planes else None
        told = (f"The sheet wants it to rest on {name}, and there is none.",)
        up = _up_of_hull(mesh, middle_mm) if largest is None else -largest.normal
        return _standing(mesh, up, "its own corners" if largest is None else largest.name, told)
    tips = () if carries(mesh, middle_mm, -plane.normal) else (f"Resting on {name} it tips over: use a brim.",)
    return _standing(mesh, -plane.normal, name, tips, "The sheet says so.")


def _load_notes(way: WayUp) -> tuple[str, ...]:
    return (LAYERS_PART,) if way.layers_part else ()


def _with_load_told(resting: Resting, load: Array | None) -> Resting:
    """The way up the sheet fixes; that layers part under the load is told all the same."""
    rises = None if load is None else abs(float(load @ resting.turn[2]))
    if rises is None or rises <= np.sin(np.radians(LOAD_RISES_MOST_DEG)):
        return resting
    return replace(resting, notes=(*resting.notes, LAYERS_PART))


def carries(mesh: Mesh, middle_mm: Array, up: Array) -> bool:
    """Whether a part set down with this direction up stays standing.

    The centre of mass has to lie over the hull of what touches the bed, inside its edge by a share of its height.
    """
    heights = mesh.vertices_mm @ up
    touching = mesh.vertices_mm[heights <= heights.min() + TOUCHES_WITHIN_MM]
    flat = across(up)
    inside_mm = _inside_hull_mm(touching @ flat.T, flat @ middle_mm)
    return inside_mm >= LEAST_MARGIN_OF_HEIGHT * (float(middle_mm @ up) - float(heights.min()))


def _upright(mesh: Mesh, middle_mm: Array, features: Features, name: str) -> Resting:
    """The named overall size along the build direction, on the end with the larger flat."""
    up = _direction_of(name, mesh, features)
    best = max((up, -up), key=lambda way: _flat_under(features.planes, way))
    flat = _widest_flat(features.planes, best)
    told = () if carries(mesh, middle_mm, best) else (f"Standing with its {name} upright it tips over: use a brim.",)
    rests_on = f"its end, {name} upright" if flat is None else f"{flat.name}, {name} upright"
    return _standing(mesh, best, rests_on, told, "The sheet says so.")


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


def _standing(mesh: Mesh, up: Array, rests_on: str, notes: tuple[str, ...] = (), why: str = "") -> Resting:
    return Resting(turned_to(mesh, up / np.linalg.norm(up)), rests_on, notes, why)


def _inside_hull_mm(points_mm: Array, at_mm: Array) -> float:
    """How far a point lies inside the hull of others in a plane; negative outside, and where there is no hull."""
    try:
        hull = ConvexHull(points_mm)
    except QhullError:
        return -np.inf
    return -float(np.max(hull.equations[:, :2] @ at_mm + hull.equations[:, 2]))
