"""What the page shows of an outcome: the part before and after, its stills, and its colours."""

import numpy as np

from verifier.comparing.deviation import away_at
from verifier.inspect import Outcome
from verifier.inspection import Inspection
from verifier.mesh import Array
from verifier.reporting.page import Pictured
from verifier.reporting.reshaped_view import reshaped_view
from verifier.reporting.shown import ShownMesh, shown_mesh, with_seam
from verifier.reporting.still import stills
from verifier.reporting.way_pictures import way_pictures
from verifier.rulebook import draft_sheet_text


def pictured_of(outcome: Outcome, told: Inspection, sheet: str) -> Pictured:
    """The part as scanned and as it will be printed, its stills, and the sheet to fill in where it has none.

    sheet : the text of the sheet it has; '' for none
    """
    before = _with_seam(outcome, shown_mesh(outcome.solid), 1.0)
    reshaped = reshaped_view(outcome.copy, outcome.plan, told.sizes)
    changed = None
    if reshaped is None and outcome.copy is not outcome.solid:
        scale = outcome.correction.scale
        changed = _with_seam(outcome, shown_mesh(outcome.copy), scale.value if scale.applied else 1.0)
    after = changed if reshaped is None else reshaped.mesh
    # The callouts of paper lie on the scan: on a part that was made longer or mirrored they would hang in the air.
    still = before if after is None or told.reshaped else after
    drafted = draft_sheet_text(told.part, outcome.proposed) if outcome.proposed else ""
    return Pictured(
        before,
        after,
        stills(told, still),
        drafted=drafted,
        away_mm=_away_mm(outcome, before),
        ways=way_pictures(outcome.joined),
        sheet=drafted or sheet,
        reshaped=reshaped,
    )


def _with_seam(outcome: Outcome, shown: ShownMesh, scale: float) -> ShownMesh:
    """The picture with the seam of a part of several scans; the coat, a tenth of a millimetre, does not show.

    scale : what the picture's lengths were divided by
    """
    if outcome.joined is None or outcome.joined.seam_at_mm is None:
        return shown
    return with_seam(shown, outcome.joined.seam_at_mm / scale)


def _away_mm(outcome: Outcome, shown: ShownMesh) -> Array | None:
    """How far the corners of the picture are off the reference; the copy that was compared has the solid's corners."""
    if outcome.compared is None:
        return None
    return away_at(outcome.compared.deviation, outcome.solid, shown.vertices_mm.astype(np.float64))
