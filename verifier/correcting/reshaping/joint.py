"""What holds two pieces of a cut part in place: dowels in both, or a key of one in the other."""

from collections.abc import Callable
from dataclasses import dataclass

import igl
import numpy as np

from verifier.correcting.bores_polygon import corners_round, sides_for
from verifier.correcting.reshaping.cap import Inset
from verifier.correcting.reshaping.outline import Outline
from verifier.correcting.reshaping.work import CannotReshape
from verifier.mesh import Array, IntArray, Mesh
from verifier.rulebook import Printer
from verifier.rulebook.reshape_row import Reshape

# Pins and rods that can be had, thickest first. A dowel goes twice its diameter into each piece, and its hole half a
# millimetre further, so that glue and dirt have room. Common practice, no source.
DOWELS_MM = (8.0, 6.0, 5.0, 4.0, 3.0, 2.0)
DEEP_IN_DIAMETERS = 2.0
SPARE_DEPTH_MM = 0.5
# Two dowels nearer to each other than this many diameters hold no better than one.
APART_IN_DIAMETERS = 2.5
# Three strands stay round every hole. Common practice, no source.
STRANDS_ROUND = 3.0
# A key takes up to this share of what its place offers, and stands out half its lesser side.
KEY_SHARES = np.linspace(0.9, 0.2, 15)
KEY_OUT = 0.5
LEAST_KEY_MM = 3.0
# One corner of a key is cut off by this share of its lesser side, so that it goes in one way only.
KEY_CORNER = 0.35
CHECKED_EVERY_MM = 0.5
# Of the places this near to the roomiest a key takes the one in the middle.
ROOMY_SHARE = 0.9


@dataclass(frozen=True, slots=True)
class Joint:
    """How one cut is held.

    below, above : what is made in the cap of the piece below the cut and in that above it, seen along the direction
    says : a sentence
    """

    kind: str
    below: tuple[Inset, ...]
    above: tuple[Inset, ...]
    says: str
    dowel_mm: float | None = None
    hole_mm: float | None = None
    dowel_length_mm: float | None = None


# Places (n, 3) in the cut's frame -> how far each lies from the surface of the part.
Clearances = Callable[[Array], Array]


def joint_for(wanted: Reshape, outline: Outline, away: Clearances, printer: Printer, *, upright: bool) -> Joint:
    """The joint of one cut. Raises CannotReshape where there is no room for it."""
    match wanted.joint or "dowels":
        case "none":
            return Joint("none", (), (), "its faces are flat: glue them")
        case "key":
            return _key(outline, away, printer)
    return _dowels(wanted, outline, away, printer, upright=upright)


def clearances_from(mesh: Mesh, to_mesh: Callable[[Array], Array]) -> Clearances:
    """Distances from a surface, of which only what lies near the places is searched."""

    def away(local_mm: Array) -> Array:
        at = to_mesh(local_mm)
        near = _near(mesh, at, 2.0 * max(DOWELS_MM))
        if len(near) == 0:
            return np.full(len(at), np.inf)
        squared = igl.point_mesh_squared_distance(np.ascontiguousarray(at), mesh.vertices_mm, near)[0]
        return np.asarray(np.sqrt(squared), dtype=np.float64)

    return away


def _near(mesh: Mesh, at: Array, within_mm: float) -> IntArray:
    """Faces whose box comes near the box of the places."""
    low, high = at.min(axis=0) - within_mm, at.max(axis=0) + within_mm
    below, above = mesh.vertices_mm < low, mesh.vertices_mm > high
    off = (below[mesh.faces].all(axis=1) | above[mesh.faces].all(axis=1)).any(axis=1)
    return np.ascontiguousarray(mesh.faces[~off])


# --- dowels -----------------------------------------------------------------------------------------------------------


def _dowels(wanted: Reshape, outline: Outline, away: Clearances, printer: Printer, *, upright: bool) -> Joint:
    wall_mm = STRANDS_ROUND * printer.line_mm
    places = outline.places()
    depth_mm = outline.depth_mm(places)
    for dowel_mm in (wanted.dowel,) if wanted.dowel is not None else DOWELS_MM:
        hole_mm = _hole_mm(dowel_mm, printer, upright=upright)
        reach_mm = hole_mm / 2.0 + wall_mm
        deep_mm = DEEP_IN_DIAMETERS * dowel_mm + SPARE_DEPTH_MM
        room = _with_room(places[depth_mm >= reach_mm], deep_mm, reach_mm, away)
        pair = _farthest_apart(room)
        if pair is not None and np.linalg.norm(pair[1] - pair[0]) >= APART_IN_DIAMETERS * dowel_mm:
            return _of_pair(pair, dowel_mm, hole_mm, deep_mm, printer)
    do = 'Give a thinner dowel, write joint = "key" or "none", or cut it elsewhere'
    thickest = f"of {wanted.dowel:g} mm " if wanted.dowel is not None else ""
    raise CannotReshape(f"there is no room for two dowels {thickest}in the cut", do)


def _hole_mm(dowel_mm: float, printer: Printer, *, upright: bool) -> float:
    return dowel_mm + printer.joint_clearance_mm + (printer.hole_allowance_mm if upright else 0.0)


def _with_room(places: Array, deep_mm: float, reach_mm: float, away: Clearances) -> Array:
    """The places where a straight hole both ways keeps so far from every surface, (k, 2)."""
    if len(places) == 0:
        return places
    steps = np.arange(-deep_mm, deep_mm + CHECKED_EVERY_MM, CHECKED_EVERY_MM)
    along = np.concatenate([np.column_stack([places, np.full(len(places), height)]) for height in steps])
    clear = away(along).reshape(len(steps), len(places)).min(axis=0) >= reach_mm
    return np.asarray(places[clear])


def _farthest_apart(places: Array) -> Array | None:
    """Two places that lie far from each other, (2, 2)."""
    if len(places) < 2:
        return None
    first = places[np.argmax(np.linalg.norm(places - places.mean(axis=0), axis=1))]
    second = places[np.argmax(np.linalg.norm(places - first, axis=1))]
    return np.stack([first, second])


def _of_pair(pair: Array, dowel_mm: float, hole_mm: float, deep_mm: float, printer: Printer) -> Joint:
    round_hole = corners_round(hole_mm, sides_for(hole_mm, printer.facet_loss_mm))
    figures = [at + round_hole for at in pair]
    long_mm = 2.0 * DEEP_IN_DIAMETERS * dowel_mm
    return Joint(
        "dowels",
        tuple(Inset(figure, -deep_mm) for figure in figures),
        tuple(Inset(figure, deep_mm) for figure in figures),
        f"two dowels of {dowel_mm:g} mm, {long_mm:g} mm long, in holes of {hole_mm:.2f} mm",
        dowel_mm,
        hole_mm,
        long_mm,
    )


# --- keys -------------------------------------------------------------------------------------------------------------


def _key(outline: Outline, away: Clearances, printer: Printer) -> Joint:
    """A straight key about the roomiest place, as large as leaves walls of three strands round its socket."""
    wall_mm, play_mm = STRANDS_ROUND * printer.line_mm, printer.joint_clearance_mm
    places = outline.places()
    if len(places) == 0:
        raise CannotReshape("there is no room for a key in the cut", 'Write joint = "none", or cut it elsewhere')
    rim = np.asarray(outline.tree.data)
    depth_mm = outline.depth_mm(places)
    roomy = places[depth_mm >= ROOMY_SHARE * depth_mm.max()]
    middle = roomy[int(np.argmin(np.linalg.norm(roomy - rim.mean(axis=0), axis=1)))]
    corners = rim - middle
    axes = np.linalg.svd(corners - corners.mean(axis=0), full_matrices=False)[2]
    axes[1] = [-axes[0, 1], axes[0, 0]]
    half = np.abs(corners @ axes.T).max(axis=0)
    for share in KEY_SHARES:
        sides = 2.0 * share * half
        out_mm = KEY_OUT * float(sides.min())
        socket = middle + _key_figure(sides + play_mm) @ axes
        if sides.min() >= LEAST_KEY_MM and _key_fits(socket, out_mm + SPARE_DEPTH_MM, wall_mm, outline, away):
            key = middle + _key_figure(sides) @ axes
            return Joint(
                "key",
                (Inset(key, out_mm),),
                (Inset(socket, out_mm + SPARE_DEPTH_MM),),
                f"a key of {sides.max():.1f} × {sides.min():.1f} mm, {out_mm:.1f} mm high,"
                f" in a socket {play_mm:g} mm wider",
            )
    raise CannotReshape(
        "there is no room for a key in the cut", 'Write joint = "dowels" or "none", or cut it elsewhere'
    )


def _key_figure(sides_mm: Array) -> Array:
    """A rectangle with one corner cut off, about its middle, anticlockwise."""
    a, b = sides_mm / 2.0
    off = KEY_CORNER * float(min(sides_mm))
    return np.array([[-a, -b], [a, -b], [a, b - off], [a - off, b], [-a, b]])


def _key_fits(figure: Array, deep_mm: float, wall_mm: float, outline: Outline, away: Clearances) -> bool:
    edge = np.concatenate(
        [figure + share * (np.roll(figure, -1, axis=0) - figure) for share in np.linspace(0.0, 1.0, 12, endpoint=False)]
    )
    if (outline.depth_mm(edge) < wall_mm).any():
        return False
    heights = np.arange(0.0, deep_mm + CHECKED_EVERY_MM, CHECKED_EVERY_MM)
    along = np.concatenate([np.column_stack([edge, np.full(len(edge), height)]) for height in heights])
    return bool((away(along) >= wall_mm).all())
