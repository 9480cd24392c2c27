"""What the tests of the whole job share: the demo's exports, and a call of the command as a person makes it."""

import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from verifier import cli
from verifier.shipped import demo_folder

EXPORTS = demo_folder() / "exports"
SHEETS = demo_folder() / "sheets"


@dataclass(frozen=True)
class Said:
    """What a command left behind."""

    status: int
    out: str
    err: str


def call(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, *words: object) -> Said:
    """`verifier WORDS…`, in this process."""
    monkeypatch.setattr(sys, "argv", ["verifier", *map(str, words)])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    said = capsys.readouterr()
    return Said(int(ended.value.code), said.out, said.err)


def export(name: str) -> Path:
    return EXPORTS / name


def sheet(part: str) -> Path:
    return SHEETS / f"{part}.toml"
