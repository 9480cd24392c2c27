"""The finding room's door: everything on a solid."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from verifier.finding.along import points_on_flats
from verifier.finding.balls import find_balls
from verifier.finding.cones import find_sides
from verifier.finding.counterbores import find_counterbores
from verifier.finding.countersinks import named_cones
from verifier.finding.cylinders import LEAST_ARC_DEG, axes_of, cylinder_of, find_walls
from verifier.finding.extents import extent
from verifier.finding.facets import with_facets
from verifier.finding.feature import Cone, Cylinder, Features, Noise, Plane, Slot
from verifier.finding.frame import natural_frame
from verifier.finding.noise import noise_of_neighbours, noise_on_planes
from verifier.finding.patterns import find_rectangles
from verifier.finding.planes import Flat, find_flats, plane_of
from verifier.finding.rings import Ring
from verifier.finding.slots import find_slots, in_a_slot
from verifier.finding.surface import Surface, surface_of
from verifier.finding.symmetry import find_symmetries
from verifier.finding.walls import Wall
from verifier.finding.whole_faces import whole_faces
from verifier.mending.solid import Solid
from verifier.mesh import Array, BoolArray

PLANES_FOR_NOISE = 4
NOISE_AREA_MM2 = 25.0
# A concave wall seen over this much of the turn, yet under 300 degrees, may be a bore badly seen: the person is told.
WORTH_TELLING_DEG = 200.0
# What tapers by more than this to each side nobody takes for a bore or a boss.
STEEPEST_POST_DEG = 20.0
# Cones stand on the axis of a bore or square to one of the larger faces.
MOST_CONE_AXES = 6
EXTENT_NAMES = ("length", "width", "height")


def find_features(solid: Solid) -> Features:
    """Planes, bores, bosses and overall sizes of a solid, in any pose, from its measured faces alone.

    Sizes are in millimetres with standard uncertainties from the scan's own scatter. The outcome does not depend on
    how the part lies, and the same solid always gives the same outcome.
    """
    surface = surface_of(solid)
    flats = whole_faces(surface, find_flats(surface))
    noise = _at_least(_noise(surface, flats), surface)
    planes = tuple(plane_of(flat, surface, noise, i + 1) for i, flat in enumerate(flats))
    on_flat = points_on_flats(surface, planes)
    walls = find_walls(surface, planes, on_flat, noise)
    cylinders = _named(surface, [with_facets(surface, wall, noise) for wall in walls.whole], noise)
    slots = find_slots(surface, axes_of(planes), walls.whole, noise)
    axes = _apart([*(cylinder.axis for cylinder in cylinders), *axes_of(planes)])
    sides = walls.tapers + find_sides(surface, walls.free, axes, noise)
    cones = named_cones(surface, sides, cylinders, planes, noise)
    free = walls.free & ~_on(surface, (*cones, *slots))
    frame = natural_frame(surface.points_mm[surface.seen], planes, cylinders)
    sizes = sorted((extent(surface, on_flat, planes, noise, d, "") for d in frame), key=lambda e: -e.length_mm)
    extents = tuple(replace(size, name=name) for size, name in zip(sizes, EXTENT_NAMES, strict=True))
    return Features(
        planes,
        cylinders,
        extents,
        noise,
        (
            *_notices([ring for ring in walls.partial if not in_a_slot(ring.axis_point_mm, slots)], planes),
            *_of_tapers(cones),
        ),
        slots,
        cones,
        find_counterbores(surface, cylinders, planes, noise),
        find_rectangles(cylinders),
        find_symmetries(planes, cylinders),
        find_balls(surface, free, noise),
        surface,
    )


def _noise(surface: Surface, flats: Sequence[Flat]) -> Noise:
    """Scatter on the largest flats that are as smooth as the smoothest; of neighbours where none tells it."""
    large = [flat for flat in flats[:PLANES_FOR_NOISE] if flat.area_mm2 > NOISE_AREA_MM2]
    if not large:
        return noise_of_neighbours(surface)
    rms = [float(np.std(flat.away_mm)) for flat in large]
    smooth = [flat for flat, r in zip(large, rms, strict=True) if r <= 1.5 * float(np.median(rms))]
    on_flats = noise_on_planes([(surface.points_mm[flat.points], flat.away_mm) for flat in smooth], surface.spacing_mm)
    return on_flats or noise_of_neighbours(surface)


def _at_least(noise: Noise, surface: Surface) -> Noise:
    """The noise, but no less than the step of the 32-bit numbers that mesh files hold."""
    step = float(np.abs(surface.points_mm).max()) * float(np.finfo(np.float32).eps)
    return replace(noise, white_mm=max(noise.white_mm, step), correlated_mm=max(noise.correlated_mm, step))


def _on(surface: Surface, things: Sequence[Cone | Slot]) -> BoolArray:
    """Points on any of these, (n,)."""
    on = np.zeros(len(surface.points_mm), dtype=bool)
    for thing in things:
        on[surface.points_of(thing.faces)] = True
    return on


def _named(surface: Surface, walls: Sequence[Wall], noise: Noise) -> tuple[Cylinder, ...]:
    """Bores, then bosses, each numbered by diameter, largest first."""
    by_size = sorted(walls, key=lambda wall: -wall.fit.radius_mm)
    bores = [wall for wall in by_size if wall.ring.kind == "bore"]
    bosses = [wall for wall in by_size if wall.ring.kind == "boss"]
    return tuple(cylinder_of(surface, wall, noise, i + 1) for kind in (bores, bosses) for i, wall in enumerate(kind))


def _apart(directions: Sequence[Array]) -> list[Array]:
    """The directions, those once that are the same to 3 degrees or opposite."""
    apart: list[Array] = []
    for direction in directions:
        if all(abs(float(direction @ other)) < np.cos(np.radians(3.0)) for other in apart):
            apart.append(direction)
    return apart[:MOST_CONE_AXES]


def _notices(partial: Sequence[Ring], planes: Sequence[Plane]) -> tuple[str, ...]:
    told = [_about_hollow(ring) for ring in partial if ring.kind == "bore" and ring.arc_deg >= WORTH_TELLING_DEG]
    if not planes:
        told.append("No flat face was found; the scan's scatter is judged from neighbouring points")
    return tuple(told)


def _of_tapers(cones: Sequence[Cone]) -> Iterator[str]:
    """What somebody might take for a bore or a boss and is none."""
    for cone in cones:
        if cone.kind != "countersink" and cone.angle_deg < 2.0 * STEEPEST_POST_DEG:
            thing = "bore" if cone.kind == "inner cone" else "boss"
            tapers = f"tapers by {0.5 * cone.angle_deg:.1f} degrees to each side; it is not called a {thing}"
            yield f"{cone.name}, {cone.diameter_mm:.1f} mm at half its height, {tapers}"


def _about_hollow(ring: Ring) -> str:
    seen = "too shallow to measure" if ring.arc_deg >= LEAST_ARC_DEG else f"over {ring.arc_deg:.0f} degrees only"
    return f"A round hollow of about {2.0 * ring.radius_mm:.1f} mm was seen {seen}; it is not called a bore"
