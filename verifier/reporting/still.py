"""Stills: the part with numbered callouts as a PNG, for paper and for a list of parts; no display is asked for."""

import io
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from verifier.inspection import Inspection, SizeTable
from verifier.mesh import Array, IntArray
from verifier.reporting.balloons import placed_balloons
from verifier.reporting.rendering import View, rendered, rounded_normals, view_of
from verifier.reporting.shown import ShownMesh
from verifier.reporting.viewing import first_turn, seen_from_below

# Drawn at twice its size and then brought down, which takes the steps off slanting edges.
FINE = 2
MARGIN = 44
Colour = tuple[int, int, int]
INK, PAPER, MARK, BEHIND = (32, 36, 31), (255, 255, 255), (11, 92, 138), (126, 163, 184)
EDGE = {"PASS": MARK, "UNDECIDED": (127, 82, 0), "FAIL": (161, 29, 36)}
TEXT_SIZE = 15
PACKING_LEVEL = 6
Image.preinit()  # the formats that a first picture would look for: loaded here, a worker has them when it is forked


@dataclass(frozen=True, slots=True)
class Callout:
    """A number and the points of the part it leads to, (k, 3)."""

    number: int
    verdict: str
    points_mm: Array


def callouts_of(sizes: Sequence[SizeTable]) -> tuple[Callout, ...]:
    """The sizes that have a place on the part, numbered as in the table."""
    numbered = enumerate(sizes, 1)
    return tuple(Callout(k, size.verdict, np.array(size.points_mm)) for k, size in numbered if size.points_mm)


def stills(told: Inspection, shown: ShownMesh, width: int = 760, height: int = 520) -> tuple[bytes, bytes]:
    """Two PNGs: the side most sizes face, and the other side."""
    callouts = callouts_of(told.sizes)
    turn, normals = first_turn(shown, points_of(callouts)), rounded_normals(shown)
    with ThreadPoolExecutor() as beside:  # their arrays are worked on without the interpreter
        below = beside.submit(still_png, shown, callouts, seen_from_below(turn), width, height, normals)
        return still_png(shown, callouts, turn, width, height, normals), below.result()


def points_of(callouts: Sequence[Callout]) -> Array:
    """All points the callouts lead to, (k, 3)."""
    return np.concatenate([np.empty((0, 3)), *(callout.points_mm for callout in callouts)])


def still_png(
    shown: ShownMesh, callouts: Sequence[Callout], turn: Array, width: int, height: int, normals: Array | None = None
) -> bytes:
    """The part under one turn, its callouts about it; the lines of those that lie behind it are paler.

    normals : `rounded_normals` of the part, where they are known already
    """
    view = view_of(shown, turn, FINE * width, FINE * height, FINE * MARGIN)
    drawn = rendered(shown, view, grain=3 * FINE, normals=normals)
    lines = [MARK if _in_sight(callout, view, drawn.depth_mm) else BEHIND for callout in callouts]
    picture = Image.fromarray(drawn.pixels)
    _draw_callouts(ImageDraw.Draw(picture), callouts, lines, view)
    return _png(picture.resize((width, height), Image.Resampling.BOX))


def painted_png(shown: ShownMesh, paints: IntArray, turns: Sequence[Array], width: int, height: int) -> bytes:
    """The part under several turns, one below the other, every face in the paint that its mark is the number of.

    width, height : of the part under one turn
    """
    views = [view_of(shown, turn, FINE * width, FINE * height, FINE * MARGIN // 4) for turn in turns]
    picture = Image.fromarray(np.concatenate([rendered(shown, view, paints=paints).pixels for view in views]))
    out = io.BytesIO()  # all its colours: of a few, a small place would be given its neighbours'
    picture.resize((width, height * len(turns)), Image.Resampling.BOX).save(out, format="PNG", optimize=True)
    return out.getvalue()


def _in_sight(callout: Callout, view: View, depth_mm: np.ndarray) -> bool:
    """Whether any of its points lies in front, give or take the thickness of what is drawn."""
    x, y, depth = view.seen(callout.points_mm).T
    column = np.clip(np.rint(x), 0, view.width - 1).astype(int)
    row = np.clip(np.rint(y), 0, view.height - 1).astype(int)
    near_mm = 0.02 * max(view.width, view.height) / view.scale
    return bool((depth > depth_mm[row, column] - near_mm).any())


def _draw_callouts(draw: ImageDraw.ImageDraw, callouts: Sequence[Callout], lines: Sequence[Colour], view: View) -> None:
    ends = [view.seen(callout.points_mm)[:, :2] for callout in callouts]
    font = ImageFont.load_default(FINE * TEXT_SIZE)
    halves = [(FINE * (9.0 + 5.0 * len(str(callout.number))), FINE * 14.0) for callout in callouts]
    balloons = placed_balloons(ends, halves, (view.width, view.height), 44.0 * FINE)
    for points, balloon, line in zip(ends, balloons, lines, strict=True):
        _draw_lines(draw, points, balloon, line)
    for callout, balloon, half in zip(callouts, balloons, halves, strict=True):
        _draw_balloon(draw, callout, balloon, half, font)


def _draw_lines(draw: ImageDraw.ImageDraw, points: Array, balloon: Array, line: Colour) -> None:
    if len(points) == 2:
        draw.line([*map(tuple, points)], fill=line, width=2 * FINE)
    draw.line([tuple(points.mean(axis=0)), tuple(balloon)], fill=line, width=FINE)
    for x, y in points:
        draw.ellipse((x - 3 * FINE, y - 3 * FINE, x + 3 * FINE, y + 3 * FINE), fill=line, outline=PAPER, width=FINE)


def _draw_balloon(
    draw: ImageDraw.ImageDraw,
    callout: Callout,
    balloon: Array,
    half: tuple[float, float],
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
) -> None:
    """Round for PASS and UNDECIDED, square for FAIL as on the page; colour is never the only sign."""
    (x, y), (wide, high) = balloon, half
    box = (x - wide, y - high, x + wide, y + high)
    corner = 0 if callout.verdict == "FAIL" else high
    draw.rounded_rectangle(box, corner, fill=PAPER, outline=EDGE[callout.verdict], width=2 * FINE)
    doubt = "?" if callout.verdict == "UNDECIDED" else ""
    draw.text((x, y), f"{callout.number}{doubt}", fill=INK, font=font, anchor="mm")


def _png(picture: Image.Image) -> bytes:
    """128 colours that cover the most show this picture as well as all of them, in a fifth of the bytes.

    None is off by more than 8 of 255; 64 that halve boxes are by up to 40, take longer and pack to twice the bytes.
    Level 6 packs to a thirtieth more than level 9, in an eighth of the time.
    """
    out = io.BytesIO()
    few = picture.quantize(128, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    few.save(out, format="PNG", compress_level=PACKING_LEVEL)
    return out.getvalue()
