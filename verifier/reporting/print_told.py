"""What a print's readings say, for the terminal."""

from collections.abc import Sequence
from dataclasses import dataclass

from rich.console import RenderableType
from rich.text import Text

from verifier.learning.advice import as_told, as_told_with_u
from verifier.learning.figures import Figures, Known
from verifier.learning.fit import PrintFit
from verifier.learning.kept_print import KeptPrint
from verifier.learning.terms import IN_SHORT, IN_WORDS, TERMS, Term, TermName
from verifier.reporting.columns import Columns, column_lines, dashed, titled
from verifier.reporting.size_lines import Clean, hanging

# Beyond this many standard uncertainties a size is pointed at; the fit itself decides what is left out.
NOTICED_Z = 2.0


@dataclass(frozen=True, slots=True)
class PrintTold:
    """One print as it is entered.

    wanted : row's name -> what the size was to be, as a figure
    warnings : what does not fit, sentences; advice : what to measure or do, sentences
    """

    kept: KeptPrint
    fit: PrintFit
    figures: Figures
    wanted: dict[str, str]
    warnings: tuple[str, ...]
    advice: tuple[str, ...]


def print_parts(told: PrintTold, width: int, clean: Clean) -> list[RenderableType]:
    """The whole screen."""
    kept = told.kept
    state = f", {kept.condition}" if kept.condition else ""
    head = f"{kept.part}, print {kept.number} in {kept.filament}{state} on {kept.printer}"
    return [
        Text(),
        hanging("", Text(clean(head), style="bold"), 1),
        Text(),
        *column_lines(_sizes(told), width, clean),
        *titled("What it says", column_lines(figures_table(told.figures, told.fit), width, clean)),
        *titled("Does not fit", dashed(told.warnings, clean, "yellow")),
        *titled("Do next", dashed(told.advice, clean)),
    ]


def _sizes(told: PrintTold) -> Columns:
    rows = tuple(
        (
            each.row.name,
            told.wanted.get(each.row.name, "–"),
            f"{each.row.model_mm:.3f}",
            f"{each.row.expected_mm:.3f}",
            f"{each.read_mm:.3f}",
            f"{each.read_mm - each.row.expected_mm:+.3f}",
            _remark(each.row.name, told.fit),
        )
        for each in told.kept.rows
    )
    heads = ("size, mm", "wanted", "mesh", "expected", "print", "off", "beside the others")
    return Columns(heads, rows, frozenset({"size, mm", "beside the others"}))


def _remark(name: str, fit: PrintFit) -> str:
    if name in fit.left_out:
        return "does not fit, left out"
    return "fits badly" if abs(fit.z[name]) >= NOTICED_Z else "fits"


def figures_table(figures: Figures, fit: PrintFit | None = None) -> Columns:
    """Every term: by the rules, by this print where there is one, by all prints together, and which is used."""
    rows = tuple(
        (
            IN_SHORT[name],
            *(() if fit is None else (_single(name, fit.terms.get(name)),)),
            _pm(figures.known[name], of_table=True),
            _pm(figures.known[name], of_table=False),
            _standing(figures.known[name]),
        )
        for name in TERMS
    )
    this = () if fit is None else ("this print",)
    return Columns(("figure", *this, "rules", "own prints", "used"), rows, frozenset({"figure", "used"}))


def _single(name: TermName, term: Term | None) -> str:
    return "–" if term is None else as_told_with_u(name, term.value, 2 * term.u)


def _pm(known: Known, *, of_table: bool) -> str:
    if of_table:
        return _single(known.name, known.table)
    if known.pooled is None:
        return "–"
    return as_told_with_u(known.name, known.pooled.value, known.pooled.half_width)


def _standing(known: Known) -> str:
    """Which of the two figures is used, and on how many prints the shop's own rests."""
    prints = f"{len(known.single)} print{'s' if len(known.single) != 1 else ''}"
    if known.used:
        return f"own, {prints}"
    if known.pooled is None:
        return "rules, until two prints count" if known.single else "rules"
    return f"rules, surer than {prints}"


def why_parts(figures: Figures, notices: Sequence[str], width: int, clean: Clean) -> list[RenderableType]:
    """Why the figures of one filament on one printer are what they are: print by print."""
    head = f"{figures.filament.name} on {figures.printer.name}, {len(figures.prints)} prints"
    return [
        Text(),
        hanging("", Text(clean(head), style="bold"), 1),
        Text(),
        *column_lines(figures_table(figures), width, clean),
        *(part for name in TERMS for part in _print_by_print(figures, figures.known[name], width, clean)),
        *titled("Does not fit", dashed(notices, clean, "yellow")),
    ]


def _print_by_print(figures: Figures, known: Known, width: int, clean: Clean) -> list[RenderableType]:
    """Each print's own figure, its share in the pooled one, and the sentence that joins them."""
    if not known.single and not known.too_unsure:
        return []
    weights = known.pooled.weights if known.pooled else ()
    shares = {number: f"{100 * weight:.0f} %" for number, weight in zip(known.single, weights, strict=False)}
    rows = tuple(
        (
            f"print {each.number}",
            each.part,
            each.entered_at[:10],
            _single(known.name, term),
            shares.get(each.number, ""),
            "counts" if term else "not sure enough to count",
        )
        for each in figures.prints
        if (term := known.single.get(each.number)) or each.number in known.too_unsure
    )
    table = Columns(("", "part", "entered", "says", "share", ""), rows, frozenset({"", "part", "entered"}))
    heading = IN_WORDS[known.name][0].upper() + IN_WORDS[known.name][1:]
    return titled(heading, [*column_lines(table, width, clean), hanging("", clean(_joined(known)), 3)])


def _joined(known: Known) -> str:
    table = f"The rules say {_pm(known, of_table=True)}"
    if known.pooled is None:
        return f"{table}, and that is used until two prints count."
    differ = f"by {as_told(known.name, known.pooled.between)} more than" if known.pooled.between else "no more than"
    own = f"Together {_pm(known, of_table=False)} (95 %); single prints differ {differ} their readings explain"
    if known.used and known.pooled.half_width > 2.0 * known.table.u:
        u = as_told(known.name, known.pooled.u)
        return f"{own}. {table}; used is our own: its standard uncertainty, {u}, is less; prints are few."
    return f"{own}. {table}; used is {'our own' if known.used else 'theirs, which is surer still'}."
