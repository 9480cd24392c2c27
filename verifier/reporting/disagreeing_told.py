"""What does not fit among prints, as sentences."""

from verifier.learning.advice import as_told
from verifier.learning.disagreeing import Disagreement, Drift, disagreements, drifts
from verifier.learning.figures import Figures
from verifier.learning.terms import IN_WORDS


def notices(figures: Figures) -> tuple[str, ...]:
    """What does not fit: the newest print against the others, and drift."""
    return (*map(_disagreement, disagreements(figures)), *map(_drift, drifts(figures)))


def _disagreement(found: Disagreement) -> str:
    """The newest print against the others, and what to do."""
    what = IN_WORDS[found.name]
    return (
        f"Print {found.print_number} does not fit the others: {what} {as_told(found.name, found.value)} against"
        f" {as_told(found.name, found.others)}. Read it again; if the reading stands, ask what was different: another"
        " spool, nozzle, temperature, or a damp filament. A print entered wrongly is taken back with --undo."
    )


def _drift(found: Drift) -> str:
    """A figure that goes one way, and what to do."""
    what = IN_WORDS[found.name][0].upper() + IN_WORDS[found.name][1:]
    return (
        f"{what} drifts: from {as_told(found.name, found.first)} to {as_told(found.name, found.last)} over"
        f" {found.prints} prints. Look at belts, nozzle and how dry the filament is; the pooled figure lags behind it."
    )
