"""The command `figures`: what is used for each filament and printer, and why."""

from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from rich.console import RenderableType

from verifier.bench.layout import open_bench
from verifier.bench.own_figures import all_figures
from verifier.bench.status import history_of
from verifier.reporting.disagreeing_told import notices
from verifier.reporting.print_told import why_parts
from verifier.reporting.terminal import cleaner, laid_out
from verifier.rulebook import load_rules
from verifier.rulebook.choice import named
from verifier.screen import Screen


def show_figures(filament: str | None, bench: Path, screen: Screen) -> None:
    """Show what is used for a filament and why; for every filament that was printed when none is named."""
    place = open_bench(bench)
    rules = load_rules(place.rules)
    if filament is not None:
        named("filament", filament, rules.filaments)
    with closing(history_of(place)) as history:
        every = all_figures(rules, history.prints())
    wanted = [figures for figures in every if filament in (None, figures.filament.name)]
    if not wanted:
        of = f"of {filament} " if filament else ""
        screen.say(f"No print {of}has been measured on this bench; the rules' figures are used. {START}")
        return
    clean = cleaner(screen.ascii_only)
    for figures in wanted:
        screen.say(on_screen(why_parts(figures, notices(figures), screen.width, clean), screen))


START = "Measure a finished print and type: verifier printed PART"


def on_screen(parts: Sequence[RenderableType], screen: Screen) -> str:
    """Parts of a report as text for this screen."""
    return laid_out(parts, screen.width, colour=screen.colour).rstrip("\n")
