"""The shop's own figures for every filament and printer of a bench, from the prints it was told of."""

from verifier.bench.prints_file import prints_beside
from verifier.learning.figures import Figures, figures_of, own_figures
from verifier.learning.kept_print import KeptPrint
from verifier.rulebook.rules import OwnFigure, Rules


def own_figures_beside(rules: Rules) -> tuple[OwnFigure, ...]:
    """Those of the bench whose rules these are; none for rules that lie on no bench. Raises WrongUsage."""
    prints = prints_beside(rules.folder)
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
