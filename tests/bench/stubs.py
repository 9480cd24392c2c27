"""Compute functions for the tests of the service. The scan's own words say what becomes of it."""

import ctypes
import errno
import hashlib
import importlib
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

Report = Callable[[str], None]


def normal(scan: Path, rules: Path, out: Path, report_stage: Report, last_pass: Path | None = None) -> int:
    """PASS for a scan that says so; UNDECIDED until its part has a sheet; else the verdict named in its first line."""
    report_stage("reading")
    files = sorted(scan.iterdir()) if scan.is_dir() else [scan]
    data = b"".join(file.read_bytes() for file in files)
    part = scan.name.partition(".")[0]
    verdict = data.split(b"\n")[0].decode("ascii", "replace").strip()
    sheet = rules / "sheets" / f"{part}.toml"
    if verdict not in ("PASS", "FAIL", "REFUSED"):
        verdict = "PASS" if sheet.exists() and b"reading" in sheet.read_bytes() else "UNDECIDED"
    report_stage("judging")
    return write_result(out, part, verdict, data)


def write_result(out: Path, part: str, verdict: str, data: bytes) -> int:
    digest = hashlib.sha256(data).hexdigest()
    if verdict != "REFUSED":
        # Big enough that a half-written one would be seen.
        (out / f"{part}.3mf").write_bytes(f"mesh of {digest}\n".encode() * 2000 + b"end")
    (out / f"{part}.report.json").write_text(json.dumps({"scan": digest, "verdict": verdict}), encoding="utf-8")
    (out / f"{part}.report.txt").write_text(f"{verdict} {digest}", encoding="utf-8")
    told = {"part": part, "verdict": verdict, "reasons": ["Because."], "next_steps": ["Do this."], "exit": 0}
    (out / "outcome.json").write_text(json.dumps(told), encoding="utf-8")
    return 0


def in_pieces(scan: Path, rules: Path, out: Path, report_stage: Report, last_pass: Path | None = None) -> int:
    """As normal, but the part is cut: as many pieces as the scan's second line says, and no whole."""
    normal(scan, rules, out, report_stage)
    part = scan.name.partition(".")[0]
    whole, count = out / f"{part}.3mf", int(scan.read_bytes().split(b"\n")[1])
    for k in range(1, count + 1):
        (out / f"{part}.piece_{k}_of_{count}.3mf").write_bytes(whole.read_bytes() + bytes([k]))
    whole.unlink()
    return 0


def measuring(scan: Path, rules: Path, out: Path, report_stage: Report, last_pass: Path | None = None) -> int:
    """As normal, with a report that holds numbers; a second line of the scan is its scale."""
    sys.path.insert(0, str(Path(__file__).parents[1] / "reporting"))
    examples = importlib.import_module("examples")

    normal(scan, rules, out, report_stage)
    part, data = scan.name.partition(".")[0], scan.read_bytes()
    verdict = json.loads((out / "outcome.json").read_bytes())["verdict"]
    scale = float((data.split(b"\n")[1] or b"1.0").decode())
    told = examples.inspection(
        part=part,
        verdict=verdict,
        scan=examples.PASSED.scan.model_copy(update={"sha256": hashlib.sha256(data).hexdigest()}),
        scale=examples.PASSED.scale.model_copy(update={"factor": scale}),
        sizes=(
            examples.size("overall length", walls=2),
            examples.PIVOT.model_copy(update={"walls": -2}),
            examples.CENTRES.model_copy(update={"walls": 0, "verdict": "PASS"}),
        ),
    )
    (out / f"{part}.report.json").write_text(told.model_dump_json(by_alias=True), encoding="utf-8")
    return 0


def print_measuring(scan: Path, rules: Path, out: Path, report_stage: Report, last_pass: Path | None = None) -> int:
    """As measuring; of a print it writes a report alone, in which every size is as the scan's second line says."""
    if ".print." not in scan.name:
        return measuring(scan, rules, out, report_stage)
    sys.path.insert(0, str(Path(__file__).parents[1] / "reporting"))
    examples = importlib.import_module("examples")

    part, data = scan.name.partition(".print.")[0] + ".print", scan.read_bytes()
    verdict, less = data.split(b"\n")[0].decode(), float(data.split(b"\n")[1])
    length = examples.size("overall length", nominal_mm=120.04, corrected_mm=120.04 * (1 - less), walls=2)
    told = examples.inspection(
        part=part,
        of_print=True,
        verdict=verdict,
        scan=examples.PASSED.scan.model_copy(update={"sha256": hashlib.sha256(data).hexdigest()}),
        sizes=(length,),
    )
    (out / f"{part}.report.json").write_text(told.model_dump_json(by_alias=True), encoding="utf-8")
    outcome = {"part": part, "verdict": verdict, "exit": 0}
    (out / "outcome.json").write_text(json.dumps(outcome), encoding="utf-8")
    return 0


def telling_last_pass(scan: Path, rules: Path, out: Path, report_stage: Report, last_pass: Path | None = None) -> int:
    """As normal, and leaves the last pass it was told of beside its result."""
    normal(scan, rules, out, report_stage)
    (out / "last_pass.txt").write_text(last_pass.read_text(encoding="utf-8") if last_pass else "none", encoding="utf-8")
    return 0


def slow(scan: Path, rules: Path, out: Path, report_stage: Report, last_pass: Path | None = None) -> int:
    """As normal, after a second; says its process number first."""
    (out.parent / "pid").write_text(str(os.getpid()), encoding="ascii")
    report_stage("reading")
    time.sleep(1.0)
    return normal(scan, rules, out, report_stage)


def crashing(scan: Path, rules: Path, out: Path, report_stage: Report, last_pass: Path | None = None) -> int:
    """Crashes again and again where the scan says so, a moment after writing down the time; else works for long."""
    bench = rules.parent
    if scan.read_bytes().startswith(b"crash"):
        while (bench / "crashed_at").exists():
            time.sleep(0.005)
        (bench / "crashed_at.part").write_text(str(time.monotonic()), encoding="ascii")
        (bench / "crashed_at.part").rename(bench / "crashed_at")
        os.abort()
    (out.parent / "pid").write_text(str(os.getpid()), encoding="ascii")
    time.sleep(8.0)
    return normal(scan, rules, out, report_stage)


def brief(scan: Path, rules: Path, out: Path, report_stage: Report, last_pass: Path | None = None) -> int:
    """As normal, after long enough to be killed in the middle."""
    time.sleep(0.05)
    return normal(scan, rules, out, report_stage)


def drafting(scan: Path, rules: Path, out: Path, report_stage: Report, last_pass: Path | None = None) -> int:
    """As normal, and drafts a sheet for a part without one."""
    part = scan.name.partition(".")[0]
    if not (rules / "sheets" / f"{part}.toml").exists():
        (out / f"{part}.sheet.toml").write_text("# measure these", encoding="utf-8")
    return normal(scan, rules, out, report_stage)


def misbehaving(scan: Path, rules: Path, out: Path, report_stage: Report, last_pass: Path | None = None) -> int:
    """Does what the scan's first line says, unless that is a verdict."""
    deed = DEEDS.get(scan.read_bytes().split(b"\n")[0].decode("ascii", "replace"))
    if deed is None:
        return normal(scan, rules, out, report_stage)
    (out / "half.3mf").write_bytes(b"half")
    deed()
    return 0


def _hang() -> None:
    time.sleep(3600)


def _hang_holding_the_lock() -> None:
    """Sleep in native code that keeps the interpreter's lock, so that no Python thread runs."""
    ctypes.PyDLL(None).sleep(3600)


def _eat_memory() -> None:
    eaten = []
    while True:
        eaten.append(bytearray(os.urandom(1 << 16)) * 256)
        time.sleep(0.005)


def _leave_a_grandchild_and_crash() -> None:
    subprocess.Popen([sys.executable, "-c", "import time; time.sleep(3600)  # grandchild-of-the-bench-test"])
    os.abort()


def _raise() -> None:
    raise RuntimeError("the stub has a bug in [brackets]")


def _find_disk_full() -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


DEEDS: dict[str, Callable[[], object]] = {
    "abort": os.abort,
    "exit": lambda: os._exit(0),
    "sys.exit": lambda: sys.exit(0),
    "hang": _hang,
    "hang in native code": _hang_holding_the_lock,
    "eat memory": _eat_memory,
    "grandchild": _leave_a_grandchild_and_crash,
    "raise": _raise,
    "nothing": lambda: None,
    "disk full": _find_disk_full,
}
