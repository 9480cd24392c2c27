"""The shop's own figures for every filament and printer of a bench, from the prints in its ledger."""

from contextlib import closing

from verifier.bench.history import History
from verifier.bench.schema import VERSION, version_of
from verifier.learning.figures import Figures, figures_of, own_figures
from verifier.learning.kept_print import KeptPrint
from verifier.rulebook.rules import OwnFigure, Rules

LEDGER = "ledger.db"


def own_figures_beside(rules: Rules) -> tuple[OwnFigure, ...]:
    """Those of the bench whose rules these are; none for rules that lie on no bench.

    Raises WrongUsage for a file that is no ledger.
    """
    ledger = rules.folder.absolute().parent / LEDGER
    if not ledger.is_file() or version_of(ledger) < VERSION:
        return ()
    with closing(History.open_to_read(ledger)) as history:
        prints = history.prints()
    return tuple(own for figures in all_figures(rules, prints) for own in own_figures(figures))


def all_figures(rules: Rules, prints: tuple[KeptPrint, ...]) -> tuple[Figures, ...]:
    """The figures of every filament on every printer that something was printed of; names the rules lack are left."""
    pairs = dict.fromkeys((each.filament, each.printer) for each in prints)
    filaments = {row.name: row for row in rules.filaments}
    printers = {row.name: row for row in rules.printers}
    return tuple(
        figures_of(filaments[filament], printers[printer], prints, rules.acceptance.decision.family_error)
        for filament, printer in pairs
        if filament in filaments and printer in printers
    )
