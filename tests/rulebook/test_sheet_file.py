import pickle
import unicodedata

import pytest

from tests.rulebook.shop import sheet_on_disk, shipped_rules
from verifier.rulebook import find_sheet, load_sheet, part_name, row_limits
from verifier.shipped import demo_folder, rules_folder

SHEET = """\
# a remark
part = "latch_lever"
filament = "PETG"
general_tolerance = "ISO 2768-m"

[[size]]
name = "pivot"
kind = "bore"
reading = 9.99
gauged = "inside jaws"

[[size]]
name = "pin"
kind = "bore"

[[size]]
name = "pivot to pin"
kind = "centre distance"
between = ["pivot", "pin"]
reading = 60
nominal = 60.0
limits = [59.9, 60.1]
required = false
"""


@pytest.mark.parametrize(
    ("filename", "part"),
    [
        ("latch_lever.stl", "latch_lever"),
        ("latch_lever.print.stl", "latch_lever"),
        ("seat_armrest.1.ply", "seat_armrest"),
        ("seat_armrest", "seat_armrest"),
        ("fence clip.3mf", "fence clip"),
        (".hidden", ""),
        ("Türhebel.stl", "Türhebel"),
        (unicodedata.normalize("NFD", "Türhebel.stl"), "Türhebel"),
    ],
)
def test_a_part_is_named_by_its_file_up_to_the_first_dot(filename, part):
    assert part_name(filename) == part


def test_a_sheet_comes_back_as_it_was_written(tmp_path):
    sheet = load_sheet(sheet_on_disk(tmp_path, SHEET), shipped_rules())
    pivot, pin, distance = sheet.rows
    assert (sheet.part, sheet.filament, sheet.infill) == ("latch_lever", "PETG", 1.0)
    assert (pivot.reading, pivot.gauged, pivot.required) == (9.99, "inside jaws", True)
    assert pin.reading is None
    assert (distance.between, distance.limits, distance.required) == (("pivot", "pin"), (59.9, 60.1), False)
    assert isinstance(distance.reading, float)


def test_a_row_that_has_not_been_read_does_not_stop_the_others(tmp_path):
    sheet = load_sheet(sheet_on_disk(tmp_path, SHEET), shipped_rules())
    pivot, pin, distance = sheet.rows
    assert row_limits(pin, sheet) is None
    assert row_limits(pivot, sheet).greatest == 10.19  # ISO 2768-m, 6 to 30 mm: 0.2
    assert row_limits(distance, sheet).greatest == 60.1


def test_a_sheet_uses_the_tables_of_the_rules_it_was_loaded_with(tmp_path):
    rules = shipped_rules()
    wider = [row.model_copy(update={"m": 2 * row.m}) for row in rules.tolerances.general]
    own = rules.tolerances.model_copy(update={"general": tuple(wider)})
    changed = type(rules)(
        **{name: getattr(rules, name) for name in rules.__slots__ if name != "tolerances"}, tolerances=own
    )
    sheet = load_sheet(sheet_on_disk(tmp_path, SHEET), changed)
    assert row_limits(sheet.rows[0], sheet).greatest == pytest.approx(10.39)
    # and on the other side of a process boundary
    carried = pickle.loads(pickle.dumps(sheet))
    assert row_limits(carried.rows[0], carried).greatest == pytest.approx(10.39)


def test_a_sheet_is_found_by_the_part_s_whole_name(tmp_path):
    sheets = tmp_path / "sheets"
    sheets.mkdir()
    for name in ("latch_lever.toml", "latch.toml", "latch_lever.old.toml", "pump_rocker.txt"):
        (sheets / name).write_text("")
    assert find_sheet(tmp_path, "latch_lever") == sheets / "latch_lever.toml"
    assert find_sheet(tmp_path, "latch") == sheets / "latch.toml"
    assert find_sheet(tmp_path, "pump_rocker") is None
    assert find_sheet(tmp_path, "") is None
    assert find_sheet(tmp_path, "../sheets/latch") is None


def test_a_sheet_is_found_however_the_disk_stores_its_accents(tmp_path):
    sheets = tmp_path / "sheets"
    sheets.mkdir()
    path = sheets / unicodedata.normalize("NFD", "Türhebel.toml")
    path.write_text('part = "Türhebel"\n', encoding="utf-8")
    found = find_sheet(tmp_path, part_name("Türhebel.stl"))
    assert found is not None
    assert load_sheet(found, shipped_rules()).part == "Türhebel"


def test_a_rules_folder_without_sheets_has_none(tmp_path):
    assert find_sheet(tmp_path, "latch_lever") is None


def test_the_example_beside_the_sheets_loads(tmp_path):
    readme = (rules_folder() / "sheets" / "README.md").read_text(encoding="utf-8")
    example = readme.split("```toml\n")[1].split("```")[0]
    sheet = load_sheet(sheet_on_disk(tmp_path, example), shipped_rules())
    assert [row.name for row in sheet.rows] == ["pivot", "pin", "pivot to pin"]


def test_every_sheet_of_the_demo_loads():
    paths = sorted((demo_folder() / "sheets").glob("*.toml"))
    assert len(paths) >= 3
    for path in paths:
        sheet = load_sheet(path, shipped_rules())
        assert all(row_limits(row, sheet) is not None for row in sheet.rows)
