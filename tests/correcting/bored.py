"""Simulated scans with their bores rebuilt, and what a gauge says of the bores, for the tests of this room."""

from collections.abc import Mapping
from dataclasses import dataclass

import manifold3d
import numpy as np

from inbox_demo import simulated
from tests.rulebook.shop import shipped_rules
from tests.whole import found_once
from verifier.correcting import BoreWork, RebuiltBore, rebuild_bores
from verifier.correcting.correction import Correction, Term
from verifier.finding.feature import Features
from verifier.measuring import measure
from verifier.measuring.size import Size
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Array, BoolArray, Mesh, face_normals
from verifier.rulebook import Hole, Printer, Sheet, SheetRow, filament_for, printer_for, wanted_holes

RULES = shipped_rules()
AS_SCANNED = Term(1.0, 1e-4, False, "")
NO_COAT = Term(0.0, 1e-3, False, "")
UNCORRECTED = Correction(AS_SCANNED, NO_COAT, NO_COAT, np.zeros((3, 3)), (), 0.0, 0, True)


@dataclass(frozen=True)
class Bored:
    """A scan, what was found on it, and its bores rebuilt."""

    scan: simulated.Scanned
    before: Solid
    found: Features
    work: BoreWork
    printer: Printer
    sizes: tuple[Size, ...]
    holes: Mapping[str, Hole]
    upright: frozenset[str]

    @property
    def after(self) -> Solid:
        return self.work.solid

    def bore(self, row: str) -> RebuiltBore:
        return next(bore for bore in self.work.bores if bore.row == row)

    def in_part_mm(self, points_mm: Array) -> Array:
        """Places of the scan in the drawing's frame."""
        return (points_mm - self.scan.shift_mm) @ self.scan.turn


def bored(
    shape: simulated.Shape,
    uses: Mapping[str, Mapping[str, object]],
    *,
    spacing_mm: float = 0.6,
    seed: int = 3,
    lying: bool = False,
    **scan: object,
) -> Bored:
    """Scan a shape, find its bores, and rebuild them; all of them upright but for `lying`.

    uses : by row name, the row's keys about its use; the reading is the true size
    """
    scanned = simulated.scan(shape, spacing_mm=spacing_mm, seed=seed, correlated_mm=0.01, **scan)
    before = Solid(Mesh(scanned.vertices_mm, scanned.faces), np.zeros(len(scanned.faces), dtype=np.uint8))
    found = found_once(before)  # many of these tests bore the same scan in another way
    rows = [
        SheetRow(name=name, kind="bore", gauged="inside jaws", **({"reading": shape.truth[name]} | dict(keys)))
        for name, keys in uses.items()
    ]
    rows += [
        SheetRow(name=name, kind="centre distance", between=tuple(name.split(" to ")), reading=size)
        for name, size in shape.truth.items()
        if set(name.split(" to ")) <= set(uses) and " to " in name
    ]
    sheet = Sheet(part=shape.name, size=tuple(rows))
    printer = printer_for(sheet, RULES)
    upright = frozenset() if lying else frozenset(bore.name for bore in found.bores)
    holes = wanted_holes(sheet, RULES, filament_for(sheet, RULES))
    sizes = measure(found, sheet, RULES)
    work = rebuild_bores(before, found, sizes, holes, UNCORRECTED, printer, upright)
    return Bored(scanned, before, found, work, printer, sizes, holes, upright)


def again(part: Bored, copy: Solid, correction: Correction) -> BoreWork:
    """The same bores rebuilt in another copy of the scan."""
    return rebuild_bores(copy, part.found, part.sizes, part.holes, correction, part.printer, part.upright)


@dataclass(frozen=True)
class Gauged:
    """A rebuilt wall as its own flats tell it, in the drawing's frame.

    at_mm : (2,) where its axis crosses z = middle; lean_deg : of its axis from the drawing's z
    across_flats_mm : least and greatest
    z_mm : lowest and highest corner
    """

    at_mm: Array
    lean_deg: float
    across_flats_mm: tuple[float, float]
    z_mm: tuple[float, float]


def gauge(part: Bored, about_mm: tuple[float, float], within_mm: float) -> Gauged:
    """Gauge the rebuilt wall near a place of the drawing, by the planes of its flats alone."""
    mesh = part.after.mesh
    corners = part.in_part_mm(mesh.corners_mm.reshape(-1, 3)).reshape(-1, 3, 3)
    normals = face_normals(mesh) @ part.scan.turn
    near = np.hypot(*(corners.mean(axis=1)[:, :2] - about_mm).T) < within_mm
    wall = (part.after.origin == Origin.REBUILT) & near & (np.abs(normals[:, 2]) < 0.05)
    axis = np.linalg.svd(normals[wall])[2][2]  # square to every flat
    axis *= np.sign(axis[2])
    places = corners[wall].reshape(-1, 3)
    middle = np.array([*about_mm, float(places[:, 2].mean())])
    # Flats of one polygon lie equally far from its axis: n . (x - c) = -r for every flat, solved for c and r.
    offsets = np.einsum("ij,ij->i", normals[wall], corners[wall][:, 0] - middle)
    slope = np.column_stack([normals[wall], -np.ones(wall.sum())])
    centre = np.linalg.lstsq(np.vstack([slope, [*axis, 0.0]]), np.append(offsets, 0.0), rcond=None)[0][:3]
    distances = -(offsets - normals[wall] @ centre)
    return Gauged(
        (middle + centre)[:2],
        float(np.degrees(np.arccos(min(1.0, axis[2])))),
        (2.0 * float(distances.min()), 2.0 * float(distances.max())),
        (float(places[:, 2].min()), float(places[:, 2].max())),
    )


def pin_enters(part: Bored, at_mm: tuple[float, float], diameter_mm: float, z_mm: tuple[float, float]) -> bool:
    """Whether a pin along the drawing's z goes in without touching, by the modelling kernel's exact boolean."""
    pin = manifold3d.Manifold.cylinder(z_mm[1] - z_mm[0], diameter_mm / 2.0, circular_segments=360)
    pin = pin.translate((*at_mm, z_mm[0]))
    mesh = part.after.mesh
    vertices = part.in_part_mm(mesh.vertices_mm)
    body = manifold3d.Manifold(manifold3d.Mesh64(vertices, mesh.faces.astype(np.uint64)))
    return bool((pin ^ body).volume() < 1e-6)


def holes_through(mesh: Mesh) -> int:
    """Genus of a closed surface of one piece: V - E + F = 2 - 2 g."""
    corners = len(np.unique(mesh.faces))
    euler = corners - 3 * len(mesh.faces) // 2 + len(mesh.faces)
    return (2 - euler) // 2


def stayed(part: Bored) -> BoolArray:
    """Which faces of the scan are still there, to the last bit, (m,)."""
    kept = part.after.mesh.corners_mm[part.after.origin != Origin.REBUILT]
    left = {row.tobytes() for row in np.ascontiguousarray(kept).reshape(len(kept), -1)}
    before = np.ascontiguousarray(part.before.mesh.corners_mm)
    return np.array([row.tobytes() in left for row in before.reshape(len(before), -1)])
