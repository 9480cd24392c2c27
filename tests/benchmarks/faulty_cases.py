"""The faults of the table, each as a scan and what of it nothing was done to."""

from collections.abc import Callable
from dataclasses import dataclass

import faults
import numpy as np
from scipy.spatial import cKDTree

from verifier.mesh import Mesh, area_mm2

Away = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Case:
    """A faulty scan.

    away : for points (n, 3), which of them lie so far from every fault that mending may not touch them
    volume_known : whether the part's own volume is what should come out
    """

    mesh: Mesh
    away: Away
    volume_known: bool = True

    def then(self, other: "Case") -> "Case":
        both = self.away, other.away
        return Case(other.mesh, lambda at: both[0](at) & both[1](at), self.volume_known and other.volume_known)


def untouched(mesh: Mesh) -> Case:
    return Case(mesh, lambda at: np.ones(len(at), dtype=bool))


def beside(mesh: Mesh, places: list[np.ndarray], reach_mm: float, *, volume_known: bool = True) -> Case:
    tree = cKDTree(np.array(places))
    return Case(mesh, lambda at: tree.query(at)[0] > reach_mm, volume_known)


def holes(part, mesh: Mesh, rng, count: int = 40, across_mm: tuple[float, float] = (0.4, 2.0)) -> Case:
    places = [faults.some_place(mesh, rng) for _ in range(count)]
    widths = [rng.uniform(*across_mm) for _ in places]
    return beside(faults.with_holes(mesh, places, widths), places, across_mm[1] / 2 + 1.0)


def large_hole(part, mesh: Mesh, rng, share: float) -> Case:
    """One hole that takes this share of the surface, wherever it falls."""
    at = faults.some_place(mesh, rng)
    off = np.linalg.norm(faults.middles(mesh) - at, axis=1)
    nearest = np.argsort(off)
    taken = np.cumsum(area_of_faces(mesh)[nearest]) < share * area_mm2(mesh)
    radius = float(off[nearest[taken]].max())
    return beside(faults.with_hole(mesh, at, 2 * radius), [at], radius + 1.5, volume_known=False)


def area_of_faces(mesh: Mesh) -> np.ndarray:
    a, b, c = (mesh.vertices_mm[mesh.faces[:, k]] for k in range(3))
    return 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)


def doubled_and_flat(part, mesh: Mesh, rng) -> Case:
    mesh = faults.with_duplicates(mesh, rng, 300)
    return untouched(faults.with_flat_faces(mesh, rng, 50))


def flipped(part, mesh: Mesh, rng) -> Case:
    turned = rng.random(len(mesh.faces)) < 0.01
    middles = faults.middles(mesh)
    for _ in range(5):
        turned |= np.linalg.norm(middles - faults.some_place(mesh, rng), axis=1) < rng.uniform(1, 3)
    return untouched(faults.with_flipped(mesh, turned))


def fins(part, mesh: Mesh, rng) -> Case:
    chosen = rng.choice(len(mesh.faces), 30, replace=False)
    return untouched(faults.with_fins(mesh, chosen, np.array([rng.uniform(0.3, 1.5) for _ in chosen])))


def bow_ties(part, mesh: Mesh, rng) -> Case:
    made, places = faults.with_bowties(mesh, rng, 8)
    return beside(made, places, 2.0)


def folds(part, mesh: Mesh, rng) -> Case:
    places = [faults.some_place(mesh, rng) for _ in range(6)]
    for at in places:
        mesh = faults.with_fold(mesh, at, rng.uniform(0.4, 1.2))
    return beside(mesh, places, 3.0)


def wrong_welds(part, mesh: Mesh, rng) -> Case:
    made, places = faults.with_wrong_welds_at(mesh, rng, 8)
    return beside(made, places, 1.5)


def full_double(part, mesh: Mesh, rng) -> Case:
    return untouched(faults.in_two_passes(mesh, 0.1))


def partial_passes(part, mesh: Mesh, rng) -> Case:
    passes = faults.in_two_partial_passes(mesh, rng, 0.1, 6.0)
    known = cKDTree(np.concatenate([mesh.vertices_mm, passes.mesh.vertices_mm[len(mesh.vertices_mm) :]]))
    height = np.concatenate([passes.height_mm, passes.height_mm])
    within = passes.overlap_mm / 2 + 3 * faults.EDGE_MM
    return Case(passes.mesh, lambda at: np.abs(height[known.query(at)[1]]) > within, volume_known=False)


def debris(part, mesh: Mesh, rng) -> Case:
    return untouched(faults.with_specks(mesh, rng, 200))


def shells_inside(part, mesh: Mesh, rng) -> Case:
    for at in part.in_walls_mm[:3]:
        mesh = faults.with_inner_shell(mesh, np.array(at), 0.3)
    return untouched(mesh)


def shaken_corners(part, mesh: Mesh, rng) -> Case:
    soup = faults.unwelded(mesh)
    by = rng.uniform(-4e-6, 4e-6, soup.vertices_mm.shape)
    return Case(Mesh(soup.vertices_mm + by, soup.faces), lambda at: np.zeros(len(at), dtype=bool))


def halves(part, mesh: Mesh, rng) -> Case:
    cut = float(np.quantile(mesh.vertices_mm[:, 0], rng.uniform(0.35, 0.65)))
    made = faults.in_two_halves(mesh, cut, 0.4)
    return Case(made, lambda at: np.abs(at[:, 0] - cut - 0.2) > 1.5, volume_known=False)


def on_a_table(width_mm: float) -> Callable[..., Case]:
    def made(part, mesh: Mesh, rng) -> Case:
        return Case(faults.on_a_table(mesh, width_mm), lambda at: at[:, 2] > 1.5, volume_known=False)

    return made


def local_faults(part, mesh: Mesh, rng) -> Case:
    """Every local fault at once."""
    case = holes(part, mesh, rng)
    for fault in (flipped, fins, bow_ties, folds, wrong_welds, debris, shells_inside, doubled_and_flat):
        case = case.then(fault(part, case.mesh, rng))
    return case


def everything(part, mesh: Mesh, rng) -> Case:
    """On a table with its flange, in two partial passes, and every local fault."""
    case = on_a_table(5.0)(part, mesh, rng)
    for fault in (partial_passes, local_faults):
        case = case.then(fault(part, case.mesh, rng))
    return case


def everything_and_a_large_hole(part, mesh: Mesh, rng) -> Case:
    case = large_hole(part, mesh, rng, 0.10)
    for fault in (partial_passes, local_faults):
        case = case.then(fault(part, case.mesh, rng))
    return case


FAULTS: dict[str, Callable[..., Case]] = {
    "clean": lambda part, mesh, rng: untouched(mesh),
    "40 small holes": holes,
    "hole of 3 %": lambda part, mesh, rng: large_hole(part, mesh, rng, 0.03),
    "hole of 10 %": lambda part, mesh, rng: large_hole(part, mesh, rng, 0.10),
    "doubled and flat faces": doubled_and_flat,
    "flipped faces and patches": flipped,
    "inside out": lambda part, mesh, rng: untouched(faults.inside_out(mesh)),
    "fins": fins,
    "bow-ties": bow_ties,
    "folds": folds,
    "corners joined wrongly": wrong_welds,
    "double layer": full_double,
    "two partial passes": partial_passes,
    "debris": debris,
    "shells inside": shells_inside,
    "unwelded, rounded apart": shaken_corners,
    "halves 0.4 mm apart": halves,
    "table and flange": on_a_table(5.0),
    "skirt": on_a_table(1.0),
    "every local fault": local_faults,
    "every fault": everything,
    "every fault, hole of 10 %": everything_and_a_large_hole,
}
