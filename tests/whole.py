"""What the tests of the whole job share: the demo's exports, and a call of the command as a person makes it."""

import hashlib
import sys
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest

from verifier import cli, inspect, last_result, referring
from verifier.finding import find_features
from verifier.finding.feature import Features
from verifier.mending import Solid, mend
from verifier.mesh import Mesh
from verifier.reading.scan import Scan
from verifier.shipped import demo_folder

EXPORTS = demo_folder() / "exports"
SHEETS = demo_folder() / "sheets"


@dataclass(frozen=True)
class Said:
    """What a command left behind."""

    status: int
    out: str
    err: str


@dataclass(frozen=True)
class Known:
    """A scan or a solid, known by the digest of all that is in it."""

    digest: str
    value: Any = field(compare=False)


@lru_cache(maxsize=16)
def _mended(scan: Known) -> Solid:
    return mend(scan.value)


@lru_cache(maxsize=16)
def _found(solid: Known) -> Features:
    return find_features(solid.value)


def mended_once(scan: Scan) -> Solid:
    return _mended(Known(_digest(scan.mesh, repr((scan.unit, scan.source)).encode()), scan))


def found_once(solid: Solid) -> Features:
    told = repr((solid.steps, solid.volume_changes)).encode()
    return _found(Known(_digest(solid.mesh, solid.origin.tobytes() + told), solid))


def _digest(mesh: Mesh, more: bytes) -> str:
    return hashlib.sha256(mesh.vertices_mm.tobytes() + mesh.faces.tobytes() + more).hexdigest()


def mend_and_find_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same scan is mended, and the same solid searched, once for all tests: both rooms know of no sheet or rule."""
    for module in (inspect, referring, last_result):
        monkeypatch.setattr(module, "mend", mended_once)
        monkeypatch.setattr(module, "find_features", found_once)


def call(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, *words: object) -> Said:
    """`verifier WORDS…`, in this process; a scan that an earlier call read is not mended and searched anew."""
    mend_and_find_once(monkeypatch)
    monkeypatch.setattr(sys, "argv", ["verifier", *map(str, words)])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    said = capsys.readouterr()
    return Said(int(ended.value.code), said.out, said.err)


def export(name: str) -> Path:
    return EXPORTS / name


def sheet(part: str) -> Path:
    return SHEETS / f"{part}.toml"
