"""What the rulebook's tests share: the rules that ship, and a sheet on disk."""

from functools import cache
from pathlib import Path

from hypothesis import settings

from verifier.rulebook import Rules, Sheet, SheetRow, load_rules
from verifier.shipped import rules_folder

AUTHORITIES = Path(__file__).parent.parent / "authorities"

# The first call of a law may read the rules, and the machine may be busy: neither is a mistake.
LAW = settings(deadline=None)


@cache
def shipped_rules() -> Rules:
    return load_rules(rules_folder())


def sheet_on_disk(folder: Path, text: str, name: str = "latch_lever.toml") -> Path:
    path = folder / name
    path.write_bytes(text.encode())
    return path


def one_row_sheet(row: SheetRow, **keys: object) -> Sheet:
    return Sheet(part="latch_lever", size=(row,), **keys)
