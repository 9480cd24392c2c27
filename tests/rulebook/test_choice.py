import pytest

from tests.rulebook.shop import shipped_rules
from verifier.errors import EXIT_USAGE, UnknownName
from verifier.rulebook import Sheet, calliper_for, filament_for, printer_for

RULES = shipped_rules()


def test_the_command_goes_before_the_sheet_and_the_sheet_before_the_shop():
    sheet = Sheet(part="latch_lever", filament="ASA", printer="closed 300", calliper="vernier 0.05")
    plain = Sheet(part="latch_lever")
    assert filament_for(sheet, RULES, "PLA").name == "PLA"
    assert filament_for(sheet, RULES).name == "ASA"
    assert filament_for(plain, RULES).name == RULES.default_filament
    assert printer_for(sheet, RULES).name == "closed 300"
    assert printer_for(plain, RULES).name == RULES.default_printer
    assert calliper_for(sheet, RULES).name == "vernier 0.05"
    assert calliper_for(plain, RULES).name == RULES.default_calliper


@pytest.mark.parametrize(
    ("choose", "kind", "name", "first"),
    [
        (filament_for, "filament", "PETGG", "PETG"),
        (printer_for, "printer", "bench 200", "bench 220"),
        (calliper_for, "calliper", "vernier 0.5", "vernier 0.05"),
    ],
)
def test_a_name_nobody_has_is_answered_with_the_nearest_that_there_is(choose, kind, name, first):
    with pytest.raises(UnknownName) as raised:
        choose(Sheet(part="latch_lever"), RULES, name)
    assert raised.value.do.startswith(f"Write '{first}'")
    assert f"{kind}s.toml" in raised.value.do
    assert raised.value.exit_code == EXIT_USAGE
