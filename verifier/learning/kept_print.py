"""One finished print as the ledger keeps it: what was read, and on what it was printed."""

from dataclasses import dataclass
from typing import Literal

from verifier.learning.row import ReadRow

# A nylon is read dry from the printer, or after it has lain in the room; anything else has no such state.
Condition = Literal["dry", "conditioned"]


@dataclass(frozen=True, slots=True)
class KeptPrint:
    """A print and its readings.

    number : counts the prints of a bench, never given twice
    job : the scan whose mesh was printed
    entered_at : when it was entered, UTC, ISO 8601
    u_scale : standard uncertainty of the scale that all its readings share, for a print that was scanned
    """

    number: int
    part: str
    job: int
    filament: str
    printer: str
    condition: Condition | None
    entered_at: str
    rows: tuple[ReadRow, ...]
    u_scale: float = 0.0
