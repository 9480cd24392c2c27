"""From the inbox to a folder: what is told, and what lies where."""

import pytest
from service import digest, drop, files_below, make_bench, nothing_is_left_in_hand, rows, serve_until_idle

from verifier.bench import Claimed, Finished, Ready, Stage


def test_a_passed_scan_lies_in_the_slicer_folder_with_its_report_and_the_original_is_kept(bench):
    drop(bench, "latch_lever.stl", "PASS\nendsolid")
    events = serve_until_idle(bench)
    assert files_below(bench.slicer) == ["latch_lever.3mf", "latch_lever.report.json", "latch_lever.report.txt"]
    original = bench.originals / "latch_lever" / f"{digest('PASS' + chr(10) + 'endsolid')[:12]}-latch_lever.stl"
    assert original.read_bytes() == b"PASS\nendsolid"
    assert nothing_is_left_in_hand(bench)
    print(events)
