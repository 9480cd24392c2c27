"""Every power cut the model knows: at each step, each number of unsynced changes lost; then each sync left out in turn.

By hand, some ten minutes: python tests/bench/power_loss.py; for single places: power_loss.py PLACE...

Each step is met as often as the jobs of one bench take it: a sync may be needed by the second of them only.
"""

import json
import shutil
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from power import cut_power
from service import serve_until_idle
from test_crashpoint import (
    ON_THE_WAY_BACK,
    assert_everything_came_out_once,
    prepare_bench,
    put_in_hand,
    run_until_power_cut,
)

from verifier.bench.crashpoint import CrashPoint

POINTS = [point for point in CrashPoint if point not in ON_THE_WAY_BACK]
# There are three jobs on the bench: a pass, a held one, and one that runs again.
TIMES = 3
VIOLATIONS = (AssertionError, ValueError, OSError)


def tell(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


@dataclass(frozen=True, slots=True)
class Moment:
    """The n-th time that a step is taken."""

    point: CrashPoint
    time_of_it: int


@dataclass(frozen=True, slots=True)
class Trial:
    """Whether everything came out once; how many steps were unsynced; the places that sync."""

    held: bool
    steps: int
    places: list[str]


class Trials:
    """Each trial on a copy of one prepared bench."""

    def __init__(self, place: Path) -> None:
        self._place, self._prepared = place, prepare_bench(place)
        self.count = 0

    def of(self, moment: Moment, lost: int | None = None, left_out: str = "") -> Trial | None:
        """A cut at this moment; None when the service never came to it."""
        folder = Path(tempfile.mkdtemp(dir=self._place))
        bench, record = put_in_hand(self._prepared, folder), folder / "record"
        run_until_power_cut(bench, moment.point, record, left_out, moment.time_of_it)
        if not record.exists():
            return None
        self.count += 1
        steps, places = cut_power(bench, record, lost), json.loads(record.read_text())["places"]
        try:
            serve_until_idle(bench, "stubs:drafting")
            assert_everything_came_out_once(bench)
        except VIOLATIONS:
            return Trial(False, steps, places)
        finally:
            shutil.rmtree(folder, ignore_errors=True)
        return Trial(True, steps, places)


def every_cut(trials: Trials) -> tuple[list[Moment], set[str], list[tuple[Moment, int]]]:
    """All moments there are, the places that sync, and where which number of lost steps was a violation."""
    moments, places, broken = [], set[str](), []
    for point in POINTS:
        for time_of_it in range(1, TIMES + 1):
            whole = trials.of(moment := Moment(point, time_of_it))
            if whole is None:
                break
            moments.append(moment)
            places |= set(whole.places)
            fewer = [trials.of(moment, lost) for lost in range(1, whole.steps)]
            broken += [(moment, number) for number, each in enumerate([whole, *fewer]) if each and not each.held]
    return moments, places, broken


def first_seen(trials: Trials, moments: list[Moment], place: str) -> Moment | None:
    """A moment at which something is lost without the sync of this place."""
    for moment in reversed(moments):  # what is missing shows best when all the rest is done
        trial = trials.of(moment, left_out=place)
        if trial and not trial.held:
            return moment
    return None


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        trials = Trials(Path(folder))
        if sys.argv[1:]:
            moments = [Moment(point, n) for point in POINTS for n in range(1, TIMES + 1)]
            places = set(sys.argv[1:])
        else:
            moments, places, broken = every_cut(trials)
            tell(f"{trials.count} power cuts at {len(moments)} moments: {len(broken)} violations {broken}")
        for place in sorted(places):
            found = first_seen(trials, moments, place)
            seen = f"needed, seen at {found.point}, time {found.time_of_it}" if found else "not proven needed"
            tell(f"{place}: {seen}")


if __name__ == "__main__":
    main()
