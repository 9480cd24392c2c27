import re

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.rulebook.shop import LAW, sheet_on_disk, shipped_rules
from verifier.rulebook import DraftRow, draft_sheet_text, load_sheet, reading_of, row_limits

ROWS = (
    DraftRow("length", "overall", 181.237, along="length"),
    DraftRow("bore 1", "bore", 8.0419),
    DraftRow("bore 2", "bore", 6.02),
    DraftRow("boss 1", "boss", 22.0),
    DraftRow("bore 1 to bore 2", "centre distance", 42.014, between=("bore 1", "bore 2")),
    DraftRow("bore 2 to edge", "edge distance", 9.98, of="bore 2"),
    DraftRow("flare", "angle", 87.21),
)


def test_a_drafted_sheet_loads_as_it_stands_and_nothing_in_it_is_a_reading(tmp_path):
    text = draft_sheet_text("seat_armrest", ROWS)
    sheet = load_sheet(sheet_on_disk(tmp_path, text, "seat_armrest.toml"), shipped_rules())
    assert sheet.part == "seat_armrest"
    assert [(row.name, row.kind, row.between, row.of, row.along) for row in sheet.rows] == [
        (row.name, row.kind, row.between, row.of, row.along) for row in ROWS
    ]
    assert all(row.reading is None for row in sheet.rows)
    assert all(reading_of(row, sheet, shipped_rules()) is None for row in sheet.rows)


def test_what_the_scan_says_stands_in_a_remark_beside_the_place_for_the_reading():
    text = draft_sheet_text("seat_armrest", ROWS)
    assert "# reading =    # mm; on the scan 181.24\n" in text
    assert "# reading =    # degrees; on the scan 87.21\n" in text
    assert text.count("# reading = ") == len(ROWS)


def test_filled_in_as_it_says_it_judges(tmp_path):
    filled = re.sub(r"^# reading = ", "reading = 20.5", draft_sheet_text("seat_armrest", ROWS), flags=re.MULTILINE)
    sheet = load_sheet(sheet_on_disk(tmp_path, filled, "seat_armrest.toml"), shipped_rules())
    assert [row.reading for row in sheet.rows] == [20.5] * len(ROWS)
    lengths = [row for row in sheet.rows if row.kind != "angle"]
    assert all(row_limits(row, sheet).source.startswith("ISO 2768-m") for row in lengths)


printable = st.text(st.characters(categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=20).filter(
    str.isprintable
)


@settings(LAW, max_examples=50)
@given(names=st.lists(printable, min_size=2, max_size=5, unique=True))
def test_any_name_that_can_be_printed_survives(tmp_path_factory, names):
    rows = [DraftRow(name, "bore", 6.0) for name in names[:2]]
    rows += [DraftRow(name, "centre distance", 30.0, between=(names[0], names[1])) for name in names[2:]]
    path = sheet_on_disk(tmp_path_factory.mktemp("sheets"), draft_sheet_text("fence_clip", rows), "fence_clip.toml")
    sheet = load_sheet(path, shipped_rules())
    assert [row.name for row in sheet.rows] == names


def test_a_part_whose_file_name_is_no_utf_8_still_gets_a_text_that_can_be_written():
    assert 'part = "lever?"' in draft_sheet_text("lever\udcff", ROWS).encode().decode()


def test_a_part_nobody_could_measure_anything_of_still_gets_a_sheet(tmp_path):
    path = sheet_on_disk(tmp_path, draft_sheet_text("fence_clip", ()), "fence_clip.toml")
    assert load_sheet(path, shipped_rules()).rows == ()
