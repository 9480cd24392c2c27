"""What the README says is so: its sheet loads, its kinds and exit statuses are all of them, its commands are there."""

import re
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import get_args

from typer.main import get_command

from verifier import errors
from verifier.bench.journal import Journal
from verifier.cli import app
from verifier.errors import VerifierError
from verifier.rulebook import SizeKind, load_rules, load_sheet, row_limits
from verifier.shipped import rules_folder

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def test_the_sheet_shown_is_a_sheet_and_every_row_has_limits(tmp_path):
    (shown,) = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    file = tmp_path / "latch_lever.toml"
    file.write_text(shown, encoding="utf-8")
    sheet = load_sheet(file, load_rules(rules_folder()))
    assert [row.name for row in sheet.rows] == ["length", "pivot", "pin", "pivot to pin"]
    assert all(row_limits(row, sheet) for row in sheet.rows)


def test_every_kind_of_size_has_its_row():
    kinds = get_args(SizeKind)
    assert sorted(re.findall(r"^\| `([a-z ]+)` \|", README, re.MULTILINE)[: len(kinds)]) == sorted(kinds)


def family(kind: type[VerifierError]) -> set[type[VerifierError]]:
    return {kind} | {each for child in kind.__subclasses__() for each in family(child)}


def test_every_error_has_an_exit_status_that_the_readme_explains():
    told = {int(status) for status in re.findall(r"^\|[^|]*\| (\d+) \|", README, re.MULTILINE)}
    statuses = {value for name, value in vars(errors).items() if name.startswith("EXIT_")}
    assert {error.exit_code for error in family(VerifierError)} <= statuses
    assert statuses == told


def test_every_command_named_is_a_command():
    named = set(re.findall(r"`verifier ([a-z]+)[ `]", README))
    assert {"new", "watch", "check", "draft"} <= named
    assert named <= set(get_command(app).commands)


def test_every_view_of_the_ledger_has_the_columns_told(tmp_path):
    told = dict(re.findall(r"^\| `([a-z]+_history)` \|[^|]*\| (.*) \|$", README, re.MULTILINE))
    with closing(Journal(tmp_path / "ledger.db")), closing(sqlite3.connect(tmp_path / "ledger.db")) as db:
        views = [name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'view'")]
        columns = {view: [row[1] for row in db.execute(f"PRAGMA table_info({view})")] for view in views}
    assert columns == {view: re.findall(r"`(\w+)`", text) for view, text in told.items()}
