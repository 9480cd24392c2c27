"""Which files are scans of one part: a folder of them, or PART.1.ply, PART.2.ply and so on."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from verifier.errors import CannotJoin, CannotOpen
from verifier.reading import printable
from verifier.rulebook import Sheet, part_name
from verifier.rulebook.scan_names import SCAN_ENDINGS, scan_number
from verifier.rulebook.sheet import MOST_SCANS


@dataclass(frozen=True, slots=True)
class PartScans:
    """The scans of one part.

    told : what the person named: the file, the folder, or the files
    """

    part: str
    files: tuple[Path, ...]
    told: str


def scans_of_part(given: Path | Sequence[Path]) -> PartScans:
    """The scans of one part: a file, a folder of scans, or several files that are scans of it.

    Files that bear names of several parts are of the part that their folder is called.
    Raises CannotOpen for a folder without scans.
    """
    if isinstance(given, Path):
        return PartScans(part_of(given), scans_in(given) if given.is_dir() else (given,), given.name)
    files = tuple(sorted(given, key=_in_order))
    named = {part_of(file) for file in files}
    part = named.pop() if len(named) == 1 else part_of(files[0].parent)
    return PartScans(part, files, ", ".join(file.name for file in files))


def parts_in(paths: Sequence[Path]) -> tuple[PartScans, ...]:
    """What was given, part by part in its order: files with a number of a scan in their name belong together.

    Raises CannotOpen for a folder without scans.
    """
    groups: dict[Path, list[Path]] = {}
    for path in paths:
        numbered = not path.is_dir() and number_of(path) is not None
        groups.setdefault(path.parent / part_of(path) if numbered else path, []).append(path)
    return tuple(
        scans_of_part(group[0] if len(group) == 1 else tuple(dict.fromkeys(group))) for group in groups.values()
    )


def part_of(path: Path) -> str:
    """The part a file or folder is of."""
    return part_name(path.resolve().name if path.name in ("", "..") else path.name)


def scans_in(folder: Path) -> tuple[Path, ...]:
    """The scans of one part that lie in a folder, in the order of their numbers.

    Raises CannotOpen when there are none.
    """
    found = (path for path in folder.iterdir() if path.is_file() and not path.name.startswith("."))
    scans = tuple(sorted((path for path in found if path.suffix.lower() in SCAN_ENDINGS), key=_in_order))
    if not scans:
        raise CannotOpen("no scan lies in this folder", where=printable(folder.name), do="Put the exports into it")
    return scans


def number_of(file: Path) -> int | None:
    """Which scan of its part a file is by its name: 2 for seat_armrest.2.ply; None for a whole one."""
    return scan_number(file.name)


def _in_order(file: Path) -> tuple[int, str]:
    return number_of(file) or 0, file.name


def check_number(scans: PartScans, sheet: Sheet | None) -> None:
    """Raises CannotJoin when scans are missing, or are more than anybody joins."""
    wanted = sheet.scans if sheet is not None else None
    files, part, where = scans.files, scans.part, printable(scans.part)
    numbers = [number for number in map(number_of, files) if number is not None]
    if wanted is not None and wanted != len(files):
        missing = ", ".join(str(k) for k in range(1, wanted + 1) if k not in numbers)
        raise CannotJoin(
            f"its sheet says scans = {wanted}, and there {_are(len(files))}",
            where=where,
            do=f"Add scan {missing} of it" if len(files) < wanted and numbers else "Give as many as the sheet says",
        )
    if len(files) == 1 and numbers:
        raise CannotJoin(
            f"{printable(files[0].name)} is one of several scans of it by its name, and the others are missing",
            where=where,
            do=f"Give all of its scans together, or call it {part}{files[0].suffix} if it is the whole part",
        )
    if len(files) > MOST_SCANS:
        what = f"{len(files)} scans were given, and {MOST_SCANS} at most are joined"
        raise CannotJoin(what, where=where, do="Leave out views that show nothing new")


def _are(count: int) -> str:
    return "is one scan" if count == 1 else f"are {count} scans"
