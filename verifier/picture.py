"""The live picture of `watch` on a terminal: what is in hand and at which stage, what waits, what came out.

Nothing here touches the terminal or the clock: events and the time go in, something rich can draw comes out.
"""

from collections import Counter, deque
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from rich.console import Group
from rich.table import Table
from rich.text import Text

from verifier.bench import Claimed, Event, Finished, Ready, SetAside, Stage, TriedAgain, Waiting

# A terminal of 24 lines shows the whole picture under a few lines of the last report.
ROWS_A_BLOCK = 4
STYLES = {"PASS": "green", "FAIL": "red", "UNDECIDED": "yellow", "REFUSED": "magenta", "set aside": "magenta"}


@dataclass(slots=True)
class _InHand:
    part: str
    since_s: float
    stage: str = ""
    stage_since_s: float = 0.0


@dataclass(frozen=True, slots=True)
class _Result:
    part: str
    verdict: str
    seconds: float
    folder: Path


class Picture:
    """What a person watching wants to see; times are the caller's, of any clock that only runs on."""

    def __init__(self, now_s: float) -> None:
        self._started_s = now_s
        self._bench = Path()
        self._waiting: dict[str, tuple[str, float]] = {}
        self._in_hand: dict[int, _InHand] = {}
        self._results: deque[_Result] = deque(maxlen=ROWS_A_BLOCK)
        self._counts: Counter[str] = Counter()

    def take(self, event: Event, now_s: float) -> None:
        """Put an event into the picture."""
        match event:
            case Ready(bench):
                self._bench = bench
            case Waiting(name, reason):
                self._waiting[name] = (reason, self._waiting.get(name, ("", now_s))[1])
            case Claimed(job, part, name):
                self._waiting.pop(name, None)
                self._in_hand[job] = _InHand(part, now_s)
            case Stage(job, part, stage):
                known = self._in_hand.setdefault(job, _InHand(part, now_s))
                known.stage, known.stage_since_s = stage, now_s
            case TriedAgain(job, part):
                self._in_hand.setdefault(job, _InHand(part, now_s)).stage = ""
            case Finished(job, part, verdict, folder):
                self._come_out(job, part, verdict, folder, now_s)
            case SetAside(job, part, _, folder):
                self._come_out(job, part, "set aside", folder, now_s)

    def keep_waiting(self, names: Iterable[str]) -> None:
        """These lie in the inbox; what else was waiting has been taken away."""
        there = set(names)
        self._waiting = {name: why for name, why in self._waiting.items() if name in there}

    def _come_out(self, job: int, part: str, verdict: str, folder: Path, now_s: float) -> None:
        known = self._in_hand.pop(job, None)
        seconds = now_s - known.since_s if known else 0.0
        self._results.appendleft(_Result(part, verdict, seconds, folder))
        self._counts[verdict] += 1

    def drawn(self, now_s: float) -> Group:
        """The picture at this moment."""
        working = [job for job in self._in_hand.values() if job.stage]
        queued = [job for job in self._in_hand.values() if not job.stage]
        head = f"Watching {self._bench / 'inbox'} for {_lasting(now_s - self._started_s)}. Stop with Ctrl-C."
        return Group(
            Text(head, style="bold"),
            _block("In hand", [_working_row(job, now_s) for job in working]),
            _block("Next", [(job.part, f"taken {_lasting(now_s - job.since_s)} ago", "") for job in queued]),
            _block("Waits", [(name, reason, _lasting(now_s - s)) for name, (reason, s) in self._waiting.items()]),
            _block(f"Came out: {_counted(self._counts)}", [_result_row(result) for result in self._results]),
        )


Row = tuple[str, str, str]


def _working_row(job: _InHand, now_s: float) -> Row:
    return job.part, job.stage, f"{now_s - job.stage_since_s:.0f} s of {_lasting(now_s - job.since_s)}"


def _result_row(result: _Result) -> Row:
    return result.part, result.verdict, f"{_lasting(result.seconds)}, in {result.folder.name}"


def _block(title: str, rows: list[Row]) -> Group:
    if not rows:
        return Group()
    table = Table.grid(padding=(0, 2))
    for _ in range(3):
        table.add_column(no_wrap=True, overflow="crop")
    for part, middle, end in rows[:ROWS_A_BLOCK]:
        table.add_row(Text(f"  {part}"), Text(middle, style=STYLES.get(middle, "")), Text(end))
    more = [Text(f"  and {len(rows) - ROWS_A_BLOCK} more")] if len(rows) > ROWS_A_BLOCK else []
    return Group(Text(title), table, *more)


def _counted(counts: Counter[str]) -> str:
    return ", ".join(f"{count} {verdict}" for verdict, count in counts.items())


def _lasting(seconds: float) -> str:
    """A time as long as one wants to read it."""
    whole = int(seconds)
    if whole < 60:
        return f"{whole} s"
    return f"{whole // 60} min" if whole < 3600 else f"{whole // 3600} h {whole % 3600 // 60} min"
