"""The scan of a print against what it should be, as a person checks it beside a bench."""

import json
import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

from inbox_demo import simulated
from tests.whole import call, export, sheet
from verifier.comparing.print_sizes import print_sizes
from verifier.delivery import write_delivery
from verifier.errors import EXIT_FAIL, EXIT_PASS, EXIT_USAGE
from verifier.inspected import Extras, inspect_file
from verifier.inspection import Inspection
from verifier.shipped import rules_folder


@dataclass(frozen=True)
class Shop:
    """A bench whose slicer folder has the lever's result."""

    root: Path

    @property
    def rules(self) -> Path:
        return self.root / "rules"


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    root = tmp_path_factory.mktemp("shop") / "bench"
    for name in ("inbox", "held", "originals", "slicer"):
        (root / name).mkdir(parents=True)
    shutil.copytree(rules_folder(), root / "rules")
    shutil.copy(sheet("latch_lever"), root / "rules" / "sheets")
    write_delivery(inspect_file(export("latch_lever.stl"), root / "rules"), root / "slicer", Extras())
    return Shop(root)


def printed(folder: Path, seed: int, **scan: float) -> Path:
    """The scan of a print of the lever; scale: what shrinking made of a millimetre."""
    made = simulated.scan(simulated.latch_lever(), spacing_mm=0.8, seed=seed, **scan)
    path = folder / "latch_lever.print.stl"
    path.write_bytes(simulated.stl_bytes(made.vertices_mm, made.faces))
    return path


def test_a_print_that_came_out_right_passes_and_no_mesh_is_written_of_it(capsys, monkeypatch, shop, tmp_path):
    out = tmp_path / "out"
    said = call(capsys, monkeypatch, "check", printed(tmp_path, 51), "--rules", shop.rules, "--out", out)
    assert said.status == EXIT_PASS
    assert "latch_lever.print – the print is right" in said.out
    assert "Use the print." in said.out
    assert sorted(path.name for path in out.iterdir()) == [
        "latch_lever.print.report.html",
        "latch_lever.print.report.json",
        "latch_lever.print.report.txt",
    ]
    told = Inspection.model_validate_json((out / "latch_lever.print.report.json").read_bytes())
    assert told.deviation is not None
    assert told.deviation.reference.startswith("latch_lever.3mf, as it should be when cold")
    assert told.deviation.sure
    # Triangles 0.8 mm wide cut the edges, and the wanted mesh's bores are wider by what the printer closes them.
    assert told.deviation.whole.rms_mm < 0.08
    by_name = {size.name: size for size in print_sizes(told)}
    assert by_name["length"].wanted_mm == 84.01
    assert by_name["length"].measured_mm == pytest.approx(84.0, abs=3 * by_name["length"].u_mm)
    # A scale known to 0.05 % or better, and 0.02 mm of coat on either end, are most of it.
    assert 0.02 < by_name["length"].u_mm < 0.08


def test_a_print_that_shrank_by_one_per_cent_fails_and_the_shop_may_learn_from_it(capsys, monkeypatch, shop, tmp_path):
    said = call(capsys, monkeypatch, "check", printed(tmp_path, 52, scale=0.99), "--rules", shop.rules, "--json")
    assert said.status == EXIT_FAIL
    told = json.loads(said.out)
    failed = {size["name"] for size in told["sizes"] if size["verdict"] == "FAIL"}
    assert {"length", "pivot to pin"} <= failed
    assert "verifier printed latch_lever" in told["next_steps"][0]
    assert all(size["printed_mm"] is None for size in told["sizes"])


def test_without_a_bench_the_print_is_judged_by_its_rows_alone(capsys, monkeypatch, tmp_path):
    said = call(capsys, monkeypatch, "check", printed(tmp_path, 53), "--sheet", sheet("latch_lever"), "--json")
    told = json.loads(said.out)
    assert told["deviation"] is None
    # The scale is known to 0.5 % only: a step of 4 mm can be told, a length of 84 mm cannot.
    verdicts = {size["name"]: size["verdict"] for size in told["sizes"]}
    assert verdicts["hub step"] == "PASS"
    assert verdicts["length"] == "UNDECIDED"
    assert any("Measure 'length' on the print with the calliper" in step for step in told["next_steps"])


def test_a_print_of_a_part_without_a_sheet_says_what_is_missing(capsys, monkeypatch, tmp_path):
    said = call(capsys, monkeypatch, "check", printed(tmp_path, 54), "--rules", rules_folder())
    assert said.status == EXIT_USAGE
    assert "there is no sheet of 'latch_lever' to judge its print by" in said.err
