"""The shop's own figures, from its finished prints, in place of the tables' once they are surer."""

from collections.abc import Sequence

from verifier.rulebook.rules import Filament, OwnFigure, Printer


def with_own_figures(filament: Filament, printer: Printer, own: Sequence[OwnFigure]) -> tuple[Filament, Printer]:
    """Filament and printer with every figure replaced that the shop knows better itself, and its source in front."""
    known = {each.figure: each for each in own if (each.filament, each.printer) == (filament.name, printer.name)}
    shrink = {name: each for name, each in known.items() if name.startswith("shrink")}
    walls = {name: each for name, each in known.items() if name not in shrink}
    new_filament = {name: each.value for name, each in shrink.items()}
    new_filament |= {f"u_{name}": each.u for name, each in shrink.items()}
    new_printer: dict[str, float] = {}
    if "hole_mm" in walls:
        new_printer |= {"hole_allowance_mm": walls["hole_mm"].value, "u_hole_mm": walls["hole_mm"].u}
    if "proud_mm" in walls:
        new_printer |= {"wall_proud_mm": walls["proud_mm"].value, "u_wall_mm": walls["proud_mm"].u}
    return (
        filament.model_copy(update={**new_filament, "source": _sources(shrink, filament.source)}),
        printer.model_copy(update={**new_printer, "source": _sources(walls, printer.source)}),
    )


def _sources(own: dict[str, OwnFigure], table: str) -> str:
    return "; ".join((*(each.source for each in own.values()), table if not own else f"all else: {table}"))
