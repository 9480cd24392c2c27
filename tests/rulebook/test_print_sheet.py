import pytest

from tests.rulebook.shop import shipped_rules
from verifier.errors import RuleMistake
from verifier.rulebook import Sheet, SheetRow, filament_for
from verifier.rulebook.print_sheet import is_print, sheet_of_print
from verifier.rulebook.reshape_row import Reshape

RULES = shipped_rules()


def on_print(*rows: SheetRow, changes_mm=None, **keys) -> dict[str, SheetRow]:
    sheet = Sheet(part="latch_lever", size=rows, **keys)
    made = sheet_of_print(sheet, RULES, filament_for(sheet, RULES, None), changes_mm)
    assert made.part == "latch_lever.print"
    assert all(row.reading is None for row in made.rows)
    return {row.name: row for row in made.rows}


@pytest.mark.parametrize(
    ("name", "of_print"),
    [("latch_lever.print.stl", True), ("latch_lever.print", True), ("latch_lever.stl", False), ("print.stl", False)],
)
def test_a_print_is_known_by_its_second_word(name, of_print):
    assert is_print(name) is of_print


def test_what_the_calliper_said_of_the_original_is_what_the_print_should_measure():
    row = on_print(SheetRow(name="length", kind="overall", reading=84.0, tolerance=0.3))["length"]
    assert (row.nominal, row.limits) == (84.0, (83.7, 84.3))


def test_a_drawing_s_size_and_limits_stay():
    row = on_print(SheetRow(name="pin", kind="boss", nominal=12.0, reading=11.9, limits=(11.8, 12.1)))["pin"]
    assert (row.nominal, row.limits) == (12.0, (11.8, 12.1))


def test_a_bore_for_a_screw_is_wanted_in_the_size_of_its_hole():
    """ISO 273:1979: M6, medium: 6.6 mm."""
    row = on_print(SheetRow(name="pin", kind="bore", reading=6.0, use="slides", screw="M6", tolerance=0.2))["pin"]
    assert row.nominal == 6.6
    assert row.limits == pytest.approx((6.4, 6.8))


def test_a_bore_to_be_drilled_is_no_bore_on_the_print_and_nothing_is_measured_from_it():
    rows = (
        SheetRow(name="pivot", kind="bore", reading=10.0),
        SheetRow(name="pin", kind="bore", reading=6.0, use="drill"),
        SheetRow(name="pivot to pin", kind="centre distance", between=("pivot", "pin"), reading=60.0),
    )
    assert list(on_print(*rows)) == ["pivot"]


def test_a_size_made_larger_on_purpose_is_wanted_larger():
    rows = (SheetRow(name="length", kind="overall", reading=84.0, tolerance=0.3),)
    row = on_print(*rows, reshape=(Reshape(do="mirror"),), changes_mm={"length": 10.0})["length"]
    assert row.nominal == 94.0
    assert row.limits == pytest.approx((93.7, 94.3))


def test_a_reshaped_part_wants_its_own_result_first():
    with pytest.raises(RuleMistake, match="no result says how large"):
        on_print(reshape=(Reshape(do="mirror"),))


def test_a_row_without_a_reading_stays_to_be_told():
    assert on_print(SheetRow(name="length", kind="overall"))["length"].nominal is None
