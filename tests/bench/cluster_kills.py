"""Kill worker, watcher and scheduler of a cluster in turn, and count; or see what more workers bring.

python tests/bench/cluster_kills.py kills 50 [SEED]
python tests/bench/cluster_kills.py throughput COMPUTE [SCAN]
"""

import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from loopback import Loopback
from random_kills import PARTS
from service import digest, drop, make_bench, nothing_is_left_in_hand, results_of, rows, serve_in_a_process, until

from verifier.bench import Bench, new_bench
from verifier.shipped import demo_folder, rules_folder

PATIENCE_S = 300.0


class Fed:
    """Files of few names, never dropped over one that still lies in the inbox."""

    def __init__(self, bench: Bench, chance: random.Random) -> None:
        self._bench, self._chance = bench, chance
        self.contents: list[str] = []

    def some(self, count: int) -> None:
        for _ in range(count):
            name = f"{self._chance.choice(PARTS)}_{self._chance.randint(1, 4)}.off"
            if not (self._bench.inbox / name).exists():
                self.contents.append(f"{self._chance.choice(('PASS', 'FAIL'))}\n{len(self.contents)}")
                drop(self._bench, name, self.contents[-1])


def kill_in_turn(folder: Path, kills: int, chance: random.Random) -> tuple[Bench, list[str], Counter[str]]:
    """Each kill comes at a random moment; what was killed is started again, as a supervisor would."""
    bench, cluster, killed = make_bench(folder), Loopback(workers=2), Counter[str]()
    fed = Fed(bench, chance)
    watcher = serve_in_a_process(bench, "stubs:brief", until_idle=False, cluster=cluster.address)
    try:
        fed.some(1)
        until(lambda: results_of(bench), PATIENCE_S)  # all is up
        for k in range(kills):
            fed.some(chance.randint(3, 8))
            time.sleep(chance.uniform(0.05, 1.0))
            match what := ("worker", "watcher", "scheduler")[k % 3]:
                case "worker":
                    cluster.kill_worker()
                    cluster.start_worker()
                case "watcher":
                    watcher.kill()
                    watcher.join()
                    watcher = serve_in_a_process(bench, "stubs:brief", until_idle=False, cluster=cluster.address)
                case "scheduler":
                    cluster.kill_scheduler()
                    cluster.start_scheduler()
            killed[what] += 1
            time.sleep(chance.uniform(0.5, 4.0))
        until(lambda: done(bench) == len(fed.contents) and nothing_is_left_in_hand(bench), PATIENCE_S)
    finally:
        watcher.kill()
        watcher.join()
        cluster.close()
    return bench, fed.contents, killed


def check(bench: Bench, contents: list[str]) -> None:
    fed = [digest(content) for content in contents]
    assert Counter(row["sha256"] for row in rows(bench)) == Counter(fed)
    assert {row["state"] for row in rows(bench)} == {"done"}
    assert [scan for scan, _ in results_of(bench)] == sorted(fed)


def jobs_a_minute(folder: Path, workers: int, compute: str, scan: Path | None) -> float:
    """With the cluster up and warm: from the drop of all files to the last result."""
    bench = new_bench(folder / "bench", rules_folder())
    shutil.copytree(demo_folder() / "sheets", bench.rules / "sheets", dirs_exist_ok=True)
    content = scan.read_bytes() if scan else b"PASS\n"
    ending, count = scan.suffix if scan else ".off", 6 if scan else 40
    cluster = Loopback(workers)
    watcher = serve_in_a_process(bench, compute, until_idle=False, cluster=cluster.address)
    try:
        (bench.inbox / f"warm_up{ending}").write_bytes(content)
        until(lambda: (bench.slicer / "warm_up.report.json").exists() or (bench.held / "warm_up").exists(), PATIENCE_S)
        time.sleep(10.0)  # the other workers have joined
        started_s = time.monotonic()
        for k in range(count):
            (bench.inbox / f"part_{k}{ending}").write_bytes(content)
        until(lambda: done(bench) == 1 + count, PATIENCE_S)
        return count / (time.monotonic() - started_s) * 60
    finally:
        watcher.kill()
        watcher.join()
        cluster.close()


def done(bench: Bench) -> int:
    return sum(row["state"] in ("done", "set aside") for row in rows(bench))


def main() -> None:
    match sys.argv[1:]:
        case ["kills", kills, *seed]:
            with tempfile.TemporaryDirectory() as folder:
                bench, contents, killed = kill_in_turn(Path(folder), int(kills), random.Random(*map(int, seed)))
                check(bench, contents)
                sys.stdout.write(f"{dict(killed)} kills, {len(contents)} fed = done = records\n")
        case ["throughput", compute, *scan]:
            for workers in (1, 2, 4):
                with tempfile.TemporaryDirectory() as folder:
                    rate = jobs_a_minute(Path(folder), workers, compute, Path(scan[0]) if scan else None)
                    sys.stdout.write(f"{workers} workers: {rate:.1f} jobs a minute\n")
                    sys.stdout.flush()
        case _:
            sys.exit(__doc__)


if __name__ == "__main__":
    main()
