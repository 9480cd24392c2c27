"""Whether a still file has the end that its beginning announces. Only what can be told in a moment; the reader judges.

A file without its end is given the long wait of an OBJ, in case its exporter has closed it half-way; then it is
taken, and the reader refuses it with its reason.
"""

import mmap
import re
from collections.abc import Callable
from pathlib import Path

FLOAT_AND_INT_BYTES = {"char": 1, "uchar": 1, "short": 2, "ushort": 2, "int": 4, "uint": 4, "float": 4, "double": 8}
FLOAT_AND_INT_BYTES |= {
    "int8": 1,
    "uint8": 1,
    "int16": 2,
    "uint16": 2,
    "int32": 4,
    "uint32": 4,
    "float32": 4,
    "float64": 8,
}
# The record that ends a zip archive is 22 bytes and a comment of up to 65,535 (PKWARE APPNOTE.TXT, 4.3.16).
ZIP_END = b"PK\x05\x06"
ZIP_END_BYTES = 22
ZIP_END_REACH_BYTES = ZIP_END_BYTES + 65535
PLY_HEADER_REACH_BYTES = 1 << 16

Bytes = mmap.mmap


def lacks_its_end(path: Path) -> bool:
    """True when the file is surely shorter than it says; False when it is whole or cannot be told.

    Raises OSError when it cannot be read.
    """
    whole = ENDINGS.get(path.suffix.lower())
    if path.stat().st_size == 0:
        return True
    if whole is None:
        return False
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        return not whole(data)


def _stl_is_whole(data: Bytes) -> bool:
    announced_bytes = 84 + 50 * int.from_bytes(data[80:84], "little")
    if len(data) >= announced_bytes and len(data) >= 84:
        return True
    looks_like_text = data[:5].lower() == b"solid" and b"\0" not in data[:512]
    return looks_like_text and b"endsolid" in data[-512:].lower()


def _zip_is_whole(data: Bytes) -> bool:
    at = data.rfind(ZIP_END, max(0, len(data) - ZIP_END_REACH_BYTES))
    return at >= 0 and len(data) >= at + ZIP_END_BYTES + int.from_bytes(data[at + 20 : at + 22], "little")


def _glb_is_whole(data: Bytes) -> bool:
    return len(data) >= 12 and len(data) >= int.from_bytes(data[8:12], "little")


def _ply_is_whole(data: Bytes) -> bool:
    head, mark, _ = data[:PLY_HEADER_REACH_BYTES].partition(b"end_header")
    if not mark:
        return len(data) > PLY_HEADER_REACH_BYTES
    elements = re.split(rb"\belement\s+", head)[1:]
    counts = {
        element.split()[0]: int(element.split()[1]) for element in elements if re.match(rb"\w+\s+\d{1,12}\b", element)
    }
    if re.search(rb"\bformat\s+ascii\b", head):
        return _line_count(data) >= head.count(b"\n") + 1 + sum(counts.values())
    vertex = next((element for element in elements if element.startswith(b"vertex")), b"")
    stride_bytes = sum(
        FLOAT_AND_INT_BYTES.get(kind.decode(), 1) for kind in re.findall(rb"property\s+(\w+)\s+\w+\s", vertex)
    )
    # A face takes at least a one-byte count and three one-byte corners; most files have 13 bytes.
    corner_bytes = 4 if re.search(rb"property\s+list\s+uchar\s+u?int", head) else 1
    least_bytes = counts.get(b"vertex", 0) * stride_bytes + counts.get(b"face", 0) * (1 + 3 * corner_bytes)
    return len(data) >= len(head) + len(mark) + 1 + least_bytes


def _line_count(data: Bytes) -> int:
    count, at = 0, data.find(b"\n")
    while at >= 0:
        count, at = count + 1, data.find(b"\n", at + 1)
    return count + (data[-1:] != b"\n")


ENDINGS: dict[str, Callable[[Bytes], bool]] = {
    ".stl": _stl_is_whole,
    ".3mf": _zip_is_whole,
    ".glb": _glb_is_whole,
    ".ply": _ply_is_whole,
}
