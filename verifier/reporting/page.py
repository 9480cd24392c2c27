"""The report as one HTML file: verdict, next steps, the part to turn about, every size, and the JSON inside it."""

import base64
import hashlib
import json
from functools import cache
from pathlib import Path

import numpy as np
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from numpy.typing import NDArray

from verifier.inspection import Inspection
from verifier.mesh import Array, Mesh, face_areas_mm2
from verifier.reporting import as_json
from verifier.reporting.page_rows import page_rows, surfaces
from verifier.reporting.plain import one_line
from verifier.reporting.shown import ShownMesh
from verifier.reporting.words import (
    VERDICT_MEANING,
    bore_line,
    filament_in_words,
    mend_in_words,
    print_in_words,
    scan_in_words,
    step_in_words,
)

FOLDER = Path(__file__).parent

# The part is first seen from above its broadest side, turned and tilted so that all three directions show.
FIRST_YAW_DEG, FIRST_TILT_DEG = -18.0, 38.0


def render(inspection: Inspection, shown: ShownMesh) -> str:
    """The page, complete in itself: its policy forbids the browser every request and every script but its own."""
    style, script = _text_of("page.css"), _text_of("solid_view.js") + _text_of("page.js")
    return (
        _environment()
        .get_template("page.html.j2")
        .render(
            told=inspection,
            policy=_policy(style, script),
            style=Markup(style),
            script=Markup(script),
            inspection_json=_inside_a_page(as_json.render(inspection)),
            shown_json=_inside_a_page(json.dumps(_packed(shown, first_turn(shown, _callout_points_mm(inspection))))),
            meaning=VERDICT_MEANING[inspection.verdict],
            rows=page_rows(inspection.sizes),
            surfaces=surfaces(shown),
            **_sentences(inspection),
        )
    )


def _sentences(told: Inspection) -> dict[str, object]:
    """What the page says in sentences, by the template's names."""
    return {
        "filament": filament_in_words(told.print),
        "cautions": (*told.cautions, *told.print.cautions),
        "scan": (
            f"{scan_in_words(told.scan)}.",
            told.scale.reason,
            told.coat.reason,
            *told.scan.notices,
        ),
        "mended": (mend_in_words(told.mend), *map(step_in_words, told.mend.steps)),
        "bores": tuple(map(bore_line, told.bores)),
        "printing": (*print_in_words(told.print), *told.print.notes),
    }


@cache
def _environment() -> Environment:
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
def _text_of(name: str) -> str:
    return (FOLDER / name).read_text(encoding="utf-8")


def _policy(style: str, script: str) -> str:
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


def _callout_points_mm(inspection: Inspection) -> Array:
    """All points the callouts lead to, (k, 3)."""
    points = [point for size in inspection.sizes for point in size.points_mm]
    return np.array(points, dtype=np.float64).reshape(-1, 3)


def _packed(shown: ShownMesh, turn: Array) -> dict[str, object]:
    """The mesh for the page's script: little-endian arrays in base64, corner numbers in 16 bits where they fit."""
    wide = len(shown.vertices_mm) > 2**16
    return {
        "vertices": _base64(shown.vertices_mm.astype("<f4")),
        "faces": _base64(shown.faces.astype("<u4" if wide else "<u2")),
        "origin": _base64(shown.origin),
        "wide": wide,
        "turn": [round(float(entry), 6) for entry in turn.ravel()],
    }


def _base64(array: NDArray[np.generic]) -> str:
    return base64.b64encode(array.tobytes()).decode()


def first_turn(shown: ShownMesh, points_mm: Array) -> Array:
    """The turn the part is first seen under: longest across, shortest towards the eye, then tilted; (3, 3) rotation.

    points_mm : (k, 3) what the callouts lead to; the side that more of them lie towards faces the eye

    The directions are the principal ones of the surface, each triangle counted by its area: corners lie denser where
    the surface is bent, and would pull the picture askew.
    """
    if len(shown.faces) == 0:
        return np.eye(3)
    mesh = Mesh(shown.vertices_mm.astype(np.float64), shown.faces.astype(np.int64))
    spread = np.cov(mesh.corners_mm.mean(axis=1).T, aweights=face_areas_mm2(mesh))
    turn = np.linalg.eigh(spread).eigenvectors.T[::-1]
    # A direction has no sign of its own: each looks along its largest coordinate, the third then towards the sizes;
    # the second turns over where that is needed for a rotation.
    turn *= np.sign(turn[np.arange(3), np.abs(turn).argmax(axis=1)])[:, None]
    middle = (shown.vertices_mm.min(axis=0) + shown.vertices_mm.max(axis=0)) / 2
    if ((points_mm - middle) @ turn[2]).sum() < 0:
        turn[2] *= -1
    turn[1] *= np.sign(np.linalg.det(turn))
    return np.asarray(_about_across(FIRST_TILT_DEG) @ _about_eye(FIRST_YAW_DEG) @ turn)


def _about_across(angle_deg: float) -> Array:
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return np.array([[1, 0, 0], [0, c, s], [0, -s, c]])


def _about_eye(angle_deg: float) -> Array:
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]])
