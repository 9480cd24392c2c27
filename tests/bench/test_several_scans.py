"""A folder of scans, or files numbered as scans of one part, are one job."""

import signal
import threading

import pytest
from service import (
    digest,
    drop,
    files_below,
    nothing_is_left_in_hand,
    results_of,
    rows,
    serve_in_a_process,
    serve_until_idle,
    serving,
    until,
)

from verifier.bench import Claimed, Finished, Notice, Ready, retry
from verifier.bench.claim import claim
from verifier.bench.crashpoint import CrashPoint
from verifier.bench.journal import Journal

FIRST, SECOND = "PASS\nfrom above\n", "from below\n"
BOTH = digest(FIRST + SECOND)


def of_kind(events, kind):
    return [event for event in events if isinstance(event, kind)]


def drop_folder(bench, name="seat_armrest"):
    beside = bench.root / f"dropping-{threading.get_ident()}"
    beside.mkdir()
    (beside / "above.off").write_text(FIRST)
    (beside / "below.off").write_text(SECOND)
    beside.rename(bench.inbox / name)


def drop_numbered(bench):
    drop(bench, "seat_armrest.2.off", SECOND)
    drop(bench, "seat_armrest.1.off", FIRST)


def came_out_once(bench):
    assert results_of(bench) == [(BOTH, "PASS")]
    assert [(row["part"], row["state"]) for row in rows(bench)] == [("seat_armrest", "done")]
    originals = sorted((bench.originals / name).read_text() for name in files_below(bench.originals))
    assert originals == sorted([FIRST, SECOND])
    assert nothing_is_left_in_hand(bench)


@pytest.mark.parametrize("put_in", [drop_folder, drop_numbered])
def test_several_scans_of_a_part_are_one_job_and_are_kept_together(bench, put_in):
    put_in(bench)
    (claimed,) = of_kind(serve_until_idle(bench), Claimed)
    assert claimed.size_bytes == len(FIRST + SECOND)
    came_out_once(bench)
    (kept,) = (bench.originals / "seat_armrest").iterdir()
    assert len(list(kept.iterdir())) == 2


def test_without_a_sheet_a_first_scan_waits_for_the_second_and_says_so(bench):
    with serving(bench) as events:
        until(lambda: of_kind(events, Ready))
        drop(bench, "seat_armrest.1.off", FIRST)
        until(lambda: any("scan 2 of it is still missing" in event.text for event in of_kind(events, Notice)))
        assert not of_kind(events, Claimed)
        drop(bench, "seat_armrest.2.off", SECOND)
        until(lambda: of_kind(events, Finished))
    came_out_once(bench)


def test_the_sheet_says_how_many_scans_are_waited_for_and_which_are_missing(bench):
    (bench.rules / "sheets" / "seat_armrest.toml").write_text("scans = 3")
    drop(bench, "seat_armrest.2.off", SECOND)
    (notice,) = of_kind(serve_until_idle(bench), Notice)
    assert notice.text == "seat_armrest.2.off stays in the inbox: scans 1 and 3 are missing."


def test_a_folder_waits_until_it_holds_as_many_scans_as_the_sheet_says(bench):
    (bench.rules / "sheets" / "seat_armrest.toml").write_text("scans = 3")
    drop_folder(bench)
    (notice,) = of_kind(serve_until_idle(bench), Notice)
    assert "scans = 3, and there are 2 so far" in notice.text
    (bench.inbox / "seat_armrest" / "side.off").write_text("from the side")
    assert len(of_kind(serve_until_idle(bench), Finished)) == 1


def test_a_folder_that_is_still_filled_is_left_alone(bench):
    (bench.inbox / "seat_armrest").mkdir()
    with serving(bench) as events:
        (bench.inbox / "seat_armrest" / "above.off").write_text(FIRST)
        with (bench.inbox / "seat_armrest" / "below.off").open("w") as writer:
            until(lambda: any("stays in the inbox" in event.text for event in of_kind(events, Notice)))
            assert not of_kind(events, Claimed)
            writer.write(SECOND)
        until(lambda: of_kind(events, Finished))
    came_out_once(bench)


@pytest.mark.parametrize(
    ("inside", "word"), [("link", "links or folders"), ("folder", "links or folders"), ("", "without a scan")]
)
def test_an_odd_folder_stays_in_the_inbox_with_the_reason(bench, inside, word):
    folder = bench.inbox / "seat_armrest"
    folder.mkdir()
    if inside:
        (folder / "above.off").write_text(FIRST)
    if inside == "link":
        (folder / "below.off").symlink_to(folder / "above.off")
    elif inside == "folder":
        (folder / "more").mkdir()
    (notice,) = of_kind(serve_until_idle(bench), Notice)
    assert word in notice.text
    assert folder.is_dir()


def test_the_same_scans_once_more_are_two_jobs_and_one_original_and_a_retry_reads_it(bench):
    for _ in range(2):
        drop_numbered(bench)
        serve_until_idle(bench)
    assert len(list((bench.originals / "seat_armrest").iterdir())) == 1
    retry(bench.root, "seat_armrest")
    assert len(of_kind(serve_until_idle(bench), Finished)) == 1
    assert len(rows(bench)) == 3
    assert results_of(bench) == [(BOTH, "PASS")]
    assert len(files_below(bench.originals)) == 2


@pytest.mark.parametrize("put_in", [drop_folder, drop_numbered])
@pytest.mark.parametrize(
    "point",
    [
        CrashPoint.CLAIM_RECORDED,
        CrashPoint.CLAIM_FOLDER_MADE,
        CrashPoint.CLAIM_FILE_MOVED,
        CrashPoint.CLAIM_MOVED,
        CrashPoint.CLAIM_SYNCED,
        CrashPoint.ORIGINAL_PLANNED,
        CrashPoint.ORIGINAL_FILED,
    ],
)
def test_after_a_kill_at_any_step_that_moves_them_they_come_out_once(bench, put_in, point):
    put_in(bench)
    process = serve_in_a_process(bench, "stubs:normal", point)
    process.join(20)
    assert process.exitcode == -signal.SIGKILL
    serve_until_idle(bench)
    came_out_once(bench)


def test_when_one_of_them_is_gone_at_the_claim_the_others_go_back(bench):
    drop(bench, "seat_armrest.1.off", FIRST)
    journal = Journal(bench.ledger)
    assert claim(bench, journal, "seat_armrest.1.off/seat_armrest.2.off") is None
    assert [file.name for file in bench.inbox.iterdir()] == ["seat_armrest.1.off"]
    assert not list(bench.jobs.iterdir())
    assert not rows(bench)
    journal.close()


def test_a_scan_added_to_the_folder_while_it_is_measured_makes_the_job_start_over(bench):
    drop_folder(bench)
    with serving(bench, "stubs:slow") as events:
        until(lambda: of_kind(events, Claimed) and list(bench.jobs.glob("*/try-1/pid")))
        (folder,) = bench.jobs.glob("*/scan/seat_armrest")
        (folder / "side.off").write_text("late")
        until(lambda: of_kind(events, Finished))
    (row,) = rows(bench)
    assert (row["attempt"], row["failures"]) == (2, 0)
    assert results_of(bench) == [(digest(FIRST + SECOND + "late"), "PASS")]
