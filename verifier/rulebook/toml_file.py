"""A file of the rules folder as text and values, or the sentence that says why it cannot be one."""

import re
import stat
import tomllib
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from verifier.errors import RuleMistake
from verifier.rulebook.toml_lines import Place, line_at, lines_of

MAX_BYTES = 1024 * 1024  # a sheet of a thousand rows is a tenth of it

# tomllib keeps every beginning of a dotted key: one key of 500,000 parts, 1 MiB of text, ate all memory. Ours have one.
_LONG_KEY = re.compile(r"""(?<![\w"'.-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){16}""")

# What the parser says, and what it means at the bench; the first that fits is taken.
_SYNTAX = (
    (r"Cannot overwrite|Cannot declare|Duplicate", "a key or a table is given twice", "Take one of the two out"),
    (r"Cannot mutate", "a table is added to where it was closed already", "Write it in one place"),
    (r"Expected '='", "there is no '=' after the key", "Write key = value, or put '#' before a remark"),
    (r"Illegal character", "there is a character in it that cannot be printed", "Type the line again"),
    (r"Unescaped|escape", "a backslash stands in a text", "Write the text between single quotes, '…'"),
    (r"Unterminated|Unclosed|Expected [\"']|Expected '?\]", "a quote or a bracket is not closed", "Close it"),
)


@dataclass(frozen=True)
class TomlFile:
    """A TOML file that could be read.

    name : the file's name, without its folders, as it can be shown
    values : lists are tuples
    """

    name: str
    text: str
    values: dict[str, Any]

    @cached_property
    def lines(self) -> dict[Place, int]:
        """The line of every table and key; looked for when the first is asked for."""
        return lines_of(self.text)

    def line(self, place: Place) -> int:
        """The line of a key, or of the nearest thing around it that is written."""
        return line_at(self.lines, place)

    def where(self, place: Place) -> str:
        """The file and the line, for an error: 'latch_lever.toml, line 14'."""
        return _where(self.name, self.line(place))


def read_toml(path: Path) -> TomlFile:
    """Read a file of the rules folder.

    Raises RuleMistake when it cannot be opened, is over 1 MiB, is not UTF-8 or is not TOML.
    """
    name = _told(path)
    text = _decode(name, _read(path, name))
    return TomlFile(name, text, _with_tuples(_parse(name, text)))


def _told(path: Path) -> str:
    """The file's name as it can be shown: a terminal would obey some characters and cannot write others."""
    return "".join(letter if letter.isprintable() else "?" for letter in path.name)


def _where(name: str, line: int) -> str:
    return f"{name}, line {line}"


def _read(path: Path, name: str) -> bytes:
    try:
        # A pipe or a device would keep us waiting when opened, so it is not opened.
        if not stat.S_ISREG(path.stat().st_mode):
            raise RuleMistake("this is no ordinary file", where=name, do="Put a text file in its place")
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except OSError as error:
        raise RuleMistake(
            f"the file cannot be opened ({error.strerror})",
            where=name,
            do=f"See that it stands in {path.parent} and may be read; 'verifier new' makes a folder with every file",
        ) from error
    if len(data) > MAX_BYTES:
        raise RuleMistake("the file is larger than 1 MiB", where=name, do="Keep sizes and rules in it, no more")
    return data


def _decode(name: str, data: bytes) -> str:
    try:
        return data.decode("utf-8-sig")  # some editors put a mark of three bytes before the text
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise RuleMistake(
            "a character here is not UTF-8", where=_where(name, line), do="Save the file again, with encoding UTF-8"
        ) from error


def _parse(name: str, text: str) -> dict[str, Any]:
    if long_key := _LONG_KEY.search(text):
        line = text.count("\n", 0, long_key.start()) + 1
        raise RuleMistake("a key here has over 16 dots", where=_where(name, line), do="Write one key a line")
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise RuleMistake("brackets stand in brackets too deep", where=name, do="Take the outer ones out") from error
    except ValueError as error:
        raise _syntax_mistake(name, text, str(error)) from error


def _syntax_mistake(name: str, text: str, said: str) -> RuleMistake:
    line = _line_said(said, text)
    written = text.splitlines()[line - 1] if text.splitlines() else ""
    where = _where(name, line)
    if comma := re.search(r"=\s*[+-]?(\d+),(\d+)\s*(?:#.*)?$", written):
        number = f"{comma[1]}.{comma[2]}"
        return RuleMistake("a number has a comma in it", where=where, do=f"Write it with a point, {number}")
    for said_so, what, do in _SYNTAX:
        if re.search(said_so, said):
            return RuleMistake(what, where=where, do=do)
    do = "Write key = value, texts in straight quotes (\"…\"), numbers without quotes, remarks after '#'"
    return RuleMistake("this line cannot be read", where=where, do=do)


def _line_said(said: str, text: str) -> int:
    """The line the parser names; at the end of the document it is the last line with something on it."""
    if found := re.search(r"at line (\d+)", said):
        return int(found[1])
    return max(1, len(text.rstrip().splitlines()))


def _with_tuples(value: Any) -> Any:
    """Lists as tuples: a strict check of a frozen value takes nothing else."""
    if isinstance(value, dict):
        return {key: _with_tuples(member) for key, member in value.items()}
    return tuple(_with_tuples(member) for member in value) if isinstance(value, list) else value
