"""How true the whole way is: simulated scans of four parts through every room, against the sizes they were made with.

`python -m tests.benchmarks.accuracy 64 [FIRST_SEED]` prints a line a scan and a table a kind of size. Spacing, scatter,
powder, scale, pose, faults, unit and format are drawn anew for each seed; the simulator shares no code with the rooms.
"""

import sys
import tempfile
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from inbox_demo import simulated
from verifier.errors import VerifierError
from verifier.inspect import Outcome, inspect_part
from verifier.reading import read_scan
from verifier.rulebook import Sheet, SheetRow, load_rules
from verifier.shipped import rules_folder

U_READING_MM = 0.015
U_ANGLE_DEG = 0.1
RULES = load_rules(rules_folder())


def row(name: str, kind: str, **more: object) -> dict[str, object]:
    return {"name": name, "kind": kind, **more}


def box(*names: str) -> list[dict[str, object]]:
    return [row(name, "overall", along=name) for name in names]


def apart(one: str, other: str) -> dict[str, object]:
    return row(f"{one} to {other}", "centre distance", between=(one, other))


ROWS = {
    "latch_lever": [
        *box("length", "width", "height"),
        row("body", "thickness"),
        row("hub step", "step"),
        row("hub", "boss"),
        row("pivot", "bore"),
        row("pin", "bore"),
        apart("pivot", "pin"),
        row("pin to flank", "edge distance", of="pin"),
        row("flanks", "angle"),
    ],
    "pump_rocker": [
        *(row(name, "bore") for name in ("pivot", "long end", "short end")),
        apart("pivot", "long end"),
        apart("pivot", "short end"),
        apart("long end", "short end"),
        *(row(name, "thickness") for name in ("plate", "pad", "pad height")),
        row("pad step", "step"),
        row("long end to pad", "edge distance", of="long end"),
    ],
    "fence_clip": [
        *box("length", "width", "height"),
        row("plate", "thickness"),
        row("lug", "thickness"),
        row("lug step", "step"),
        *(row(name, "bore") for name in ("screw", "nail", "wire")),
        apart("screw", "nail"),
        apart("screw", "wire"),
        apart("nail", "wire"),
        row("screw to end", "edge distance", of="screw"),
    ],
    "seat_armrest": [
        *box("length", "width", "height"),
        row("bar", "thickness"),
        row("pin", "boss"),
        row("front", "bore"),
        row("rear", "bore"),
        apart("front", "rear"),
    ],
}
WRITERS = {"stl": simulated.stl_bytes, "ply": simulated.ply_bytes, "obj": simulated.obj_bytes}


@dataclass(frozen=True)
class Miss:
    """One size against its truth, in mm or degrees."""

    kind: str
    error: float
    u: float
    expanded_u: float


def drawn_scan(name: str, rng: np.random.Generator, seed: int) -> tuple[str, bytes]:
    """A file name and its bytes."""
    spacing = rng.uniform(0.35, 0.7) * (1.6 if name == "seat_armrest" else 1.0)
    found = simulated.scan(
        getattr(simulated, name)(),
        spacing_mm=spacing,
        seed=seed,
        white_mm=rng.choice([0.01, 0.02, 0.04]),
        correlated_mm=rng.choice([0.0, 0.01, 0.02]),
        correlation_mm=rng.choice([1.0, 2.0]),
        coat_mm=rng.choice([0.0, 0.03, 0.08]),
        scale=1.0 + 0.003 * rng.normal(),
    )
    vertices, faces = found.vertices_mm, found.faces
    across = rng.uniform(1.0, 4.0)
    faces = simulated.with_holes(faces, vertices, count=int(rng.integers(0, 12)), across_mm=across, seed=seed)
    faces = simulated.with_flipped(faces, share=rng.choice([0.0, 0.003]), seed=seed)
    faces = simulated.with_doubled(faces, count=int(rng.integers(0, 20)), seed=seed)
    specks = int(rng.integers(0, 12))
    vertices, faces = simulated.with_specks(vertices, faces, count=specks, across_mm=1.5, seed=seed)
    if rng.random() < 0.2:
        faces = faces[:, ::-1]
    ending = rng.choice(list(WRITERS))
    return f"{name}.{ending}", WRITERS[ending](vertices / rng.choice([1.0, 10.0, 25.4]), faces)


def drawn_sheet(name: str, rng: np.random.Generator) -> Sheet:
    """Readings with a calliper's scatter, rounded to its step."""
    truth = getattr(simulated, name)().truth
    rows = []
    for told in ROWS[name]:
        u = U_ANGLE_DEG if told["kind"] == "angle" else U_READING_MM
        reading = round(truth[told["name"]] + u * float(rng.normal()), 2)
        rows.append(SheetRow(reading=reading, tolerance=0.3, **told))
    return Sheet(part=name, size=tuple(rows))


def inspected(seed: int) -> tuple[str, Outcome]:
    """One drawn scan, all the way."""
    rng = np.random.default_rng(seed)
    name = list(ROWS)[seed % len(ROWS)]
    file_name, data = drawn_scan(name, rng, seed)
    sheet = drawn_sheet(name, rng)
    with tempfile.TemporaryDirectory() as folder:
        scan = Path(folder) / file_name
        scan.write_bytes(data)
        return name, inspect_part(read_scan(scan, RULES, sheet), sheet, RULES, part=name)


def misses(name: str, outcome: Outcome) -> list[Miss]:
    """Every size that has a value, against the truth."""
    truth = getattr(simulated, name)().truth
    told = zip(outcome.sheet.rows, outcome.judgement.rows, strict=True)
    return [
        Miss(
            row.kind, judged.corrected - truth[row.name], judged.expanded_u / judged.coverage_factor, judged.expanded_u
        )
        for row, judged in told
        if judged.corrected is not None
    ]


def main(count: int, first: int) -> None:
    by_kind: dict[str, list[Miss]] = defaultdict(list)
    for seed in range(first, first + count):
        try:
            name, outcome = inspected(seed)
        except VerifierError as error:
            print(f"{seed}: REFUSED. {error}")
            continue
        found = misses(name, outcome)
        unmeasured = len(outcome.sheet.rows) - len(found)
        worst = max(abs(miss.error) / miss.expanded_u for miss in found)
        print(
            f"{seed}: {outcome.judgement.verdict} {name}, {unmeasured} unmeasured, worst |error| / U {worst:.2f}",
            flush=True,
        )
        for miss in found:
            by_kind[miss.kind].append(miss)
    print(f"{'kind':16s} {'n':>4s} {'bias':>8s} {'sd':>7s} {'rms of error/u':>15s} {'within U':>9s}")
    for kind, found in sorted(by_kind.items()):
        error, u, expanded = np.array([(miss.error, miss.u, miss.expanded_u) for miss in found]).T
        covered = 100.0 * np.mean(np.abs(error) <= expanded)
        z = np.sqrt(np.mean((error / u) ** 2))
        print(f"{kind:16s} {len(found):4d} {error.mean():+8.4f} {error.std():7.4f} {z:15.2f} {covered:8.1f}%")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 16, int(sys.argv[2]) if len(sys.argv) > 2 else 0)
