"""The command `check`, as a person calls it: what it prints, writes and returns."""

import json
import os
import subprocess
import sys
from functools import partial
from importlib.resources import as_file, files

import jsonschema
import numpy as np
import pytest
import trimesh

from inbox_demo import simulated
from tests.whole import call, export, sheet
from verifier.reporting import as_json


@pytest.fixture
def verifier(capsys, monkeypatch):
    return partial(call, capsys, monkeypatch)


def test_a_part_that_is_right_passes_and_its_files_stand_in_the_folder(verifier, tmp_path):
    said = verifier("check", export("latch_lever.stl"), "--sheet", sheet("latch_lever"), "--out", tmp_path, "--stl")
    assert said.status == 0
    assert said.out.lstrip().startswith("PASS")
    names = {file.name for file in tmp_path.iterdir()}
    assert names == {f"latch_lever.{end}" for end in ("3mf", "stl", "report.json", "report.html", "report.txt")}


def test_the_mesh_to_print_is_closed_by_a_second_library_and_larger_by_the_shrinkage(verifier, tmp_path):
    verifier(
        "check", export("latch_lever.stl"), "--sheet", sheet("latch_lever"), "--filament", "ASA", "--out", tmp_path
    )
    report = json.loads((tmp_path / "latch_lever.report.json").read_text(encoding="utf-8"))
    mesh = trimesh.load_mesh(tmp_path / "latch_lever.3mf")
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.euler_number == -2  # two bores
    assert np.asarray(mesh.bounds[0]) == pytest.approx([0, 0, 0], abs=1e-6)
    # The lever is 84 long and lies on its flat; L / (1 - S), and the farthest of the noisy points (4 sigma of 0.02).
    assert mesh.extents.max() == pytest.approx(84.0 / (1.0 - report["print"]["shrink_xy"]), abs=0.1)


def test_the_sizes_of_the_report_are_those_of_the_invented_part(verifier):
    said = verifier("check", export("latch_lever.stl"), "--sheet", sheet("latch_lever"), "--json")
    truth = simulated.latch_lever().truth
    for row in json.loads(said.out)["sizes"]:
        off = abs(row["corrected_mm"] - truth[row["name"]])
        assert off <= 1.5 * row["expanded_uncertainty_mm"], row["name"]  # 3 standard uncertainties


def test_inches_scale_and_powder_are_found_and_taken_out(verifier):
    said = verifier("check", export("pump_rocker.obj"), "--sheet", sheet("pump_rocker"), "--json")
    report = json.loads(said.out)
    assert said.status == 0
    assert (report["scan"]["unit"], report["scan"]["unit_known_by"]) == ("in", "sizes")
    scale, coat = report["scale"], report["coat"]
    assert scale["applied"]
    assert coat["applied"]
    # Made with scale 1.0035 and 0.06 mm of powder; 3 standard uncertainties.
    assert abs(scale["factor"] - 1.0035) <= 3 * scale["standard_uncertainty"]
    assert abs(coat["thickness_mm"] - 0.06) <= 3 * coat["standard_uncertainty_mm"]
    truth = simulated.pump_rocker().truth
    for row in report["sizes"]:
        assert abs(row["corrected_mm"] - truth[row["name"]]) <= 1.5 * row["expanded_uncertainty_mm"], row["name"]


def test_a_misread_reading_is_named_and_the_part_held(verifier):
    said = verifier("check", export("fence_clip.ply"), "--sheet", sheet("fence_clip"), "--json")
    report = json.loads(said.out)
    assert said.status == 2
    undecided = [row["name"] for row in report["sizes"] if row["verdict"] == "UNDECIDED"]
    assert "lug" in undecided
    assert any("'lug'" in step and "again" in step for step in report["next_steps"])
    lug = next(row for row in report["sizes"] if row["name"] == "lug")
    assert abs(lug["corrected_mm"] - 10.0) <= 1.5 * lug["expanded_uncertainty_mm"]  # the part's, not the sheet's


def test_a_part_without_a_sheet_is_held_with_a_draft_that_can_be_used(verifier, tmp_path):
    said = verifier("check", export("seat_armrest.3mf"), "--out", tmp_path)
    assert said.status == 2
    draft = tmp_path / "seat_armrest.sheet.toml"
    again = verifier("check", export("seat_armrest.3mf"), "--sheet", draft, "--json")
    truth = simulated.seat_armrest().truth
    rows = {row["name"]: row for row in json.loads(again.out)["sizes"]}
    assert again.status == 2
    assert rows["length"]["reading_mm"] is None
    assert len(rows) >= 8
    assert truth["length"] == 187.0


def test_filling_in_the_draft_leads_to_a_pass(verifier, tmp_path):
    """The farm's second step: every blank reading is filled with the part's true size."""
    verifier("check", export("seat_armrest.3mf"), "--out", tmp_path)
    draft = tmp_path / "seat_armrest.sheet.toml"
    lines = []
    for line in draft.read_text(encoding="utf-8").splitlines():
        blank, _, seen = line.partition("on the scan ")
        lines.append(f"reading = {float(seen):.2f}" if blank.startswith("# reading =") else line)
    draft.write_text("\n".join(lines), encoding="utf-8")
    said = verifier("check", export("seat_armrest.3mf"), "--sheet", draft, "--json")
    report = json.loads(said.out)
    assert report["reasons"]
    assert said.status == 0
    assert {bore["row"] for bore in report["bores"]} == {"bore 1, one end", "bore 2, other end"}  # though equal


def test_a_drafted_sheet_with_readings_is_never_written_over(verifier, tmp_path):
    drafted = tmp_path / "latch_lever.sheet.toml"
    assert verifier("draft", export("latch_lever.stl"), "--out", tmp_path).status == 0
    assert (tmp_path / "latch_lever.report.html").exists()
    filled = drafted.read_text(encoding="utf-8") + "# mine\n"
    drafted.write_text(filled, encoding="utf-8")
    again = verifier("draft", export("latch_lever.stl"), "--out", tmp_path)
    assert again.status == 64
    assert "latch_lever.sheet.toml" in again.err
    verifier("check", export("latch_lever.stl"), "--out", tmp_path)
    assert drafted.read_text(encoding="utf-8") == filled


def test_json_is_alone_on_standard_output_and_keeps_to_its_schema(verifier):
    said = verifier("check", export("latch_lever.stl"), "--sheet", sheet("latch_lever"), "--json")
    jsonschema.validate(json.loads(said.out), as_json.schema())
    assert "reading" in said.err  # progress is on the other stream


def test_several_scans_give_the_worst_status_and_a_list(verifier):
    said = verifier("check", export("gate_hinge.stl"), export("latch_lever.stl"), "--json")
    told = json.loads(said.out)
    assert said.status == 3
    assert [report["verdict"] for report in told] == ["REFUSED", "UNDECIDED"]


@pytest.mark.parametrize("name", [pytest.param("StanfordBunny.ply", marks=pytest.mark.long), "planar_mesh.ply"])
def test_the_damaged_scans_that_ship_with_pymeshfix_come_out_closed_and_as_large_as_they_were(verifier, tmp_path, name):
    """Mended whole by pymeshfix alone, the second loses 2.3 mm of its length."""
    with as_file(files("pymeshfix") / "examples" / name) as scan:
        said = verifier("check", scan, "--out", tmp_path, "--json")
        before = trimesh.load_mesh(scan, process=False).extents
    report = json.loads(said.out)
    assert said.status == 2  # nobody has measured them
    assert report["mend"]["closed"]
    assert report["mend"]["extents_mm"] == pytest.approx(before, abs=0.01)
    assert trimesh.load_mesh(tmp_path / f"{report['part']}.3mf").is_watertight


REFUSALS = {
    "not a mesh": ("note.stl", b"the lever is on the shelf\n", "text"),
    "a picture": ("photo.ply", b"\xff\xd8\xff\xe0\x00\x10JFIF\x00", "JPEG"),
    "nothing in it": ("latch_lever.stl", b"", "empty"),
    "no triangles": ("latch_lever.stl", bytes(84), "0 triangles"),
    "broken off": ("latch_lever.stl", bytes(80) + (7).to_bytes(4, "little") + bytes(120), "announces"),
}


@pytest.mark.parametrize("what", REFUSALS)
def test_what_cannot_be_used_is_refused_in_one_sentence(verifier, tmp_path, what):
    name, data, word = REFUSALS[what]
    scan = tmp_path / name
    scan.write_bytes(data)
    said = verifier("check", scan, "--out", tmp_path / "out")
    assert said.status == 3
    told = [line for line in said.err.splitlines() if line.startswith("verifier:")]
    assert len(told) == 1
    assert name in told[0]
    assert word in told[0]
    assert scan.read_bytes() == data
    assert not (tmp_path / "out").exists()


def test_one_side_of_a_part_is_no_scan_of_the_whole(verifier, tmp_path):
    scan = tmp_path / "latch_lever.1.stl"
    scan.write_bytes(export("latch_lever.stl").read_bytes())
    said = verifier("check", scan, "--sheet", sheet("latch_lever"))
    assert said.status == 3
    assert "are missing" in said.err


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such permissions")
def test_a_scan_that_may_not_be_read_is_refused(verifier, tmp_path, monkeypatch):
    """Root may read everything, so the system's answer is given in its place."""
    scan = tmp_path / "latch_lever.stl"
    scan.write_bytes(b"x")
    real = os.open

    def denied(path, *rest, **more):
        if str(path) == str(scan):
            raise PermissionError(13, "Permission denied", str(scan))
        return real(path, *rest, **more)

    monkeypatch.setattr(os, "open", denied)
    said = verifier("check", scan)
    assert said.status == 3
    assert "latch_lever.stl" in said.err


MISTAKES = {
    "an unknown filament": (["--filament", "straw"], "straw"),
    "a folder without rules": (["--rules", "nowhere"], "nowhere"),
    "a sheet that is not there": (["--sheet", "nowhere.toml"], "nowhere.toml"),
    "STL without a folder": (["--stl"], "--out"),
    "an unknown option": (["--sheeet", "x"], "--sheeet"),
}


@pytest.mark.parametrize("what", MISTAKES)
def test_a_wrong_call_is_told_with_its_remedy_and_status_64(verifier, what):
    words, named = MISTAKES[what]
    said = verifier("check", export("fence_clip.ply"), *words)
    assert said.status == 64
    assert named in said.err
    assert said.out == ""


def test_a_row_of_an_unknown_kind_is_told_with_its_line(verifier, tmp_path):
    wrong = tmp_path / "fence_clip.toml"
    wrong.write_text('part = "fence_clip"\n[[size]]\nname = "screw"\nkind = "boer"\nreading = 4.2\n', encoding="utf-8")
    said = verifier("check", export("fence_clip.ply"), "--sheet", wrong)
    assert said.status == 64
    assert "fence_clip.toml, line 4" in said.err
    assert "'bore'" in said.err


def test_a_folder_that_cannot_be_written_to_is_told(verifier, tmp_path):
    blocked = tmp_path / "out"
    blocked.write_bytes(b"a file stands here")
    said = verifier("check", export("latch_lever.stl"), "--sheet", sheet("latch_lever"), "--out", blocked)
    assert said.status == 64
    assert "--out" in said.err
    assert blocked.read_bytes() == b"a file stands here"


def test_a_mistake_of_the_program_is_not_a_verdict(tmp_path):
    """Status 1 means FAIL, and Python's own status for an unhandled exception is 1."""
    program = (
        "import sys; from verifier import checking, cli\n"
        "def broken(*words, **more): raise ZeroDivisionError('on purpose')\n"
        "checking.check_scans = broken; sys.argv = ['verifier', 'check', 'x.stl']; cli.main()"
    )
    ended = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    assert ended.returncode == 70
    assert "ZeroDivisionError" in ended.stderr
    assert "mistake of the verifier" in ended.stderr
