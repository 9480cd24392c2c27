"""From the inbox to a folder: what is told, and what lies where."""

import os
import shutil

import pytest
from service import (
    digest,
    drop,
    files_below,
    nothing_is_left_in_hand,
    quick,
    rows,
    serve_until_idle,
    serving,
    until,
)

from verifier.bench import Claimed, Finished, Notice, Ready, Stage, Waiting, status


def of_kind(events, kind):
    return [event for event in events if isinstance(event, kind)]


def test_a_passed_scan_lies_in_the_slicer_folder_with_its_report_and_the_original_is_kept(bench):
    drop(bench, "latch_lever.off", "PASS\nlever")
    events = serve_until_idle(bench)
    assert files_below(bench.slicer) == ["latch_lever.3mf", "latch_lever.report.json", "latch_lever.report.txt"]
    original = bench.originals / "latch_lever" / f"{digest('PASS' + chr(10) + 'lever')[:12]}-latch_lever.off"
    assert original.read_bytes() == b"PASS\nlever"
    assert nothing_is_left_in_hand(bench)
    kinds = [type(event) for event in events if not isinstance(event, Waiting)]
    assert kinds == [Ready, Claimed, Stage, Stage, Finished]


@pytest.mark.parametrize("verdict", ["FAIL", "UNDECIDED", "REFUSED"])
def test_a_scan_that_did_not_pass_is_held_with_its_report(bench, verdict):
    drop(bench, "fence_clip.off", f"{verdict}\n")
    (finished,) = of_kind(serve_until_idle(bench), Finished)
    assert (finished.verdict, finished.folder) == (verdict, bench.held / "fence_clip")
    assert finished.summary.startswith(verdict)
    assert (finished.mesh is None) == (verdict == "REFUSED")
    assert all(report.is_file() for report in finished.reports)
    assert files_below(bench.slicer) == []
    assert len(files_below(bench.originals)) == 1
    assert [row["verdict"] for row in rows(bench)] == [verdict]


def test_a_new_pass_takes_the_place_of_an_earlier_one_which_is_kept_whole(bench):
    for content in ("PASS\none", "PASS\ntwo"):
        drop(bench, "latch_lever.off", content)
        serve_until_idle(bench)
    earlier = bench.earlier / "latch_lever" / "replaced-by-2"
    assert digest("PASS\ntwo") in (bench.slicer / "latch_lever.3mf").read_text()
    assert digest("PASS\ntwo") in (bench.slicer / "latch_lever.report.json").read_text()
    assert digest("PASS\none") in (earlier / "latch_lever.3mf").read_text()
    assert digest("PASS\none") in (earlier / "latch_lever.report.json").read_text()
    assert len(files_below(bench.originals)) == 2


def test_the_same_bytes_dropped_twice_are_two_jobs_and_one_original(bench):
    for _ in range(2):
        drop(bench, "latch_lever.off", "PASS\n")
        serve_until_idle(bench)
    assert [row["state"] for row in rows(bench)] == ["done", "done"]
    assert len(files_below(bench.originals)) == 1


def test_a_pass_clears_away_the_held_result_it_answers(bench):
    drop(bench, "latch_lever.off", "FAIL\n")
    serve_until_idle(bench)
    drop(bench, "latch_lever.off", "PASS\n")
    serve_until_idle(bench)
    assert not (bench.held / "latch_lever").exists()
    assert (bench.earlier / "latch_lever" / "replaced-by-2" / "held" / "latch_lever.report.txt").is_file()


def test_of_one_part_the_scan_dropped_last_has_the_last_word_even_when_it_is_smaller(bench):
    drop(bench, "latch_lever.off", "PASS\n" + "x" * 1000)
    with serving(bench, compute="stubs:slow", limits=quick(parallel_jobs=2)) as events:
        until(lambda: of_kind(events, Claimed))
        drop(bench, "latch_lever.off", "PASS\nlast")
        until(lambda: len(of_kind(events, Finished)) == 2)
    assert digest("PASS\nlast") in (bench.slicer / "latch_lever.3mf").read_text()


def test_a_saved_sheet_lets_the_held_job_go_on_by_itself(bench):
    drop(bench, "seat_armrest.off", "armrest")
    with serving(bench) as events:
        until(lambda: of_kind(events, Finished))
        assert of_kind(events, Finished)[0].verdict == "UNDECIDED"
        (bench.rules / "sheets" / "seat_armrest.toml").write_text("reading = 80.0")
        until(lambda: len(of_kind(events, Finished)) == 2)
    assert of_kind(events, Finished)[1].verdict == "PASS"
    assert files_below(bench.slicer)
    assert len(rows(bench)) == 1
    assert nothing_is_left_in_hand(bench)


def test_a_sheet_saved_while_nobody_watched_is_seen_at_the_next_start(bench):
    drop(bench, "seat_armrest.off", "armrest")
    drop(bench, "fence_clip.off", "clip")
    serve_until_idle(bench)
    (bench.rules / "sheets" / "seat_armrest.toml").write_text("reading = 80.0")
    (finished,) = of_kind(serve_until_idle(bench), Finished)
    assert (finished.part, finished.verdict) == ("seat_armrest", "PASS")


def test_another_rule_runs_every_held_job_again_and_no_passed_one(bench):
    for name, verdict in [("latch_lever", "PASS"), ("fence_clip", "FAIL"), ("seat_armrest", "UNDECIDED")]:
        drop(bench, f"{name}.off", f"{verdict}\n")
    serve_until_idle(bench)
    (bench.rules / "filaments.toml").write_text("name = 'ASA'")
    assert sorted(event.part for event in of_kind(serve_until_idle(bench), Finished)) == ["fence_clip", "seat_armrest"]
    assert of_kind(serve_until_idle(bench), Finished) == []


def test_a_rule_that_changed_while_the_job_ran_runs_it_again(bench):
    drop(bench, "fence_clip.off", "FAIL\n")
    drop(bench, "latch_lever.off", "PASS\n")
    with serving(bench, "stubs:slow") as events:
        until(lambda: len(of_kind(events, Stage)) >= 2)
        (bench.rules / "filaments.toml").write_text("name = 'ASA'")
        until(lambda: len(of_kind(events, Finished)) == 3)
        until(lambda: not status(bench.root).in_hand)
    assert [event.part for event in of_kind(events, Finished)].count("fence_clip") == 2


def test_a_held_scan_is_not_run_again_once_a_newer_one_of_its_part_has_passed(bench):
    drop(bench, "latch_lever.off", "UNDECIDED\n")
    serve_until_idle(bench)
    drop(bench, "latch_lever.off", "PASS\n")
    serve_until_idle(bench)
    (bench.rules / "filaments.toml").write_text("name = 'ASA'")
    assert of_kind(serve_until_idle(bench), Finished) == []


def test_a_held_job_whose_original_was_deleted_says_so_once_and_stays(bench):
    drop(bench, "latch_lever.off", "FAIL\n")
    serve_until_idle(bench)
    shutil.rmtree(bench.originals / "latch_lever")
    (bench.rules / "filaments.toml").write_text("name = 'ASA'")
    (notice,) = of_kind(serve_until_idle(bench), Notice)
    assert "original was deleted" in notice.text
    assert of_kind(serve_until_idle(bench), Notice) == []
    assert (bench.held / "latch_lever" / "latch_lever.report.txt").is_file()


def test_a_drafted_sheet_is_laid_among_the_rules_once_and_does_not_run_the_job_again(bench):
    drop(bench, "seat_armrest.off", "armrest")
    serve_until_idle(bench, compute="stubs:drafting")
    sheet = bench.rules / "sheets" / "seat_armrest.toml"
    assert sheet.read_text() == "# measure these"
    assert of_kind(serve_until_idle(bench, compute="stubs:drafting"), Finished) == []
    sheet.write_text("reading = 80.0")
    (finished,) = of_kind(serve_until_idle(bench, compute="stubs:drafting"), Finished)
    assert finished.verdict == "PASS"
    assert sheet.read_text() == "reading = 80.0"


def test_files_that_came_while_nobody_watched_are_all_taken_once(bench, monkeypatch):
    monkeypatch.setattr("verifier.bench.intake.CLAIMS_A_LOOK", 3)
    for number in range(8):
        drop(bench, f"part_{number}.off", f"PASS\n{number}")
    serve_until_idle(bench)
    assert [row["state"] for row in rows(bench)] == ["done"] * 8
    assert len(files_below(bench.slicer)) == 24


def test_a_file_dropped_while_the_service_runs_is_found_by_its_event(bench):
    """The look that needs no event comes only after a minute here."""
    with serving(bench, limits=quick(rescan_s=60.0)) as events:
        until(lambda: of_kind(events, Ready))
        drop(bench, "latch_lever.off")
        until(lambda: of_kind(events, Finished))


def test_a_file_is_found_by_looking_when_the_system_tells_nothing(bench, monkeypatch):
    monkeypatch.setattr("verifier.bench.hints.InboxHints.see_to_it", lambda self: None)
    with serving(bench) as events:
        until(lambda: of_kind(events, Ready))
        drop(bench, "latch_lever.off")
        until(lambda: of_kind(events, Finished))


@pytest.mark.parametrize("how", ["deleted", "renamed"])
def test_an_inbox_that_was_made_anew_is_watched_again(bench, how):
    with serving(bench) as events:
        until(lambda: of_kind(events, Ready))
        if how == "deleted":
            bench.inbox.rmdir()
        else:
            bench.inbox.rename(bench.root / "old_inbox")
        until(lambda: any("inbox cannot be read" in event.text for event in of_kind(events, Notice)))
        bench.inbox.mkdir()
        drop(bench, "latch_lever.off")
        until(lambda: of_kind(events, Finished))


def test_an_inbox_swapped_within_a_moment_is_listened_to_again(bench):
    with serving(bench, limits=quick(rescan_s=1.0)) as events:
        until(lambda: of_kind(events, Ready))
        bench.inbox.rename(bench.root / "old_inbox")
        bench.inbox.mkdir()
        drop(bench, "latch_lever.off")
        until(lambda: of_kind(events, Finished))
        drop(bench, "fence_clip.off")
        until(lambda: len(of_kind(events, Finished)) == 2)


def test_a_file_that_is_still_being_written_is_left_alone_and_then_taken_whole(bench):
    with serving(bench) as events:
        with (bench.inbox / "latch_lever.off").open("w") as writer:
            writer.write("PASS\n")
            writer.flush()
            until(lambda: any("open for writing" in event.reason for event in of_kind(events, Waiting)))
            assert of_kind(events, Claimed) == []
            writer.write("the rest")
        until(lambda: of_kind(events, Finished))
    assert [row["sha256"] for row in rows(bench)] == [digest("PASS\nthe rest")]


def test_a_writer_that_keeps_its_file_open_across_the_claim_makes_the_job_start_over(bench, monkeypatch):
    """As on a system that cannot tell that a writer is there."""
    monkeypatch.setattr("verifier.bench.intake.why_not_readable", lambda path: None)
    with serving(bench, compute="stubs:slow") as events, (bench.inbox / "latch_lever.off").open("w") as writer:
        writer.write("FAIL\n")
        writer.flush()
        until(lambda: of_kind(events, Stage))
        writer.write("the rest")
        writer.close()
        until(lambda: of_kind(events, Finished))
    (row,) = rows(bench)
    assert (row["sha256"], row["failures"], row["attempt"]) == (digest("FAIL\nthe rest"), 0, 2)
    assert digest("FAIL\nthe rest") in (bench.held / "latch_lever" / "latch_lever.report.json").read_text()


def test_stopping_in_the_middle_of_a_job_holds_nothing_against_it(bench):
    drop(bench, "latch_lever.off")
    with serving(bench, compute="stubs:slow") as events:
        until(lambda: of_kind(events, Stage))
    (row,) = rows(bench)
    assert (row["state"], row["failures"], row["interruptions"]) == ("queued", 0, 0)
    serve_until_idle(bench)
    assert files_below(bench.slicer)


def test_small_scans_go_first(bench):
    for size in (3000, 10, 200):
        drop(bench, f"part_{size}.off", "PASS\n" + "x" * size)
    events = serve_until_idle(bench, limits=quick(parallel_jobs=1))
    assert [event.part for event in of_kind(events, Finished)] == ["part_10", "part_200", "part_3000"]


def test_folders_links_pipes_and_pictures_stay_in_the_inbox_and_are_mentioned_once(bench, tmp_path):
    (bench.inbox / "seat_armrest").mkdir()
    (bench.inbox / "seat_armrest" / "one.off").symlink_to(tmp_path / "elsewhere.off")
    (tmp_path / "elsewhere.off").write_text("PASS\n")
    (bench.inbox / "link.off").symlink_to(tmp_path / "elsewhere.off")
    os.mkfifo(bench.inbox / "pipe.off")
    (bench.inbox / "latch_lever.mtl").write_text("newmtl grey")
    with serving(bench) as events:
        drop(bench, "latch_lever.off")
        until(lambda: of_kind(events, Finished))
        drop(bench, "fence_clip.off")
        until(lambda: len(of_kind(events, Finished)) == 2)
    told = sorted(event.text.partition(" stays")[0] for event in of_kind(events, Notice))
    assert told == ["latch_lever.mtl", "link.off", "pipe.off", "seat_armrest"]
    assert len(list(bench.inbox.iterdir())) == 4


def test_hidden_and_temporary_names_are_nobodys_business(bench):
    for name in (".latch_lever.off", "latch_lever.off.part", "latch_lever.off~", "latch_lever.TMP", "desktop.ini"):
        drop(bench, name)
    assert [type(event) for event in serve_until_idle(bench)] == [Ready]
    assert rows(bench) == []


NAMES = [
    b"latch_lever.off",
    b"r\xfcckwand.off",  # not UTF-8
    "riegel_grün.off".encode(),
    b"[red]lever.off",
    b"new\nline.off",
    b"\x1b[31mlever.off",
    b"  spaces .off",
    b"-rf.off",
    b"x" * 251 + b".off",
    "\u202eflipped.off".encode(),
    b"no_ending",
    b"two.dots.in.it.off",
    b"'; DROP TABLE jobs; --.off",
]


def test_every_name_a_file_can_have_comes_out_once_with_its_name_kept_in_the_ledger(bench):
    for name in NAMES:
        drop(bench, name)
    events = serve_until_idle(bench)
    assert len(of_kind(events, Finished)) == len(NAMES)
    assert {row["original_name"] for row in rows(bench)} == set(NAMES)
    assert len({row["part"] for row in rows(bench)}) == len(NAMES)
    assert all(event.name.isprintable() for event in of_kind(events, Claimed))
    assert len(files_below(bench.slicer)) == 3 * len(NAMES)


def test_nothing_is_taken_while_the_disk_is_nearly_full(bench):
    drop(bench, "latch_lever.off")
    events = serve_until_idle(bench, limits=quick(least_free_bytes=1 << 62))
    assert any("nearly full" in event.text for event in of_kind(events, Notice))
    assert list(bench.inbox.iterdir())
    assert len(of_kind(serve_until_idle(bench), Finished)) == 1


def test_a_slicer_folder_that_went_away_gets_the_result_when_it_is_back(bench):
    with serving(bench) as events:
        until(lambda: of_kind(events, Ready))
        bench.slicer.rename(bench.root / "unplugged")
        drop(bench, "latch_lever.off")
        until(lambda: any("put in its place" in event.text for event in of_kind(events, Notice)))
        (bench.root / "unplugged").rename(bench.slicer)
        until(lambda: of_kind(events, Finished))
    assert len(files_below(bench.slicer)) == 3


def test_the_status_tells_what_waits_what_is_held_and_what_came_last(bench):
    drop(bench, "fence_clip.off", "FAIL\n")
    drop(bench, "latch_lever.off", "PASS\n")
    serve_until_idle(bench)
    drop(bench, "pump_rocker.off")
    told = status(bench.root)
    assert not told.watched
    assert told.inbox == ("pump_rocker.off",)
    assert told.in_hand == ()
    assert [job.part for job in told.held] == ["fence_clip"]
    assert {job.part for job in told.latest} == {"fence_clip", "latch_lever"}
