import tomllib

import pytest

from verifier.rulebook import draft_sheet_text
from verifier.rulebook.draft import DraftRow
from verifier.rulebook.way_line import way_line

MEASURED = (
    'description = """\nTrough lid,\njoin = 9\n"""\npart = "trough_lid"  # north\n\n'
    '[[size]]\nname = "a"\nkind = "overall"\n'
)
CHOSEN = MEASURED.replace("\n\n[[size]]", "\njoin = 1  # by eye\nscans = 2\n\n[[size]]")
DRAFTED = draft_sheet_text("trough_lid", [DraftRow("wall", "thickness", 11.98)])


@pytest.mark.parametrize("sheet", [MEASURED, CHOSEN, DRAFTED, MEASURED.replace("\n", "\r\n")])
def test_the_choice_is_one_line_and_changes_nothing_else(sheet):
    chosen = way_line(sheet).with_way(2)
    assert tomllib.loads(chosen) == tomllib.loads(sheet) | {"join": 2}
    assert [line for line in chosen.split("\n") if not line.startswith("join = 2")] == [
        line for line in sheet.split("\n") if "by eye" not in line
    ]
