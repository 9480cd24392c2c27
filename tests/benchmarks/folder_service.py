"""How long the folder service takes, with real scans and real waits; on a busy machine the figures say little.

python tests/benchmarks/folder_service.py times [COUNT]        from a writer's end to claimed, and on to the verdict
python tests/benchmarks/folder_service.py crashes [COUNT]      from a worker's crash to its being told
python tests/benchmarks/folder_service.py sides [SEED] [cluster]   a part of two scans, to its verdict
python tests/benchmarks/folder_service.py scan FILE            the clean scan of 100,000 triangles itself, as STL
"""

import contextlib
import json
import os
import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

HERE = Path(__file__).parents[2]
sys.path[:0] = [str(HERE), str(HERE / "tests" / "bench")]
os.environ["PYTHONPATH"] = os.pathsep.join(sys.path[:2])

from inbox_demo import simulated  # noqa: E402
from tests.joining import views  # noqa: E402
from verifier.bench import Bench, Claimed, Event, Finished, Limits, Ready, TriedAgain, new_bench, run_bench  # noqa: E402
from verifier.bench.limits import limits_of_this_machine  # noqa: E402
from verifier.bench.watch import COMPUTE  # noqa: E402
from verifier.shipped import demo_folder, rules_folder  # noqa: E402

PATIENCE_S = 600.0
Timed = list[tuple[float, Event]]


def clean_scan(seed: int) -> bytes:
    """Some 100,000 triangles of the gate-latch lever, without a fault."""
    found = simulated.scan(simulated.latch_lever(), spacing_mm=0.42, seed=seed, correlated_mm=0.01)
    return simulated.stl_bytes(found.vertices_mm, found.faces)


def shop(folder: Path) -> Bench:
    bench = new_bench(folder / "bench", rules_folder())
    shutil.copytree(demo_folder() / "sheets", bench.rules / "sheets", dirs_exist_ok=True)
    return bench


@contextlib.contextmanager
def watched(bench: Bench, compute: str, limits: Limits, cluster: str | None = None) -> Iterator[Timed]:
    """A service in a thread; its events, each with the time when it was told."""
    events: Timed = []
    stop = threading.Event()
    settings = {"compute": compute, "limits": limits, "cluster": cluster}
    arguments = (bench.root, lambda event: events.append((time.monotonic(), event)), stop)
    thread = threading.Thread(target=run_bench, args=arguments, kwargs=settings)
    thread.start()
    try:
        wait_for(lambda: at(events, Ready))
        yield events
    finally:
        stop.set()
        thread.join()


def at(events: Timed, kind: type) -> list[float]:
    return [moment for moment, event in events if isinstance(event, kind)]


def wait_for(condition: Callable[[], object]) -> None:
    end_s = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < end_s
        time.sleep(0.005)


def times(count: int) -> None:
    """The scan is written in pieces straight into the inbox, as an exporter does; the next follows the last verdict."""
    with (
        tempfile.TemporaryDirectory() as folder,
        watched(shop(Path(folder)), COMPUTE, limits_of_this_machine()) as told,
    ):
        inbox = Path(folder) / "bench" / "inbox"
        for number in range(count):
            data = clean_scan(seed=number)
            with (inbox / "latch_lever.stl").open("wb") as file:
                for start in range(0, len(data), 1 << 20):
                    file.write(data[start : start + (1 << 20)])
                    time.sleep(0.1)
            ended_s = time.monotonic()
            wait_for(lambda number=number: len(at(told, Finished)) == number + 1)
            claimed_s, finished_s = at(told, Claimed)[-1], at(told, Finished)[-1]
            verdict = next(event.verdict for _, event in reversed(told) if isinstance(event, Finished))
            print(
                f"{(len(data) - 84) // 50:,} triangles: claimed {claimed_s - ended_s:.2f} s after the writer's end,"
                f" {verdict} {finished_s - claimed_s:.2f} s later; load {os.getloadavg()[0]:.1f}",
                flush=True,
            )


def crashes(count: int) -> None:
    """Each of these workers writes down the time and crashes, beside a neighbour that works on."""
    from service import make_bench, quick

    with tempfile.TemporaryDirectory() as folder:
        bench = make_bench(Path(folder))
        with watched(bench, "stubs:crashing", quick(tries=count + 1)) as told:
            (bench.inbox / "fence_clip.off").write_text("PASS\n")
            wait_for(lambda: list(bench.jobs.glob("*/try-1/pid")))
            (bench.inbox / "latch_lever.off").write_text("crash\n")
            late_s = []
            for number in range(count):
                wait_for(lambda number=number: len(at(told, TriedAgain)) > number)
                late_s.append(at(told, TriedAgain)[number] - float((bench.root / "crashed_at").read_text()))
                (bench.root / "crashed_at").unlink()
            wait_for(lambda: at(told, Finished))
            neighbours = [event.verdict for _, event in told if isinstance(event, Finished)]
    print(f"{count} crashes told after {np.median(late_s):.3f} s, at most {max(late_s):.3f} s; neighbour: {neighbours}")


def sides(seed: int, *, on_cluster: bool) -> None:
    """The seat panel of the joining's own tests, some 56,000 triangles a side, dropped as two numbered files."""
    part, rng = views.seat_panel(), np.random.default_rng([seed, 5])
    fault = views.random_fault(rng, spacing_mm=2.5, inner_mm=12.0)
    with tempfile.TemporaryDirectory() as folder, contextlib.ExitStack() as stack:
        bench, address = shop(Path(folder)), None
        if on_cluster:
            from loopback import Loopback

            cluster = stack.enter_context(contextlib.closing(Loopback(workers=1)))
            address = cluster.address
        told = stack.enter_context(watched(bench, COMPUTE, limits_of_this_machine(), address))
        for number, side in ((2, -1), (1, 1)):
            seen = views.view(part, side, fault, rng)
            (bench.inbox / f"seat_panel.{number}.ply").write_bytes(simulated.ply_bytes(seen.vertices_mm, seen.faces))
        wait_for(lambda: at(told, Finished))
        stages = [event.stage for _, event in told if hasattr(event, "stage")]
        report = json.loads((bench.held / "seat_panel" / "seat_panel.report.json").read_text(encoding="utf-8"))
        kept = [file.name for file in (bench.originals / "seat_panel").rglob("*.ply")]
        print(
            f"{len(report['join']['scans'])} scans, {report['scan']['triangles']:,} triangles: {report['verdict']}, by"
            f" {' > '.join(stages)}; closed {report['mend']['closed']}; kept {sorted(kept)}"
        )


def main() -> None:
    match sys.argv[1:]:
        case ["times", *count]:
            times(int(count[0]) if count else 5)
        case ["crashes", *count]:
            crashes(int(count[0]) if count else 20)
        case ["sides", *words]:
            numbers = [int(word) for word in words if word.isdigit()]
            sides(numbers[0] if numbers else 4242, on_cluster="cluster" in words)
        case ["scan", file]:
            Path(file).write_bytes(clean_scan(seed=0))
        case _:
            sys.exit(__doc__)


if __name__ == "__main__":
    main()
