"""Coat taken off sharp edges and thin walls: nothing runs through itself, edges stay, thin walls are told."""

from functools import cache

import numpy as np
import pytest
from pymeshfix import PyTMesh

from inbox_demo import simulated
from inbox_demo.simulated import Shape, box2, cut, intersect, slab, unite
from tests.correcting.bench import PRINTER
from verifier.correcting.offset import offset_inwards
from verifier.correcting.print_checks import check_print
from verifier.mesh import Array, Mesh

SHARP_MM = 0.02
COAT_MM = 0.06


def notched_box() -> Shape:
    """40 x 24 x 12 with a notch of 12 across, every edge as sharp as the points lie."""

    def distance(p: Array) -> Array:
        box = intersect(box2(p, (0, 0), (40, 24)), slab(p[:, 2], 0.0, 12.0), radius_mm=SHARP_MM)
        notch = intersect(box2(p, (8, 0), (12, 30)), slab(p[:, 2], 5.0, 20.0), radius_mm=SHARP_MM)
        return cut(box, notch, radius_mm=SHARP_MM)

    return Shape("fence_clip", distance, (-22, -14, -2), (22, 14, 14))


def walled_plate(thick_mm: float) -> Shape:
    """A plate with one upright wall."""

    def distance(p: Array) -> Array:
        plate = intersect(box2(p, (0, 0), (40, 24)), slab(p[:, 2], 0.0, 6.0))
        return unite(plate, intersect(box2(p, (0, 0), (30, thick_mm)), slab(p[:, 2], 3.0, 18.0)))

    return Shape("fence_clip", distance, (-22, -14, -2), (22, 14, 20))


@cache
def coated(name: str, seed: int) -> tuple[Shape, simulated.Scanned, Mesh]:
    shape = notched_box() if name == "box" else walled_plate(float(name))
    scan = simulated.scan(shape, spacing_mm=0.5, white_mm=0.03, correlated_mm=0.01, coat_mm=COAT_MM, seed=seed)
    return shape, scan, Mesh(scan.vertices_mm, scan.faces)


def crossings(mesh: Mesh) -> int:
    """Faces that run through others, counted by another library than the one that mends them."""
    counted = PyTMesh()
    counted.load_array(mesh.vertices_mm, mesh.faces.astype(np.int32))
    return len(counted.select_intersecting_triangles())


# Seeds whose scans cross themselves nowhere; where one does, that is for the mending before.
@pytest.mark.parametrize(
    ("name", "seed"),
    [
        ("box", 101),
        pytest.param("box", 103, marks=pytest.mark.long),
        ("1.0", 101),
        pytest.param("1.0", 102, marks=pytest.mark.long),
    ],
)
def test_nothing_runs_through_itself_when_twice_the_coat_is_taken_off(name, seed) -> None:
    _, _, mesh = coated(name, seed)
    assert crossings(mesh) == 0
    assert crossings(offset_inwards(mesh, 2.0 * COAT_MM)) == 0


def test_sharp_edges_are_not_rounded_further() -> None:
    """How far corners near the edges lie from the drawn part, inside or out: no worse than scatter allows."""
    shape, scan, mesh = coated("box", 101)
    copy = offset_inwards(mesh, COAT_MM)
    at = (copy.vertices_mm - scan.shift_mm) @ scan.turn
    off = shape.distance(at)
    sides = np.stack([20.0 - np.abs(at[:, 0]), 12.0 - np.abs(at[:, 1]), 12.0 - at[:, 2]])
    edge = np.sort(np.abs(sides), axis=0)[1] < 0.6  # near two of the outer faces at once
    assert edge.sum() > 200
    # Four deviations of the scatter of 0.032 mm; a rounding by the spacing would leave 0.2 mm.
    assert abs(np.median(off[edge])) < 0.02
    assert np.quantile(np.abs(off[edge]), 0.98) < 0.13


def test_a_wall_left_thinner_than_two_strands_is_told() -> None:
    """0.8 mm, scanned 0.92 with its powder."""
    _, scan, mesh = coated("0.8", 101)
    copy = offset_inwards(mesh, COAT_MM)
    at = (copy.vertices_mm - scan.shift_mm) @ scan.turn
    checks = check_print(Mesh(at - at.min(axis=0), copy.faces), PRINTER)
    wall = next(check for check in checks if check.name == "thin wall")
    assert not wall.fine
    assert wall.value == pytest.approx(0.8, abs=0.1)  # a low quantile of two sides' scatter
    assert wall.place_mm[2] > 6.0  # on the wall, and not on the plate
