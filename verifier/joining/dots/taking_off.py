"""Marker dots taken off the surface: the place of those that several scans show alike is left to be filled."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from verifier.joining.dots.dot import LEAST_DIAMETER_MM, NO_DOTS, SAME_DIAMETER_MM, SAME_HEIGHT, Dots
from verifier.joining.dots.find import one_normal_a_corner
from verifier.joining.dots.matching import LEAST_MATCHED
from verifier.joining.dots.round_holes import MOST_EDGES
from verifier.joining.dots.surroundings import corners_near
from verifier.joining.dots.telling import dots_together
from verifier.joining.posed import DotsTold, Posed
from verifier.joining.trimming import shared_corners
from verifier.mending.draft import Draft
from verifier.mending.edges import components
from verifier.mending.holes import fill_loops
from verifier.mending.loops import open_loops
from verifier.mending.solid import Origin
from verifier.mesh import Array, BoolArray, IntArray, Mesh, touching

# A dot's foot reaches past the disc that stands for it by so much, a domed one's by this factor.
FOOT_MM, DOMED_FOOT = 0.3, 1.25
# The rim of what was left out lies this near: a factor of the radius, and some spacings of a coarse scan.
RIM_FACTOR, RIM_MM = 1.4, 2.0
# Two mouths of a bore face opposite ways and lie on one axis, within this share of their diameter.
MOUTH_COSINE, MOUTH_SHARE = np.cos(np.radians(15.0)), 0.4
# Farther off the surface than a dot's height and this, or facing another way, is something else.
BESIDE_MM, ONE_WAY = 0.6, 0.5
# People stick dots by eye. Where two dots have the same distances to all others, within this, they were moulded.
REGULAR_MM = 0.5


@dataclass(frozen=True, slots=True)
class Stuck:
    """Dots of all scans in the joined part's frame, each once.

    dots : (n,) middles and ways, means of the scans'; the greatest height; times : (n,) how many scans show each
    """

    dots: Dots
    times: IntArray


@dataclass(frozen=True, slots=True)
class TakenOff:
    """Scans without their dots.

    posed : the scans, smooth surface in the place of dots
    places : those dots, in the joined part's frame
    told : None where no two scans show the same dots; the scans are then as they were
    """

    posed: tuple[Posed, ...]
    places: Dots
    told: DotsTold | None


def dots_taken_off(posed: tuple[Posed, ...], dots: Sequence[Dots], *, moulded: bool = False) -> TakenOff:
    """Put smooth surface in the place of the dots that several scans show.

    dots : those of each scan, in its own frame; moulded : whether the sheet says that they are part
    A dot that one scan alone shows goes too where it is of the size of those that several do. None goes where they
    lie as regularly as moulded ones.
    """
    if not dots_together(dots, [each.pose for each in posed]):
        return TakenOff(posed, NO_DOTS, None)
    stuck = _stuck(posed, dots)
    shared, hole = stuck.times > 1, stuck.dots.height_mm == 0.0
    bumps = stuck.dots.of(shared & ~hole)
    size_mm = float(np.median((bumps if len(bumps) else stuck.dots.of(shared)).diameter_mm))
    height_mm = float(np.median(bumps.height_mm)) if len(bumps) else 0.0
    same = (
        ~hole
        & (np.abs(stuck.dots.diameter_mm - size_mm) < SAME_DIAMETER_MM)
        & (stuck.dots.height_mm < SAME_HEIGHT * height_mm)
        & (stuck.dots.height_mm * SAME_HEIGHT > height_mm)
    )
    if moulded or is_regular(stuck.dots.at_mm[same | shared]):
        return TakenOff(posed, NO_DOTS, DotsTold(int(shared.sum()), size_mm, height_mm, 0, moulded=True))
    places = stuck.dots.of(same | (hole & ~_mouths(stuck.dots)))
    told = DotsTold(int(shared.sum()), size_mm, height_mm, int(same.sum()))
    return TakenOff(tuple(_smoothed(each, places) for each in posed), places, told)


def faces_at(mesh: Mesh, dots: Dots) -> BoolArray:
    """The faces in the place of dots, raised or not, (m,)."""
    if len(dots) == 0:
        return np.zeros(len(mesh.faces), dtype=bool)
    near = corners_near(mesh.vertices_mm, dots.at_mm)
    off = mesh.vertices_mm[near.corner] - dots.at_mm[near.place]
    facing = dots.facing[near.place]
    up = np.einsum("kx,kx->k", off, facing)
    aside = np.linalg.norm(off - up[:, None] * facing, axis=1)
    foot_mm = DOMED_FOOT * 0.5 * dots.diameter_mm + FOOT_MM
    same = np.einsum("kx,kx->k", one_normal_a_corner(mesh)[near.corner], facing) > ONE_WAY
    high_mm = dots.height_mm + BESIDE_MM
    under = np.zeros(len(mesh.vertices_mm), dtype=bool)
    under[near.corner[same & (aside < foot_mm[near.place]) & (np.abs(up) < high_mm[near.place])]] = True
    return touching(mesh.faces, under)


def is_regular(at_mm: Array) -> bool:
    """Whether most of some places could change places with another: one on a row, a circle or a rectangle, mirrored."""
    if len(at_mm) < LEAST_MATCHED:
        return False
    distances = np.sort(np.linalg.norm(at_mm[:, None] - at_mm[None], axis=2), axis=1)
    unlike = np.abs(distances[:, None] - distances[None]).max(axis=2)
    np.fill_diagonal(unlike, np.inf)
    return bool((unlike.min(axis=1) < REGULAR_MM).mean() > 0.5)


def _mouths(dots: Dots) -> BoolArray:
    """Which of them lie on one axis with another that faces the opposite way, as the two mouths of a bore do, (n,)."""
    off = dots.at_mm[:, None] - dots.at_mm[None]
    along = np.einsum("ijx,jx->ij", off, dots.facing)
    aside_mm = np.linalg.norm(off - along[:, :, None] * dots.facing[None], axis=2)
    opposite = dots.facing @ dots.facing.T < -MOUTH_COSINE
    return np.asarray((opposite & (aside_mm < MOUTH_SHARE * dots.diameter_mm)).any(axis=1))


def _stuck(posed: Sequence[Posed], dots: Sequence[Dots]) -> Stuck:
    every = NO_DOTS
    for each, scan in zip(dots, posed, strict=True):
        every = every.and_more(each.placed(scan.pose))
    # Nearer than they are wide two dots are one, even where the scans lie a little off there.
    one, other = cKDTree(every.at_mm).query_pairs(LEAST_DIAMETER_MM, output_type="ndarray").T
    alike = np.einsum("kx,kx->k", every.facing[one], every.facing[other]) > ONE_WAY
    one, other = one[alike].astype(np.int64), other[alike].astype(np.int64)
    count, which = components(len(every), one, other)
    times = np.bincount(which, minlength=count)
    height = np.zeros(count)
    np.maximum.at(height, which, every.height_mm)
    wide = np.zeros(count)
    np.maximum.at(wide, which, np.where(every.height_mm > 0.0, every.diameter_mm, 0.0))
    wide = np.where(wide > 0.0, wide, np.bincount(which, every.diameter_mm, count) / times)
    at, facing = _summed(every.at_mm, which, count), _summed(every.facing, which, count)
    facing = facing / np.maximum(np.linalg.norm(facing, axis=1, keepdims=True), 1e-12)
    return Stuck(Dots(at / times[:, None], facing, wide, height), times)


def _summed(values: Array, which: IntArray, count: int) -> Array:
    return np.stack([np.bincount(which, values[:, k], count) for k in range(3)], axis=1).astype(np.float64)


def _smoothed(each: Posed, dots: Dots) -> Posed:
    """A scan with smooth surface in the place of dots, these in the joined part's frame.

    The mender would take two such holes that face each other for the mouths of a bore, and a seam would be led round.
    """
    mesh = shared_corners(each.scan.mesh)
    there = dots.placed(np.asarray(np.linalg.inv(each.pose), dtype=np.float64))
    under = faces_at(mesh, there.of(there.height_mm > 0.0))
    draft = Draft(mesh, np.full(len(mesh.faces), Origin.MEASURED, dtype=np.uint8)).without(under)
    filled = fill_loops(draft, _loops_at(draft, there), "Took off marker dots")
    made = len(filled.mesh.faces) - len(draft.mesh.faces)
    keep = np.concatenate([each.keep_faces[~under], np.ones(made, dtype=bool)])
    return replace(each, scan=replace(each.scan, mesh=filled.mesh, colours=None), keep_faces=keep)


def _loops_at(draft: Draft, dots: Dots) -> list[IntArray]:
    """The open loops that go round a dot and touch themselves nowhere."""
    start, tree = draft.edges.start, cKDTree(dots.at_mm)
    loops = []
    for loop in open_loops(draft.edges):
        corners = start[loop]
        if len(loop) > MOST_EDGES or len(np.unique(corners)) < len(corners):
            continue
        away, which = tree.query(draft.mesh.vertices_mm[corners])
        if (away < RIM_FACTOR * 0.5 * dots.diameter_mm[which] + RIM_MM).all():
            loops.append(loop)
    return loops
