"""Bias, spread and honesty of every kind of row, on scans of six parts under four models of scatter.

`python -m tests.benchmarks.truth 8 [FIRST_SEED] [--thinned 0.9] [--sheets 10]` prints one table a model of scatter, one
line a kind; of scale and coat it asks as many sheets a scan.
The scans come from a simulator that shares no code with the rooms; a part is meshed in three poses, and its scatter,
scale and powder are drawn anew for each seed. About two rows in five are never read with the calliper: what is said of
coverage and of wrong passes is said of those.
"""

import argparse
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache

import fast_simplification
import numpy as np

from inbox_demo import simulated
from tests.benchmarks import long_parts
from tests.benchmarks.accuracy import ROWS, apart, box, row
from verifier.correcting import separate_scale_from_coat
from verifier.correcting.correction import Correction
from verifier.correcting.wording import SIGNIFICANT
from verifier.finding import find_features
from verifier.finding.feature import Features
from verifier.measuring import measure
from verifier.measuring.size import Size
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Array, Mesh
from verifier.rulebook import Sheet, SheetRow, load_rules
from verifier.shipped import rules_folder
from verifier.uncertainty import same_coverage_factor

RULES = load_rules(rules_folder())
POSES = 3
SHARE_UNREAD = 0.4

ROWS_OF: dict[str, list[dict[str, object]]] = ROWS | {
    "trough_arm": [
        *box("length", "width", "height"),
        row("plate", "thickness"),
        row("hub step", "step"),
        row("hub", "boss"),
        *(row(name, "bore") for name in ("pivot", "middle", "tip")),
        apart("pivot", "middle"),
        apart("middle", "tip"),
        apart("pivot", "tip"),
    ],
    "hurdle_rail": [
        *box("length", "width", "height"),
        row("rail", "thickness"),
        row("block", "thickness"),
        row("block step", "step"),
        row("pin", "boss"),
        *(row(name, "bore") for name in ("upper screw", "lower screw", "rope", "stay")),
        apart("upper screw", "lower screw"),
        apart("upper screw", "rope"),
        apart("lower screw", "rope"),
        apart("rope", "stay"),
        apart("upper screw", "stay"),
        apart("pin", "rope"),
        row("upper screw to end", "edge distance", of="upper screw"),
    ],
}
SPACING_MM = {"seat_armrest": 0.8, "trough_arm": 0.9, "hurdle_rail": 0.9}


@dataclass(frozen=True)
class Scatter:
    """One model of a scanner's scatter along the normal.

    waves : (standard deviation mm, length mm) of each part that neighbours share
    """

    name: str
    white_mm: float
    waves: tuple[tuple[float, float], ...] = ()


MODELS = (
    Scatter("white .02, shared .02 over 1 mm", 0.02, ((0.02, 1.0),)),
    Scatter("white .05", 0.05),
    Scatter("white .03, shared .04 over 2 mm", 0.03, ((0.04, 2.0),)),
    Scatter("white .02, long waves .03 over 15 mm", 0.02, ((0.03, 15.0),)),
)


@dataclass(frozen=True)
class Told:
    """One row of one scan against its truth, mm or degrees.

    on_scan, u_scan : error of the measured size against scale * truth + walls * coat, and the stated uncertainty of it
    error, expanded_u : of the corrected size
    read : whether the calliper's reading took part in the fit
    """

    part: str
    kind: str
    name: str
    on_scan: float
    u_scan: float
    error: float
    expanded_u: float
    read: bool


@dataclass(frozen=True)
class Drawn:
    """What was drawn for one scan."""

    scale: float
    coat_mm: float


@cache
def shape_of(name: str) -> simulated.Shape:
    """A part by its name."""
    return getattr(long_parts if hasattr(long_parts, name) else simulated, name)()


@cache
def clean_scan(name: str, pose: int, coat_mm: float, spacing_mm: float = 0.0) -> simulated.Scanned:
    """The part's surface in one of its poses, without scatter; the points of the net lie on the true surface."""
    spacing = spacing_mm or SPACING_MM.get(name, 0.5)
    return simulated.scan(
        shape_of(name), spacing_mm=spacing, seed=900 + pose, white_mm=0.0, correlated_mm=0.0, coat_mm=coat_mm
    )


def shared_scatter(points_mm: Array, length_mm: float, rng: np.random.Generator, waves: int = 320) -> Array:
    """Unit scatter with covariance exp(-r^2 / 2 l^2): plane waves whose numbers are drawn from its spectrum, (n,)."""
    wave = (rng.normal(size=(3, waves)) / length_mm).astype(np.float32)
    phase = rng.uniform(0.0, 2.0 * np.pi, waves).astype(np.float32)
    at = points_mm.astype(np.float32)
    parts = np.array_split(at, max(1, len(at) // 20_000))
    return np.sqrt(2.0 / waves) * np.concatenate([np.cos(part @ wave + phase).sum(axis=1) for part in parts])


def with_scatter(clean: simulated.Scanned, scatter: Scatter, scale: float, rng: np.random.Generator) -> Mesh:
    """The clean scan moved along its normals, and enlarged."""
    away = rng.normal(scale=scatter.white_mm, size=len(clean.vertices_mm))
    for sd_mm, length_mm in scatter.waves:
        away += sd_mm * shared_scatter(clean.vertices_mm, length_mm, rng)
    return Mesh(scale * (clean.vertices_mm + away[:, None] * clean.normals), clean.faces)


def thinned(mesh: Mesh, share_removed: float) -> Mesh:
    """As an exporter thins: quadric collapse of so large a share of the triangles."""
    if share_removed == 0.0:
        return mesh
    vertices, faces = fast_simplification.simplify(
        mesh.vertices_mm.astype(np.float32), mesh.faces.astype(np.int32), target_reduction=share_removed
    )
    return Mesh(vertices.astype(np.float64), faces.astype(np.int64))


def read_off(true: float, kind: str, rng: np.random.Generator) -> float:
    """What a digital calliper shows: its own error within what DIN 862 allows, the hand's, and its step."""
    if kind == "angle":
        return round(true + 0.1 * float(rng.normal()), 1)
    allowed_mm = (0.02 if true <= 100.0 else 0.03) + (0.02 if kind in ("bore", "step") else 0.0)
    return round(true + allowed_mm * float(rng.uniform(-1.0, 1.0)) + 0.01 * float(rng.normal()), 2)


def drawn_sheet(name: str, rng: np.random.Generator) -> Sheet:
    """A calliper's readings of some rows; of the rest only what a drawing says, 0.05 mm off."""
    rows = []
    for told in ROWS_OF[name]:
        true = shape_of(name).truth[str(told["name"])]
        if rng.random() < SHARE_UNREAD:
            rows.append(SheetRow(nominal=round(true + 0.05 * float(rng.normal()), 2), tolerance=0.3, **told))
        else:
            rows.append(SheetRow(reading=read_off(true, str(told["kind"]), rng), tolerance=0.3, **told))
    return Sheet(part=name, size=tuple(rows))


def told_of(name: str, sheet: Sheet, drawn: Drawn, sizes: tuple[Size, ...], correction: Correction) -> Iterator[Told]:
    """Every row that has one value of one place; one of a set is told by its worst, and no truth goes with that."""
    truth, corrected = shape_of(name).truth, {c.name: c for c in correction.sizes}
    k = RULES.acceptance.decision.coverage_factor
    for asked, size in zip(sheet.rows, sizes, strict=True):
        if size.measured_mm is None or size.alternatives_mm or size.set_size > 1:
            continue
        true = truth[size.name]
        on_scan = true if asked.kind == "angle" else drawn.scale * true + size.walls * drawn.coat_mm
        c = corrected[size.name]
        yield Told(
            name,
            asked.kind,
            size.name,
            size.measured_mm - on_scan,
            size.u_mm,
            c.corrected_mm - true,
            same_coverage_factor(k, c.dof) * c.u_mm,
            asked.reading is not None,
        )


Exported = Callable[[Mesh], Mesh]


def one_scan(
    name: str, scatter: Scatter, seed: int, exported: Exported, sheets: int
) -> tuple[list[Told], list[Correction], Drawn]:
    """One scan from the drawing of its scatter to its corrected sizes by one sheet, and the corrections by all."""
    rng = np.random.default_rng([seed, MODELS.index(scatter) if scatter in MODELS else 9, list(ROWS_OF).index(name)])
    coat = float(rng.choice([0.0, 0.0, 0.03, 0.08]))
    drawn = Drawn(1.0 if rng.random() < 0.5 else float(1.0 + 0.003 * rng.normal()), coat)
    mesh = with_scatter(clean_scan(name, seed % POSES, coat), scatter, drawn.scale, rng)
    mesh = exported(mesh)
    solid = Solid(mesh, np.full(len(mesh.faces), Origin.MEASURED, dtype=np.uint8))
    sheet = drawn_sheet(name, rng)
    features = find_features(solid)
    sizes = measure(features, sheet, RULES)
    correction = separate_scale_from_coat(sizes, sheet, RULES, features.noise)
    # The coat is drawn on the part before the scanner enlarges it.
    drawn = replace(drawn, coat_mm=coat * drawn.scale)
    told = list(told_of(name, sheet, drawn, sizes, correction))
    return told, [correction, *(_anew(name, features, rng) for _ in range(sheets - 1))], drawn


def _anew(name: str, features: Features, rng: np.random.Generator) -> Correction:
    """The correction by one more sheet."""
    sheet = drawn_sheet(name, rng)
    return separate_scale_from_coat(measure(features, sheet, RULES), sheet, RULES, features.noise)


def table(found: list[Told]) -> None:
    """One line a kind: error on the scan, its spread, how the stated uncertainty compares; then the corrected sizes."""
    print(f"{'kind':16s} {'n':>4s} {'bias':>8s} {'sigma':>7s} {'u':>7s} {'rms z':>6s} {'max z':>6s} unread    in U")
    for kind in [*sorted({t.kind for t in found}), "all lengths"]:
        some = [t for t in found if (t.kind != "angle" if kind == "all lengths" else t.kind == kind)]
        error, u = np.array([(t.on_scan, t.u_scan) for t in some]).T
        z = error / u
        unread = [t for t in some if not t.read]
        covered = 100.0 * np.mean([abs(t.error) <= t.expanded_u for t in unread]) if unread else np.nan
        print(
            f"{kind:16s} {len(some):4d} {error.mean():+8.4f} {error.std():7.4f} {np.sqrt(np.mean(u**2)):7.4f} "
            f"{np.sqrt(np.mean(z**2)):6.2f} {np.abs(z).max():6.1f} {len(unread):6d} {covered:6.1f}%"
        )


def alarms(corrections: list[tuple[Correction, Drawn]]) -> None:
    """How often a scale or a coat was called real where none was and where one was, and how sure it was."""
    scale = [(c.scale, d.scale, 1.0) for c, d in corrections]
    coat = [(c.coat, d.coat_mm, 0.0) for c, d in corrections]
    for name, terms in (("scale", scale), ("coat", coat)):
        told = [(abs(t.value - none) > SIGNIFICANT * t.u and t.applied, true != none) for t, true, none in terms]
        called = {real: [called for called, there in told if there == real] for real in (False, True)}
        u = np.median([t.u for t, _, _ in terms])
        rms = np.sqrt(np.mean([((t.value - true) / t.u) ** 2 for t, true, _ in terms]))
        print(
            f"{name}: called where there is none {sum(called[False])} of {len(called[False])}, where there is one "
            f"{sum(called[True])} of {len(called[True])}; median u {u:.5f}, rms z {rms:.2f}"
        )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("count", type=int, nargs="?", default=4)
    parser.add_argument("first", type=int, nargs="?", default=0)
    parser.add_argument("--thinned", type=float, default=0.0)
    parser.add_argument("--parts", nargs="*", default=list(ROWS_OF))
    parser.add_argument("--models", type=int, nargs="*", default=list(range(len(MODELS))))
    parser.add_argument("--worst", type=int, default=0)
    parser.add_argument("--sheets", type=int, default=1)
    asked = parser.parse_args()
    everything: list[Told] = []
    corrections: list[tuple[Correction, Drawn]] = []
    for scatter in (MODELS[i] for i in asked.models):
        found: list[Told] = []
        here: list[tuple[Correction, Drawn]] = []
        for name in asked.parts:
            for seed in range(asked.first, asked.first + asked.count):
                told, by_sheet, drawn = one_scan(
                    name, scatter, seed, lambda mesh: thinned(mesh, asked.thinned), asked.sheets
                )
                if len(told) < len(ROWS_OF[name]):
                    missing = {str(r["name"]) for r in ROWS_OF[name]} - {t.name for t in told}
                    print(f"{name} {seed}: not measured {sorted(missing)}")
                found += told
                here += [(correction, drawn) for correction in by_sheet]
        print(f"\n{scatter.name}")
        table(found)
        for t in sorted(found, key=lambda t: -abs(t.on_scan / t.u_scan))[: asked.worst]:
            print(f"   {t.part} {t.name}: {t.on_scan:+.4f} u {t.u_scan:.4f}")
        alarms(here)
        everything += found
        corrections += here
    unread = [t for t in everything if not t.read]
    print("\nall models")
    table(everything)
    passes = 100.0 * np.mean([s * t.error < -t.expanded_u for t in unread for s in (-1, 1)])
    print(f"wrong PASS of a size on its limit: {passes:.1f} % of {2 * len(unread)}")
    alarms(corrections)


if __name__ == "__main__":
    main()
