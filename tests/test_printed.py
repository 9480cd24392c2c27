"""The commands `printed` and `figures`, as they are typed."""

import io
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from inbox_demo import simulated
from tests.ledgers import enter, finish, make_bench, printed, report
from tests.whole import mend_and_find_once
from verifier.bench.own_figures import own_figures_beside
from verifier.bench.status import history_of
from verifier.errors import RuleMistake, UnknownName, WrongUsage
from verifier.figures_shown import show_figures
from verifier.inspected import inspect_file
from verifier.print_readings import readings_asked, readings_in
from verifier.printed import Asked, enter_print, said_condition, undo_print
from verifier.rulebook import load_rules
from verifier.screen import Screen
from verifier.shipped import rules_folder

TOLD = report()
NOTHING = Asked(None, None, None, None, None)


@pytest.fixture
def bench(tmp_path):
    made = make_bench(tmp_path)
    finish(made, TOLD)
    return made


class Shown(Screen):
    """A screen that keeps what is written on it."""

    def __init__(self) -> None:
        self.out, self.err = io.StringIO(), io.StringIO()
        super().__init__(self.out, self.err)

    @property
    def ascii_only(self) -> bool:
        return False


def written(folder: Path, readings: dict[str, float], name: str = "readings.csv") -> Path:
    file = folder / name
    if name.endswith(".toml"):
        lines = [f'"{row}" = {value}' for row, value in readings.items()]
        file.write_text("\n".join(['condition = "conditioned"', "[readings]", *lines]), encoding="utf-8")
    else:
        file.write_text("\n".join(f"{row},{value}" for row, value in readings.items()), encoding="utf-8")
    return file


def enter_by_file(bench, tmp_path, readings, name="readings.csv", **changes):
    asked = Asked(**{**dict.fromkeys(Asked.__slots__), "readings": written(tmp_path, readings, name), **changes})
    screen = Shown()
    enter_print("latch_lever", bench.root, screen, asked)
    return screen


def prints_on(bench):
    with closing(history_of(bench)) as history:
        return history.prints()


def test_three_prints_teach_the_bench_its_own_shrinkage(bench, tmp_path):
    rng = np.random.default_rng(31)
    assert own_figures_beside(load_rules(bench.rules)) == ()
    for _ in range(3):
        screen = enter_by_file(bench, tmp_path, printed(TOLD, rng))
    own = {each.figure: each for each in own_figures_beside(load_rules(bench.rules))}
    assert own["shrink_xy"].value == pytest.approx(0.0045, abs=0.0004)
    assert "3 prints of our own on bench 220" in own["shrink_xy"].source
    text = screen.out.getvalue()
    assert "latch_lever, print 3 in PETG on bench 220" in text
    assert "own, 3 prints" in text
    assert "have the mesh made anew with your own figures: verifier retry latch_lever" in " ".join(text.split())


def test_a_wrong_reading_is_named_and_the_print_can_be_taken_back(bench, tmp_path):
    rng = np.random.default_rng(32)
    for _ in range(2):
        enter_by_file(bench, tmp_path, printed(TOLD, rng))
    wrong = printed(TOLD, rng)
    wrong["pivot to pin"] += 0.5
    screen = enter_by_file(bench, tmp_path, wrong)
    assert "The reading of 'pivot to pin' does not fit the others and was left out" in " ".join(
        screen.out.getvalue().split()
    )
    assert "--undo 3" in screen.err.getvalue()
    undo_print("latch_lever", 3, bench.root, Shown())
    assert [kept.number for kept in prints_on(bench)] == [1, 2]
    with pytest.raises(UnknownName, match="no print 3"):
        undo_print("latch_lever", 3, bench.root, Shown())


def test_a_nylon_is_asked_for_its_condition_and_a_dry_one_counts_for_nothing(bench, tmp_path):
    rng = np.random.default_rng(33)
    with pytest.raises(WrongUsage, match="whether the print was dry"):
        enter_by_file(bench, tmp_path, printed(TOLD, rng), filament="PA6")
    screen = enter_by_file(bench, tmp_path, printed(TOLD, rng), filament="PA6", condition="dry")
    assert "It was read dry and is kept, but counts for no figure" in " ".join(screen.out.getvalue().split())
    enter_by_file(bench, tmp_path, printed(TOLD, rng), filament="PA6", name="readings.toml")
    assert [kept.condition for kept in prints_on(bench)] == ["dry", "conditioned"]
    with pytest.raises(WrongUsage, match="no condition of a nylon"):
        said_condition("damp")


def test_readings_are_asked_for_row_by_row_back_and_forth(bench):
    answers = iter(["83.9", "<", "83,95", "x", "24.02", "", "1000", "n", "9.9", "end"])
    told: list[str] = []
    with closing(history_of(bench)) as history:
        rows = [size.on_print for size in history.sizes_of("latch_lever")]
    readings = readings_asked(rows, {"length": "84.01"}, lambda _: next(answers), told.append)
    assert readings.by_row == {"length": 83.95, "width": 24.02, "pivot": 9.9}
    assert any("'x' is no reading" in line for line in told)


@pytest.mark.parametrize(
    ("name", "text", "error", "match"),
    [
        ("r.csv", "lenght,84", UnknownName, "no size that can be read on this print"),
        ("r.csv", "length,84\nlength,85", RuleMistake, "line 2.*is there twice"),
        ("r.csv", "length,eighty\npin,6\npivot,ten", RuleMistake, "line 3.*'ten' is no reading"),
        ("r.csv", "length,84,85", RuleMistake, "no name and reading"),
        ("r.csv", "", RuleMistake, "no reading in it"),
        ("r.csv", "length,nan\n", RuleMistake, "no reading in millimetres"),
        ("r.toml", "[readings]\nlength = true", RuleMistake, "no reading in millimetres"),
        ("r.toml", "[readings]\nlength = -3", RuleMistake, "no reading in millimetres"),
        ("r.toml", "length = 84", RuleMistake, "no file of readings"),
        ("r.toml", 'condition = "wet"\n[readings]\nlength = 84', RuleMistake, "line 1.*'wet' is not known"),
    ],
)
def test_a_file_that_cannot_be_used_says_why_and_keeps_nothing(bench, tmp_path, name, text, error, match):
    (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(error, match=match):
        enter_print("latch_lever", bench.root, Shown(), Asked(tmp_path / name, None, None, None, None))
    assert prints_on(bench) == ()


def test_a_file_with_a_head_decimal_commas_and_a_byte_order_mark_is_read(bench, tmp_path):
    (tmp_path / "r.csv").write_text("\ufeffsize;reading\nlength;83,9\n\npin;6,02\n", encoding="utf-8")
    with closing(history_of(bench)) as history:
        rows = [size.on_print for size in history.sizes_of("latch_lever")]
    assert readings_in(tmp_path / "r.csv", rows).by_row == {"length": 83.9, "pin": 6.02}


def test_a_missing_file_and_one_that_is_no_text_are_refused(bench, tmp_path):
    (tmp_path / "r.csv").write_bytes(b"\xff\xfe\x00")
    for name, match in [("r.csv", "no text"), ("gone.csv", "cannot be opened"), ("gone.toml", "cannot be opened")]:
        with pytest.raises(RuleMistake, match=match):
            readings_in(tmp_path / name, [])


def test_the_mesh_of_another_scan_can_be_named(bench, tmp_path):
    finish(bench, report(scale=1.001))
    enter_by_file(bench, tmp_path, printed(TOLD, np.random.default_rng(34)), job=1)
    screen = enter_by_file(bench, tmp_path, printed(TOLD, np.random.default_rng(35)))
    assert "Was an earlier mesh of it printed? Then stop and add --job with its number: 1 (2024-05-01)." in (
        screen.err.getvalue()
    )
    assert [kept.job for kept in prints_on(bench)] == [1, 2]
    with pytest.raises(UnknownName, match="no scan 7"):
        enter_by_file(bench, tmp_path, printed(TOLD, np.random.default_rng(36)), job=7)


def test_a_part_that_was_never_measured_is_unknown(bench):
    with pytest.raises(UnknownName, match="no scan of this part"):
        enter_print("gate_hinge", bench.root, Shown(), NOTHING)


def test_the_figures_are_shown_with_their_reasons(bench):
    screen = Shown()
    show_figures(None, bench.root, screen)
    assert "No print has been measured on this bench" in screen.out.getvalue()
    rng = np.random.default_rng(37)
    for day in range(1, 6):
        enter(bench, TOLD, 1, printed(TOLD, rng), at=f"2024-06-{day:02}T08:00:00.000+00:00")
    enter(bench, TOLD, 1, printed(TOLD, rng, truth=(0.0105, 0.002, 0.14, 0.01)), at="2024-06-06T08:00:00.000+00:00")
    show_figures("PETG", bench.root, screen)
    text = " ".join(screen.out.getvalue().split())
    assert "PETG on bench 220, 6 prints" in text
    assert "Print 6 does not fit the others: shrinkage in the plane of the layers 1.0" in text
    assert "2024-06-03" in text


@pytest.mark.parametrize("width", [80, 120, 200])
def test_no_line_is_wider_than_the_screen(bench, tmp_path, width, monkeypatch):
    monkeypatch.setattr(Shown, "width", width)
    screen = enter_by_file(bench, tmp_path, printed(TOLD, np.random.default_rng(38)))
    show_figures("PETG", bench.root, screen)
    assert max(map(len, screen.out.getvalue().splitlines())) <= width
    assert "\x1b" not in screen.out.getvalue()


def test_the_next_mesh_is_enlarged_by_what_the_prints_have_taught(bench, tmp_path, monkeypatch):
    mend_and_find_once(monkeypatch)
    rng = np.random.default_rng(39)
    for _ in range(3):
        enter_by_file(bench, tmp_path, printed(TOLD, rng))
    made = simulated.scan(simulated.latch_lever(), spacing_mm=1.2, seed=39)
    scan = tmp_path / "latch_lever.stl"
    scan.write_bytes(simulated.stl_bytes(made.vertices_mm, made.faces))
    by_bench = inspect_file(scan, bench.rules, as_new=True).inspection.print
    by_table = inspect_file(scan, rules_folder(), as_new=True).inspection.print
    assert by_table.shrink_xy == 0.003
    assert by_bench.shrink_xy == pytest.approx(0.0045, abs=0.0004)
    assert by_bench.u_shrink_xy < by_table.u_shrink_xy
    assert by_bench.shrink_source.startswith("shrinkage in the plane of the layers: 3 prints of our own on bench 220")
    assert max(by_bench.size_mm) / max(by_table.size_mm) == pytest.approx(0.997 / (1 - by_bench.shrink_xy), rel=1e-6)


def test_readings_are_typed_at_the_command_and_a_closed_input_keeps_nothing(bench):
    words = [sys.executable, "-m", "verifier", "printed", "latch_lever", "--bench", str(bench.root)]

    def typed(text):
        return subprocess.run(words, input=text, capture_output=True, encoding="utf-8", timeout=60, check=False)

    broken_off = typed("83.93\n")
    assert (broken_off.returncode, broken_off.stdout) == (130, "")
    assert prints_on(bench) == ()
    whole = typed("83.93\n24.0\n\n9.97\n5.98\n59.92\n")
    assert whole.returncode == 0
    assert "1 of 6  length (overall, wanted 84.01)" in whole.stderr
    assert "latch_lever, print 1 in PETG on bench 220" in whole.stdout
    assert [each.row.name for each in prints_on(bench)[0].rows] == ["length", "width", "pivot", "pin", "pivot to pin"]
