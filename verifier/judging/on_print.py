"""What printing may spoil of a row that is right on the copy: which way, how much, and what would decide it."""

from collections.abc import Sequence
from typing import Literal

from verifier.correcting.printing import PrintPlan, shrink_u
from verifier.judging.judgement import RowJudgement
from verifier.measuring.size import Size
from verifier.rulebook.size_kinds import SizeKind

# Sizes across something round are small or large; all others are short or long.
ACROSS: tuple[SizeKind, ...] = ("bore", "boss", "pitch circle", "countersink diameter", "counterbore diameter")
Doubt = Literal["shrinkage", "holes", "copy"]


def limits_on_print(row: RowJudgement) -> tuple[float, float] | None:
    """The row's limits, moved with a size that is made larger or smaller on purpose."""
    return None if row.limits is None else (row.limits[0] + row.reshaped_by, row.limits[1] + row.reshaped_by)


def doubt_of_print(row: RowJudgement, kind: SizeKind, size: Size, plan: PrintPlan, k: float) -> str:
    """Why a row is not proven on the print, without a full stop; '' where it is, or where nothing is foretold.

    k : coverage factor of the uncertainties told
    """
    limits = limits_on_print(row)
    if limits is None or row.printed is None or row.printed_expanded_u is None or row.printed_verdict in (None, "PASS"):
        return ""
    figure = f"{row.printed:.3f} ± {row.printed_expanded_u:.3f} mm, {limits[0]:.3f} to {limits[1]:.3f} is allowed"
    right = "the copy is right; " if row.verdict == "PASS" else ""
    may = f"{right}printed in {plan.filament.name} it {_comes_out(row.printed, row.printed_expanded_u, limits, kind)}"
    why = _of_what(largest_doubt(row, size, plan, k), plan, k)
    return f"{may} ({figure}): {row.printed_verdict}, mostly by {why}"


def _comes_out(value: float, u: float, limits: tuple[float, float], kind: SizeKind) -> str:
    small, large = ("small", "large") if kind in ACROSS else ("short", "long")
    under, over = limits[0] - value, value - limits[1]
    for by, word in ((under, small), (over, large)):
        if by > u:
            return f"will come out {by:.2f} ± {u:.2f} mm too {word}"
    told = [f"{by + u:.2f} mm too {word}" for by, word in ((under, small), (over, large)) if by + u > 0.0]
    return f"may come out up to {' or '.join(told)}"


def largest_doubt(row: RowJudgement, size: Size, plan: PrintPlan, k: float) -> Doubt:
    """What most of the uncertainty on the print comes from."""
    hole = size.walls < 0 and bool(plan.upright_bores.intersection(size.features))
    parts: dict[Doubt, float] = {
        "shrinkage": k * (row.printed or 0.0) * shrink_u(size, plan),
        "holes": k * plan.printer.u_hole_mm if hole else 0.0,
        "copy": row.expanded_u or 0.0,
    }
    return max(parts, key=lambda part: parts[part])


def _of_what(doubt: Doubt, plan: PrintPlan, k: float) -> str:
    match doubt:
        case "shrinkage":
            return f"the shrinkage of {plan.filament.name}, known to ± {_shrink_known(plan, k)}"
        case "holes":
            return f"what upright holes lose on {plan.printer.name}, known to ± {k * plan.printer.u_hole_mm:.2f} mm"
    return "the scan's own uncertainty"


def _shrink_known(plan: PrintPlan, k: float) -> str:
    along, across = (f"{100 * k * u:.2f} %" for u in (plan.u_shrink_xy, plan.u_shrink_z))
    return along if along == across else f"{along} along the layers and {across} across them"


def to_learn(doubts: Sequence[Doubt], part: str, plan: PrintPlan) -> tuple[str, ...]:
    """The step that brings down what the doubtful rows are doubtful by."""
    of = {"shrinkage": f"how {plan.filament.name} shrinks", "holes": "what holes lose"}
    told = [words for doubt, words in of.items() if doubt in doubts]
    if not told:
        return ()
    where = f"on {plan.printer.name}"
    return (f"Two prints read back with 'verifier printed {part}' tell {' and '.join(told)} {where} more surely.",)


def worth_measuring(rows: Sequence[RowJudgement]) -> list[RowJudgement]:
    """The rows that printing may spoil."""
    return [row for row in rows if row.printed_verdict not in (None, "PASS")]


def expected_on_print(row: RowJudgement) -> str:
    """'pin' (5.98 ± 0.12 is expected, 5.86 to 6.16 is allowed)."""
    limits = limits_on_print(row)
    assert row.printed is not None
    assert row.printed_expanded_u is not None
    assert limits is not None
    figure = f"{row.printed:.2f} ± {row.printed_expanded_u:.2f}"
    return f"'{row.name}' ({figure} is expected, {limits[0]:.2f} to {limits[1]:.2f} is allowed)"
