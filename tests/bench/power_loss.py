"""Every power cut the model knows: at each step, each number of unsynced changes lost; then each sync left out in turn.

By hand, some ten minutes: python tests/bench/power_loss.py

A step is met the first time it is taken, which is by a held job here, so the sync of the slicer folder is not proven by
this; nor are those before an attempt, which is begun anew anyway, and that of a new ledger, no part of the model.
"""

import json
import sys
import tempfile
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
VIOLATIONS = (AssertionError, ValueError, OSError)


def tell(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


class Trials:
    """Each trial on a copy of one prepared bench."""

    def __init__(self, place: Path) -> None:
        self._place, self._prepared = place, prepare_bench(place)
        self.count = 0

    def holds(self, point: CrashPoint, lost: int | None, left_out: str = "") -> tuple[bool, int, list[str]]:
        """Whether everything comes out once; how many steps were unsynced; the places that sync."""
        self.count += 1
        folder = Path(tempfile.mkdtemp(dir=self._place))
        bench = put_in_hand(self._prepared, folder)
        run_until_power_cut(bench, point, folder / "record", left_out)
        steps = cut_power(bench, folder / "record", lost)
        places = json.loads((folder / "record").read_text())["places"]
        try:
            serve_until_idle(bench, "stubs:drafting")
            assert_everything_came_out_once(bench)
        except VIOLATIONS:
            return False, steps, places
        return True, steps, places


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        trials, places, broken = Trials(Path(folder)), set(), []
        for point in POINTS:
            held, steps, seen = trials.holds(point, None)
            results = [held, *(trials.holds(point, lost)[0] for lost in range(1, steps))]
            places |= set(seen)
            broken += [(point, number) for number, kept in enumerate(results) if not kept]
        tell(f"{trials.count} power cuts at {len(POINTS)} steps: {len(broken)} violations {broken}")
        for place in sorted(places):
            found = next((point for point in POINTS if not trials.holds(point, None, place)[0]), None)
            tell(f"{place}: {f'needed, seen at {found}' if found else 'not proven needed'}")


if __name__ == "__main__":
    main()
