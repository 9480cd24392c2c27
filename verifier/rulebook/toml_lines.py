"""On which line of a TOML text each table and each key stands: the parser gives values without their places."""

import re
import tomllib
from collections.abc import Iterator
from typing import Any

Place = tuple[str | int, ...]
"""The way to a value: ('size', 3, 'reading') is the key `reading` of the fourth `[[size]]`."""

# Strings and comments are taken whole, so that a bracket or a line end inside one is not counted.
_PIECE = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}'
    r"|'''.*?'{3,5}"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
    r"|\#[^\n]*"
    r"|[\[{]|[\]}]|\n"
    r"|[^\"'\#\[\]{}\n]+",
    re.DOTALL,
)


def lines_of(text: str) -> dict[Place, int]:
    """The line of every table header and key of a valid TOML text; lines count from 1.

    Values inside one statement (an inline table, a list) stand on the line their statement begins on.
    """
    lines: dict[Place, int] = {}
    members: dict[Place, int] = {}  # array of tables -> how many of them were seen
    table: Place = ()
    for line, statement in _statements(text):
        if statement.startswith("["):
            table = _table_place(statement, members)
            lines.setdefault(table, line)
            lines.setdefault(table[:1], line)
        else:
            place = table + _key_place(statement)
            for depth in range(len(table) + 1, len(place) + 1):
                lines.setdefault(place[:depth], line)
    return lines


def line_at(lines: dict[Place, int], place: Place) -> int:
    """The line of a place, or of the nearest thing around it that has one."""
    while place and place not in lines:
        place = place[:-1]
    return lines.get(place, 1)


def _statements(text: str) -> Iterator[tuple[int, str]]:
    """Every header and every key with its value, and the line it begins on."""
    line, begin, depth, pieces = 1, 1, 0, list[str]()
    for match in _PIECE.finditer(text + "\n"):
        piece = match.group()
        if piece == "\n" and depth == 0:
            statement = "".join(pieces).strip()
            if statement:
                yield begin, statement
            begin, pieces = line + 1, []
        elif not piece.startswith("#"):
            depth += (piece in "[{") - (piece in "]}")
            pieces.append(piece)
        line += piece.count("\n")


def _table_place(header: str, members: dict[Place, int]) -> Place:
    keys = _keys(header)
    place: Place = ()
    for key in keys[:-1]:
        place = _into((*place, key), members)
    place = (*place, keys[-1])
    if header.startswith("[["):
        members[place] = members.get(place, 0) + 1
    return _into(place, members)


def _into(place: Place, members: dict[Place, int]) -> Place:
    """The last member so far, where the place is an array of tables."""
    return (*place, members[place] - 1) if place in members else place


def _key_place(statement: str) -> Place:
    """The key of 'key = value'; TOML itself reads it, so that quoted and dotted keys need no rules of their own."""
    match = re.match(r"""(?:"(?:\\.|[^"\\])*"|'[^']*'|[^"'=])+""", statement)
    return tuple(_keys(match.group() + "= 0")) if match else ()


def _keys(statement: str) -> list[str]:
    keys: list[str] = []
    value: Any = tomllib.loads(statement)
    while isinstance(value, dict) and value:
        key, value = next(iter(value.items()))
        keys.append(key)
        value = value[0] if isinstance(value, list) else value
    return keys
