"""Which format a file is in: by what is in it first, by its name second. A new format is one row of FORMATS."""

import re
from collections.abc import Callable
from dataclasses import dataclass

from verifier.errors import NotAMesh
from verifier.reading.glb import read_glb
from verifier.reading.glb_file import MAGIC
from verifier.reading.obj import read_obj
from verifier.reading.off import read_off
from verifier.reading.other_kinds import other_kind
from verifier.reading.ply import read_ply
from verifier.reading.raw_mesh import Reader
from verifier.reading.stl_binary import fits_its_count, read_stl_binary
from verifier.reading.stl_text import read_stl_text
from verifier.reading.three_mf import read_three_mf

# Text formats give themselves away within this; what an exporter says of itself at the head is shorter.
HEAD_BYTES = 64 << 10
BYTE_ORDER_MARK = b"\xef\xbb\xbf"  # UTF-8's, which text editors put before everything else
STL_TEXT = re.compile(rb"\s*solid\b[^\n\r]*[\n\r]\s*(facet|endsolid)\b", re.IGNORECASE)
STL_TEXT_BEGUN = re.compile(rb"\s*solid\b", re.IGNORECASE)
DO = "Export the scan as STL, PLY, OBJ, OFF, 3MF or GLB and drop that"
OFF = re.compile(rb"(\s*#[^\n\r]*[\n\r])*\s*(ST)?C?N?4?n?OFF\b")
OBJ = re.compile(rb"^[ \t]*v[ \t]+[-+.\d]", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Format:
    """One row: how a format is known, and read.

    fits : whether a file is of it, from all its bytes and its first 64 KiB
    endings : lower-case name endings, for files that their content does not settle
    """

    name: str
    fits: Callable[[bytes, bytes], bool]
    endings: tuple[str, ...]
    read: Reader


def _is_text(head: bytes) -> bool:
    return b"\0" not in head


BINARY_STL = Format("binary STL", lambda data, _: fits_its_count(data), (), read_stl_binary)
TEXT_STL = Format("text STL", lambda _, head: _is_text(head) and STL_TEXT.match(head) is not None, (), read_stl_text)

# The order matters: a binary STL may begin with any word at all, so its length is asked first.
FORMATS = (
    BINARY_STL,
    Format("PLY", lambda _, head: head[:3] == b"ply" and head[3:4] in (b"\n", b"\r", b" "), (), read_ply),
    Format("3MF", lambda _, head: head.startswith(b"PK\x03\x04"), (), read_three_mf),
    Format("GLB", lambda _, head: head.startswith(MAGIC), (), read_glb),
    TEXT_STL,
    Format("OFF", lambda _, head: OFF.match(head) is not None, (), read_off),
    Format("OBJ", lambda _, head: _is_text(head) and OBJ.search(head) is not None, (".obj",), read_obj),
)
BY_ENDING = {ending: format_ for format_ in FORMATS for ending in format_.endings}


def format_of(data: bytes, where: str) -> Format:
    """The format of a file, from its bytes and, where these do not settle it, the ending of its name.

    Raises NotAMesh that says what the file is instead, as far as that can be told.
    """
    head = data[:HEAD_BYTES].removeprefix(BYTE_ORDER_MARK)
    kind = other_kind(head)
    for format_ in FORMATS:
        if format_.fits(data, head) and not (kind and format_.name == "OBJ"):
            return format_
    ending = "." + where.lower().rpartition(".")[2]
    if kind is None and ending == ".stl":
        return _stl_at_odds(head, where)
    if kind is None and ending in BY_ENDING and _is_text(head):
        return BY_ENDING[ending]
    raise NotAMesh(f"it is {kind or 'of no mesh format known'}", where=where, do=DO)


def _stl_at_odds(head: bytes, where: str) -> Format:
    """The form an STL was meant in when neither fits: its reader says what is missing."""
    if not _is_text(head):
        return BINARY_STL
    if STL_TEXT_BEGUN.match(head):
        return TEXT_STL
    raise NotAMesh("it is plain text under the name of an STL", where=where, do=DO)
