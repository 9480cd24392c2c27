import os
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest
from hatchling.builders.wheel import WheelBuilder

from verifier import shipped
from verifier.errors import CannotOpen
from verifier.rulebook import load_rules

ROOT = Path(__file__).parent.parent


def test_the_rules_and_the_demo_are_where_they_are_said_to_be():
    assert (shipped.rules_folder() / "screws.toml").is_file()
    assert (shipped.demo_folder() / "sheets").is_dir()


def test_an_installed_verifier_finds_its_own_before_anything_beside_it(tmp_path, monkeypatch):
    package = tmp_path / "verifier"
    for folder in (tmp_path / "rules", package / "_shipped" / "rules"):
        folder.mkdir(parents=True)
    monkeypatch.setattr(shipped, "PACKAGE", package)
    assert shipped.rules_folder() == package / "_shipped" / "rules"
    with pytest.raises(CannotOpen, match="Install it again"):
        shipped.demo_folder()


def test_the_wheel_carries_the_rules_and_the_demo_where_the_code_looks_for_them(tmp_path):
    wheel = Path(next(WheelBuilder(str(ROOT)).build(directory=str(tmp_path), versions=["standard"])))
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(tmp_path / "installed")
    carried = tmp_path / "installed" / "verifier" / "_shipped"
    assert {path.name for path in (carried / "rules").glob("*.toml")} == {
        path.name for path in (ROOT / "rules").glob("*.toml")
    }
    assert (carried / "inbox_demo" / "sheets" / "latch_lever.toml").is_file()
    assert load_rules(carried / "rules").filaments == load_rules(ROOT / "rules").filaments
    said = subprocess.run(
        [
            sys.executable,
            "-c",
            "from inbox_demo import simulated; print(simulated.latch_lever().name, simulated.__file__)",
        ],
        cwd=carried,
        env={**os.environ, "PYTHONPATH": str(carried)},
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert said.startswith("latch_lever")
    assert str(carried) in said


def test_nothing_of_the_shipped_data_has_a_module_s_name():
    """verifier/shipped.py is code: data in verifier/shipped/ would stand in its place."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    targets = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    assert set(targets.values()) == {"verifier/_shipped/rules", "verifier/_shipped/inbox_demo"}
