"""Simulated scans of invented farm-bench parts, for the demo and the tests.

A part is a signed-distance function with exact, known sizes. Its surface is meshed on a grid that lies askew to the
part, every corner is moved onto the true surface, and then the scanner's sins are added: powder, scale, scatter that
differs from point to point and scatter that neighbours share, bores that close a few millimetres below the mouth,
holes, specks, flipped faces. Nothing here is used by the verifier, and nothing of the verifier is used here.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Faces = NDArray[np.int64]
Distance = Callable[[Array], Array]

EDGE_RADIUS_MM = 0.25  # a scanner rounds every edge by about its point spacing


# --- signed distances: negative inside, millimetres ---------------------------------------------------------------


def intersect(*parts: Array, radius_mm: float = EDGE_RADIUS_MM) -> Array:
    """Common solid of several, its edges rounded; exact wherever two of them differ by more than the radius."""
    out = parts[0]
    for other in parts[1:]:
        overlap = np.maximum(radius_mm - np.abs(out - other), 0.0)
        out = np.maximum(out, other) + overlap**2 / (4.0 * radius_mm)
    return out


def unite(*parts: Array) -> Array:
    """Solid of several; inner corners stay sharp, so that faces the parts share are exact."""
    return np.asarray(np.minimum.reduce(parts))


def cut(solid: Array, tool: Array, radius_mm: float = EDGE_RADIUS_MM) -> Array:
    """The solid without the tool."""
    return intersect(solid, -tool, radius_mm=radius_mm)


def slab(height: Array, low_mm: float, high_mm: float) -> Array:
    """Between two parallel planes."""
    return np.maximum(low_mm - height, height - high_mm)


def disc(points: Array, centre_mm: tuple[float, float], radius_mm: float) -> Array:
    """A circle in the plane, or an endless cylinder along z."""
    return np.asarray(np.hypot(points[:, 0] - centre_mm[0], points[:, 1] - centre_mm[1]) - radius_mm)


def box2(points: Array, centre_mm: tuple[float, float], size_mm: tuple[float, float]) -> Array:
    """A rectangle in the plane, or an endless bar along z."""
    beyond = np.abs(points[:, :2] - np.asarray(centre_mm)) - np.asarray(size_mm) / 2.0
    outside = np.linalg.norm(np.maximum(beyond, 0.0), axis=1)
    return np.asarray(outside + np.minimum(beyond.max(axis=1), 0.0))


def tapered_bar(points: Array, a: tuple[float, float], b: tuple[float, float], ra_mm: float, rb_mm: float) -> Array:
    """Two circles and the straight flanks that touch both: the outline of a lever."""
    start, end = np.asarray(a, float), np.asarray(b, float)
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    across = np.array([-along[1], along[0]])
    rel = points[:, :2] - start
    u, v = rel @ along, np.abs(rel @ across)
    slope = (ra_mm - rb_mm) / length  # sine of the flank's angle
    rise = np.sqrt(1.0 - slope**2)
    on_flank = v * rise + u * slope - ra_mm
    position = u * rise - v * slope  # along the flank, from the foot of circle a
    near_a = np.hypot(u, v) - ra_mm
    near_b = np.hypot(u - length, v) - rb_mm
    return np.where(position < 0.0, near_a, np.where(position > length * rise, near_b, on_flank))


def bore(points: Array, centre_mm: tuple[float, float], diameter_mm: float, oval_mm: float = 0.0) -> Array:
    """An endless bore along z; oval by so much between its widest and its narrowest diameter."""
    x, y = points[:, 0] - centre_mm[0], points[:, 1] - centre_mm[1]
    radius = np.hypot(x, y)
    if oval_mm == 0.0:
        return radius - diameter_mm / 2.0
    twice_angle = 2.0 * np.arctan2(y, x)
    return np.asarray(radius - diameter_mm / 2.0 - oval_mm / 4.0 * np.cos(twice_angle))


def crater(
    points: Array,
    centre_mm: tuple[float, float],
    diameter_mm: float,
    mouths_mm: tuple[float, float],
    depth_mm: float,
    oval_mm: float = 0.0,
) -> Array:
    """A bore as a scanner sees a deep one: two mouths that close in a bowl some way down.

    mouths_mm : heights of the lower and the upper mouth
    """
    wall = bore(points, centre_mm, diameter_mm, oval_mm)
    z = points[:, 2]
    radius = np.hypot(points[:, 0] - centre_mm[0], points[:, 1] - centre_mm[1])
    bowl = 0.25 * (diameter_mm / 2.0 - radius)  # deeper in the middle
    upper = np.maximum(wall, (mouths_mm[1] - depth_mm - bowl) - z)
    lower = np.maximum(wall, z - (mouths_mm[0] + depth_mm + bowl))
    return np.minimum(upper, lower)


# --- parts ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Shape:
    """An invented part: its distance function, a box that holds it, and its true sizes by row name.

    truth : name of the size -> mm (degrees for an angle)
    """

    name: str
    distance: Distance
    low_mm: tuple[float, float, float]
    high_mm: tuple[float, float, float]
    truth: dict[str, float] = field(default_factory=dict)


def latch_lever(*, pin_mm: float = 6.0) -> Shape:
    """Gate-latch lever: two round ends, a raised hub at the pivot, a pin bore at the far end."""

    def distance(p: Array) -> Array:
        body = intersect(tapered_bar(p, (0, 0), (60, 0), 14.0, 10.0), slab(p[:, 2], 0.0, 8.0))
        hub = intersect(disc(p, (0, 0), 11.0), slab(p[:, 2], 4.0, 12.0))
        return cut(cut(unite(body, hub), bore(p, (0, 0), 10.0)), bore(p, (60, 0), pin_mm))

    truth = {
        "length": 84.0,
        "width": 28.0,
        "height": 12.0,
        "body": 8.0,
        "hub step": 4.0,
        "hub": 22.0,
        "pivot": 10.0,
        "pin": pin_mm,
        "pivot to pin": 60.0,
        "pin to flank": 10.0,
        "flanks": float(np.degrees(2.0 * np.arcsin(4.0 / 60.0))),
    }
    return Shape("latch_lever", distance, (-15, -15, -1), (71, 15, 13), truth)


def pump_rocker() -> Shape:
    """Feed-pump rocker: a pivot between two unequal arms, a flat striking pad at the end of the longer one."""

    def distance(p: Array) -> Array:
        arms = unite(tapered_bar(p, (0, 0), (-48, 6), 13.0, 8.0), tapered_bar(p, (0, 0), (36, 8), 13.0, 7.0))
        plate = intersect(arms, slab(p[:, 2], 0.0, 14.0))
        pad = intersect(box2(p, (-48, 0), (14, 36)), slab(p[:, 2], 0.0, 10.0))
        solid = unite(plate, pad)
        for centre, diameter in (((0, 0), 12.0), ((-48, 6), 5.0), ((36, 8), 5.5)):
            solid = cut(solid, bore(p, centre, diameter))
        return solid

    truth = {
        "pivot": 12.0,
        "long end": 5.0,
        "short end": 5.5,
        "pivot to long end": float(np.hypot(48, 6)),
        "pivot to short end": float(np.hypot(36, 8)),
        "long end to short end": float(np.hypot(84, 2)),
        "plate": 14.0,
        "pad": 10.0,
        "pad step": 4.0,
        "pad height": 36.0,
        "long end to pad": 7.0,
    }
    return Shape("pump_rocker", distance, (-57, -20, -1), (45, 20, 15), truth)


def fence_clip(*, seen_mm: float | None = None, oval_mm: float = 0.0) -> Shape:
    """Fence clip: a plate with an upright lug; the wire bore may scan as a crater `seen_mm` deep."""

    def distance(p: Array) -> Array:
        plate = intersect(box2(p, (0, 0), (46, 24)), slab(p[:, 2], 0.0, 9.0))
        lug = intersect(box2(p, (18, 0), (10, 24)), slab(p[:, 2], 2.0, 21.0))
        solid = unite(plate, lug)
        solid = cut(cut(solid, bore(p, (-16, 0), 4.2)), bore(p, (-4, 5), 4.2))
        if seen_mm is None:
            return cut(solid, bore(p, (6, -5), 3.0, oval_mm))
        return cut(solid, crater(p, (6, -5), 3.0, (0.0, 9.0), seen_mm, oval_mm))

    truth = {
        "length": 46.0,
        "width": 24.0,
        "height": 21.0,
        "plate": 9.0,
        "lug": 10.0,
        "lug step": 12.0,
        "screw": 4.2,
        "nail": 4.2,
        "wire": 3.0,
        "screw to nail": 13.0,
        "screw to wire": float(np.hypot(22, 5)),
        "nail to wire": float(np.hypot(10, 10)),
        "screw to end": 7.0,
    }
    return Shape("fence_clip", distance, (-24, -13, -1), (24, 13, 22), truth)


def seat_armrest() -> Shape:
    """Seat armrest core: long, low, with rounded ends, two mounting bores and a pin."""

    def distance(p: Array) -> Array:
        bar = intersect(tapered_bar(p, (0, 0), (150, 0), 21.0, 16.0), slab(p[:, 2], 0.0, 18.0), radius_mm=2.0)
        pin = intersect(disc(p, (75, 0), 6.0), slab(p[:, 2], 9.0, 27.0))
        solid = unite(bar, pin)
        return cut(cut(solid, bore(p, (0, 0), 8.5)), bore(p, (150, 0), 8.5))

    truth = {
        "length": 187.0,
        "width": 42.0,
        "height": 27.0,
        "bar": 18.0,
        "pin": 12.0,
        "front": 8.5,
        "rear": 8.5,
        "front to rear": 150.0,
    }
    return Shape("seat_armrest", distance, (-22, -22, -1), (167, 22, 28), truth)


# --- meshing --------------------------------------------------------------------------------------------------------


def rotation(seed: int) -> Array:
    """A turn drawn evenly from all turns (unit quaternion of four normal numbers), (3, 3)."""
    w, x, y, z = (lambda q: q / np.linalg.norm(q))(np.random.default_rng(seed).normal(size=4))
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
            [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
            [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
        ]
    )


def _grid_values(distance: Distance, low: Array, counts: Array, step_mm: float) -> NDArray[np.float32]:
    """Distances on a grid, worked out only in blocks that the surface may cross."""
    block = 8
    blocks = -(-counts // block)
    values = np.empty(tuple(blocks * block), dtype=np.float32)
    corner = np.stack(np.meshgrid(*(np.arange(b) for b in blocks), indexing="ij"), axis=-1).reshape(-1, 3) * block
    middle = distance(low + (corner + (block - 1) / 2.0) * step_mm)
    reach = step_mm * (block + 1) * np.sqrt(3.0) / 2.0
    offsets = np.stack(np.meshgrid(*(np.arange(block),) * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    view = values.reshape(blocks[0], block, blocks[1], block, blocks[2], block).transpose(0, 2, 4, 1, 3, 5)
    far = np.abs(middle) > 1.6 * reach  # rounded unions are a little steeper than one
    flat = corner // block
    view[flat[far, 0], flat[far, 1], flat[far, 2]] = middle[far, None, None, None]
    for part in np.array_split(np.flatnonzero(~far), max(1, int((~far).sum()) // 1000)):
        points = low + (corner[part][:, None, :] + offsets[None]) * step_mm
        found = distance(points.reshape(-1, 3)).reshape(len(part), block, block, block)
        view[flat[part, 0], flat[part, 1], flat[part, 2]] = found
    return values


def _without_pinches(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Lifts grid points out of the solid where two of a square's diagonal corners alone lie inside.

    There a net would share one edge between four faces. The corners are moved onto the true surface afterwards.
    """
    for _ in range(12):
        inside = values < 0
        pinched = 0
        for axis in range(3):
            u, v = (a for a in range(3) if a != axis)
            at = {}
            for i, j in ((0, 0), (1, 0), (1, 1), (0, 1)):
                window = [slice(None)] * 3
                window[u], window[v] = slice(i, values.shape[u] - 1 + i), slice(j, values.shape[v] - 1 + j)
                at[i, j] = inside[tuple(window)]
            odd = (at[0, 0] == at[1, 1]) & (at[1, 0] == at[0, 1]) & (at[0, 0] != at[1, 0])
            for place in np.argwhere(odd):
                corners = [place + i * np.eye(3, dtype=int)[u] + j * np.eye(3, dtype=int)[v] for i, j in at]
                within = [tuple(c) for c in corners if inside[tuple(c)]]
                values[max(within, key=lambda c: values[c])] = 1e-6
            pinched += int(odd.sum())
        if pinched == 0:
            break
    return values


def _surface_net(values: NDArray[np.float32], low: Array, step_mm: float) -> tuple[Array, Faces]:
    """One corner in every cell the surface crosses, one quad across every edge it crosses, cut in two."""
    inside = values < 0
    n = np.array(values.shape) - 1
    corner_offsets = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)])
    filled = np.zeros(tuple(n), dtype=np.uint8)
    for i, j, k in corner_offsets:
        filled += inside[i : i + n[0], j : j + n[1], k : k + n[2]]
    cells = np.argwhere((filled > 0) & (filled < 8))
    number = np.full(tuple(n), -1, dtype=np.int32)
    number[tuple(cells.T)] = np.arange(len(cells))
    at = [values[tuple((cells + o).T)].astype(float) for o in corner_offsets]
    total, hits = np.zeros((len(cells), 3)), np.zeros(len(cells))
    for a in range(8):
        for axis in range(3):
            if corner_offsets[a][axis]:
                continue
            b = a + (4, 2, 1)[axis]
            crosses = (at[a] < 0) != (at[b] < 0)
            share = np.divide(at[a], at[a] - at[b], out=np.zeros_like(at[a]), where=crosses)
            point = np.tile(corner_offsets[a].astype(float), (len(cells), 1))
            point[:, axis] += share
            total[crosses] += point[crosses]
            hits += crosses
    vertices = low + (cells + total / hits[:, None]) * step_mm
    quads = []
    for axis in range(3):
        u, v = (axis + 1) % 3, (axis + 2) % 3
        here = [slice(1, n[0]), slice(1, n[1]), slice(1, n[2])]
        here[axis] = slice(0, n[axis])
        there = list(here)
        there[axis] = slice(1, n[axis] + 1)
        first, second = inside[tuple(here)], inside[tuple(there)]
        base = np.argwhere(first != second) + np.array([0 if a == axis else 1 for a in range(3)])
        outwards = inside[tuple(base.T)]
        eu, ev = np.eye(3, dtype=int)[u], np.eye(3, dtype=int)[v]
        ring = np.stack([number[tuple((base - o).T)] for o in (eu + ev, ev, 0 * eu, eu)], axis=1)
        ring[~outwards] = ring[~outwards][:, ::-1]
        quads.append(ring)
    ring = np.concatenate(quads)
    first_way = np.sum((vertices[ring[:, 0]] - vertices[ring[:, 2]]) ** 2, axis=1)
    second_way = np.sum((vertices[ring[:, 1]] - vertices[ring[:, 3]]) ** 2, axis=1)
    ring[second_way < first_way] = np.roll(ring[second_way < first_way], 1, axis=1)
    return vertices, np.concatenate([ring[:, [0, 1, 2]], ring[:, [0, 2, 3]]]).astype(np.int64)


def _gradient(distance: Distance, points: Array, step_mm: float = 1e-4) -> Array:
    """Central differences of the distance, (n, 3)."""
    steps = np.eye(3) * step_mm
    slope = [(distance(points + e) - distance(points - e)) / (2.0 * step_mm) for e in steps]
    return np.stack(slope, axis=1)


def _smooth_field(points: Array, length_mm: float, rng: np.random.Generator, waves: int = 160) -> Array:
    """A random field of unit variance with covariance exp(-r^2 / (2 length^2)), from random plane waves."""
    wave = rng.normal(size=(waves, 3)) / length_mm
    phase = rng.uniform(0.0, 2.0 * np.pi, waves)
    out = np.empty(len(points))
    for part in np.array_split(np.arange(len(points)), max(1, len(points) // 20_000)):
        out[part] = np.cos(points[part] @ wave.T + phase).sum(axis=1)
    return np.asarray(out * np.sqrt(2.0 / waves))


@dataclass(frozen=True)
class Scanned:
    """A simulated export.

    vertices_mm : (n, 3); faces : (m, 3)
    turn, shift_mm : where the part lies: vertex = scale * (turn @ part point) + shift
    normals : (n, 3) outward, of the true surface
    """

    vertices_mm: Array
    faces: Faces
    turn: Array
    shift_mm: Array
    normals: Array


def scan(
    shape: Shape,
    *,
    spacing_mm: float = 0.5,
    seed: int = 1,
    turn: Array | None = None,
    shift_mm: tuple[float, float, float] = (13.0, -7.0, 41.0),
    white_mm: float = 0.015,
    correlated_mm: float = 0.015,
    correlation_mm: float = 1.0,
    coat_mm: float = 0.0,
    scale: float = 1.0,
) -> Scanned:
    """A closed, welded, outward-facing scan with scatter, powder and scale error.

    spacing_mm : distance of neighbouring points
    coat_mm : powder on every face; scale : what the scanner makes of one millimetre
    """
    rng = np.random.default_rng(seed)
    turned = rotation(seed) if turn is None else turn

    def coated(points: Array) -> Array:
        return shape.distance(points @ turned) - coat_mm

    box = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=float)
    corners = (np.asarray(shape.low_mm) + box * (np.asarray(shape.high_mm) - np.asarray(shape.low_mm))) @ turned.T
    low = corners.min(axis=0) - 2.0 * spacing_mm + rng.uniform(0.0, spacing_mm, 3)
    counts = np.ceil((corners.max(axis=0) + 2.0 * spacing_mm - low) / spacing_mm).astype(int) + 1
    vertices, faces = _surface_net(_without_pinches(_grid_values(coated, low, counts, spacing_mm)), low, spacing_mm)
    for _ in range(3):
        slope = _gradient(coated, vertices)
        steep = np.maximum((slope**2).sum(axis=1), 0.25)
        move = (coated(vertices) / steep)[:, None] * slope
        length = np.linalg.norm(move, axis=1, keepdims=True)
        vertices = vertices - move * np.minimum(1.0, 0.5 * spacing_mm / np.maximum(length, 1e-12))
    normals = _gradient(coated, vertices)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-9)
    scatter = white_mm * rng.normal(size=len(vertices))
    if correlated_mm:
        scatter = scatter + correlated_mm * _smooth_field(vertices, correlation_mm, rng)
    vertices = scale * (vertices + scatter[:, None] * normals) + np.asarray(shift_mm)
    return Scanned(vertices, faces, turned, np.asarray(shift_mm, float), normals)


# --- the faults of an export ----------------------------------------------------------------------------------------


def with_holes(faces: Faces, vertices_mm: Array, *, count: int, across_mm: float, seed: int) -> Faces:
    """Faces without those within so many round patches."""
    rng = np.random.default_rng(seed)
    middles = vertices_mm[faces].mean(axis=1)
    keep = np.ones(len(faces), dtype=bool)
    for centre in middles[rng.integers(0, len(faces), count)]:
        keep &= np.linalg.norm(middles - centre, axis=1) > across_mm / 2.0
    return faces[keep]


def without_bore_wall(
    scanned: Scanned, centre_mm: tuple[float, float], radius_mm: float, z_mm: tuple[float, float], scale: float = 1.0
) -> Faces:
    """Faces without those inside a cylinder of the part: a bore whose depth the scanner did not see."""
    part = (scanned.vertices_mm - scanned.shift_mm) @ scanned.turn / scale
    middles = part[scanned.faces].mean(axis=1)
    inside = np.hypot(middles[:, 0] - centre_mm[0], middles[:, 1] - centre_mm[1]) < radius_mm
    return scanned.faces[~(inside & (middles[:, 2] > z_mm[0]) & (middles[:, 2] < z_mm[1]))]


def with_specks(vertices_mm: Array, faces: Faces, *, count: int, across_mm: float, seed: int) -> tuple[Array, Faces]:
    """Adds loose eight-faced specks round about the part."""
    rng = np.random.default_rng(seed)
    ball = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]], dtype=float)
    hull = np.array([[0, 2, 4], [2, 1, 4], [1, 3, 4], [3, 0, 4], [2, 0, 5], [1, 2, 5], [3, 1, 5], [0, 3, 5]])
    low, high = vertices_mm.min(axis=0), vertices_mm.max(axis=0)
    for centre in rng.uniform(low - 8.0, high + 8.0, (count, 3)):
        faces = np.concatenate([faces, hull + len(vertices_mm)])
        vertices_mm = np.concatenate([vertices_mm, centre + ball * across_mm / 2.0 * rng.uniform(0.4, 1.0)])
    return vertices_mm, faces.astype(np.int64)


def with_flipped(faces: Faces, *, share: float, seed: int) -> Faces:
    """Turns a share of the faces inside out."""
    flipped = faces.copy()
    chosen = np.random.default_rng(seed).random(len(faces)) < share
    flipped[chosen] = flipped[chosen][:, ::-1]
    return flipped


def with_doubled(faces: Faces, *, count: int, seed: int) -> Faces:
    """Repeats some faces."""
    return np.concatenate([faces, faces[np.random.default_rng(seed).integers(0, len(faces), count)]])


# --- files ----------------------------------------------------------------------------------------------------------


def stl_bytes(vertices: Array, faces: Faces) -> bytes:
    """Binary STL, corners not shared."""
    record = np.zeros(len(faces), dtype=[("normal", "<f4", 3), ("corner", "<f4", (3, 3)), ("attribute", "<u2")])
    record["corner"] = vertices[faces]
    return b"solid exported".ljust(80) + np.uint32(len(faces)).tobytes() + record.tobytes()


def ply_bytes(vertices: Array, faces: Faces) -> bytes:
    """Little-endian PLY."""
    header = (
        f"ply\nformat binary_little_endian 1.0\nelement vertex {len(vertices)}\n"
        "property float x\nproperty float y\nproperty float z\n"
        f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    record = np.empty(len(faces), dtype=[("n", "u1"), ("corner", "<i4", 3)])
    record["n"], record["corner"] = 3, faces
    return header.encode() + vertices.astype("<f4").tobytes() + record.tobytes()


def obj_bytes(vertices: Array, faces: Faces, digits: int = 6) -> bytes:
    """Text OBJ."""
    points = "\n".join(f"v {x:.{digits}f} {y:.{digits}f} {z:.{digits}f}" for x, y, z in vertices)
    triangles = "\n".join(f"f {a} {b} {c}" for a, b, c in faces + 1)
    return f"{points}\n{triangles}\n".encode()


def three_mf_bytes(vertices: Array, faces: Faces) -> bytes:
    """3MF in millimetres."""
    points = "".join(f'<vertex x="{x:.5f}" y="{y:.5f}" z="{z:.5f}"/>' for x, y, z in vertices)
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in faces)
    model = (
        '<?xml version="1.0" encoding="UTF-8"?><model unit="millimeter" '
        'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>'
        '<object id="1" type="model"><mesh>'
        f"<vertices>{points}</vertices><triangles>{triangles}</triangles></mesh></object></resources>"
        '<build><item objectid="1"/></build></model>'
    )
    types = (
        '<?xml version="1.0" encoding="UTF-8"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
    )
    relations = (
        '<?xml version="1.0" encoding="UTF-8"?>'
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
        'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
    )
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in (("[Content_Types].xml", types), ("_rels/.rels", relations), ("3D/3dmodel.model", model)):
            archive.writestr(zipfile.ZipInfo(name, (2020, 1, 1, 0, 0, 0)), text, zipfile.ZIP_DEFLATED)
    return packed.getvalue()
