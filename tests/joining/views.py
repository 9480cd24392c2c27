"""Simulated scans of large flat parts of the farm bench, one side at a time, with the true pose between the sides.

A part is a plan outline about its middle, a middle surface over it, and a profile from the top over the rim to the
bottom. A view is one side of it to a little past the rim, meshed anew, with a false skirt along most of the rim,
scatter, warp, a scale error, specks, and turned anyhow. Nothing here is used by the verifier, and nothing of it is
used here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import Delaunay

Array = NDArray[np.float64]
Faces = NDArray[np.int64]


@dataclass(frozen=True)
class Large:
    """A large two-sided part.

    radius : angle -> distance of the outline from the middle, mm
    middle : (x, y) -> height of the middle surface, mm
    half : (x, y, inward) -> half thickness that far inside the rim
    edge_mm : half thickness of the rim itself; round_mm : its rounding, edge_mm for a half-round rim
    twins : turns about the upright axis, deg, that are wrong and look nearly right; equal : turns that look alike
    """

    name: str
    radius: Callable[[Array], Array]
    middle: Callable[[Array, Array], Array]
    half: Callable[[Array, Array, Array], Array]
    edge_mm: float
    round_mm: float
    thickest_mm: float
    equal: tuple[float, ...] = ()


def superellipse(a_mm: float, b_mm: float, power: float) -> Callable[[Array], Array]:
    def radius(angle: Array) -> Array:
        return (np.abs(np.cos(angle) / a_mm) ** power + np.abs(np.sin(angle) / b_mm) ** power) ** (-1.0 / power)

    return radius


def rising(inward: Array, over_mm: float) -> Array:
    """From 0 at the rim to 1, level at the end."""
    t = np.clip(inward / over_mm, 0.0, 1.0)
    return 1.0 - (1.0 - t) ** 2


def seat_panel() -> Large:
    """A long tapered blade: wider and thicker at one end."""

    def radius(angle: Array) -> Array:
        return superellipse(600, 200, 3.0)(angle) * (1.0 + 0.10 * np.cos(angle) + 0.02 * np.sin(angle))

    def half(x: Array, y: Array, inward: Array) -> Array:
        return 7.0 + (18.0 + 6.0 * x / 600.0 - 3.0) * rising(inward, 150.0)

    def middle(x: Array, y: Array) -> Array:
        return 12.0 * (x / 600.0) ** 2 + 0.0 * y

    return Large("seat_panel", radius, middle, half, 7.0, 7.0, 50.0)


def mudguard() -> Large:
    """A wing twisted by some degrees from end to end."""

    def radius(angle: Array) -> Array:
        return superellipse(600, 195, 2.6)(angle) * (1.0 + 0.05 * np.cos(angle) - 0.04 * np.sin(2 * angle))

    def middle(x: Array, y: Array) -> Array:
        return y * np.tan(np.radians(8.0) * x / 600.0) + 25.0 * (x / 600.0) ** 2

    def half(x: Array, y: Array, inward: Array) -> Array:
        return 6.0 + 16.0 * rising(inward, 150.0) + 0.0 * x

    return Large("mudguard", radius, middle, half, 6.0, 6.0, 44.0)


def feed_bin_lid() -> Large:
    """A lens with a knife rim."""

    def radius(angle: Array) -> Array:
        return superellipse(600, 200, 2.2)(angle) * (1.0 + 0.06 * np.cos(angle) + 0.03 * np.sin(angle))

    def half(x: Array, y: Array, inward: Array) -> Array:
        return 0.3 + 24.7 * rising(inward, 180.0) + 0.0 * x

    return Large("feed_bin_lid", radius, lambda x, y: 0.0 * x, half, 0.3, 0.3, 50.0)


def trough_lid(bump_mm: float = 2.0) -> Large:
    """Nearly the same turned half round: all that tells is a bump on the rim."""

    def radius(angle: Array) -> Array:
        plain = superellipse(600, 200, 3.0)(angle)
        at = np.angle(np.exp(1j * (angle - 1.1)))
        return plain + bump_mm * np.exp(-0.5 * (at * plain / 20.0) ** 2)

    def half(x: Array, y: Array, inward: Array) -> Array:
        return 7.0 + 18.0 * rising(inward, 150.0) + 0.0 * x

    equal = () if bump_mm else (180.0,)
    return Large("trough_lid", radius, lambda x, y: 0.0 * x, half, 7.0, 7.0, 50.0, equal)


def shell(edge_round_mm: float = 1.5) -> Large:
    """A domed cover 3 mm thick; its rim half round, or a straight wall with small roundings."""

    def radius(angle: Array) -> Array:
        return superellipse(600, 200, 3.0)(angle) * (1.0 + 0.05 * np.cos(angle) + 0.03 * np.sin(angle))

    def middle(x: Array, y: Array) -> Array:
        return 45.0 * (1.0 - (x / 620.0) ** 2) * (1.0 - (y / 240.0) ** 2) + 4.0 * np.sin(x / 90.0)

    return Large("hay_rack_cover", radius, middle, lambda x, y, inward: 1.5 + 0.0 * x, 1.5, edge_round_mm, 3.0)


@dataclass(frozen=True)
class Fault:
    """How bad the scans are.

    past_rim_mm : how far past the middle of the rim each side sees; twice that is the overlap
    spacing_mm, inner_mm : of the points near the rim and further in
    """

    noise_mm: float = 0.05
    warp_mm: float = 0.15
    scale: float = 0.0
    skirt_share: float = 0.7
    skirt_mm: tuple[float, float] = (5.0, 25.0)
    past_rim_mm: float = 2.2
    specks: int = 5
    spacing_mm: float = 1.3
    inner_mm: float = 8.0


@dataclass(frozen=True)
class View:
    """One side as scanned.

    is_part : (m,) bool, true of the faces that are part; to_part : (4, 4) back to where the part truly lies
    """

    vertices_mm: Array
    faces: Faces
    is_part: NDArray[np.bool_]
    to_part: Array


def random_fault(rng: np.random.Generator, **fixed: float) -> Fault:
    """Scatter, warp and scale as real ones spread."""
    drawn = Fault(
        noise_mm=float(rng.uniform(0.02, 0.1)),
        warp_mm=float(rng.uniform(0.05, 0.3)),
        past_rim_mm=float(rng.uniform(1.7, 2.4)),
    )
    return replace(drawn, **fixed)


def view(part: Large, side: int, fault: Fault, rng: np.random.Generator) -> View:
    """One side of a part, +1 from above and -1 from below."""
    vertices, faces, is_part = _side(part, side, fault, rng)
    vertices = vertices + _warp(vertices, fault.warp_mm, rng)
    vertices, faces, is_part = _with_specks(vertices, faces, is_part, fault.specks, rng)
    scale = 1.0 + fault.scale
    turn, shift = random_turn(rng), rng.uniform(-300, 300, 3)
    back = np.eye(4)
    back[:3, :3] = turn.T / scale
    back[:3, 3] = -turn.T @ shift / scale
    return View(vertices @ (scale * turn).T + shift, faces, is_part, back)


def true_pose(first: View, second: View) -> Array:
    """Takes the second scan's points to the first one's frame."""
    return np.linalg.inv(first.to_part) @ second.to_part


def errors(pose: Array, first: View, second: View, part: Large) -> tuple[float, float]:
    """Turn in degrees and largest distance in mm between a pose and the true one.

    Where the part looks alike turned round, the nearest of the equal poses is the true one.
    """
    points = second.vertices_mm[np.unique(second.faces[second.is_part])][::7]
    best = (180.0, np.inf)
    for turn_deg in (0.0, *part.equal):
        c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
        about = np.eye(4)
        about[:2, :2] = [[c, -s], [s, c]]
        true = np.linalg.inv(first.to_part) @ about @ second.to_part
        away = float(np.linalg.norm(points @ (pose - true)[:3, :3].T + (pose - true)[:3, 3], axis=1).max())
        between = pose[:3, :3] @ np.linalg.inv(true[:3, :3])
        between /= np.cbrt(np.linalg.det(between))
        angle = float(np.degrees(np.arccos(np.clip((np.trace(between) - 1) / 2, -1, 1))))
        best = min(best, (angle, away), key=lambda pair: pair[1])
    return best


def random_turn(rng: np.random.Generator) -> Array:
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    return q if np.linalg.det(q) > 0 else q @ np.diag([1, 1, -1.0])


# --- one side ------------------------------------------------------------------------------------------------------


def _profile(part: Large, x: Array, y: Array, along: Array) -> tuple[Array, Array]:
    """How far inside the outline, and how high over the middle surface, at arc length past the middle of the rim.

    along : negative on the scanned side; x, y : outline point outward of each
    """
    straight, quarter = part.edge_mm - part.round_mm, part.round_mm * np.pi / 2
    far = np.abs(along)
    angle = np.clip((far - straight) / part.round_mm, 0.0, np.pi / 2)
    inward = part.round_mm * (1.0 - np.cos(angle)) + np.maximum(far - straight - quarter, 0.0)
    height = np.minimum(far, straight) + part.round_mm * np.sin(angle)
    flat = far > straight + quarter
    height = np.where(flat, part.half(x, y, inward - part.round_mm), height)
    return inward, -np.sign(along) * height


def _at(part: Large, angle: Array, along: Array, side: int) -> Array:
    """Points of the surface, (..., 3)."""
    radius, reach = _reach(part, angle)
    c, s = np.cos(angle), np.sin(angle)
    inward, height = _profile(part, radius * c, radius * s, along)
    here = radius * (1.0 - inward / reach)
    x, y = here * c, here * s
    inward, height = _profile(part, x, y, along)
    return np.stack(np.broadcast_arrays(x, y, part.middle(x, y) + side * height), axis=-1)


def _reach(part: Large, angle: Array) -> tuple[Array, Array]:
    """Radius, and the inward distance that the whole radius stands for: radius times cosine of its slant."""
    radius = part.radius(angle)
    slope = (part.radius(angle + 1e-5) - part.radius(angle - 1e-5)) / 2e-5
    return radius, radius * radius / np.hypot(radius, slope)


def _rim_angles(part: Large, spacing_mm: float, phase: float) -> Array:
    """Angles evenly spaced along the outline."""
    fine = np.linspace(0, 2 * np.pi, 20001)
    r = part.radius(fine)
    rim = np.column_stack([r * np.cos(fine), r * np.sin(fine)])
    length = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(rim, axis=0), axis=1))]
    count = int(length[-1] / spacing_mm)
    return np.interp((np.arange(count) + phase) / count * length[-1], length, fine)


def _side(part: Large, side: int, fault: Fault, rng: np.random.Generator) -> tuple[Array, Faces, NDArray[np.bool_]]:
    sp = fault.spacing_mm
    angle = _rim_angles(part, sp, rng.uniform())
    rows = np.arange(-45.0, fault.past_rim_mm - 0.4 * sp, sp) + rng.uniform(-0.2, 0.2) * sp
    count, wide = len(angle), len(rows) + 1
    end = fault.past_rim_mm + rng.uniform(-0.3, 0.3, count) * min(sp, 1.0)
    along = np.concatenate([np.repeat(rows[None], count, axis=0), end[:, None]], axis=1)
    jitter = rng.uniform(-0.25, 0.25, (2, count, wide)) * sp
    jitter[1][:, -2:] = 0.0
    step = jitter[0] / part.radius(angle)[:, None] * 0.5
    body = _at(part, angle[:, None] + step, along + jitter[1], side)
    body = body + _scatter(body, side, fault.noise_mm, rng)
    skirt, on = _skirt(part, angle, body[:, -1], side, fault, rng)
    grid = _blurred(np.concatenate([body, skirt], axis=1), on, wide)
    faces, is_part = _grid_faces(count, grid.shape[1], wide, on)
    vertices = grid.reshape(-1, 3)
    inner_first = np.arange(count) * grid.shape[1]
    vertices, more = _interior(part, vertices, inner_first, angle, rows[0], side, fault, rng)
    faces = np.concatenate([faces, more])
    is_part = np.r_[is_part, np.ones(len(more), dtype=bool)]
    if side < 0:
        faces = faces[:, [0, 2, 1]]
    used, faces = np.unique(faces, return_inverse=True)
    return vertices[used], faces.reshape(-1, 3), is_part


def _scatter(points: Array, side: int, noise_mm: float, rng: np.random.Generator) -> Array:
    """Along the normal of the grid."""
    du = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    dv = np.gradient(points, axis=1)
    normal = np.cross(du, dv)
    normal /= np.maximum(np.linalg.norm(normal, axis=-1, keepdims=True), 1e-12)
    return normal * rng.normal(0, noise_mm, points.shape[:-1])[..., None]


def _skirt(
    part: Large, angle: Array, end: Array, side: int, fault: Fault, rng: np.random.Generator
) -> tuple[Array, NDArray[np.bool_]]:
    """A flange of the support, outward of where the view ends: points (count, k, 3) and which of them are there."""
    sp, count = fault.spacing_mm, len(angle)
    columns = max(int(fault.skirt_mm[1] / sp), 2)
    out = np.arange(1, columns + 1) * sp
    tangent = np.roll(end, -5, axis=0) - np.roll(end, 5, axis=0)
    tangent[:, 2] = 0
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    outward = np.column_stack([tangent[:, 1], -tangent[:, 0], np.zeros(count)])
    turns = angle[:, None] * np.arange(1, 5) + rng.uniform(0, 2 * np.pi, 4)
    wave = (np.cos(turns) / np.arange(1, 5)).sum(axis=1)
    present = wave < np.quantile(wave, fault.skirt_share) if fault.skirt_share > 0 else np.zeros(count, dtype=bool)
    low, high = fault.skirt_mm
    width = low + (high - low) * (0.5 + 0.5 * np.sin(angle * 5 + rng.uniform(0, 6)))
    width = np.clip(width + rng.normal(0, 1.0, count), low, high)
    dip = -0.8 * (1 - np.exp(-out / 1.2)) + np.tan(np.radians(rng.uniform(-4, 4))) * out
    points = end[:, None] + outward[:, None] * out[:, None]
    points[..., 2] += side * dip
    points[..., 2] += rng.normal(0, 2 * fault.noise_mm, points.shape[:2])
    return points, present[:, None] & (out <= width[:, None])


def _blurred(grid: Array, on: NDArray[np.bool_], wide: int) -> Array:
    """The crease between part and skirt as a scanner sees it, rounded over two spacings."""
    out = grid.copy()
    near = slice(wide - 2, wide + 2)
    for _ in range(2):
        mean = 0.25 * out[:, wide - 3 : wide + 1] + 0.5 * out[:, near] + 0.25 * out[:, wide - 1 : wide + 3]
        out[:, near] = np.where(on[:, :1, None], mean, out[:, near])
    return out


def _grid_faces(count: int, wide: int, part_wide: int, on: NDArray[np.bool_]) -> tuple[Faces, NDArray[np.bool_]]:
    i, j = np.meshgrid(np.arange(count), np.arange(wide - 1), indexing="ij")
    a, b = i * wide + j, (i + 1) % count * wide + j
    there = np.concatenate([np.ones((count, part_wide), dtype=bool), on], axis=1)
    good = there[:, :-1] & there[:, 1:] & np.roll(there, -1, axis=0)[:, :-1] & np.roll(there, -1, axis=0)[:, 1:]
    is_part = np.broadcast_to(np.arange(wide - 1) < part_wide - 1, good.shape)
    faces = np.stack([np.stack([a, a + 1, b], -1), np.stack([b, a + 1, b + 1], -1)], axis=2)
    return faces[good].reshape(-1, 3), np.repeat(is_part[good], 2)


def _interior(
    part: Large, vertices: Array, ring: Faces, angle: Array, first: float, side: int, fault: Fault,
    rng: np.random.Generator,
) -> tuple[Array, Faces]:  # fmt: skip
    """The face inside the ring, coarser."""
    step = fault.inner_mm
    span = float(part.radius(np.linspace(0, 6.3, 500)).max())
    x, y = np.meshgrid(np.arange(-span, span, step), np.arange(-span, span, step * 0.87), indexing="ij")
    x = x + (np.arange(x.shape[1]) % 2) * step / 2 + rng.uniform(0, step)
    x, y = x.ravel() + rng.uniform(-0.2, 0.2, x.size) * step, y.ravel() + rng.uniform(-0.2, 0.2, x.size) * step
    turn = np.arctan2(y, x)
    radius, reach = _reach(part, turn)
    inward = (1.0 - np.hypot(x, y) / radius) * reach
    inside = inward > -first + 0.6 * step
    x, y, inward = x[inside], y[inside], inward[inside]
    z = part.middle(x, y) + side * part.half(x, y, inward - part.round_mm) + rng.normal(0, fault.noise_mm, len(x))
    points = np.column_stack([x, y, z])
    both = np.concatenate([vertices[ring], points])
    faces = Delaunay(both[:, :2]).simplices.astype(np.int64)
    turned = np.cross(np.c_[both[faces[:, 1], :2] - both[faces[:, 0], :2], np.zeros(len(faces))],
                      np.c_[both[faces[:, 2], :2] - both[faces[:, 0], :2], np.zeros(len(faces))])[:, 2]  # fmt: skip
    faces = np.where((turned < 0)[:, None], faces[:, [0, 2, 1]], faces)  # as the grid runs
    rim_only = (faces < len(ring)).all(axis=1)
    mid = both[faces].mean(axis=1)
    radius, reach = _reach(part, np.arctan2(mid[:, 1], mid[:, 0]))
    faces = faces[~(rim_only & ((1.0 - np.hypot(mid[:, 0], mid[:, 1]) / radius) * reach < -first))]
    number = np.r_[ring, len(vertices) + np.arange(len(points))]
    return np.concatenate([vertices, points]), number[faces]


def _warp(points: Array, most_mm: float, rng: np.random.Generator) -> Array:
    """A smooth bend that is largest `most_mm`, less what a rigid motion would do."""
    u, v = points[:, 0] / 600.0, points[:, 1] / 200.0
    basis = np.column_stack([u * u, u * v, v * v, u**3, u * u * v, u * v * v, u**4])
    out = np.zeros_like(points)
    flat = np.column_stack([np.ones_like(u), u, v])
    for axis, weight in ((0, 0.3), (1, 0.3), (2, 1.0)):
        bend = basis @ rng.normal(size=basis.shape[1])
        bend = bend - flat @ np.linalg.lstsq(flat, bend, rcond=None)[0]
        out[:, axis] = weight * most_mm * bend / max(np.abs(bend).max(), 1e-9)
    return out


def _with_specks(
    vertices: Array, faces: Faces, is_part: NDArray[np.bool_], count: int, rng: np.random.Generator
) -> tuple[Array, Faces, NDArray[np.bool_]]:
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    for _ in range(count):
        at = rng.uniform(low - 20, high + 20)
        tetra = at + rng.normal(0, 1.5, (4, 3))
        faces = np.concatenate([faces, len(vertices) + np.array([[0, 1, 2], [0, 2, 3], [0, 3, 1], [1, 3, 2]])])
        vertices = np.concatenate([vertices, tetra])
        is_part = np.r_[is_part, np.zeros(4, dtype=bool)]
    return vertices, faces, is_part
