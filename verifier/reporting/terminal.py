"""The report in a terminal: at one glance whether the copy is right and what to do, then the rest."""

import io
from collections.abc import Callable, Iterable, Sequence

from rich.console import Console, RenderableType
from rich.text import Text

from verifier.inspection import Inspection, JobVerdict
from verifier.reporting import drawn_bar, sections
from verifier.reporting.bar import bar_of
from verifier.reporting.plain import in_ascii, one_line
from verifier.reporting.sections import Section
from verifier.reporting.size_lines import STYLE_OF, Clean, columns_for, hanging, size_lines
from verifier.reporting.words import VERDICT_MEANING, filament_in_words, meaning_of

# Below this a figure of the table would have to be broken across lines.
LEAST_WIDTH = 40

Part = Callable[[Inspection, int, Clean, drawn_bar.Strokes], list[RenderableType]]
SECTION_STYLES = {"": "", "caution": "yellow", "source": "dim"}


def render(inspection: Inspection, *, width: int, colour: bool, ascii_only: bool = False, brief: bool = False) -> str:
    """The report as text, no line wider than `width` cells.

    width : cells of the terminal; taken as 40 when it is less
    colour : add ANSI colour; every verdict is also said in words
    ascii_only : for terminals whose encoding holds nothing else
    brief : for a screen that scrolls: cautions and sources are only counted, and stand in the report's files
    """
    width, clean, strokes = max(width, LEAST_WIDTH), cleaner(ascii_only), _strokes(ascii_only)
    sections = (*GLANCED, _also if brief else _in_full)
    return laid_out(
        (part for section in sections for part in section(inspection, width, clean, strokes)), width, colour=colour
    )


def render_refusal(
    name: str, sentence: str, verdict: JobVerdict, *, width: int = 100, colour: bool = False, ascii_only: bool = False
) -> str:
    """A file without a report: its name, its verdict, and the sentence that says why and what to do."""
    clean = cleaner(ascii_only)
    return laid_out(
        [_headline(verdict, name, VERDICT_MEANING[verdict], clean), hanging("", clean(sentence), 1)],
        width,
        colour=colour,
    )


def render_summary(
    rows: Sequence[tuple[str, JobVerdict, str, str]],
    *,
    width: int = 100,
    colour: bool = False,
    ascii_only: bool = False,
) -> str:
    """One entry a part: (part, verdict, reason, where its files are), and how many of each verdict."""
    clean = cleaner(ascii_only)
    parts = [entry for row in rows for entry in _summary_entry(row, clean)]
    counts = {verdict: sum(row[1] == verdict for row in rows) for verdict in STYLE_OF}
    told = ", ".join(f"{count} {verdict}" for verdict, count in counts.items() if count) or "nothing inspected"
    many = "1 part" if len(rows) == 1 else f"{len(rows)} parts"
    return laid_out([*parts, Text(), Text(f" {many}: {told}", style="bold")], width, colour=colour)


def _summary_entry(row: tuple[str, JobVerdict, str, str], clean: Clean) -> list[RenderableType]:
    part, verdict, reason, where = map(clean, row)
    marker = Text(f" {verdict}", style=STYLE_OF[row[1]])
    indent = 3 + max(map(len, STYLE_OF))
    lines: list[RenderableType] = [hanging(marker, Text(part, style="bold"), indent)]
    return lines + [hanging("", text, indent) for text in (reason, where) if text]


def cleaner(ascii_only: bool) -> Clean:
    """Makes a text from outside safe to show, and ASCII where the screen has nothing else."""
    return (lambda text: in_ascii(one_line(text))) if ascii_only else one_line


def _strokes(ascii_only: bool) -> drawn_bar.Strokes:
    return drawn_bar.ASCII if ascii_only else drawn_bar.UNICODE


def laid_out(parts: Iterable[RenderableType], width: int, *, colour: bool) -> str:
    """Let rich lay the parts out. Everything reaches it as Text, so nothing in a name is taken for markup."""
    console = Console(
        file=io.StringIO(),
        width=max(width, LEAST_WIDTH),
        color_system="standard" if colour else None,
        force_terminal=colour,
        no_color=not colour,
        highlight=False,
        legacy_windows=False,
        _environ={},
    )
    with console.capture() as capture:
        for part in parts:
            console.print(part)
    return "\n".join(line.rstrip() for line in capture.get().splitlines()) + "\n"


def _headline(verdict: JobVerdict, name: str, meaning: str, clean: Clean) -> RenderableType:
    badge = Text.assemble((f" {verdict} ", f"reverse {STYLE_OF[verdict]}"))
    words = Text.assemble((clean(name), "bold"), clean(" – "), meaning)
    return hanging(badge, words, len(verdict) + 3)


def _glance(inspection: Inspection, _width: int, clean: Clean, _strokes: drawn_bar.Strokes) -> list[RenderableType]:
    about = f"{inspection.description} · " if inspection.description else ""
    purpose = "scan of a print" if inspection.of_print else f"to print in {filament_in_words(inspection.print)}"
    return [
        _headline(inspection.verdict, inspection.part, meaning_of(inspection), clean),
        hanging("", clean(f"{about}{purpose}"), 1),
    ]


def _listed(title: str, lines: Iterable[str], clean: Clean, style: str = "") -> list[RenderableType]:
    """A heading and its lines, each with a dash; nothing at all when there are no lines."""
    told = [hanging("   -", clean(line), 5, style=style) for line in lines]
    return [Text(), Text(f" {title}", style="bold"), *told] if told else []


def _next(inspection: Inspection, _width: int, clean: Clean, _strokes: drawn_bar.Strokes) -> list[RenderableType]:
    steps = [hanging(f"  {k:>2}", clean(step), 5) for k, step in enumerate(inspection.next_steps, 1)]
    return [Text(), Text(" Do next", style="bold"), *steps] if steps else []


def _sizes(inspection: Inspection, width: int, clean: Clean, strokes: drawn_bar.Strokes) -> list[RenderableType]:
    if not inspection.sizes:
        return []
    key = "reading: calliper or drawing; scan: as it came; true: scale and coat taken out; off: true less reading;"
    key += " ±: expanded uncertainty."
    lines = size_lines(inspection.sizes, width, clean, strokes)
    if columns_for(inspection.sizes, width, clean) and any(map(bar_of, inspection.sizes)):
        key += f" Bar: least to greatest allowed, {strokes.mark} the size, {strokes.guard} too near a limit to tell."
    return [Text(), *lines, hanging("", clean(key), 1, style="dim")]


def _sentences(section: Section) -> Part:
    """A section of sentences as this screen lays it out."""

    def part(inspection: Inspection, _width: int, clean: Clean, _strokes: drawn_bar.Strokes) -> list[RenderableType]:
        return _listed(section.title, section.lines(inspection), clean, SECTION_STYLES[section.kind])

    return part


def _also(inspection: Inspection, _width: int, clean: Clean, _strokes: drawn_bar.Strokes) -> list[RenderableType]:
    """What a screen leaves to the report's files."""
    cautions, sources = len(inspection.cautions) + len(inspection.print.cautions), len(inspection.sources)
    text = (
        f"Before you dust, print, drill or load the part, read the {cautions} cautions in its report; the sources of"
        f" the figures ({sources}) stand there too."
    )
    return [Text(), hanging("", clean(text), 1, style="yellow")]


def _in_full(inspection: Inspection, width: int, clean: Clean, strokes: drawn_bar.Strokes) -> list[RenderableType]:
    return [laid for part in IN_FULL for laid in part(inspection, width, clean, strokes)]


# In the order they are read; sections that are sentences alone are added in sections.py, for the page too.
GLANCED: tuple[Part, ...] = (
    _glance,
    _next,
    _sentences(Section("Why", lambda inspection: inspection.reasons)),
    _sizes,
    *map(_sentences, sections.GLANCED),
)
IN_FULL: tuple[Part, ...] = tuple(map(_sentences, sections.IN_FULL))
