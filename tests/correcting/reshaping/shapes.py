"""Farm parts with a prismatic middle, and the reshaping room called on a simulated scan of them."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from inbox_demo import simulated
from inbox_demo.simulated import Shape, bore, box2, cut, disc, intersect, slab, tapered_bar, unite
from tests.correcting.bored import RULES, UNCORRECTED
from verifier.correcting.reshaping import Reshaping, reshape
from verifier.finding import find_features
from verifier.finding.feature import Features
from verifier.measuring import measure
from verifier.measuring.size import Size
from verifier.mending.solid import Solid
from verifier.mesh import Array, Mesh
from verifier.rulebook import Printer, Sheet, SheetRow, printer_for
from verifier.rulebook.reshape_row import Reshape

NO_SHRINK = np.ones(3)


def draw_bar() -> Shape:
    """Draw bar of the gate: round ends, parallel sides, a hub round the front bore; 90 mm between its bores."""

    def distance(p: Array) -> Array:
        body = intersect(tapered_bar(p, (0, 0), (90, 0), 10.0, 10.0), slab(p[:, 2], 0.0, 8.0))
        hub = intersect(disc(p, (0, 0), 8.0), slab(p[:, 2], 4.0, 12.0))
        return cut(cut(unite(body, hub), bore(p, (0, 0), 8.0)), bore(p, (90, 0), 6.0))

    truth = {
        "length": 110.0,
        "width": 20.0,
        "height": 12.0,
        "body": 8.0,
        "front": 8.0,
        "rear": 6.0,
        "front to rear": 90.0,
    }
    return Shape("draw_bar", distance, (-11, -11, -1), (101, 11, 13), truth)


def worn_yoke(*, worn_mm: float = 3.0) -> Shape:
    """A yoke with two equal arms, one of them worn hollow at its end and its bore still sound."""

    def distance(p: Array) -> Array:
        bar = intersect(box2(p, (0, 0), (70, 24)), slab(p[:, 2], 0.0, 9.0))
        solid = bar
        for x in (-24.0, 24.0):
            solid = cut(solid, bore(p, (x, 0.0), 7.0))
        hollow = disc(p, (41.0 - worn_mm, 0.0), 6.0)
        return cut(solid, hollow) if worn_mm > 0 else solid

    truth = {"length": 70.0, "width": 24.0, "bar": 9.0, "left": 7.0, "right": 7.0, "left to right": 48.0}
    return Shape("worn_yoke", distance, (-36, -13, -1), (42, 13, 10), truth)


ROWS = {
    "length": {"kind": "overall", "along": "length"},
    "width": {"kind": "overall", "along": "width"},
    "body": {"kind": "thickness"},
    "bar": {"kind": "thickness"},
}


def sheet_of(shape: Shape, *reshapes: dict[str, object]) -> Sheet:
    """The shape's true sizes as readings."""
    rows = []
    for name, size in shape.truth.items():
        if " to " in name:
            rows.append(SheetRow(name=name, kind="centre distance", between=tuple(name.split(" to ")), reading=size))
        elif name in ROWS:
            rows.append(SheetRow(name=name, reading=size, **ROWS[name]))
        elif name in ("front", "rear", "left", "right"):
            rows.append(SheetRow(name=name, kind="bore", gauged="inside jaws", reading=size))
    return Sheet(part=shape.name, size=tuple(rows), reshape=tuple(Reshape(**each) for each in reshapes))


@dataclass(frozen=True)
class Made:
    """A scan before and after what its sheet wants."""

    scan: simulated.Scanned
    before: Solid
    found: Features
    sizes: tuple[Size, ...]
    after: Reshaping

    def in_part_mm(self, points_mm: Array) -> Array:
        """Places of the scan in the drawing's frame."""
        return np.asarray((points_mm - self.scan.shift_mm) @ self.scan.turn)

    @property
    def mesh(self) -> Mesh:
        return self.after.solid.mesh

    def size(self, name: str) -> Size:
        return next(size for size in self.sizes if size.name == name)


@cache
def _scanned(shape: str, spacing_mm: float, seed: int) -> tuple[Shape, simulated.Scanned, Solid, Features]:
    drawn = {"draw_bar": draw_bar, "worn_yoke": worn_yoke, "latch_lever": simulated.latch_lever}[shape]()
    scan = simulated.scan(drawn, spacing_mm=spacing_mm, seed=seed, correlated_mm=0.01)
    solid = Solid(Mesh(scan.vertices_mm, scan.faces), np.zeros(len(scan.faces), dtype=np.uint8))
    return drawn, scan, solid, find_features(solid)


def made(shape: str, *reshapes: dict[str, object], spacing_mm: float = 0.6, seed: int = 11, **printer: float) -> Made:
    """Scan a shape lying flat in the drawing's z, and do what the reshapings say."""
    drawn, scan, solid, found = _scanned(shape, spacing_mm, seed)
    sheet = sheet_of(drawn, *reshapes)
    sizes = measure(found, sheet, RULES)
    bed: Printer = printer_for(sheet, RULES).model_copy(update=printer)
    up = np.asarray(scan.turn[:, 2])
    after = reshape(solid, None, found, sizes, UNCORRECTED, sheet, bed, up, NO_SHRINK)
    return Made(scan, solid, found, sizes, after)
