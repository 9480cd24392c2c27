import pytest

from tests.rulebook.shop import sheet_on_disk, shipped_rules
from verifier.errors import EXIT_USAGE, RuleMistake, UnknownName, VerifierError
from verifier.rulebook import load_sheet

HEAD = 'part = "latch_lever"\n'  # line 1
PIVOT = '[[size]]\nname = "pivot"\nkind = "bore"\nreading = 9.99\n'  # lines 2 to 5
PIN = '[[size]]\nname = "pin"\nkind = "bore"\nreading = 6.01\n'  # lines 6 to 9
SOUND = HEAD + PIVOT + PIN  # what follows begins on line 10


def row(*lines: str) -> str:
    return SOUND + "[[size]]\n" + "\n".join(lines) + "\n"


BODY = ('name = "body"', 'kind = "thickness"')
HOLE = ('name = "hole"', 'kind = "bore"')
CENTRES = ('name = "pivot to pin"', 'kind = "centre distance"')

MISTAKES = [
    # A key or a table that should not be there, or should
    (HEAD + 'filamnet = "PETG"\n', 2, "'filamnet' is no key", "Write 'filament'"),
    (HEAD + "weather = 3\n", 2, "'weather' is no key", "the keys are part"),
    (row(*BODY, "readin = 3"), 13, "'readin' is no key", "Write 'reading'"),
    (row(*BODY, '"r\\u001b[31m" = 3'), 13, "'r\\x1b[31m' is no key", "the keys are name"),
    (row('kind = "thickness"'), 10, "no 'name'", "Add a line name"),
    (row('name = "body"'), 10, "no 'kind'", "Add a line kind"),
    ('description = "lever"\n', 1, "no 'part'", "Add a line part"),
    (HEAD + '[size]\nname = "body"\nkind = "thickness"\n', 2, "size is not a list", "[[…]]"),
    (HEAD + "size = [3]\n", 2, "size is not a table", "header"),
    # A value of the wrong type
    (row(*BODY, 'reading = "8"'), 13, "reading is not a number", "without quotes"),
    (row(*BODY, "reading = true"), 13, "reading is not a number", "without quotes"),
    (row(*BODY, "reading = 2024-05-01"), 13, "reading is not a number", "without quotes"),
    (row(*BODY, "reading = [8, 9]"), 13, "reading is not a number", "without quotes"),
    (row(*BODY, 'required = "yes"'), 13, "required is not true or false", "without quotes"),
    (row("name = 8", 'kind = "thickness"'), 11, "name is not a text", "between quotes"),
    (row(*BODY, "tolerance = [0.1, 0.2]"), 13, "tolerance is not a number", "such as 6.02"),
    (row(*BODY, 'limits = "7.9 to 8.1"'), 13, "limits is not a list", "square brackets"),
    (row(*BODY, "limits = [7.9]"), 13, "limits has too few values", "2 of them"),
    (row(*BODY, "limits = [7.9, 8.0, 8.1]"), 13, "limits is too long", "2 at most"),
    (row(*CENTRES, 'between = ["pivot"]'), 13, "between has too few values", "2 of them"),
    # A value out of its bounds
    (row(*BODY, "reading = 0"), 13, "reading is 0", "more than 0"),
    (row(*BODY, "reading = -8.0"), 13, "reading is -8.0", "more than 0"),
    (row(*BODY, "reading = 80000"), 13, "reading is 80000", "less than 10000"),
    (row(*BODY, "reading = nan"), 13, "reading is", "number"),
    (row(*BODY, "reading = inf"), 13, "reading is", ""),
    (row(*BODY, "tolerance = -0.1"), 13, "tolerance is -0.1", "more than 0"),
    (row(*BODY, "limits = [7.9, inf]"), 13, "limits is not a number", "number"),
    (HEAD + "infill = 40\n", 2, "infill is 40", "at most 1"),
    (row('name = ""', 'kind = "thickness"'), 11, "name is too short", "1 at least"),
    (row(f'name = "{"a" * 81}"', 'kind = "thickness"'), 11, "name is too long", "80 at most"),
    (row('name = "bo\\u001bdy"', 'kind = "thickness"'), 11, "cannot be printed", "letters"),
    # A word that is not one of those it may be
    (row('name = "body"', 'kind = "thicknes"'), 12, "kind is 'thicknes'", "Write 'thickness'"),
    (row(*BODY, 'gauged = "thumb"'), 13, "gauged is 'thumb'", "'outside jaws'"),
    (HEAD + 'unit = "inch"\n', 2, "unit is 'inch'", "'in'"),
    (HEAD + 'upright = "heigth"\n', 2, "upright is 'heigth'", "Write 'height'"),
    # A row that does not hold together
    (row(*CENTRES), 10, "between what", "between ="),
    (row('name = "flank"', 'kind = "edge distance"'), 10, "of what", "of ="),
    (row('name = "ring"', 'kind = "pitch circle"'), 10, "through which bores", "through ="),
    (row('name = "ring"', 'kind = "pitch circle"', 'through = ["pivot", "pin"]'), 10, "three different", "or more"),
    (row('name = "flat"', 'kind = "flatness"', "tolerance = 0.2"), 10, "of what", "of ="),
    (row('name = "flat"', 'kind = "flatness"', 'of = "body"'), 10, "how much is allowed", "tolerance = 0.2"),
    (row('name = "up"', 'kind = "perpendicularity"', 'of = "pin"', "tolerance = 0.2"), 10, "to what", "datum ="),
    (
        row('name = "flat"', 'kind = "flatness"', 'of = "body"', "tolerance = 0.2", "reading = 0.1"),
        10,
        "has no reading",
        "as its tolerance",
    ),
    (
        row('name = "flat"', 'kind = "flatness"', 'of = "pin"', "tolerance = 0.2"),
        13,
        "'pin' is a row of kind 'bore'",
        "Add the thickness, step or edge distance",
    ),
    (
        row('name = "up"', 'kind = "perpendicularity"', 'of = "pin"', 'datum = "pivto"', "tolerance = 0.2"),
        14,
        "no row called 'pivto'",
        "Write 'pivot'",
    ),
    (row(*BODY, "tolerance = 0.1", "limits = [7, 8]"), 10, "both tolerance and limits", "out"),
    (row(*BODY, "limits = [8.1, 7.9]"), 10, "least size up to the greatest", "[least, greatest]"),
    (row(*BODY, "limits = [-1, 7.9]"), 10, "least size up to the greatest", "[least, greatest]"),
    (row(*BODY, "reading = 8", "tolerance = 15"), 10, "15 is no smaller than the size, 8", "such as 0.15"),
    (row('name = "flare"', 'kind = "angle"', "reading = 900"), 10, "more than half a turn", "degrees"),
    (
        row('name = "hole"', 'kind = "bore"', 'gauged = "outside jaws"'),
        10,
        "cannot be gauged",
        "'inside jaws' or 'pin'",
    ),
    (row('name = "hub"', 'kind = "boss"', 'gauged = "pin"'), 10, "cannot be gauged", "'outside jaws'"),
    # A bore's use
    (row(*HOLE, 'use = "slide"'), 13, "use is 'slide'", "Write 'slides'"),
    (row(*HOLE, 'use = "slides"'), 10, "lets a screw slide through, and no screw is named", 'screw = "M4"'),
    (row(*HOLE, 'use = "insert"'), 10, "takes a heat-set insert, and no screw", 'screw = "M4"'),
    (row(*HOLE, 'screw = "M4"'), 10, "nothing says what it is for", 'use = "slides"'),
    (row(*HOLE, 'use = "true"', 'screw = "M4"'), 10, "the bore is made round at its size", 'use = "slides"'),
    (row(*HOLE, 'use = "threads"', 'screw = "M4"', 'fit = "fine"'), 10, "none does here", "take fit out"),
    (row(*HOLE, 'use = "slides"', 'screw = "M4"', 'fit = "loose"'), 15, "fit is 'loose'", "'coarse'"),
    (row(*HOLE, 'use = "press"', "reading = 6.0", 'tolerance = "H7"'), 10, "wants the pin's size", "nominal ="),
    (row(*HOLE, 'use = "press"', "nominal = 6.0", "tolerance = 0.1"), 10, "and a class", '"H7"'),
    (row(*BODY, 'use = "true"'), 10, "a thickness has no use", "for bores"),
    (row(*HOLE, 'use = "slides"', 'screw = "M7"'), 14, "no clearance hole for 'M7'", "[[clearance]]"),
    (
        row(*HOLE, 'use = "slides"', 'screw = "M4"', 'fit = "sliding"'),
        14,
        "'M4' with fit 'sliding'",
        "'fine', 'medium'",
    ),
    (row(*HOLE, 'use = "threads"', 'screw = "m4"'), 14, "no thread 'm4'", "'M4'"),
    (row(*HOLE, 'use = "insert"', 'screw = "M8"'), 14, "no hole for an insert 'M8'", "[[insert]]"),
    (row(*HOLE, 'use = "drill"', 'screw = "M40"'), 14, "no clearance hole for 'M40'", "Write 'M4'"),
    # A name that points nowhere
    (row(*CENTRES, 'between = ["pivot", "pim"]'), 13, "no row called 'pim'", "Write 'pin'"),
    (row(*CENTRES, 'between = ["pivot", "pivot"]'), 13, "'pivot' and itself", "two different"),
    (row('name = "flank"', 'kind = "edge distance"', 'of = "pivto"'), 13, "no row called 'pivto'", "Write 'pivot'"),
    (
        row(*BODY, '[[size]]\nname = "flank"\nkind = "edge distance"\nof = "body"'),
        16,
        "of kind 'thickness'",
        "Write 'pivot'",
    ),
    (
        HEAD + '[[size]]\nname = "flank"\nkind = "edge distance"\nof = "pin"\n',
        5,
        "no row called 'pin'",
        "row of its own",
    ),
    (row('name = "pin"', 'kind = "boss"'), 11, "second row called 'pin'; the first is at line 6", "name of its own"),
    (HEAD + 'filament = "PETGG"\n', 2, "no filament called 'PETGG'", "Write 'PETG'"),
    (HEAD + 'printer = "bench 22"\n', 2, "no printer called 'bench 22'", "Write 'bench 220'"),
    (HEAD + 'calliper = "digital"\n', 2, "no calliper called 'digital'", "Write 'digital 0.01'"),
    ('part = "latch_levr"\n', 1, "the part is called 'latch_levr'", "part = 'latch_lever'"),
    # A tolerance class, or a reading, that cannot be
    (HEAD + 'general_tolerance = "medium"\n', 2, "'medium' is no tolerance class", "ISO 2768-m"),
    (HEAD + 'general_tolerance = "H11"\n', 2, "would hold for every size", "'ISO 2768-m'"),
    (row(*BODY, 'tolerance = "+-0.1"'), 13, "no tolerance class", "Write a number"),
    (row(*BODY, 'tolerance = "IT4"'), 13, "grade 4", "from 5"),
    (row('name = "hole"', 'kind = "bore"', 'tolerance = "h11"'), 13, "class for a boss", "capital letters"),
    (
        row('name = "flare"', 'kind = "angle"', "reading = 90", 'tolerance = "IT12"'),
        14,
        "no tolerance class",
        "degrees",
    ),
    (row(*BODY, "reading = 1500"), 13, "longer than the calliper", "point"),
]


@pytest.mark.parametrize(("text", "line", "what", "do"), MISTAKES)
def test_a_mistake_is_told_with_its_line_and_what_puts_it_right(tmp_path, text, line, what, do):
    with pytest.raises((RuleMistake, UnknownName)) as raised:
        load_sheet(sheet_on_disk(tmp_path, text), shipped_rules())
    error = raised.value
    assert error.where == f"latch_lever.toml, line {line}"
    assert what in error.what
    assert do in error.do
    assert error.exit_code == EXIT_USAGE
    assert_is_plain(error)


def assert_is_plain(error: VerifierError) -> None:
    """One printable line of three parts, none of it in the words of the library that checks."""
    told = str(error)
    assert told.isprintable()
    assert len(told) < 400  # three lines of a terminal 130 wide
    assert not error.what.endswith(".")
    assert not error.do.endswith(".")
    for foreign in (
        "pydantic",
        "http",
        "Input should",
        "validation",
        "type=",
        "input_value",
        "Extra",
        "Field required",
    ):
        assert foreign not in told


def test_the_sound_part_of_these_sheets_is_sound(tmp_path):
    sheet = load_sheet(
        sheet_on_disk(tmp_path, row(*CENTRES, 'between = ["pivot", "pin"]', "reading = 60")), shipped_rules()
    )
    assert [size.name for size in sheet.rows] == ["pivot", "pin", "pivot to pin"]


def test_of_several_mistakes_the_first_in_the_file_is_told_and_the_others_are_counted(tmp_path):
    text = HEAD + '[[size]]\nname = "body"\nkind = "thickness"\nreading = "8"\ntollerance = 0.1\nrequired = 1\n'
    with pytest.raises(RuleMistake) as raised:
        load_sheet(sheet_on_disk(tmp_path, text), shipped_rules())
    assert raised.value.where == "latch_lever.toml, line 5"
    assert raised.value.what == "reading is not a number (and 2 more mistakes)"


def test_a_sheet_with_nothing_but_its_part_is_taken(tmp_path):
    assert load_sheet(sheet_on_disk(tmp_path, HEAD), shipped_rules()).rows == ()
