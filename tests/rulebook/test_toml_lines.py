import tomllib

import tomlkit
from hypothesis import given
from hypothesis.strategies import dictionaries, floats, lists, text

from tests.rulebook.shop import LAW
from verifier.rulebook.toml_lines import line_at, lines_of

TRICKY = '''\
# [[size]] in a remark counts for nothing
part = "a # no remark, [[size]] no table"
text = """
[[size]]
name = "still inside the text"
"""
raw = \'\'\'
"[[size]]
\'\'\'
list = [
  1, 2,  # ]
  [3, 4],
]
dotted.key = 1

[[size]]
name = "first"
"quoted = key" = 2
inline = { a = 1, b = "}" }

  [[size]]   # remark
reading = 3
between = [
  "a",
  "b]",
]
limits = [1, 2]
[size.inner]
deep = 1
[[size.more]]
x = 1
[[size.more]]
x = 2
'''


def test_every_key_of_a_tricky_text_is_found_on_its_line():
    lines = lines_of(TRICKY)
    assert lines["part",] == 2
    assert lines["text",] == 3
    assert lines["raw",] == 7
    assert lines["list",] == 10
    assert lines["dotted", "key"] == 14
    assert lines["size", 0] == 16
    assert lines["size", 0, "name"] == 17
    assert lines["size", 0, "quoted = key"] == 18
    assert lines["size", 0, "inline"] == 19
    assert lines["size", 1] == 21
    assert lines["size", 1, "reading"] == 22
    assert lines["size", 1, "between"] == 23
    assert lines["size", 1, "limits"] == 27
    assert lines["size", 1, "inner", "deep"] == 29
    assert lines["size", 1, "more", 1, "x"] == 33


def test_a_place_that_is_not_written_has_the_line_of_what_is_around_it():
    lines = lines_of(TRICKY)
    assert line_at(lines, ("size", 1, "reading", "float")) == 22
    assert line_at(lines, ("size", 1, "kind")) == 21
    assert line_at(lines, ("filament",)) == 1


def test_line_ends_of_another_system_count_once():
    assert lines_of("a = 1\r\nb = 2\r\n[c]\r\nd = 3\r\n")["c", "d"] == 4


names = text("abz_-. \"'=#[]é", min_size=1, max_size=6)
values = floats(allow_nan=False) | text("ab\"'#=[]{}\\\n", max_size=8)


@LAW
@given(rows=lists(dictionaries(names, values, max_size=4), min_size=1, max_size=4))
def test_every_key_tomlkit_can_write_is_found_on_the_line_it_stands_on(rows):
    document = tomlkit.document()
    tables = tomlkit.aot()
    for row in rows:
        table = tomlkit.table()
        for name, value in row.items():
            table.add(name, value)
        tables.append(table)
    document.add("size", tables)
    written = tomlkit.dumps(document)
    assert tomllib.loads(written)["size"] == rows  # the text is what we think it is
    lines, found = lines_of(written), written.split("\n")
    for index, row in enumerate(rows):
        assert found[lines["size", index] - 1] == "[[size]]"
        for name in row:
            key = next(iter(tomllib.loads(_alone(found[lines["size", index, name] - 1]))))
            assert key == name


def _alone(line: str) -> str:
    """The first line of a key, its value replaced: the value may go on below."""
    for end in range(1, len(line) + 1):
        if line[end - 1] == "=":
            try:
                tomllib.loads(line[:end] + " 0")
            except tomllib.TOMLDecodeError:
                continue
            return line[:end] + " 0"
    return line
