"""Paint tells a slab from itself turned half round; light does not."""

from dataclasses import replace

import numpy as np
import pytest

from tests.joining.test_laid_together import scan_of
from verifier.joining.arranging import Arrangement
from verifier.joining.painted_views import told_by_paint
from verifier.joining.view import View, view_of
from verifier.mesh import Array, Mesh

SIZE_MM = np.array([70.0, 44.0, 14.0])
TURNED = np.diag([-1.0, -1.0, 1.0, 1.0])
WAYS = Arrangement({0: np.eye(4), 1: TURNED}, {}), Arrangement({0: np.eye(4), 1: np.eye(4)}, {})
RIGHT = 1
SCATTER = 3.0  # of 255, a camera's


def spotted(points_mm: Array) -> Array:
    """Two paints in spots of some 8 mm, which no half turn keeps: red, green and blue thrown back, (n, 3)."""
    waves = np.random.default_rng(5).normal(size=(30, 3)) / 5.0
    rise = np.cos(points_mm @ waves.T + np.arange(30)).sum(axis=1)
    return np.where((rise > 1.0)[:, None], [0.55, 0.14, 0.1], [0.5, 0.5, 0.45])


def plain(points_mm: Array) -> Array:
    """Of one grey."""
    return np.full(points_mm.shape, 0.5)


def seen(up: float, spacing_mm: float) -> tuple[Mesh, Array]:
    """The slab's top (up 1) or bottom (-1) with all its walls, and the normals at the corners."""
    points, normals, faces = [], [], []
    for axis, sign in ((0, 1.0), (0, -1.0), (1, 1.0), (1, -1.0), (2, up)):
        u, v = (axis + 1) % 3, (axis + 2) % 3
        steps = [int(SIZE_MM[k] / spacing_mm) + 2 for k in (u, v)]
        face = np.empty((steps[0] * steps[1], 3))
        across = np.meshgrid(*(np.linspace(-0.5, 0.5, count) for count in steps), indexing="ij")
        face[:, u], face[:, v] = (SIZE_MM[k] * each.ravel() for k, each in zip((u, v), across, strict=True))
        face[:, axis] = 0.5 * sign * SIZE_MM[axis]
        a = np.arange(len(face)).reshape(steps)[:-1, :-1].ravel()
        b, c, d = a + steps[1], a + steps[1] + 1, a + 1
        two = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
        faces.append((two if sign > 0 else two[:, ::-1]) + sum(map(len, points)))
        normals.append(np.tile(sign * np.eye(3)[axis], (len(face), 1)))
        points.append(face)
    corners, number = np.unique(np.concatenate(points).round(6), axis=0, return_inverse=True)
    facing = np.zeros_like(corners)
    np.add.at(facing, number.ravel(), np.concatenate(normals))
    return Mesh(corners, number.ravel()[np.concatenate(faces)]), facing / np.linalg.norm(facing, axis=1)[:, None]


@pytest.fixture(scope="module")
def slab() -> list[tuple[View, Array]]:
    both = [seen(1.0, 1.0), seen(-1.0, 1.15)]
    return [(view_of(scan_of(mesh)), normals) for mesh, normals in both]


def coloured(slab, paint, lamps) -> list[View]:
    """The views as a camera sees them, each under its lamp with an exposure of its own."""
    rng, views = np.random.default_rng(6), []
    for (view, normals), lamp in zip(slab, lamps, strict=True):
        light = 0.35 + 0.6 * np.maximum(normals @ (np.asarray(lamp) / np.linalg.norm(lamp)), 0.0)
        linear = rng.uniform(0.6, 1.1) * light[:, None] * paint(view.scan.mesh.vertices_mm)
        grey = 255.0 * linear ** (1 / 2.2) + rng.normal(0.0, SCATTER, linear.shape)
        colours = np.clip(np.rint(grey), 0, 255).astype(np.uint8)
        views.append(replace(view, scan=replace(view.scan, colours=colours)))
    return views


# From the scanner, straight above; and a window beside the bench, under which the part was turned half round.
LAMPS = {"scanner": ((0, 0, 1), (0, 0, -1)), "window": ((0.8, 0.4, 0.3), (-0.8, -0.4, 0.3))}


def test_spots_of_paint_tell_the_right_way_whatever_the_light(slab):
    assert told_by_paint(WAYS, coloured(slab, spotted, LAMPS["window"])) == RIGHT


@pytest.mark.parametrize("lamps", LAMPS)
def test_light_on_one_colour_tells_nothing(slab, lamps):
    assert told_by_paint(WAYS, coloured(slab, plain, LAMPS[lamps])) is None


def test_spots_that_look_the_same_turned_round_tell_nothing(slab):
    def same(points_mm: Array) -> Array:
        return spotted(np.abs(points_mm))

    assert told_by_paint(WAYS, coloured(slab, same, LAMPS["scanner"])) is None


def test_places_that_an_exporter_filled_in_tell_nothing(slab):
    """A camera that never reached some places of the walls, seen from the bench, under which the part was turned."""
    filled = []
    for view, facing in zip(coloured(slab, plain, LAMPS["window"]), (1.0, -1.0), strict=True):
        colours, (x, y, z) = view.scan.colours.copy(), view.scan.mesh.vertices_mm.T
        for k in range(-30, 35, 12):
            across, along = facing * x - k - 3 * np.sin(k), facing * y - 0.6 * k - 3 * np.sin(k)
            colours[(np.hypot(across, z - 2 * np.cos(k)) < 4) | (np.hypot(along, z - 3 * np.cos(3 * k)) < 3)] = 128
        filled.append(replace(view, scan=replace(view.scan, colours=colours)))
    assert told_by_paint(WAYS, filled) is None


def test_one_view_without_colours_tells_nothing(slab):
    first, second = coloured(slab, spotted, LAMPS["scanner"])
    assert told_by_paint(WAYS, [first, replace(second, scan=replace(second.scan, colours=None))]) is None
