"""The ways a part may stand on the printer, what each costs, and why one is taken."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from verifier.correcting.turning import NEAR_BED_MM, turned_to
from verifier.finding.feature import Features, Plane
from verifier.mesh import Array, Mesh, extents_mm, face_vectors_mm2
from verifier.rulebook.rules import Printer

# What a way up costs, in square millimetres of supports. Common practice, no source: a bore that lies has a roof that
# hangs, as wide as the bore and twice as long to clean up; a millimetre of height costs the minutes of two square
# millimetres of supports; a tenth of what lies on the bed is gained, since it holds the part.
LYING_BORE_WEIGHT = 2.0
HEIGHT_WEIGHT_MM = 2.0
FOOTPRINT_WEIGHT = 0.1
# Ways up that cost as much within this are one to the printer; the larger flat is then taken.
AS_GOOD_WITHIN_MM2 = 5.0
# Layers part under a load that pulls them off each other: a way up is out while the load rises further than this out of
# the layers, if any other is left. At 30 degrees half the load still lies across the layers, a quarter of it squared.
LOAD_RISES_MOST_DEG = 30.0
# A bore counts as upright while it leans no further than this: its layers are then round holes.
UPRIGHT_WITHIN_DEG = 15.0
# Supports are counted on so many faces of the mesh.
COUNTED_FACES = 150_000


@dataclass(frozen=True, slots=True)
class WayUp:
    """One way a part may stand, and what speaks for and against it.

    supports_mm2 : surface that wants supports; contact_mm2 : area of the flat it rests on
    lying : names of the bores that do not print as round holes, and lying_mm2 what their roofs take
    load_rises_deg : how far the load points out of the layers; None without a load
    """

    plane: Plane
    supports_mm2: float
    height_mm: float
    contact_mm2: float
    lying: tuple[str, ...]
    lying_mm2: float
    fits_bed: bool
    load_rises_deg: float | None

    @property
    def layers_part(self) -> bool:
        """Whether the load pulls the layers off each other."""
        return self.load_rises_deg is not None and self.load_rises_deg > LOAD_RISES_MOST_DEG

    @property
    def cost_mm2(self) -> float:
        """All that counts, in square millimetres of supports."""
        return (
            self.supports_mm2
            + LYING_BORE_WEIGHT * self.lying_mm2
            + HEIGHT_WEIGHT_MM * self.height_mm
            - FOOTPRINT_WEIGHT * self.contact_mm2
        )

    @property
    def order(self) -> tuple[bool, bool, float, float]:
        """Best first: layers that hold and a bed it fits, then what it costs, then the larger flat."""
        return self.layers_part, not self.fits_bed, round(self.cost_mm2 / AS_GOOD_WITHIN_MM2), -self.contact_mm2


def ways_up(
    mesh: Mesh, features: Features, planes: Sequence[Plane], printer: Printer | None, load: Array | None
) -> list[WayUp]:
    """What it would be to rest on each of these flats.

    printer : None takes 45 degrees and any bed; load : None where there is none
    """
    step = max(1, len(mesh.faces) // COUNTED_FACES)
    some = Mesh(mesh.vertices_mm, mesh.faces[::step])
    vectors = face_vectors_mm2(some) * step
    doubled = np.linalg.norm(vectors, axis=1)
    return [_way_up(some, vectors, doubled, features, plane, printer, load) for plane in planes]


def _way_up(
    mesh: Mesh,
    vectors: Array,
    doubled: Array,
    features: Features,
    plane: Plane,
    printer: Printer | None,
    load: Array | None,
) -> WayUp:
    up = -plane.normal
    heights = mesh.vertices_mm @ up
    steepest = np.sin(np.radians(45.0 if printer is None else printer.steepest_deg))
    lowest = heights.min()
    leaning = np.flatnonzero(vectors @ up < -steepest * doubled)
    hangs = leaning[heights[mesh.faces[leaning]].mean(axis=1) > lowest + NEAR_BED_MM]
    least = np.cos(np.radians(UPRIGHT_WITHIN_DEG))
    lying = [bore for bore in features.bores if abs(float(bore.axis @ up)) < least]
    return WayUp(
        plane,
        0.5 * float(doubled[hangs].sum()),
        float(heights.max() - lowest),
        plane.area_mm2,
        tuple(bore.name for bore in lying),
        sum(bore.diameter_mm * bore.depth_mm for bore in lying),
        printer is None or _fits(mesh, up, printer),
        None if load is None else float(np.degrees(np.arcsin(min(1.0, abs(float(load @ up)))))),
    )


def _fits(mesh: Mesh, up: Array, printer: Printer) -> bool:
    # A part whose box has a shorter diagonal than the bed is wide fits any way up, and no hull is asked for.
    if float(np.linalg.norm(extents_mm(mesh))) <= min(printer.bed_x_mm, printer.bed_y_mm, printer.bed_z_mm):
        return True
    x, y, z = np.ptp(mesh.vertices_mm @ turned_to(mesh, up).T, axis=0)
    long_mm, wide_mm = sorted((printer.bed_x_mm, printer.bed_y_mm), reverse=True)
    return bool(max(x, y) <= long_mm and min(x, y) <= wide_mm and z <= printer.bed_z_mm)


def why_this_way(ways: Sequence[WayUp], *, reshaped: bool) -> str:
    """Why the first of the ways was taken, and what the next best would have cost.

    reshaped : the part is made another afterwards, and may then be higher or lower than it is told here
    """
    best = ways[0]
    bores = f", with {', '.join(best.lying)} lying" if best.lying else ", every bore upright"
    load = "" if best.load_rises_deg is None else f", the load {best.load_rises_deg:.0f} degrees out of the layers"
    before = " before it is reshaped" if reshaped else ""
    said = f"{_supports(best)}, {best.height_mm:.0f} mm high{before}{bores}{load}"
    if len(ways) == 1:
        return f"No other flat carries it: {said}."
    other = ways[1]
    if other.layers_part and not best.layers_part:
        return f"On {other.plane.name} its layers would part under the load; here {said}."
    lies = f", {', '.join(other.lying)} lying" if other.lying else ""
    return f"It prints with {said}; on {other.plane.name} with {_supports(other)}, {other.height_mm:.0f} mm high{lies}."


def _supports(way: WayUp) -> str:
    return "no supports" if way.supports_mm2 < 1.0 else f"{way.supports_mm2:.0f} mm² of supports"
