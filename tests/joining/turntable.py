"""Simulated views of small parts: a part on a table, scanned from all round above, once for every way it stands.

The scene (part, a rim of the table, putty that holds it) is a distance function; it is meshed anew for every view, and
what no place of the scanner sees past the scene itself is left out. Nothing here is used by the verifier, and nothing
of it is used here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from inbox_demo import simulated as sim
from inbox_demo.simulated import Shape
from tests.comparing.parts import PARTS as MORE

Array = NDArray[np.float64]
Faces = NDArray[np.int64]

PARTS = {make.__name__: make for make in (sim.latch_lever, sim.pump_rocker, sim.fence_clip, sim.seat_armrest)} | MORE
# Widest net that is scanned with.
NET_MM = 1.0
# The scanner goes round the table at these heights, and sees a face up to this far askew.
HEIGHTS_DEG, ROUNDS, LEAST_COSINE = (22.0, 48.0, 75.0), 10, 0.22


@dataclass(frozen=True)
class How:
    """One view.

    up : the part's direction that points up
    skirt_mm : greatest width of the rim of table left round the part, 0 for none
    putty_mm : radius of a ball of putty at its foot, 0 for none
    hidden_mm : how far up from the table the scanner saw nothing
    scale : what the scanner makes of a millimetre
    """

    up: tuple[float, float, float]
    spacing_mm: float = 0.8
    noise_mm: float = 0.03
    skirt_mm: float = 0.0
    putty_mm: float = 0.0
    hidden_mm: float = 0.0
    scale: float = 1.0
    specks: int = 3


@dataclass(frozen=True)
class View:
    """A scan of one view.

    is_part : (m,) bool of every face; to_part : (4, 4), scan's frame to the part's, scale included
    """

    vertices_mm: Array
    faces: Faces
    is_part: NDArray[np.bool_]
    to_part: Array


def view(shape: Shape, how: How, rng: np.random.Generator) -> View:
    """The part as one round of the scanner sees it."""
    up = np.asarray(how.up) / np.linalg.norm(how.up)
    scene, table = _scene(shape, how, up, rng)
    seed = int(rng.integers(1 << 30))
    scanned = sim.scan(
        scene, spacing_mm=how.spacing_mm, seed=seed, white_mm=0.7 * how.noise_mm, correlated_mm=0.7 * how.noise_mm
    )
    part = (scanned.vertices_mm - scanned.shift_mm) @ scanned.turn
    normals = scanned.normals @ scanned.turn
    seen = _seen(scene, part, normals, up)
    faces = scanned.faces[seen[scanned.faces].sum(axis=1) >= 2]
    # The table goes on and only its export is cropped: its cut edge is no surface.
    heights = part[faces].mean(axis=1) @ up - table
    faces = faces[(heights > -0.25) & ((heights > how.hidden_mm) | (how.skirt_mm > 0.0))]
    middles = part[faces].mean(axis=1)
    is_part = np.abs(shape.distance(middles)) < 0.45 * how.spacing_mm + 4.0 * how.noise_mm
    vertices, faces, is_part = _with_specks(scanned.vertices_mm, faces, is_part, how.specks, rng)
    used, faces = np.unique(faces, return_inverse=True)
    back = np.eye(4)
    back[:3, :3] = scanned.turn.T / how.scale
    back[:3, 3] = -scanned.turn.T @ scanned.shift_mm
    return View(how.scale * vertices[used], faces.reshape(-1, 3), is_part, back)


def true_pose(first: View, second: View) -> Array:
    """Takes the second scan's points to the first one's frame."""
    return np.linalg.inv(first.to_part) @ second.to_part


def greatest_error_mm(poses: tuple[Array, ...], views: list[View], shape: Shape) -> float:
    """How far any point of the part in any view is from where it belongs, in the first view's frame.

    A part that is symmetric as far as the views show it may come out turned on itself: then what counts is how far
    the views miss the part's true surface, and how far from any of them a place lies that they should show.
    """
    placed, true, most = [], [], 0.0
    for pose, each in zip(poses, views, strict=True):
        points = each.vertices_mm[np.unique(each.faces[each.is_part])]
        placed.append(_moved(points, pose))
        true.append(_moved(points, true_pose(views[0], each)))
        most = max(most, float(np.linalg.norm(placed[-1] - true[-1], axis=1).max()))
    if most < 1.0:
        return most
    here, there = (_moved(np.concatenate(points), views[0].to_part) for points in (placed, true))
    missed = np.abs(shape.distance(here[::5])) - np.abs(shape.distance(there[::5]))
    uncovered = cKDTree(here).query(there[::5])[0]
    # Some points of the blend to the table count as part, and the nearest point lies up to a net's spacing away.
    return min(most, max(float(np.quantile(missed, 0.995)), float(np.quantile(uncovered, 0.998)) - NET_MM))


def _moved(points: Array, pose: Array) -> Array:
    return points @ pose[:3, :3].T + pose[:3, 3]


def random_how(rng: np.random.Generator, up: tuple[float, float, float], **fixed: float) -> How:
    """Scatter, scale, skirt and putty as real ones spread."""
    drawn = How(
        up=up,
        noise_mm=float(rng.uniform(0.015, 0.05)),
        skirt_mm=float(rng.choice([0.0, rng.uniform(3.0, 15.0)])),
        putty_mm=float(rng.choice([0.0, 0.0, rng.uniform(3.0, 6.0)])),
        hidden_mm=float(rng.uniform(0.0, 2.5)),
        scale=float(1.0 + rng.uniform(-0.002, 0.002)),
        specks=int(rng.integers(0, 8)),
    )
    return replace(drawn, **fixed)


def tilted(up: tuple[float, float, float], by_deg: float, rng: np.random.Generator) -> tuple[float, float, float]:
    """A direction so far from another, any way round."""
    start = np.asarray(up, dtype=float) / np.linalg.norm(up)
    aside = np.cross(start, rng.normal(size=3))
    aside /= np.linalg.norm(aside)
    angle = np.radians(by_deg)
    x, y, z = np.cos(angle) * start + np.sin(angle) * aside
    return float(x), float(y), float(z)


# --- the scene -----------------------------------------------------------------------------------------------------


def _scene(shape: Shape, how: How, up: Array, rng: np.random.Generator) -> tuple[Shape, float]:
    """The scene, and how high its table is."""
    low, high = np.asarray(shape.low_mm, float), np.asarray(shape.high_mm, float)
    grid = np.stack(np.meshgrid(*(np.linspace(a, b, 60) for a, b in zip(low, high, strict=True)), indexing="ij"), -1)
    points = grid.reshape(-1, 3)
    inside = points[shape.distance(points) < 0.0]
    table = float((inside @ up).min())
    foot = inside[(inside @ up) < table + 1.5].mean(axis=0)
    across = np.cross(up, np.eye(3)[int(np.abs(up).argmin())])
    across /= np.linalg.norm(across)
    along = np.cross(up, across)
    phase, middle = rng.uniform(0, 2 * np.pi, 2), inside.mean(axis=0)

    def distance(p: Array) -> Array:
        solid = shape.distance(p)
        if how.putty_mm:
            solid = np.minimum(solid, np.linalg.norm(p - foot, axis=1) - how.putty_mm)
        if how.skirt_mm:
            turn = np.arctan2((p - middle) @ along, (p - middle) @ across)
            width = how.skirt_mm * (0.45 + 0.35 * np.sin(2 * turn + phase[0]) + 0.2 * np.sin(5 * turn + phase[1]))
            rise = p @ up - table
            flange = np.maximum(np.maximum(rise, -2.0 - rise), 0.8 * (solid - width))
            solid = np.minimum(solid, flange)
        return solid

    room = 2.0 + max(how.skirt_mm * 1.2, how.putty_mm)
    return Shape(shape.name, distance, tuple(low - room), tuple(high + room)), table


def _seen(scene: Shape, points: Array, normals: Array, up: Array) -> NDArray[np.bool_]:
    """Which points some place of the scanner sees, far away round above the table."""
    across = np.cross(up, np.eye(3)[int(np.abs(up).argmin())])
    across /= np.linalg.norm(across)
    along = np.cross(up, across)
    seen = np.zeros(len(points), dtype=bool)
    reach = float(np.linalg.norm(np.ptp(points, axis=0)))
    for height in np.radians(HEIGHTS_DEG):
        for turn in np.arange(ROUNDS) * 2 * np.pi / ROUNDS:
            way = np.cos(height) * (np.cos(turn) * across + np.sin(turn) * along) + np.sin(height) * up
            asked = np.flatnonzero(~seen & (normals @ way > LEAST_COSINE))
            seen[asked[free(scene, points[asked] + 0.3 * normals[asked], way, reach)]] = True
    return seen


def free(scene: Shape, start: Array, way: Array, reach: float) -> NDArray[np.bool_]:
    """Whether nothing stands between these places and the scanner."""
    free = np.zeros(len(start), dtype=bool)
    gone = np.full(len(start), 0.3)
    left = np.arange(len(start))
    for _ in range(60):
        if len(left) == 0:
            break
        away = scene.distance(start[left] + gone[left, None] * way)
        gone[left] += np.maximum(0.9 * away, 0.15)
        past = gone[left] > reach
        free[left[past]] = True
        left = left[(away > 0.0) & ~past]
    return free


def _with_specks(
    vertices: Array, faces: Faces, is_part: NDArray[np.bool_], count: int, rng: np.random.Generator
) -> tuple[Array, Faces, NDArray[np.bool_]]:
    low, high = vertices[faces].min(axis=(0, 1)), vertices[faces].max(axis=(0, 1))
    for _ in range(count):
        tetra = rng.uniform(low - 10, high + 10) + rng.normal(0, 0.8, (4, 3))
        faces = np.concatenate([faces, len(vertices) + np.array([[0, 1, 2], [0, 2, 3], [0, 3, 1], [1, 3, 2]])])
        vertices = np.concatenate([vertices, tetra])
        is_part = np.r_[is_part, np.zeros(4, dtype=bool)]
    return vertices, faces, is_part
