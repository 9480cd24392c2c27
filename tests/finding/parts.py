"""Simulated parts of exactly known size for the finding room's tests, and where a found thing lies on them."""

from dataclasses import replace
from functools import cache

import numpy as np

from inbox_demo import simulated as sim
from verifier.finding import Cylinder, Features, find_features
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Array, Mesh

# The scatter the published figures of the room were taken at: white, shared, and over what length, mm.
NOISE_A = {"white_mm": 0.02, "correlated_mm": 0.02, "correlation_mm": 1.0}
WHITE = {"white_mm": 0.05, "correlated_mm": 0.0}
COARSE = {"white_mm": 0.03, "correlated_mm": 0.04, "correlation_mm": 2.0}
WAVES = {"white_mm": 0.02, "correlated_mm": 0.03, "correlation_mm": 8.0}


def link() -> sim.Shape:
    """A link of the feed pump: 8 thick, 55 long over two round ends, bores of 6 and 3 at 42."""

    def distance(p: Array) -> Array:
        body = sim.intersect(sim.tapered_bar(p, (0, 0), (42, 0), 6.5, 6.5), sim.slab(p[:, 2], 0.0, 8.0))
        return sim.cut(sim.cut(body, sim.bore(p, (0, 0), 6.0)), sim.bore(p, (42, 0), 3.0))

    return sim.Shape("link", distance, (-7, -7, -1), (49, 7, 9))


def block() -> sim.Shape:
    """50 x 30 x 20 with a counterbored through bore, a blind bore and a slot with round ends."""

    def distance(p: Array) -> Array:
        solid = sim.intersect(sim.box2(p, (0, 0), (50, 30)), sim.slab(p[:, 2], 0.0, 20.0))
        solid = sim.cut(solid, sim.bore(p, (-12, 0), 6.0))
        solid = sim.cut(solid, np.maximum(sim.disc(p, (-12, 0), 5.5), 14.0 - p[:, 2]))
        solid = sim.cut(solid, np.maximum(sim.disc(p, (12, 0), 2.5), 8.0 - p[:, 2]))
        slot = sim.unite(sim.box2(p, (5, -9), (8, 4)), sim.disc(p, (1, -9), 2.0), sim.disc(p, (9, -9), 2.0))
        return sim.cut(solid, slot)

    return sim.Shape("block", distance, (-26, -16, -1), (26, 16, 21))


def rib() -> sim.Shape:
    """A rib 3 thick, 40 long, 10 high with the rounding, of 1.5, that runs along its top."""

    def distance(p: Array) -> Array:
        rounded = np.hypot(p[:, 0], np.maximum(p[:, 2] - 8.5, 0.0)) - 1.5
        return sim.intersect(rounded, sim.slab(p[:, 2], 0.0, 11.0), sim.slab(p[:, 1], -20.0, 20.0))

    return sim.Shape("rib", distance, (-2.5, -22, -1), (2.5, 22, 11))


def bent_strip() -> sim.Shape:
    """A strip 300 long, 30 wide, 10 thick, bent to 200 radius, with bores of 8 and 6 through it."""

    def distance(p: Array) -> Array:
        off = np.hypot(p[:, 0], p[:, 2] + 200.0) - 200.0
        strip = sim.intersect(
            sim.slab(off, -5.0, 5.0), sim.slab(p[:, 1], -15.0, 15.0), sim.slab(p[:, 0], -150.0, 150.0)
        )
        return sim.cut(sim.cut(strip, sim.bore(p, (0, 0), 8.0)), sim.bore(p, (60, 0), 6.0))

    return sim.Shape("bent strip", distance, (-152, -17, -90), (152, 17, 7))


def plate(*, mouths: str = "both", oval_mm: float = 0.0) -> sim.Shape:
    """A plate 24 x 20 x 9 with a bore of 3 that scans as a crater 2 deep, at both mouths or the upper one alone."""

    def distance(p: Array) -> Array:
        body = sim.intersect(sim.box2(p, (0, 0), (24, 20)), sim.slab(p[:, 2], 0.0, 9.0))
        hole = sim.crater(p, (2, 1), 3.0, (0.0, 9.0), 2.0, oval_mm)
        if mouths == "upper":
            hole = np.maximum(hole, 4.5 - p[:, 2])
        return sim.cut(body, hole)

    return sim.Shape("plate", distance, (-13, -11, -1), (13, 11, 10))


def solid_of(scanned: sim.Scanned) -> Solid:
    """The scan taken as it is, all of it measured."""
    return Solid(Mesh(scanned.vertices_mm, scanned.faces), np.full(len(scanned.faces), Origin.MEASURED, dtype=np.uint8))


@cache
def found(name: str, spacing_mm: float = 0.35, seed: int = 5, noise: str = "A") -> tuple[Features, sim.Scanned]:
    """Features of a simulated part, and its scan; each is worked out once a test run."""
    shape = {
        "link": link,
        "block": block,
        "rib": rib,
        "bent strip": bent_strip,
        "plate": plate,
        "oval plate": lambda: plate(oval_mm=0.2),
        "upper mouth": lambda: plate(mouths="upper"),
        "lever": sim.latch_lever,
        "armrest": sim.seat_armrest,
        "clip": sim.fence_clip,
    }[name]()
    scatter = {"A": NOISE_A, "white": WHITE, "coarse": COARSE, "waves": WAVES}[noise]
    scanned = sim.scan(shape, spacing_mm=spacing_mm, seed=seed, **scatter)
    return find_features(solid_of(scanned)), scanned


@cache
def _link_without_scatter() -> sim.Scanned:
    return sim.scan(link(), spacing_mm=0.45, seed=17, white_mm=0.0, correlated_mm=0.0)


@cache
def scanned_again(seed: int, noise: str) -> tuple[Features, sim.Scanned]:
    """Features of the link scanned once more: the same net of points, the scatter drawn anew along the true normals."""
    scatter = {"A": NOISE_A, "white": WHITE, "coarse": COARSE}[noise]
    clean, rng = _link_without_scatter(), np.random.default_rng(seed)
    away = rng.normal(scale=scatter["white_mm"], size=len(clean.vertices_mm))
    if scatter["correlated_mm"]:
        away += scatter["correlated_mm"] * _shared_scatter(clean.vertices_mm, scatter["correlation_mm"], rng)
    vertices = clean.vertices_mm + away[:, None] * clean.normals
    scanned = replace(clean, vertices_mm=vertices)
    return find_features(solid_of(scanned)), scanned


def _shared_scatter(points_mm: Array, length_mm: float, rng: np.random.Generator, waves: int = 120) -> Array:
    """Unit scatter with covariance exp(-r^2 / 2 l^2): plane waves whose numbers are drawn from its spectrum."""
    wave = rng.normal(size=(3, waves)) / length_mm
    return np.sqrt(2.0 / waves) * np.cos(points_mm @ wave + rng.uniform(0.0, 2.0 * np.pi, waves)).sum(axis=1)


def on_part(point_mm: Array, scanned: sim.Scanned) -> Array:
    """A place of the scan in the part's own coordinates."""
    return np.asarray((point_mm - scanned.shift_mm) @ scanned.turn)


def along_part(direction: Array, scanned: sim.Scanned) -> Array:
    """A direction of the scan in the part's own coordinates."""
    return np.asarray(direction @ scanned.turn)


def thickness_mm(features: Features, scanned: sim.Scanned) -> tuple[float, float]:
    """Distance of the two planes square to the part's z, and its uncertainty."""
    facing = [(p, along_part(p.normal, scanned)[2]) for p in features.planes]
    up = next(p for p, z in facing if z > 0.99)
    down = next(p for p, z in facing if z < -0.99)
    middle = 0.5 * (up.normal - down.normal)
    distance = float((up.centre_mm - down.centre_mm) @ middle / np.linalg.norm(middle))
    return distance, float(np.hypot(up.u_offset_mm, down.u_offset_mm))


def centre_distance_mm(a: Cylinder, b: Cylinder) -> tuple[float, float]:
    """Distance of two bores square to the first one's axis, and its uncertainty."""
    apart = b.axis_point_mm - a.axis_point_mm
    apart = apart - a.axis * (apart @ a.axis)
    return float(np.linalg.norm(apart)), float(np.hypot(a.u_position_mm, b.u_position_mm))
