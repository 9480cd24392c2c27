"""What a running service is at can be seen from outside."""

from service import drop, serving, until

from verifier.bench import Stage, status
from verifier.bench.pulse import PulseWriter, read_pulse


def test_a_running_job_is_seen_with_its_stage_and_gone_when_it_is_over(bench):
    drop(bench, "latch_lever.off")
    with serving(bench, "stubs:slow") as events:
        until(lambda: any(isinstance(event, Stage) for event in events))
        (working,) = status(bench.root).pulse.working
        assert (working.job, working.stage) == (1, "reading")
        looked_at = status(bench.root).pulse.looked_at
        until(lambda: not status(bench.root).pulse.working)
        until(lambda: status(bench.root).pulse.looked_at > looked_at)
    assert status(bench.root).pulse is None
    assert not bench.pulse.exists()


def test_a_place_that_cannot_be_written_to_stops_nothing(tmp_path):
    writer = PulseWriter(tmp_path / "no_folder" / "now.json")
    writer.looked()
    writer.stage(1, "reading")
    writer.remove()
    assert read_pulse(tmp_path / "no_folder" / "now.json") is None


def test_half_a_pulse_is_none(tmp_path):
    (tmp_path / "now.json").write_text('{"pid": 7, "started')
    assert read_pulse(tmp_path / "now.json") is None
