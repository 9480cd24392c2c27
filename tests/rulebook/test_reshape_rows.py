"""Reshapings in a sheet: what they need, what their mistakes say, and sheets of a twin."""

import pytest

from tests.rulebook.shop import sheet_on_disk, shipped_rules
from verifier.errors import RuleMistake, UnknownName, VerifierError
from verifier.rulebook import load_sheet
from verifier.rulebook.folder import load_rules
from verifier.shipped import rules_folder

HEAD = (
    'part = "latch_lever"\n'
    '[[size]]\nname = "pivot"\nkind = "bore"\n'
    '[[size]]\nname = "pin"\nkind = "bore"\n'
    '[[size]]\nname = "body"\nkind = "thickness"\n'
)  # ten lines
BETWEEN = 'between = ["pivot", "pin"]'

GOOD = [
    ('do = "mirror"',),
    ('do = "lengthen"', "by = 20", BETWEEN),
    ('do = "lengthen"', "by = -20", BETWEEN, "planes = [10.0, 40.0]"),
    ('do = "lengthen"', "by = 20", 'along = "length"'),
    ('do = "thicken"', "by = 0.6", 'face = "plane 3"'),
    ('do = "thicken"', "by = 0.6", 'wall = "body"', 'side = "inwards"'),
    ('do = "true up"',),
    ('do = "true up"', 'what = ["pivot", "plane 1"]'),
    ('do = "restore"', 'across = "length"'),
    ('do = "restore"', 'across = "length"', 'worn = "pin"'),
    ('do = "cut"',),
    ('do = "cut"', BETWEEN, "at = [20.0, 40.0]", 'joint = "key"'),
    ('do = "cut"', 'along = "length"', 'joint = "dowels"', "dowel = 4"),
    ('do = "engrave"', 'text = "Lever R2"', 'face = "top"', "height = 5", "depth = 0.4", "raised = true"),
]

MISTAKES = [
    (('do = "bend"',), 12, "do is 'bend'", "'mirror'"),
    (("by = 3",), 11, "there is no 'do' here", "do ="),
    (('do = "mirror"', "by = 3"), 11, "'mirror' has no by", "its keys are of"),
    (('do = "lengthen"', BETWEEN), 11, "does not say by how much", "by = 20"),
    (('do = "lengthen"', "by = 0", BETWEEN), 11, "by is nought", "in mm"),
    (('do = "lengthen"', "by = 20"), 11, "does not say between what", "between ="),
    (('do = "lengthen"', "by = 20", 'along = "length"', "planes = [1.0, 9.0]"), 11, "counted from a bore", "between"),
    (('do = "lengthen"', "by = 20", BETWEEN, "planes = [9.0, 1.0]"), 11, "not in their order", "nearer, farther"),
    (('do = "lengthen"', "by = 20", 'between = ["pivot", "pinn"]'), 14, "'pinn' cannot stand for 'between'", "'pin'"),
    (('do = "lengthen"', "by = 20", 'between = ["pin", "pin"]'), 14, "between 'pin' and itself", "two different"),
    (('do = "thicken"', "by = -1", 'face = "top"'), 11, "adds nothing", "thickness to add"),
    (('do = "thicken"', "by = 1"), 11, "does not say which face", 'face = "top"'),
    (('do = "thicken"', "by = 1", 'wall = "body"'), 11, "one of its two sides", "side ="),
    (('do = "thicken"', "by = 1", 'wall = "pin"', 'side = "inwards"'), 14, "'pin' cannot stand for 'wall'", "'body'"),
    (('do = "thicken"', "by = 1", 'face = "front"'), 14, "'front' cannot stand for 'face'", "'top' or 'bottom'"),
    (('do = "true up"', 'what = ["hub"]'), 13, "'hub' cannot stand for 'what'", "'plane 3'"),
    (('do = "restore"',), 11, "which way its two sides lie apart", "across"),
    (('do = "cut"', "at = [20.0]"), 11, "at is counted from a bore", "between"),
    (('do = "cut"', BETWEEN, "at = [40.0, 20.0]"), 11, "not in their order", "nearest"),
    (('do = "cut"', 'joint = "key"', "dowel = 4"), 11, "has no dowel", "Take one"),
    (('do = "cut"', "dowel = 0.4"), 13, "dowel is 0.4", "at least 1.5"),
    (('do = "engrave"', 'face = "top"'), 11, "does not say what", "text ="),
    (('do = "engrave"', 'text = "R2"'), 11, "does not say where", "face ="),
    (('do = "engrave"', 'text = "R2"', 'face = "top"', "height = 1"), 15, "height is 1", "at least 3"),
    (('do = "engrave"', 'text = "R\\u001b2"', 'face = "top"'), 11, "no stroke", "letters, digits"),
]


@pytest.mark.parametrize("lines", GOOD, ids=lambda lines: " ".join(lines)[:40])
def test_a_reshaping_that_says_enough_is_taken(lines, tmp_path) -> None:
    path = sheet_on_disk(tmp_path, HEAD + "[[reshape]]\n" + "\n".join(lines))
    assert len(load_sheet(path, shipped_rules()).reshape) == 1


@pytest.mark.parametrize(("lines", "line", "what", "do"), MISTAKES, ids=[m[2] for m in MISTAKES])
def test_a_mistake_says_what_where_and_what_to_do(lines, line, what, do, tmp_path) -> None:
    path = sheet_on_disk(tmp_path, HEAD + "[[reshape]]\n" + "\n".join(lines))
    with pytest.raises(VerifierError) as raised:
        load_sheet(path, shipped_rules())
    assert what in raised.value.what
    assert do in raised.value.do
    assert raised.value.where == f"latch_lever.toml, line {line}"


@pytest.mark.parametrize(
    ("lines", "line", "what", "do"),
    [
        ('load = "between pivot and hook"', 2, "'between pivot and hook' names no two rows", "'pivot', 'pin'"),
        ('load = "on the pin"', 2, "names no two rows", "between … and …"),
        ('rests_on = "top"', 1, "rests_on is 'top'", "'plane 2'"),
        ('rests_on = "plane 2"\nupright = "length"', 1, "both upright and rests_on", "Take one"),
    ],
)
def test_a_mistaken_way_to_stand_is_told_with_its_line(lines, line, what, do, tmp_path) -> None:
    text = HEAD.replace('part = "latch_lever"\n', f'part = "latch_lever"\n{lines}\n')
    with pytest.raises(VerifierError) as raised:
        load_sheet(sheet_on_disk(tmp_path, text), shipped_rules())
    assert what in raised.value.what
    assert do in raised.value.do
    assert raised.value.where == f"latch_lever.toml, line {line}"


def test_a_load_goes_between_two_rows(tmp_path) -> None:
    text = HEAD.replace('part = "latch_lever"\n', 'part = "latch_lever"\nload = "between pivot and pin"\n')
    assert load_sheet(sheet_on_disk(tmp_path, text), shipped_rules()).load_ends == ("pivot", "pin")


def test_nothing_comes_after_a_cut_and_no_mirror_after_letters(tmp_path) -> None:
    engrave = '[[reshape]]\ndo = "engrave"\ntext = "R2"\nface = "top"\n'
    for text, what in (
        ('[[reshape]]\ndo = "cut"\n' + engrave, "'engrave' comes after 'cut'"),
        (engrave + '[[reshape]]\ndo = "mirror"\n', "would turn the letters round"),
    ):
        with pytest.raises(RuleMistake, match=what):
            load_sheet(sheet_on_disk(tmp_path, HEAD + text), shipped_rules())


def test_a_twin_takes_the_rows_of_the_part_it_is_mirrored_from(tmp_path) -> None:
    rules, sheets = _rules_with_sheets(tmp_path)
    sheet_on_disk(sheets, HEAD)
    twin = sheet_on_disk(sheets, _twin("latch_lever"), "latch_lever_left.toml")
    found = load_sheet(twin, rules)
    assert [row.name for row in found.rows] == ["pivot", "pin", "body"]
    assert (found.part, found.twin) == ("latch_lever_left", "latch_lever")


def test_a_twin_without_a_sheet_to_take_from_says_so(tmp_path) -> None:
    rules, sheets = _rules_with_sheets(tmp_path)
    for of, mistake, what in (
        ("pump_rocker", UnknownName, "there is no sheet of 'pump_rocker'"),
        ("latch_lever_left", RuleMistake, "cannot be mirrored from itself"),
    ):
        twin = sheet_on_disk(sheets, _twin(of), "latch_lever_left.toml")
        with pytest.raises(mistake, match=what):
            load_sheet(twin, rules)
    sheet_on_disk(sheets, _twin("latch_lever", "other"), "other.toml")
    with pytest.raises(RuleMistake, match="is mirrored from another part itself"):
        load_sheet(sheet_on_disk(sheets, _twin("other"), "latch_lever_left.toml"), rules)


def _twin(of: str, part: str = "latch_lever_left") -> str:
    return f'part = "{part}"\n[[reshape]]\ndo = "mirror"\nof = "{of}"\n'


def _rules_with_sheets(folder):
    for file in rules_folder().glob("*.toml"):
        (folder / file.name).write_bytes(file.read_bytes())
    (folder / "sheets").mkdir()
    return load_rules(folder), folder / "sheets"
