"""Drop thousands of files at once, and see that each comes out once and the service's own memory stays flat.

By hand: python tests/bench/many_files.py FILES
"""

import contextlib
import sqlite3
import sys
import tempfile
import time
from pathlib import Path

import psutil
from service import files_below, make_bench, nothing_is_left_in_hand, rows, serve_in_a_process

from verifier.bench import Bench


def drop_many(bench: Bench, count: int) -> None:
    """Written elsewhere, then moved in as fast as the system moves them."""
    beside = bench.root / "beside"
    beside.mkdir()
    for number in range(count):
        (beside / f"part_{number}.off").write_text(f"REFUSED\n{number}", encoding="utf-8")
    for file in sorted(beside.iterdir()):
        file.rename(bench.inbox / file.name)
    beside.rmdir()


def serve_many(bench: Bench, count: int) -> list[int]:
    """Resident memory of the service, in bytes, seen twice a second."""
    service = serve_in_a_process(bench, "stubs:normal", until_idle=False)
    seen_bytes = []
    time.sleep(2.0)  # it watches, and all the events come while it does
    drop_many(bench, count)
    while done_count(bench) < count:
        seen_bytes.append(psutil.Process(service.pid).memory_info().rss)
        time.sleep(0.5)
    service.terminate()
    service.join()
    return seen_bytes


def done_count(bench: Bench) -> int:
    with contextlib.closing(sqlite3.connect(bench.ledger)) as db:
        return db.execute("SELECT count(*) FROM jobs WHERE state = 'done'").fetchone()[0]


def check(bench: Bench, count: int) -> None:
    names = sorted(row["original_name"].decode() for row in rows(bench))
    assert names == sorted(f"part_{number}.off" for number in range(count))  # none lost, none doubled
    assert {row["state"] for row in rows(bench)} == {"done"}
    assert {row["attempt"] for row in rows(bench)} == {1}
    assert len(files_below(bench.originals)) == count
    assert nothing_is_left_in_hand(bench)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        bench, began_s = make_bench(Path(folder)), time.monotonic()
        seen_bytes = serve_many(bench, int(sys.argv[1]))
        check(bench, int(sys.argv[1]))
        quarter = len(seen_bytes) // 4
        sys.stdout.write(
            f"{sys.argv[1]} files at once, each out once, in {time.monotonic() - began_s:.0f} s; the service's own"
            f" memory {max(seen_bytes[:quarter]) / 2**20:.0f} MiB at most in the first quarter of the time,"
            f" {max(seen_bytes[-quarter:]) / 2**20:.0f} MiB in the last\n"
        )
