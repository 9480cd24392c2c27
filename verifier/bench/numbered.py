"""Several files of the inbox that are one part's scans by their names: seat_armrest.1.ply, seat_armrest.2.ply."""

from collections.abc import Callable, Iterable

from verifier.bench.inbox import Entry, Kind, together
from verifier.bench.names import scan_name
from verifier.rulebook import part_name
from verifier.rulebook.scan_names import scan_number


def gathered(entries: Iterable[Entry], wanted: Callable[[str], int | None]) -> list[Entry]:
    """The inbox with numbered scans of a part put together as one, small ones first.

    wanted : how many scans a part's sheet says there are; None when it says nothing
    """
    alone: list[Entry] = []
    parts: dict[str, dict[int, Entry]] = {}
    for entry in entries:
        number = _number_in(entry)
        beside = parts.setdefault(part_name(entry.name), {}) if number is not None else {}
        if number is None or number in beside:  # a second file of the same number is a job of its own
            alone.append(entry)
        else:
            beside[number] = entry
    groups = [_as_one(numbers, wanted(part)) for part, numbers in parts.items()]
    return sorted([*alone, *groups], key=lambda entry: (entry.fingerprint.size_bytes, entry.name))


def _number_in(entry: Entry) -> int | None:
    """None too for a name that has to be altered: it would no longer tell its number for sure."""
    return scan_number(entry.name) if entry.kind is Kind.SCAN and scan_name(entry.name) == entry.name else None


def _as_one(numbers: dict[int, Entry], wanted: int | None) -> Entry:
    """Without a sheet that says how many, there are as many as the greatest number, and two at least."""
    expected = range(1, (wanted or max(2, *numbers)) + 1)
    missing = [number for number in expected if number not in numbers]
    return together([numbers[number] for number in sorted(numbers)], missing)
