"""From the name a file was dropped under to names that are safe in folders and on a screen."""

import hashlib
import os
import unicodedata

# A part's name is lengthened by '.report.html', a hidden copy's dot and suffix, and the 13 characters before an
# original; file systems stop at 255 bytes.
LONGEST_PART_BYTES = 120
LONGEST_ENDING_BYTES = 40
FORBIDDEN = frozenset('<>:"/\\|?*')  # on Windows; a bench may be carried there

# Made by programs that are still writing, by editors and by the desktop.
TEMPORARY_ENDINGS = (
    "~",
    ".part",
    ".partial",
    ".tmp",
    ".temp",
    ".swp",
    ".download",
    ".crdownload",
    ".filepart",
    ".lock",
)
DESKTOP_FILES = frozenset({"desktop.ini", "thumbs.db"})
# What exporters lay beside a textured mesh. Nothing is measured on them.
COMPANION_ENDINGS = (".mtl", ".png", ".jpg", ".jpeg", ".bmp", ".tga", ".tif", ".tiff")

# Names of devices on Windows, whatever their ending (Microsoft, "Naming Files, Paths, and Namespaces").
DEVICES = frozenset(
    {"con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in range(10))}
)


def is_passing(name: str) -> bool:
    """True for hidden and temporary names, which are nobody's finished export."""
    low = name.lower()
    return low.startswith((".", "~$")) or low.endswith(TEMPORARY_ENDINGS) or low in DESKTOP_FILES


def is_companion(name: str) -> bool:
    """True for materials and pictures that lie beside a mesh."""
    return name.lower().endswith(COMPANION_ENDINGS)


def shown(name: str) -> str:
    """The name with everything a terminal might act on written out as an escape."""
    text = os.fsencode(name).decode("utf-8", "backslashreplace")
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def scan_name(name: str) -> str:
    """The name a scan has on its way: of the same part, and good on every system.

    A name that has to be altered gets six characters of its digest, so that two different names stay two parts.
    """
    composed = unicodedata.normalize("NFC", name)  # one spelling for letters with accents, as sheets are typed
    whole = "".join("_" if _is_trouble(c) else c for c in composed)
    part, dot, ending = whole.partition(".")
    part, ending = _cut(part.strip(), LONGEST_PART_BYTES), _cut_front(ending.strip(" ."), LONGEST_ENDING_BYTES)
    if f"{part}{dot}{ending}" != composed or part.lower() in DEVICES:
        part = f"{part or 'scan'}-{hashlib.sha256(os.fsencode(name)).hexdigest()[:6]}"
    return f"{part}.{ending}" if ending else part


def _is_trouble(character: str) -> bool:
    return character in FORBIDDEN or unicodedata.category(character).startswith("C")


def _cut(text: str, longest_bytes: int) -> str:
    return text.encode("utf-8")[:longest_bytes].decode("utf-8", "ignore").strip()


def _cut_front(text: str, longest_bytes: int) -> str:
    return text.encode("utf-8")[-longest_bytes:].decode("utf-8", "ignore")
