"""The report as one HTML file: verdict, next steps, the part to turn about, every size, and the JSON inside it."""

import base64
import hashlib
import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from numpy.typing import NDArray

from verifier.inspection import DeviationTable, Inspection
from verifier.mesh import Array
from verifier.reporting import as_json
from verifier.reporting.deviation_chart import chart_of, ramp, steps_of
from verifier.reporting.page_rows import page_rows, surfaces
from verifier.reporting.paper import paper_of
from verifier.reporting.plain import one_line
from verifier.reporting.reshaped_view import ReshapedView
from verifier.reporting.sections import GLANCED, IN_FULL, caution_lines, print_lines
from verifier.reporting.shown import ShownMesh
from verifier.reporting.still import callouts_of, points_of
from verifier.reporting.typed_sheet import TypedSheet, typed_sheet
from verifier.reporting.viewing import first_turn
from verifier.reporting.ways_shown import ways_to_choose
from verifier.reporting.words import filament_in_words, meaning_of
from verifier.rulebook.way_line import way_line

FOLDER = Path(__file__).parent
SCRIPTS = ("solid_view.js", "page.js", "page_sheet.js")


@dataclass(frozen=True, slots=True)
class Pictured:
    """What the page shows besides the report.

    before : the part as scanned and mended
    after : as it will be printed, in the same place and size as before; None where nothing else is to be seen
    stills : pictures of it as PNG, for paper
    away_mm : (n,) how far each corner of `before` stands proud of the reference, NaN where nothing was compared
    drafted : the text of the drafted sheet, for a part without one; '' otherwise
    ways : a picture of each way of putting its scans together as PNG, where the person is to choose
    sheet : the text of its sheet, drafted or not, that the choice is written into; '' where none is at hand
    reshaped : where the callouts lie on `after`, and how it is seen, where it is another part than the scanned one
    """

    before: ShownMesh
    after: ShownMesh | None = None
    stills: tuple[bytes, ...] = ()
    drafted: str = ""
    away_mm: Array | None = None
    ways: tuple[bytes, ...] = ()
    sheet: str = ""
    reshaped: ReshapedView | None = None


def render(inspection: Inspection, pictured: Pictured) -> str:
    """The page, complete in itself: its policy forbids the browser every request and every script but its own."""
    style, script = text_of("page.css"), "".join(map(text_of, SCRIPTS))
    typed = typed_sheet(pictured.drafted) if pictured.drafted else None
    return (
        environment()
        .get_template("page.html.j2")
        .render(
            told=inspection,
            policy=policy_of(style, script),
            style=Markup(style),
            script=Markup(script),
            inspection_json=_inside_a_page(as_json.render(inspection)),
            shown_json=_inside_a_page(json.dumps(_shown(pictured, inspection))),
            two_states=pictured.after is not None,
            paper=paper_of(inspection, pictured.stills),
            typed=typed,
            typed_json=_inside_a_page(json.dumps(_typed(typed, inspection.part))),
            sheet_file=_sheet_file(inspection.part),
            choosing=bool(pictured.ways and pictured.sheet),
            ways=ways_to_choose(inspection.join, pictured.ways),
            ways_json=_inside_a_page(json.dumps(_choice(pictured, inspection.part))),
            meaning=meaning_of(inspection),
            rows=page_rows(inspection.sizes),
            chart=chart_of(inspection.deviation),
            coloured=pictured.away_mm is not None,
            surfaces=surfaces(pictured.before, pictured.after),
            **_sentences(inspection),
        )
    )


def _sentences(told: Inspection) -> dict[str, object]:
    """What the page says in sentences, by the template's names."""
    sections = ((each, tuple(each.lines(told))) for each in (*GLANCED, *IN_FULL))
    return {
        "filament": "scan of a print" if told.of_print else filament_in_words(told.print),
        "sections": tuple((each.title, lines, each.kind) for each, lines in sections),
        "cautions": caution_lines(told),
        "printing": tuple(print_lines(told)),
    }


@cache
def environment() -> Environment:
    """The templates of this folder, every value escaped."""
    return Environment(
        loader=FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_shown_safely,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _shown_safely(value: object) -> object:
    """Control and direction characters are not left for the browser to interpret; escaping comes after this."""
    return one_line(value) if isinstance(value, str) and not isinstance(value, Markup) else value


@cache
def text_of(name: str) -> str:
    """A file of this folder."""
    return (FOLDER / name).read_text(encoding="utf-8")


def policy_of(style: str, script: str) -> str:
    """A content security policy that knows the page's one style and one script by their hashes, and nothing else."""
    return (
        f"default-src 'none'; script-src '{_sha256(script)}'; style-src '{_sha256(style)}';"
        " img-src data:; base-uri 'none'; form-action 'none'"
    )


def _sha256(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _inside_a_page(text: str) -> Markup:
    """JSON that no browser can take for the end of its script element: '<' is written as JSON's own escape."""
    return Markup(text.replace("<", "\\u003c"))


def _typed(typed: TypedSheet | None, part: str) -> dict[str, object] | None:
    if typed is None:
        return None
    return {"lines": typed.lines, "readings": typed.readings, "gauges": typed.gauges, "file": _sheet_file(part)}


def _choice(pictured: Pictured, part: str) -> dict[str, object] | None:
    """The sheet's lines, and where the choice goes; None where there is none to make, or no sheet to write it into."""
    if not pictured.ways or not pictured.sheet:
        return None
    place = way_line(pictured.sheet)
    return {"lines": place.lines, "at": place.at, "replaces": place.replaces, "file": _sheet_file(part)}


def _sheet_file(part: str) -> str:
    return f"{part}.toml"


def _shown(pictured: Pictured, inspection: Inspection) -> dict[str, object]:
    turn = first_turn(pictured.before, points_of(callouts_of(inspection.sizes)))
    return {
        "before": _packed(pictured.before),
        "colours": _colours(pictured, inspection.deviation),
        "after": None if pictured.after is None else _packed(pictured.after),
        "turn": _numbers(turn),
        "reshaped": None if pictured.reshaped is None else _reshaped(pictured.reshaped),
    }


def _reshaped(view: ReshapedView) -> dict[str, object]:
    """The turn and the callouts' places of the reshaped part."""
    return {"turn": _numbers(view.turn), "points": [[_numbers(point) for point in row] for row in view.points_mm]}


def _numbers(array: Array) -> list[float]:
    return [round(float(entry), 6) for entry in array.ravel()]


def _colours(pictured: Pictured, deviation: DeviationTable | None) -> dict[str, object] | None:
    """The step of every corner on the scale of deviations, and the paint of every step."""
    if pictured.away_mm is None or deviation is None or deviation.histogram is None:
        return None
    spread = deviation.histogram
    return {"steps": _base64(steps_of(pictured.away_mm, spread)), "paints": ramp(len(spread.shares))}


def _packed(shown: ShownMesh) -> dict[str, object]:
    """The mesh for the page's script: little-endian arrays in base64, corner numbers in 16 bits where they fit."""
    wide = len(shown.vertices_mm) > 2**16
    return {
        "vertices": _base64(shown.vertices_mm.astype("<f4")),
        "faces": _base64(shown.faces.astype("<u4" if wide else "<u2")),
        "origin": _base64(shown.origin),
        "wide": wide,
    }


def _base64(array: NDArray[np.generic]) -> str:
    return base64.b64encode(array.tobytes()).decode()


# Compiled as this is loaded, and not in every worker: these are forked from a process that has loaded it.
for _template in ("page.html.j2", "paper.html.j2"):
    environment().get_template(_template)
