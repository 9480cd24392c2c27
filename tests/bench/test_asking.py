"""Trying a scan again and forgetting a part, with a service running and without one."""

import pytest
from service import (
    digest,
    drop,
    files_below,
    nothing_is_left_in_hand,
    quick,
    rows,
    serve_in_a_process,
    serve_until_idle,
    serving,
    until,
)

from verifier.bench import Finished, Notice, Ready, Stage, forget, retry, status
from verifier.bench.requests import Forget, Retry, leave_request, requests_on
from verifier.errors import UnknownName, WrongUsage


def of_kind(events, kind):
    return [event for event in events if isinstance(event, kind)]


def test_a_scan_set_aside_is_tried_again_by_the_running_service(bench):
    drop(bench, "pump_rocker.off", "abort\n")
    serve_until_idle(bench, "stubs:misbehaving")
    with serving(bench, "stubs:normal") as events:
        until(lambda: of_kind(events, Ready))
        assert retry(bench.root, "pump_rocker") == ("pump_rocker", True)
        until(lambda: of_kind(events, Finished))
    assert [(row["state"], row["verdict"]) for row in rows(bench)] == [("set aside", None), ("done", "UNDECIDED")]
    assert status(bench.root).set_aside == ()
    assert len(files_below(bench.originals)) == 1
    assert requests_on(bench) == []
    assert nothing_is_left_in_hand(bench)


def test_a_passed_scan_is_tried_again_at_the_next_start_and_the_first_pass_is_marked(bench):
    drop(bench, "latch_lever.off", "PASS\n")
    serve_until_idle(bench)
    assert retry(bench.root, "latch_lever.off") == ("latch_lever", True)
    (finished,) = of_kind(serve_until_idle(bench), Finished)
    assert finished.verdict == "PASS"
    assert [row["superseded_by"] for row in rows(bench)] == [2, None]
    assert len(files_below(bench.originals)) == 1
    assert digest("PASS\n") in (bench.slicer / "latch_lever.3mf").read_text()


def test_what_is_in_hand_or_gone_or_unknown_is_not_tried_again(bench):
    drop(bench, "latch_lever.off", "FAIL\n")
    serve_until_idle(bench)
    with pytest.raises(UnknownName, match="no part and no scan"):
        retry(bench.root, "fence_clip")
    retry(bench.root, "latch_lever")
    with pytest.raises(WrongUsage, match="in hand"):
        retry(bench.root, "latch_lever")
    serve_until_idle(bench)
    (bench.originals / "latch_lever" / f"{digest('FAIL' + chr(10))[:12]}-latch_lever.off").unlink()
    with pytest.raises(WrongUsage, match="original was deleted"):
        retry(bench.root, "latch_lever")
    assert len(rows(bench)) == 2


def test_a_request_left_while_nobody_watched_is_carried_out_at_the_next_start_once(bench):
    drop(bench, "latch_lever.off", "FAIL\n")
    serve_until_idle(bench)
    leave_request(bench, Retry(job=1))
    leave_request(bench, Retry(job=1))  # as after a crash between carrying out and removing
    events = serve_until_idle(bench)
    assert len(of_kind(events, Finished)) == 1
    assert any("it is in hand" in event.text for event in of_kind(events, Notice))
    assert requests_on(bench) == []


def test_what_is_no_request_is_removed_and_mentioned(bench):
    bench.requests.mkdir()
    for name, text in [("a.json", "{}"), ("b.json", "not json"), ("c.json", '{"ask": "retry", "job": 77}')]:
        (bench.requests / name).write_text(text)
    notices = [event.text for event in of_kind(serve_until_idle(bench), Notice)]
    assert len(notices) == 3
    assert "no job 77" in notices[2]
    assert requests_on(bench) == []


@pytest.mark.parametrize("watched", [True, False])
def test_a_forgotten_part_is_held_no_more_and_no_rule_runs_it_again(bench, watched):
    drop(bench, "fence_clip.off", "FAIL\n")
    serve_until_idle(bench)
    if watched:
        with serving(bench) as events:
            until(lambda: of_kind(events, Ready))
            assert forget(bench.root, "fence_clip")
    else:
        assert forget(bench.root, "fence_clip")
    assert not (bench.held / "fence_clip").exists()
    assert (bench.earlier / "fence_clip" / "forgotten" / "fence_clip.report.txt").is_file()
    assert status(bench.root).held == ()
    (bench.rules / "filaments.toml").write_text("name = 'ASA'")
    assert of_kind(serve_until_idle(bench), Finished) == []
    assert len(files_below(bench.originals)) == 1


def test_a_forgotten_part_that_is_dropped_again_is_served_as_ever(bench):
    drop(bench, "fence_clip.off", "FAIL\n")
    serve_until_idle(bench)
    forget(bench.root, "fence_clip")
    drop(bench, "fence_clip.off", "FAIL\nanother")
    serve_until_idle(bench)
    assert [job.id for job in status(bench.root).held] == [2]
    assert (bench.held / "fence_clip" / "fence_clip.report.txt").is_file()


def test_a_part_whose_job_runs_is_forgotten_when_that_has_ended(bench):
    drop(bench, "fence_clip.off", "FAIL\n")
    with serving(bench, "stubs:slow") as events:
        until(lambda: of_kind(events, Stage))
        leave_request(bench, Forget(part="fence_clip"))
        until(lambda: any("is forgotten" in event.text for event in of_kind(events, Notice)))
    assert [type(event) for event in events if isinstance(event, Finished | Notice)] == [Finished, Notice]
    assert not (bench.held / "fence_clip").exists()


def test_a_scan_that_waits_for_its_turn_is_not_run_once_its_part_is_forgotten(bench):
    drop(bench, "fence_clip.off", "disk full\n")
    serve_until_idle(bench, "stubs:misbehaving")
    assert [row["state"] for row in rows(bench)] == ["queued"]
    assert forget(bench.root, "fence_clip")
    assert [row["state"] for row in rows(bench)] == ["set aside"]
    assert of_kind(serve_until_idle(bench), Finished) == []
    assert len(files_below(bench.originals)) == 1
    assert nothing_is_left_in_hand(bench)


def test_forgetting_leaves_the_mesh_that_passed(bench):
    drop(bench, "latch_lever.off", "PASS\n")
    serve_until_idle(bench)
    forget(bench.root, "latch_lever")
    assert (bench.slicer / "latch_lever.3mf").is_file()


def test_a_bench_whose_service_was_killed_can_be_asked(bench):
    """The ledger then has a write-ahead log that nobody has folded in."""
    drop(bench, "latch_lever.off", "FAIL\n")
    service = serve_in_a_process(bench, "stubs:slow", until_idle=False)
    until((bench.jobs / "1" / "try-1" / "pid").exists)
    service.kill()
    service.join()
    assert bench.ledger.with_name("ledger.db-wal").stat().st_size > 0
    told = status(bench.root)
    assert [(job.part, job.state) for job in told.in_hand] == [("latch_lever", "running")]
    assert (told.watched, told.pulse) == (False, None)
    assert forget(bench.root, "latch_lever")
    assert [row["state"] for row in rows(bench)] == ["set aside"]


def test_a_pass_is_told_to_be_overtaken_by_a_newer_scan_that_did_not(bench):
    for content in ("PASS\n", "FAIL\n"):
        drop(bench, "latch_lever.off", content)
        serve_until_idle(bench, limits=quick())
    assert [job.id for job in status(bench.root).overtaken] == [1]
    drop(bench, "latch_lever.off", "PASS\nnew")
    serve_until_idle(bench)
    assert status(bench.root).overtaken == ()
