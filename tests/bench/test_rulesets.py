"""Changes of the rules are seen by content, and acted on once they are over."""

from service import make_bench

from verifier.bench.job import Seen
from verifier.bench.rulesets import RulesWatch, rules_on


def test_a_part_is_concerned_by_its_own_sheet_and_by_all_other_rules(bench):
    before = rules_on(bench)
    (bench.rules / "sheets" / "latch_lever.toml").write_text("a")
    after = rules_on(bench)
    assert before.seen_by("latch_lever") != after.seen_by("latch_lever")
    assert before.seen_by("fence_clip") == after.seen_by("fence_clip") == Seen(None, before.others)
    (bench.rules / "filaments.toml").write_text("b")
    assert rules_on(bench).seen_by("fence_clip") != before.seen_by("fence_clip")


def test_touching_a_file_or_saving_it_unchanged_changes_nothing(bench):
    before = rules_on(bench)
    text = (bench.rules / "filaments.toml").read_text()
    (bench.rules / "filaments.toml").write_text(text)
    assert rules_on(bench) == before


def test_what_editors_leave_beside_is_no_rule(bench):
    before = rules_on(bench)
    for name in (".filaments.toml", "filaments.toml~", "notes.txt"):
        (bench.rules / name).write_text("x")
    assert rules_on(bench) == before


def test_two_rules_that_swap_names_are_a_change(tmp_path):
    bench = make_bench(tmp_path)
    (bench.rules / "a.toml").write_text("1")
    (bench.rules / "b.toml").write_text("2")
    before = rules_on(bench)
    (bench.rules / "a.toml").write_text("2")
    (bench.rules / "b.toml").write_text("1")
    assert rules_on(bench) != before


def test_rules_count_once_nobody_has_touched_them_for_a_while(bench):
    watch = RulesWatch(settle_s=2.0)
    first = rules_on(bench)
    assert not watch.settled(first, now_s=0.0)
    assert watch.settled(first, now_s=2.0)
    (bench.rules / "filaments.toml").write_text("b")
    second = rules_on(bench)
    assert not watch.settled(second, now_s=2.5)
    assert not watch.settled(second, now_s=4.0)
    assert watch.settled(second, now_s=4.5)
