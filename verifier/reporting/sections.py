"""The report's sections of sentences, in the order they are read. Terminal and page both take them from here."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from verifier.inspection import Inspection
from verifier.reporting.deviation_words import deviation_in_words
from verifier.reporting.join_words import join_in_words
from verifier.reporting.words import (
    bore_line,
    mending_in_words,
    piece_in_words,
    print_in_words,
    reshape_in_words,
    scan_in_words,
)


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and its sentences; a section without any is left out.

    kind : 'caution' and 'source' are set off by their look
    """

    title: str
    lines: Callable[[Inspection], Iterable[str]]
    kind: Literal["", "caution", "source"] = ""


def _scan(told: Inspection) -> Iterable[str]:
    coat = (told.coat.reason, told.coat.reason_inside) if told.coat.reason_inside else (told.coat.reason,)
    return (f"{scan_in_words(told.scan)}.", told.scale.reason, *coat, *told.scan.notices)


def _mended(told: Inspection) -> Iterable[str]:
    return mending_in_words(told.mend)


def _reshaped(told: Inspection) -> Iterable[str]:
    pieces = (piece_in_words(piece, told.print.currency) for piece in told.pieces)
    return (*map(reshape_in_words, told.reshaped), *pieces)


def print_lines(told: Inspection) -> Iterable[str]:
    """How the print lies, what it takes, and what to know of its filament; nothing for the scan of a print."""
    return () if told.of_print else (*print_in_words(told.print), *told.print.notes)


def caution_lines(told: Inspection) -> tuple[str, ...]:
    """Every caution that holds for this part and its filament."""
    return (*told.cautions, *told.print.cautions)


# What a screen shows, and what stands in full only in the report's files.
GLANCED = (
    Section("Scan", _scan),
    Section("Joined", lambda told: join_in_words(told.join)),
    Section("Mended, filled and thrown away", _mended),
    Section("Bores", lambda told: map(bore_line, told.bores)),
    Section("Deviation", lambda told: deviation_in_words(told.deviation)),
    Section("Reshaped", _reshaped),
    Section("Print", print_lines),
)
IN_FULL = (
    Section("Cautions", caution_lines, "caution"),
    Section("Figures from", lambda told: told.sources, "source"),
)
