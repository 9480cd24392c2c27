"""Where a bench may be, and what is in it."""

import pytest
from service import drop, files_below, make_bench, serve_until_idle

from verifier.bench import new_bench, open_bench
from verifier.errors import RuleMistake, WrongUsage


@pytest.fixture
def rules(tmp_path):
    (tmp_path / "shipped" / "sheets").mkdir(parents=True)
    (tmp_path / "shipped" / "filaments.toml").write_text("shipped")
    (tmp_path / "shipped" / "sheets" / "latch_lever.toml").write_text("shipped")
    return tmp_path / "shipped"


def test_a_new_bench_has_its_folders_and_a_copy_of_the_rules(tmp_path, rules):
    bench = new_bench(tmp_path / "deep" / "bench", rules)
    assert {file.name for file in bench.root.iterdir()} == {"inbox", "slicer", "held", "originals", "rules", ".work"}
    assert files_below(bench.rules) == ["filaments.toml", "sheets/latch_lever.toml"]


def test_rules_that_are_there_are_never_written_over(tmp_path, rules):
    bench = new_bench(tmp_path / "bench", rules)
    (bench.rules / "filaments.toml").write_text("mine")
    (bench.rules / "sheets" / "latch_lever.toml").unlink()
    new_bench(tmp_path / "bench", rules)
    assert (bench.rules / "filaments.toml").read_text() == "mine"
    assert (bench.rules / "sheets" / "latch_lever.toml").read_text() == "shipped"


def test_a_bench_inside_a_bench_is_refused(tmp_path, rules):
    bench = new_bench(tmp_path / "bench", rules)
    with pytest.raises(WrongUsage, match="inside the bench"):
        new_bench(bench.held / "bench", rules)


def test_a_folder_with_other_things_in_it_is_refused(tmp_path, rules):
    (tmp_path / "home").mkdir()
    (tmp_path / "home" / "letter.txt").write_text("dear")
    with pytest.raises(WrongUsage, match="holds other things"):
        new_bench(tmp_path / "home", rules)


def test_a_file_is_no_place_for_a_bench(tmp_path, rules):
    (tmp_path / "bench").write_text("x")
    with pytest.raises(WrongUsage, match="a file of this name"):
        new_bench(tmp_path / "bench", rules)


def test_a_folder_that_is_no_bench_says_how_to_make_one(tmp_path):
    with pytest.raises(WrongUsage, match="verifier new"):
        open_bench(tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["slicer", "held", "originals"])
def test_results_that_would_land_in_the_inbox_are_refused(tmp_path, rules, name):
    bench = new_bench(tmp_path / "bench", rules)
    (bench.root / name).rmdir()
    (bench.inbox / name).mkdir()
    (bench.root / name).symlink_to(bench.inbox / name)
    with pytest.raises(WrongUsage, match="inside the inbox"):
        open_bench(bench.root)


def test_a_disk_of_its_own_for_the_originals_is_refused(tmp_path, rules, quick_place):
    bench = new_bench(tmp_path / "bench", rules)
    if quick_place.stat().st_dev == tmp_path.stat().st_dev:
        pytest.skip("there is only one file system here")
    bench.originals.rmdir()
    bench.originals.symlink_to(quick_place)
    with pytest.raises(WrongUsage, match="different disks"):
        open_bench(bench.root)


def test_the_slicer_folder_may_lie_on_another_disk(tmp_path, quick_place):
    bench = make_bench(tmp_path)
    elsewhere = quick_place / "slicer_elsewhere"
    elsewhere.mkdir()
    (bench.root / "bench.toml").write_text(f"slicer = '{elsewhere}'")
    for content in ("PASS\none", "PASS\ntwo"):
        drop(bench, "latch_lever.off", content)
        serve_until_idle(bench)
    assert files_below(elsewhere) == ["latch_lever.3mf", "latch_lever.report.json", "latch_lever.report.txt"]
    assert "latch_lever.3mf" in files_below(bench.earlier / "latch_lever" / "replaced-by-2")
    assert files_below(bench.slicer) == []


@pytest.mark.parametrize("text", ["slicer = ", "slicer = 3", "slicer = 'a'\ncolour = 'red'", ""])
def test_a_mistake_in_bench_toml_names_the_file(tmp_path, rules, text):
    bench = new_bench(tmp_path / "bench", rules)
    (bench.root / "bench.toml").write_text(text)
    with pytest.raises(RuleMistake, match=r"bench\.toml"):
        open_bench(bench.root)


def test_a_slicer_folder_that_is_not_there_is_named(tmp_path, rules):
    bench = new_bench(tmp_path / "bench", rules)
    (bench.root / "bench.toml").write_text("slicer = 'nowhere'")
    with pytest.raises(WrongUsage, match="nowhere"):
        open_bench(bench.root)
