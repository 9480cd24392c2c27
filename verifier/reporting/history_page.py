"""The shop's past as one page: tables and drawings, no script, nothing asked of a network."""

import os
from collections.abc import Mapping
from pathlib import Path
from urllib.parse import quote

from markupsafe import Markup

from verifier.learning.advice import as_told_with_u
from verifier.learning.figures import Figures
from verifier.learning.terms import IN_WORDS, TERMS
from verifier.remembering.past import ShopPast
from verifier.reporting.history_drawing import figure_drawing, scanner_drawing, size_drawing
from verifier.reporting.page import environment, policy_of, text_of
from verifier.reporting.words import figure

# Sections of parts on one page; the table above them has all. 200 parts of ten scans make a page of about 3 MB.
SHOWN_PARTS = 200


def render(past: ShopPast, pictures: Mapping[str, str], *, only: str | None = None) -> str:
    """The page.

    pictures : part -> its picture as a data URI, for those that have one
    only : the one part it is about; None for the shop
    """
    style = text_of("history.css")
    title = f"{only or Path(past.root).name} – history"
    return (
        environment()
        .get_template("history.html.j2")
        .render(
            title=title,
            policy=policy_of(style, ""),
            style=Markup(style),
            past=past,
            shown=past.parts[:SHOWN_PARTS],
            hidden=max(0, len(past.parts) - SHOWN_PARTS),
            only=only,
            pictures={part: Markup(uri) for part, uri in pictures.items()},
            chart=scanner_drawing(past.scanner) if past.scanner.points else None,
            filaments=[_filament(figures, past) for figures in past.figures],
            size_drawing=size_drawing,
            figure=figure,
            link=lambda file: _link(file, past.root),
        )
    )


def _link(file: str, root: str) -> str:
    """From the page, which lies in the bench, to a file of the bench; a slicer folder elsewhere is named in full."""
    if Path(file).is_relative_to(root):
        return quote(Path(os.path.relpath(file, root)).as_posix())
    return Path(file).as_uri()


def _filament(figures: Figures, past: ShopPast) -> dict[str, object]:
    """One filament on one printer: every figure by the rules, by own prints, and print by print."""
    name = f"{figures.filament.name} on {figures.printer.name}"
    rows = [
        {
            "figure": IN_WORDS[term],
            "rules": as_told_with_u(term, known.table.value, 2 * known.table.u),
            "own": as_told_with_u(term, known.pooled.value, known.pooled.half_width) if known.pooled else "–",
            "used": "own" if known.used else "rules",
            "drawing": figure_drawing(known) if known.single else None,
        }
        for term in TERMS
        if (known := figures.known[term])
    ]
    return {"name": name, "prints": len(figures.prints), "rows": rows, "notices": past.notices.get(name, ())}
