"""Kill the service again and again at random moments while files with repeated names keep coming.

By hand, for longer than a test may take: python tests/bench/random_kills.py KILLS SEED [LONGEST LIFE, s]
A busy machine wants longer lives: where none outlasts its own start, nothing is tried. What they did is told.
"""

import random
import sys
import tempfile
import threading
import time
from collections import Counter
from pathlib import Path

from service import (
    digest,
    drop,
    files_below,
    make_bench,
    mesh_is_whole_and_beside_its_report,
    nothing_is_left_in_hand,
    results_of,
    rows,
    serve_in_a_process,
    serve_until_idle,
)

from verifier.bench import Bench

PARTS = ("latch_lever", "pump_rocker", "fence_clip")
VERDICTS = ("PASS", "PASS", "FAIL", "REFUSED")
# Starting takes a few tenths of a second, and so does a file from inbox to result: kills fall into every phase.
LONGEST_LIFE_S = 0.8


class Feeder(threading.Thread):
    """Drops files of few names, never over one that still lies in the inbox."""

    def __init__(self, bench: Bench, chance: random.Random) -> None:
        super().__init__()
        self._bench, self._chance = bench, chance
        self.fed: list[str] = []
        self.enough = threading.Event()

    def run(self) -> None:
        while not self.enough.wait(self._chance.uniform(0.02, 0.15)):
            name = f"{self._chance.choice(PARTS)}.off"
            if not (self._bench.inbox / name).exists():
                content = f"{self._chance.choice(VERDICTS)}\n{len(self.fed)}"
                self.fed.append(content)
                drop(self._bench, name, content)


class SlicerReader(threading.Thread):
    """Looks into the slicer folder all the time; remembers every mesh that was not whole."""

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench = bench
        self.seen = 0
        self.half: list[str] = []
        self.enough = threading.Event()

    def run(self) -> None:
        while not self.enough.wait(0.002):
            for mesh in self._bench.slicer.glob("[!.]*.3mf"):
                try:
                    data = mesh.read_bytes()
                except FileNotFoundError:
                    continue
                self.seen += 1
                if not data.endswith(b"end"):
                    self.half.append(mesh.name)


def feed_and_kill(
    folder: Path, kills: int, chance: random.Random, longest_life_s: float = LONGEST_LIFE_S
) -> tuple[Bench, Feeder, SlicerReader]:
    bench = make_bench(folder)
    feeder, reader = Feeder(bench, chance), SlicerReader(bench)
    feeder.start()
    reader.start()
    try:
        for _ in range(kills):
            service = serve_in_a_process(bench, "stubs:brief", until_idle=False)
            time.sleep(chance.uniform(0.05, longest_life_s))
            service.kill()
            service.join()
    finally:
        feeder.enough.set()
        feeder.join()
    serve_until_idle(bench)
    reader.enough.set()
    reader.join()
    return bench, feeder, reader


def check(bench: Bench, feeder: Feeder, reader: SlicerReader) -> None:
    fed = [digest(content) for content in feeder.fed]
    assert reader.seen > 0
    assert reader.half == []
    assert nothing_is_left_in_hand(bench)
    assert Counter(row["sha256"] for row in rows(bench)) == Counter(fed)  # none lost, none doubled
    assert {row["state"] for row in rows(bench)} == {"done"}
    assert [scan for scan, _ in results_of(bench)] == sorted(fed)
    assert sorted(digest((bench.originals / name).read_text()) for name in files_below(bench.originals)) == sorted(fed)
    assert all(mesh_is_whole_and_beside_its_report(mesh) for mesh in bench.slicer.glob("*.3mf"))


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        kills, seed, *longest_s = sys.argv[1:]
        chance = random.Random(int(seed))
        bench, feeder, reader = feed_and_kill(Path(folder), int(kills), chance, *map(float, longest_s))
        check(bench, feeder, reader)
        told = (
            f"{kills} kills, {sum(row['interruptions'] for row in rows(bench))} of them in the middle of a job,"
            f" {len(feeder.fed)} files fed, {reader.seen} meshes read: none lost, doubled or half"
        )
        sys.stdout.write(f"{told}\n")
