"""What the shop has decided: sheets, filaments, screws, tolerances, callipers, printers, acceptance."""

from verifier.rulebook.calliper import CalliperReading, reading_of
from verifier.rulebook.choice import calliper_for, filament_for, printer_for
from verifier.rulebook.draft import DraftRow, draft_sheet_text
from verifier.rulebook.folder import load_rules
from verifier.rulebook.holes import Hole, wanted_holes
from verifier.rulebook.limits import RowLimits, row_limits
from verifier.rulebook.making import Making, making_of
from verifier.rulebook.own_figures import with_own_figures
from verifier.rulebook.rules import Calliper, Caution, Filament, Printer, Rules
from verifier.rulebook.seats import Seat
from verifier.rulebook.sheet import Sheet, SheetRow, SizeKind
from verifier.rulebook.sheet_file import find_sheet, load_sheet, part_name

__all__ = [
    "Calliper",
    "CalliperReading",
    "Caution",
    "DraftRow",
    "Filament",
    "Hole",
    "Making",
    "Printer",
    "RowLimits",
    "Rules",
    "Seat",
    "Sheet",
    "SheetRow",
    "SizeKind",
    "calliper_for",
    "draft_sheet_text",
    "filament_for",
    "find_sheet",
    "load_rules",
    "load_sheet",
    "making_of",
    "part_name",
    "printer_for",
    "reading_of",
    "row_limits",
    "wanted_holes",
    "with_own_figures",
]
