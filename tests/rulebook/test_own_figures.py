"""The shop's own figures in place of the tables'."""

from verifier.rulebook import load_rules, with_own_figures
from verifier.rulebook.rules import OwnFigure
from verifier.shipped import rules_folder

RULES = load_rules(rules_folder())
PETG = next(row for row in RULES.filaments if row.name == "PETG")
BENCH_220 = next(row for row in RULES.printers if row.name == "bench 220")


def own(figure, value, u, filament="PETG", printer="bench 220"):
    return OwnFigure(filament, printer, figure, value, u, f"{figure}: 4 prints of our own")


def test_each_figure_takes_the_place_of_its_own_and_of_no_other():
    figures = [own("shrink_xy", 0.0041, 0.0002), own("hole_mm", 0.14, 0.02), own("proud_mm", 0.01, 0.01)]
    filament, printer = with_own_figures(PETG, BENCH_220, figures)
    assert (filament.shrink_xy, filament.u_shrink_xy) == (0.0041, 0.0002)
    assert (filament.shrink_z, filament.u_shrink_z) == (PETG.shrink_z, PETG.u_shrink_z)
    assert (printer.hole_allowance_mm, printer.u_hole_mm) == (0.14, 0.02)
    assert (printer.wall_proud_mm, printer.u_wall_mm) == (0.01, 0.01)
    assert filament.source == f"shrink_xy: 4 prints of our own; all else: {PETG.source}"
    assert printer.source.startswith("hole_mm: 4 prints of our own; proud_mm: 4 prints of our own; all else: ")
    assert filament.density_g_cm3 == PETG.density_g_cm3


def test_figures_of_another_filament_or_printer_change_nothing():
    others = [own("shrink_xy", 0.01, 0.0002, filament="ABS"), own("hole_mm", 0.5, 0.01, printer="closed 300")]
    assert with_own_figures(PETG, BENCH_220, others) == (PETG, BENCH_220)
    assert with_own_figures(PETG, BENCH_220, ()) == (PETG, BENCH_220)


def test_every_nylon_and_nothing_else_takes_up_water():
    assert {row.name for row in RULES.filaments if row.takes_up_water} == {"PA6", "PA6-CF", "PA12", "PA12-CF"}
