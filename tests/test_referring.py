"""The corrected mesh against a reference, as a person asks for it."""

import json
import shutil

import pytest

from tests.whole import call, export, sheet
from verifier.errors import EXIT_PASS, EXIT_REFUSED, EXIT_USAGE
from verifier.shipped import rules_folder


@pytest.fixture
def mirror_rules(tmp_path):
    """Rules whose sheet of the lever wants the mirror image of a file beside it."""
    rules = tmp_path / "rules"
    shutil.copytree(rules_folder(), rules)
    text = sheet("latch_lever").read_text()
    named = text.replace("[[size]]", 'reference = "mirror of twin.stl"\n\n[[size]]', 1)
    (rules / "sheets" / "latch_lever.toml").write_text(named)
    shutil.copy(export("latch_lever.stl"), rules / "twin.stl")
    return rules


def test_a_scan_lies_on_itself_and_the_report_says_so(capsys, monkeypatch):
    lever = export("latch_lever.stl")
    said = call(capsys, monkeypatch, "check", lever, "--sheet", sheet("latch_lever"), "--reference", lever, "--json")
    assert said.status == EXIT_PASS
    told = json.loads(said.out)["deviation"]
    assert told["reference"] == "latch_lever.stl"
    assert told["sure"]
    # Both are the same file; neither scale nor coat was applied, and a pose is found to a hundredth of a micrometre.
    assert told["whole"]["rms_mm"] < 1e-5
    assert told["within"][0]["share"] == pytest.approx(1.0)


def test_a_sheet_may_want_the_mirror_image_of_a_file_beside_it(capsys, monkeypatch, mirror_rules):
    said = call(capsys, monkeypatch, "check", export("latch_lever.stl"), "--rules", mirror_rules)
    # The lever is its own mirror image, so it lies on its twin's; its scatter differs from side to side.
    assert "Laid on the mirror image of twin.stl: " in " ".join(said.out.split())
    assert "Not sure" not in said.out


def test_a_reference_that_cannot_be_read_refuses_in_one_sentence(capsys, monkeypatch, tmp_path):
    broken = tmp_path / "broken.stl"
    broken.write_bytes(b"solid nothing")
    lever = export("latch_lever.stl")
    said = call(capsys, monkeypatch, "check", lever, "--sheet", sheet("latch_lever"), "--reference", broken)
    assert said.status == EXIT_REFUSED
    assert "broken.stl" in said.err


def test_one_reference_cannot_serve_several_parts(capsys, monkeypatch):
    lever = export("latch_lever.stl")
    said = call(capsys, monkeypatch, "check", lever, export("pump_rocker.obj"), "--reference", lever)
    assert said.status == EXIT_USAGE
    assert "one reference cannot serve several parts" in said.err
