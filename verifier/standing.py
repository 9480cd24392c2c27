"""The commands `status`, `retry` and `forget`: how a bench stands, and what a person asks of it."""

import json
from datetime import UTC, datetime
from pathlib import Path
from textwrap import shorten

from verifier.bench import BenchStatus, Job, Working, forget, retry, status
from verifier.bench.limits import GIB
from verifier.screen import Screen

SCHEMA = "verifier.status/1"

# Two lines of a terminal; the report beside the mesh has every reason.
REASON_LETTERS = 160


def show_status(bench: Path, screen: Screen, *, as_json: bool) -> None:
    """Print how the bench stands."""
    told = status(bench)
    if as_json:
        screen.say(json.dumps(as_values(told), ensure_ascii=False, indent=2))
    else:
        screen.say("\n".join(lines_of(told, datetime.now(UTC))))


def ask_retry(bench: Path, name: str, screen: Screen) -> None:
    """Ask that a scan be run once more, and say what becomes of that."""
    part, done = retry(bench, name)
    screen.say(f"{part}: {_runs(bench) if done else 'asked for. The service is busy and will take it up'}.")


def ask_forget(bench: Path, part: str, screen: Screen) -> None:
    """Ask that a part be forgotten, and say what becomes of that."""
    if forget(bench, part):
        kept = bench / "originals" / part
        screen.say(f"{part}: forgotten. What was held lies in {bench / 'held' / '.earlier' / part}, scans in {kept}.")
    else:
        screen.say(f"{part}: asked for. It is in hand and will be forgotten when its job has ended.")


def _runs(bench: Path) -> str:
    return "runs once more" if status(bench).watched else f"runs once more when you start: verifier watch {bench}"


def lines_of(told: BenchStatus, now: datetime) -> list[str]:
    """The status as a person reads it: what needs them first, then what goes on, then what is past."""
    stages = {working.job: working for working in told.pulse.working} if told.pulse else {}
    return [
        _head(told, now),
        *_block("Waits in the inbox", list(told.inbox)),
        *_block("In hand", [_in_hand(job, stages.get(job.id), now) for job in told.in_hand]),
        *_block("Waits for you", [f"{_row(job)} See {_place(job, told)}" for job in told.held]),
        *_block("Set aside", [f"{_row(job)} See {_place(job, told)}" for job in told.set_aside]),
        *_block(
            "In the slicer folder, though a newer scan did not pass",
            [f"{job.part}  printed from it is the scan of {_clock(job.claimed_at)}" for job in told.overtaken],
        ),
        *_block("Came out last", [f"{_row(job)} ({_clock(job.finished_at)})" for job in told.latest]),
    ]


def _head(told: BenchStatus, now: datetime) -> str:
    room = f"{told.free_bytes / GIB:.1f} GiB free"
    if told.pulse:
        looked_s = _seconds_since(told.pulse.looked_at, now)
        return f"{told.bench.root}: watched, last looked {looked_s:.0f} s ago, {room}."
    start = "" if told.watched else f" Start it: verifier watch {told.bench.root}"
    return f"{told.bench.root}: {'watched' if told.watched else 'not watched'}, {room}.{start}"


def _block(title: str, rows: list[str]) -> list[str]:
    return ["", f"{title} ({len(rows)})", *(f"  {row}" for row in rows)] if rows else []


def _in_hand(job: Job, working: Working | None, now: datetime) -> str:
    if working is None:
        return f"{job.part}  {job.state}, {(job.size_bytes or 0) / 1e6:.1f} MB"
    return f"{job.part}  {working.stage}, for {_seconds_since(working.since, now):.0f} s, attempt {job.attempt}"


def _row(job: Job) -> str:
    superseded = "" if job.superseded_by is None else ", superseded by a newer scan"
    reason = shorten(job.reason or "", REASON_LETTERS, placeholder=" …")
    return f"{job.part}  {job.verdict or 'set aside'}{superseded}. {reason}".rstrip()


def _place(job: Job, told: BenchStatus) -> Path:
    """Where a result lies that waits for the person: a later one of its part, as of a wrong file, has moved it."""
    later = any(
        other.part == job.part and (other.finish_number or 0) > (job.finish_number or 0)
        for other in (*told.held, *told.set_aside)
    )
    return told.bench.earlier / job.part if later else told.bench.held / job.part


def _seconds_since(moment: str, now: datetime) -> float:
    return max(0.0, (now - datetime.fromisoformat(moment)).total_seconds())


def _clock(moment: str | None) -> str:
    return datetime.fromisoformat(moment).astimezone().strftime("%Y-%m-%d %H:%M") if moment else "unknown"


def as_values(told: BenchStatus) -> dict[str, object]:
    """The status for programs. Times are UTC, ISO 8601; sizes are bytes; reasons are sentences."""
    stages = {working.job: working for working in told.pulse.working} if told.pulse else {}
    return {
        "schema": SCHEMA,
        "bench": str(told.bench.root),
        "watched": told.watched,
        "pid": told.pulse.pid if told.pulse else None,
        "looked_at": told.pulse.looked_at if told.pulse else None,
        "free_bytes": told.free_bytes,
        "requests": told.requests,
        "inbox": list(told.inbox),
        "in_hand": [_values_of(job) | _work_of(stages.get(job.id)) for job in told.in_hand],
        "held": [_values_of(job) for job in told.held],
        "set_aside": [_values_of(job) for job in told.set_aside],
        "overtaken": [_values_of(job) for job in told.overtaken],
        "latest": [_values_of(job) for job in told.latest],
    }


def _values_of(job: Job) -> dict[str, object]:
    return {
        "job": job.id,
        "part": job.part,
        "scan": job.scan_name,
        "state": job.state.value,
        "verdict": job.verdict,
        "superseded_by": job.superseded_by,
        "reason": job.reason,
        "next_steps": json.loads(job.next_steps or "[]"),
        "size_bytes": job.size_bytes,
        "attempt": job.attempt,
        "failures": job.failures,
        "claimed_at": job.claimed_at,
        "started_at": job.started_at,
        "finished_at": job.finished_at,
    }


def _work_of(working: Working | None) -> dict[str, object]:
    return {"stage": working.stage if working else None, "stage_since": working.since if working else None}
