"""Letters and digits as strokes of one width, for engraving."""

import math

import numpy as np

from verifier.mesh import Array

# Each letter on a grid four wide and six high, baseline at 0: strokes as lines of corners. An arc is laid as corners.
WIDE, HIGH = 4.0, 6.0
# Between two letters, in the same units.
GAP = 2.0
SPACE = 2.5
# A stroke is this share of the height wide; below two strands of 0.4 mm it closes up when printed.
STROKE_SHARE = 1.0 / 7.0

Stroke = tuple[tuple[float, float], ...]


def _arc(x: float, y: float, rx: float, ry: float, start_deg: float, end_deg: float) -> Stroke:
    angles = np.radians(np.linspace(start_deg, end_deg, max(3, math.ceil(abs(end_deg - start_deg) / 20.0) + 1)))
    return tuple((x + rx * math.cos(a), y + ry * math.sin(a)) for a in angles)


_BOWL_TOP = ((0.0, 6.0), (2.3, 6.0), *_arc(2.3, 4.5, 1.7, 1.5, 90, -90), (0.0, 3.0))
_BOWL_LOW = ((0.0, 3.0), (2.3, 3.0), *_arc(2.3, 1.5, 1.7, 1.5, 90, -90), (0.0, 0.0))
_ROUND = _arc(2.0, 3.0, 2.0, 3.0, 0, 360)

STROKES: dict[str, tuple[Stroke, ...]] = {
    "A": (((0, 0), (2, 6), (4, 0)), ((0.75, 2.25), (3.25, 2.25))),
    "B": (((0, 0), (0, 6)), _BOWL_TOP, _BOWL_LOW),
    "C": (_arc(2.3, 3.0, 2.3, 3.0, 45, 315),),
    "D": (((0, 0), (0, 6), (1.5, 6), *_arc(1.5, 3.0, 2.5, 3.0, 90, -90), (0, 0)),),
    "E": (((4, 0), (0, 0), (0, 6), (4, 6)), ((0, 3), (3.2, 3))),
    "F": (((0, 0), (0, 6), (4, 6)), ((0, 3), (3.2, 3))),
    "G": ((*_arc(2.2, 3.0, 2.2, 3.0, 45, 270), (4, 0.4), (4, 2.6), (2.5, 2.6)),),
    "H": (((0, 0), (0, 6)), ((4, 0), (4, 6)), ((0, 3), (4, 3))),
    "I": (((2, 0), (2, 6)), ((1, 0), (3, 0)), ((1, 6), (3, 6))),
    "J": (((3.5, 6), (3.5, 1.75), *_arc(1.75, 1.75, 1.75, 1.75, 0, -180)),),
    "K": (((0, 0), (0, 6)), ((4, 6), (0, 2.4)), ((1.4, 3.6), (4, 0))),
    "L": (((0, 6), (0, 0), (4, 0)),),
    "M": (((0, 0), (0, 6), (2, 2.5), (4, 6), (4, 0)),),
    "N": (((0, 0), (0, 6), (4, 0), (4, 6)),),
    "O": (_ROUND,),
    "P": (((0, 0), (0, 6)), _BOWL_TOP),
    "Q": (_ROUND, ((2.5, 1.6), (4.2, -0.4))),
    "R": (((0, 0), (0, 6)), _BOWL_TOP, ((2.0, 3), (4, 0))),
    "S": ((*_arc(2.0, 4.5, 2.0, 1.5, 35, 270), *_arc(2.0, 1.5, 2.0, 1.5, 90, -145)),),
    "T": (((2, 0), (2, 6)), ((0, 6), (4, 6))),
    "U": (((0, 6), (0, 2), *_arc(2.0, 2.0, 2.0, 2.0, 180, 360), (4, 6)),),
    "V": (((0, 6), (2, 0), (4, 6)),),
    "W": (((0, 6), (0.9, 0), (2, 4), (3.1, 0), (4, 6)),),
    "X": (((0, 0), (4, 6)), ((0, 6), (4, 0))),
    "Y": (((0, 6), (2, 3), (4, 6)), ((2, 3), (2, 0))),
    "Z": (((0, 6), (4, 6), (0, 0), (4, 0)),),
    "0": (_ROUND, ((1.2, 1.8), (2.8, 4.2))),
    "1": (((0.8, 4.8), (2.2, 6), (2.2, 0)), ((0.8, 0), (3.6, 0))),
    "2": ((*_arc(2.0, 4.2, 2.0, 1.8, 160, -30), (0, 0), (4, 0)),),
    "3": ((*_arc(2.0, 4.5, 1.9, 1.5, 150, -90), *_arc(2.0, 1.5, 2.0, 1.5, 90, -150)),),
    "4": (((3, 0), (3, 6), (0, 1.8), (4, 1.8)),),
    "5": (((3.6, 6), (0.4, 6), (0.2, 3.2), *_arc(1.9, 1.9, 2.1, 1.9, 125, -150)),),
    "6": (_arc(2.0, 1.9, 2.0, 1.9, 0, 360), (*_arc(4.2, 1.9, 4.2, 4.1, 180, 105),)),
    "7": (((0, 6), (4, 6), (1.4, 0)),),
    "8": (_arc(2.0, 4.5, 1.7, 1.5, 0, 360), _arc(2.0, 1.5, 2.0, 1.5, 0, 360)),
    "9": (_arc(2.0, 4.1, 2.0, 1.9, 0, 360), (*_arc(-0.2, 4.1, 4.2, 4.1, 0, -75),)),
    "-": (((0.6, 3), (3.4, 3)),),
    ".": (((2, 0), (2, 0.01)),),
    "/": (((0.4, -0.4), (3.6, 6.4)),),
    "+": (((0.4, 3), (3.6, 3)), ((2, 1.4), (2, 4.6))),
}


def strokes_of(text: str, height_mm: float) -> list[Array]:
    """The strokes of a line of text, baseline at y = 0 and from x = 0, each (k, 2) in mm.

    Small letters are written as capitals; a letter that has no strokes is a gap.
    """
    unit = height_mm / HIGH
    found, x = [], 0.0
    for letter in text.upper():
        found += [
            (np.array(stroke, dtype=np.float64) + np.array([x, 0.0])) * unit for stroke in STROKES.get(letter, ())
        ]
        x += WIDE + GAP if letter in STROKES else SPACE
    return found


def width_mm(text: str, height_mm: float) -> float:
    """Width of a line of text between its strokes' middles."""
    steps = [WIDE + GAP if letter in STROKES else SPACE for letter in text.upper()]
    return (sum(steps) - GAP) * height_mm / HIGH
