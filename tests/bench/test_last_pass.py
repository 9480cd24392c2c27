from dataclasses import replace

from tests.bench.service import digest, drop, serve_until_idle
from tests.rulebook.shop import shipped_rules
from verifier.bench.last_pass import last_pass_beside


def test_the_last_pass_of_a_part_is_found_and_never_the_scan_in_hand(bench):
    for content in ("PASS\nfirst", "PASS\nsecond", "FAIL\nthird"):
        drop(bench, "latch_lever.off", content)
        serve_until_idle(bench)
    rules = replace(shipped_rules(), folder=bench.rules)
    assert last_pass_beside(rules, "latch_lever", but_sha256="").read_text() == "PASS\nsecond"
    assert last_pass_beside(rules, "latch_lever", but_sha256=digest("PASS\nsecond")).read_text() == "PASS\nfirst"
    assert last_pass_beside(rules, "fence_clip", but_sha256="") is None


def test_rules_that_lie_on_no_bench_have_no_last_pass(tmp_path):
    rules = replace(shipped_rules(), folder=tmp_path / "rules")
    assert last_pass_beside(rules, "latch_lever", but_sha256="") is None


def test_a_worker_is_told_of_the_last_pass_and_opens_no_ledger(bench):
    """A bench on a network share: only the service's own machine may read the database."""
    for content in ("PASS\nfirst", "PASS\nsecond", "FAIL\nthird"):
        drop(bench, "latch_lever.off", content)
        serve_until_idle(bench)
    drop(bench, "latch_lever.off", "FAIL\nfourth")
    serve_until_idle(bench, "stubs:telling_last_pass")
    assert (bench.held / "latch_lever" / "last_pass.txt").read_text() == "PASS\nsecond"
    drop(bench, "fence_clip.off", "FAIL\nfifth")
    serve_until_idle(bench, "stubs:telling_last_pass")
    assert (bench.held / "fence_clip" / "last_pass.txt").read_text() == "none"
