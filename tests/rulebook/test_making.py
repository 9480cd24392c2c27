"""What a copy is made of is settled before any work is done."""

from dataclasses import replace

import pytest

from verifier.errors import UnknownName
from verifier.rulebook import Sheet, SheetRow, load_rules, making_of
from verifier.rulebook.rules import OwnFigure
from verifier.shipped import rules_folder

RULES = load_rules(rules_folder())
BORE = SheetRow(name="pivot", kind="bore", use="slides", screw="M6")
SHEET = Sheet(part="latch_lever", filament="PETG", size=(BORE,))


def test_a_filament_named_goes_before_the_sheets():
    assert making_of(SHEET, RULES).filament.name == "PETG"
    assert making_of(SHEET, RULES, "PLA").filament.name == "PLA"


def test_the_shops_own_figures_stand_in_for_the_tables():
    own = OwnFigure("PETG", making_of(SHEET, RULES).printer.name, "shrink_xy", 0.0041, 0.0002, "4 prints of our own")
    assert making_of(SHEET, replace(RULES, own_figures=(own,))).filament.shrink_xy == 0.0041


def test_every_bore_with_a_use_has_its_hole():
    assert making_of(SHEET, RULES).holes["pivot"].use == "slides"


def test_a_filament_that_the_rules_do_not_have_is_refused_by_name():
    with pytest.raises(UnknownName, match="oak"):
        making_of(SHEET, RULES, "oak")
