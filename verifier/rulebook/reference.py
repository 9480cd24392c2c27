"""What a part's corrected mesh is compared with, as the sheet says it."""

from pathlib import Path, PurePosixPath, PureWindowsPath

from verifier.errors import RuleMistake
from verifier.rulebook.row import plain_mistake
from verifier.rulebook.rules import Rules

# Words that have a meaning of their own in a sheet's `reference`.
LAST_PASS = "last PASS"
MIRROR_OF = "mirror of "


def file_named(reference: str) -> tuple[str, bool]:
    """The file's own name, and whether its mirror image is meant: 'mirror of left_lever.stl'."""
    mirrored = reference.startswith(MIRROR_OF)
    return reference.removeprefix(MIRROR_OF).strip(), mirrored


def inside_only(reference: str | None) -> str | None:
    """A sheet comes from anywhere; it may name files beside the rules and no others."""
    if reference is None or reference == LAST_PASS:
        return reference
    name, _ = file_named(reference)
    windows, posix = PureWindowsPath(name), PurePosixPath(name)
    outside = windows.is_absolute() or windows.drive or posix.is_absolute() or ".." in windows.parts
    if not name or outside or not name.isprintable() or windows.root:
        raise plain_mistake(
            "a reference is a file in the rules folder",
            f'Put it there and write reference = "references/left_lever.stl", or reference = "{LAST_PASS}"',
        )
    return reference


def reference_path(name: str, rules: Rules, where: str) -> Path:
    """The file in the rules folder; raises RuleMistake where it is missing or a link that leads out of it."""
    folder = rules.folder.resolve()
    path = (folder / name.replace("\\", "/")).resolve()
    if not path.is_relative_to(folder) or not path.is_file():
        raise RuleMistake(
            f"there is no file '{name}' in the rules folder to compare with",
            where=where,
            do="Put it there, or take the line 'reference' out",
        )
    return path
