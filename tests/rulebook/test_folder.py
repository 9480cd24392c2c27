import shutil
import tomllib
from pathlib import Path

import pytest

from tests.rulebook.shop import shipped_rules
from verifier.errors import RuleMistake, UnknownName
from verifier.rulebook import load_rules
from verifier.shipped import rules_folder

FILES = sorted(path.name for path in rules_folder().glob("*.toml"))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(rules_folder(), tmp_path / "rules"))


def change(path: Path, old: str, new: str) -> int:
    """Put one text in another's place; the line it stood on."""
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return text[: text.index(old)].count("\n") + 1


def test_the_rules_that_ship_load_and_name_what_is_taken_where_nothing_is_said():
    rules = shipped_rules()
    assert rules.default_filament in {row.name for row in rules.filaments}
    assert rules.default_printer in {row.name for row in rules.printers}
    assert rules.default_calliper in {row.name for row in rules.callipers}


def rows_of(values: object) -> list[dict[str, object]]:
    """Every table of a file that holds figures."""
    if isinstance(values, list):
        return [row for value in values for row in rows_of(value)]
    if not isinstance(values, dict):
        return []
    inner = [row for value in values.values() for row in rows_of(value)]
    figures = any(not isinstance(value, dict | list) for value in values.values())
    return [*inner, values] if figures else inner


@pytest.mark.parametrize("name", FILES)
def test_every_row_of_every_file_says_whose_figure_it_is(name):
    rows = rows_of(tomllib.loads((rules_folder() / name).read_text(encoding="utf-8")))
    assert rows
    for row in rows:
        assert len(str(row.get("source", ""))) >= 8, row


@pytest.mark.parametrize("name", FILES)
def test_a_row_without_its_source_is_turned_away(folder, name):
    path = folder / name
    lines = path.read_text(encoding="utf-8").split("\n")
    lines.remove(next(line for line in lines if line.startswith("source")))
    path.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(RuleMistake, match="has no source") as raised:
        load_rules(folder)
    assert raised.value.where.startswith(f"{name}, line ")
    assert "common practice, no source" in raised.value.do


@pytest.mark.parametrize("name", FILES)
def test_a_file_that_is_missing_is_named(folder, name):
    (folder / name).unlink()
    with pytest.raises(RuleMistake) as raised:
        load_rules(folder)
    assert raised.value.where == name
    assert "verifier new" in raised.value.do


@pytest.mark.parametrize(
    ("name", "old", "new", "what", "do"),
    [
        ("filaments.toml", 'name = "PETG"', 'name = "PLA"', "a second filament 'PLA'", "name of its own"),
        (
            "printers.toml",
            'name = "closed 300"',
            'name = "bench 220"',
            "a second printer 'bench 220'",
            "name of its own",
        ),
        ("callipers.toml", 'name = "dial 0.02"', 'name = "digital 0.01"', "a second calliper", "name of its own"),
        ("screws.toml", 'fit = "medium"', 'fit = "fine"', "a second clearance 'M1.6 fine'", "name of its own"),
    ],
)
def test_a_name_given_twice_is_told_with_its_line(folder, name, old, new, what, do):
    line = change(folder / name, old, new)
    with pytest.raises(RuleMistake) as raised:
        load_rules(folder)
    assert what in raised.value.what
    assert do in raised.value.do
    found = int(raised.value.where.rsplit(" ", 1)[1])
    assert raised.value.where.startswith(f"{name}, line ")
    assert line - 2 <= found <= line  # the header of that row


@pytest.mark.parametrize(
    ("name", "old", "new", "what", "do"),
    [
        ("filaments.toml", "shrink_xy = 0.002", "shrink_xy = 0.2", "shrink_xy is 0.2", "less than 0.1"),
        ("filaments.toml", "shrink_xy = 0.002", "shrink = 0.002", "'shrink' is no key", "'shrink_"),
        ("filaments.toml", "shrink_xy = 0.002", 'shrink_xy = "0.2 %"', "not a number", "without quotes"),
        (
            "callipers.toml",
            "[100.0, 0.02], [600.0",
            "[700.0, 0.02], [600.0",
            "not in the order",
            "shortest length first",
        ),
        ("callipers.toml", "step_mm = 0.01", "step_mm = 0", "step_mm is 0", "more than 0"),
        ("screws.toml", 'fit = "medium"', 'fit = "middle"', "fit is 'middle'", "'medium'"),
        ("acceptance.toml", "max_triangles = 20_000_000", "max_triangles = 2e7", "not a whole number", "whole number"),
        ("acceptance.toml", "min_arc_deg = 300.0", "min_arc_deg = 400", "min_arc_deg is 400", "at most 360"),
        ("tolerances.toml", "to_mm = 6", "to_mm = 7", "followed by one over 6 mm", "begin where"),
        ("cautions.toml", 'about = "powder"', 'about = "powders"', "about is 'powders'", "'powder'"),
        ("defaults.toml", 'filament = "PETG"', 'filament = "PTEG"', "no filament called 'PTEG'", "Write 'PETG'"),
        ("defaults.toml", 'printer = "bench 220"', 'printer = "bench"', "no printer", "'bench 220'"),
        ("defaults.toml", 'calliper = "digital 0.01"', 'calliper = "digital"', "no calliper", "'digital 0.01'"),
    ],
)
def test_a_figure_that_cannot_be_used_is_told_with_what_puts_it_right(folder, name, old, new, what, do):
    change(folder / name, old, new)
    with pytest.raises((RuleMistake, UnknownName)) as raised:
        load_rules(folder)
    assert raised.value.where.startswith(f"{name}, line ")
    assert what in raised.value.what
    assert do in raised.value.do


def test_a_filament_carries_the_cautions_about_its_polymer_and_parts_those_about_all():
    rules = shipped_rules()
    filaments = {row.name: row for row in rules.filaments}
    assert any("caprolactam" in text for text in filaments["PA12-CF"].cautions)
    assert any("fibre" in text for text in filaments["PA12-CF"].cautions)
    assert not any("caprolactam" in text for text in filaments["PLA"].cautions)
    general = {caution.about for caution in rules.part_cautions}
    assert {"powder", "drilling", "load", "fire", "food", "rights"} <= general


def test_every_caution_is_about_a_polymer_that_the_filaments_have():
    rules = shipped_rules()
    polymers = {row.polymer for row in rules.filaments}
    assert {polymer for caution in rules.cautions for polymer in caution.polymers} <= polymers


# Start values in the plane that the shop's own prints replace: common practice, no source.
START_SHRINK = {
    "PLA": 0.002, "PETG": 0.003, "ABS": 0.006, "ASA": 0.006, "PC": 0.007, "PA6": 0.010, "PA6-CF": 0.003,
    "PA12": 0.009, "PA12-CF": 0.003, "PP": 0.014, "TPU 95A": 0.004, "POM": 0.018,
}  # fmt: skip


def test_shrinkages_are_the_start_values_of_the_trade_and_say_that_nobody_stands_behind_them():
    filaments = load_rules(rules_folder()).filaments
    assert {row.name: row.shrink_xy for row in filaments} == START_SHRINK
    assert all(row.source.startswith("shrink: common practice, no source") for row in filaments)
    by_name = {row.name: row for row in filaments}
    assert by_name["PA6-CF"].shrink_z == by_name["PA12-CF"].shrink_z == 0.006


def test_fibres_make_a_print_shrink_more_in_height_and_plain_filament_less():
    for row in shipped_rules().filaments:
        assert (row.shrink_z > row.shrink_xy) == row.polymer.endswith("-CF")


def test_reading_limits_and_the_decision_rule_are_those_decided():
    acceptance = shipped_rules().acceptance
    assert acceptance.reading.max_file_bytes == acceptance.reading.max_unpacked_bytes == 2 * 1024**3
    assert acceptance.reading.max_text_line_bytes == 64 * 1024
    assert acceptance.decision.coverage_factor == 2.0
    assert "JCGM 106:2012" in acceptance.decision.source
    assert "ILAC-G8" in acceptance.decision.source


def test_a_shop_s_own_row_is_one_row_more(folder):
    text = (folder / "filaments.toml").read_text(encoding="utf-8")
    own = text[text.index("[[filament]]") :].split("\n\n")[0].replace('name = "PLA"', 'name = "PLA, red roll"')
    (folder / "filaments.toml").write_text(f"{text}\n{own}\n", encoding="utf-8")
    assert len(load_rules(folder).filaments) == len(shipped_rules().filaments) + 1
