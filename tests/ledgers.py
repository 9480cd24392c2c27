"""Benches with a past: finished scans and prints written into the ledger as the service does, without running it."""

import hashlib
from contextlib import closing
from pathlib import Path

import numpy as np

from tests.reporting import examples
from verifier.bench.job import Outcome, Seen
from verifier.bench.journal import Journal
from verifier.bench.layout import Bench, new_bench
from verifier.bench.print_entry import PrintEntry, row_entry
from verifier.bench.prints_file import write_prints
from verifier.bench.record import record_of
from verifier.inspection import BoreTable, Inspection
from verifier.learning.row import ReadRow, print_rows
from verifier.shipped import rules_folder

UP = (0.0, 0.0, 1.0)
# name, kind, reading, walls, the two places it is taken between
ROWS = (
    ("length", "overall", 84.01, 2, ((0, 0, 0), (84, 0, 0))),
    ("width", "overall", 24.0, 2, ((0, 0, 0), (0, 24, 0))),
    ("height", "overall", 12.0, 2, ((0, 0, 0), (0, 0, 12))),
    ("pivot", "bore", 10.0, -2, ((5, 0, 0), (15, 0, 0))),
    ("pin", "bore", 6.0, -2, ((67, 0, 0), (73, 0, 0))),
    ("pivot to pin", "centre distance", 60.01, 0, ((10, 0, 0), (70, 0, 0))),
)


def make_bench(folder: Path) -> Bench:
    return new_bench(folder / "bench", rules_folder())


def report(
    part="latch_lever", scale=1.0, verdict="PASS", grown=(), filament="PETG", u_scale=0.0002, sha=""
) -> Inspection:
    """A report of one scan. grown : row's name -> mm more than the reading; sha : of a scan of its own."""
    grown = dict(grown)
    sizes = tuple(
        examples.size(
            name,
            kind,
            reading_mm=reading,
            tolerance_mm=(reading - 0.3, reading + 0.3),
            measured_mm=reading * scale,
            u_measured_mm=0.008,
            corrected_mm=reading + grown.get(name, 0.0),
            deviation_mm=grown.get(name, 0.0),
            expanded_uncertainty_mm=0.04,
            printed_mm=reading,
            points_mm=points,
            walls=walls,
            features=(name,),
        )
        for name, kind, reading, walls, points in ROWS
    )
    bores = tuple(
        BoreTable(
            name=name,
            row=name,
            diameter_mm=reading,
            pin_diameter_mm=reading,
            roundness_mm=0.02,
            arc_deg=360,
            depth_mm=12,
            through=True,
            note="",
            upright=True,
        )
        for name, kind, reading, _, _ in ROWS
        if kind == "bore"
    )
    told = examples.inspection(part=part, verdict=verdict, sizes=sizes, bores=bores)
    sha = sha or hashlib.sha256(f"{part} {scale} {grown}".encode()).hexdigest()
    return told.model_copy(
        update={
            "scan": told.scan.model_copy(update={"sha256": sha}),
            "scale": told.scale.model_copy(update={"factor": scale, "standard_uncertainty": u_scale, "applied": True}),
            "print": told.print.model_copy(
                update={"filament": filament, "printer": "bench 220", "shrink_xy": 0.003, "shrink_z": 0.0015,
                        "build_direction": UP}
            ),
        }
    )  # fmt: skip


def finish(bench: Bench, *reports: Inspection, at="2024-05-{:02}T08:00:00.000+00:00") -> None:
    """Each report as a finished job, one a day."""
    days = iter(range(1, 29))
    for told in reports:
        day = at.format(next(days))
        with closing(Journal(bench.ledger, now=lambda day=day: day)) as journal:
            job = journal.begin_claim(told.part, f"{told.part}.stl".encode(), f"{told.part}.stl")
            journal.queue(job, size_bytes=1_200_000, sha256=told.scan.sha256, fingerprint="1:2:3:4")
            started = journal.start(journal.job(job), Seen(None, "rules"))
            outcome = Outcome(part=told.part, verdict=told.verdict, reasons=told.reasons, exit=0)
            computed = journal.computed(started.id, outcome, {})
            journal.done(computed, record_of(told, f"{told.part}.report.html"))


def printed(
    told: Inspection, rng: np.random.Generator, truth=(0.0045, 0.002, 0.14, 0.01), u_mm=0.02
) -> dict[str, float]:
    """Readings of a print of this report's mesh. truth : shrink_xy, shrink_z, hole_mm, proud_mm."""
    shrink_xy, shrink_z, hole_mm, proud_mm = truth
    readings = {}
    for row in print_rows(told):
        true_mm = row.model_mm * (1 - (1 - row.rise) * shrink_xy - row.rise * shrink_z)
        true_mm += -hole_mm if row.upright_hole else row.walls * proud_mm * (1 - row.rise)
        readings[row.name] = round(true_mm + rng.normal(0, u_mm), 2)
    return readings


def enter(
    bench: Bench, told: Inspection, job: int, readings: dict[str, float], at="2024-06-01T08:00:00.000+00:00"
) -> None:
    """A print's readings as the command enters them."""
    rows = tuple(row_entry(ReadRow(row, readings[row.name], 0.02)) for row in print_rows(told))
    with closing(Journal(bench.ledger, now=lambda: at)) as journal:
        plan = told.print
        journal.enter_print(
            PrintEntry(part=told.part, job=job, filament=plan.filament, printer=plan.printer, condition=None, rows=rows)
        )
        write_prints(bench, journal.history)
