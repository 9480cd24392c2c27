"""What a job of the bench leaves behind when there is no report: its words and its outcome agree."""

import json
import shutil

import pytest

from tests.whole import export
from verifier.delivery import check_to_folder
from verifier.shipped import rules_folder

WRONG_SHEET = 'part = "fence_clip"\n[[size]]\nname = "screw"\nkind = "boer"\nreading = 4.2\n'


@pytest.fixture
def rules(tmp_path):
    """Rules of one's own, with a sheet for the clip that has a mistake in it."""
    shutil.copytree(rules_folder(), tmp_path / "rules")
    (tmp_path / "rules" / "sheets").mkdir(exist_ok=True)
    (tmp_path / "rules" / "sheets" / "fence_clip.toml").write_text(WRONG_SHEET, encoding="utf-8")
    return tmp_path / "rules"


@pytest.mark.parametrize(("scan", "verdict"), [("fence_clip.ply", "UNDECIDED"), ("gate_hinge.stl", "REFUSED")])
def test_the_headline_of_the_words_is_the_verdict_of_the_outcome(rules, tmp_path, scan, verdict):
    """A mistake in the sheet is no fault of the scan: it is not refused, and waits for the sheet."""
    out = tmp_path / "out"
    out.mkdir()
    check_to_folder(export(scan), rules, out, lambda stage: None)
    words = (out / f"{scan.partition('.')[0]}.report.txt").read_text(encoding="utf-8")
    assert json.loads((out / "outcome.json").read_text(encoding="utf-8"))["verdict"] == verdict
    assert words.split()[0] == verdict
