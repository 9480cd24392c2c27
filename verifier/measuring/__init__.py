"""Features + sheet -> Sizes: one row of the sheet, one number, one standard uncertainty."""

from verifier.measuring.measure import measure
from verifier.measuring.propose import ProposedRow, propose_rows
from verifier.measuring.size import Size

__all__ = ["ProposedRow", "Size", "measure", "propose_rows"]
