"""The flat face that closes a cut, with sockets in it and tenons on it."""

from collections.abc import Sequence
from dataclasses import dataclass

import manifold3d
import numpy as np

from verifier.correcting.reshaping.work import CannotReshape
from verifier.mesh import Array, IntArray


@dataclass(frozen=True, slots=True)
class Inset:
    """A straight socket or tenon of a cap.

    figure : (n, 2) its outline on the cut, anticlockwise
    height_mm : of its far end along the cut's direction
    """

    figure: Array
    height_mm: float

    @property
    def volume_mm3(self) -> float:
        """Its volume."""
        return abs(self.height_mm) * doubled_area_mm2(self.figure) / 2.0


@dataclass(frozen=True, slots=True)
class Cap:
    """Faces over the corners of the cut and new ones.

    local_mm : (k, 3) new corners in the frame of the cut, height last
    faces : (m, 3) numbers up to the cut's corner count are its corners, those above are the new ones; they look along
        the cut's direction
    """

    local_mm: Array
    faces: IntArray


def cap_over(loops: Sequence[IntArray], at: Array, insets: Sequence[Inset]) -> Cap:
    """Close the loops of a cut with a flat face that looks along its direction.

    loops : corners in order, outer ones anticlockwise seen against the direction
    at : (n, 2) all corners of the cut
    Raises CannotReshape where the section crosses itself.
    """
    order = np.concatenate(loops)
    local: list[Array] = []
    rings: list[IntArray] = []
    faces: list[IntArray] = []
    new = len(at)
    for inset in insets:
        sides = len(inset.figure)
        ring, far = new + np.arange(sides), new + sides + np.arange(sides)
        middle = new + 2 * sides
        local.append(_at_height(inset.figure, 0.0))
        local.append(_at_height(np.vstack([inset.figure, inset.figure.mean(axis=0)]), inset.height_mm))
        ahead, far_ahead = np.roll(ring, -1), np.roll(far, -1)
        faces.append(np.column_stack([ring, ahead, far_ahead]))
        faces.append(np.column_stack([ring, far_ahead, far]))
        faces.append(np.column_stack([far, far_ahead, np.full(sides, middle)]))
        rings.append(ring[::-1])
        new += 2 * sides + 1
    names = np.concatenate([order, *rings])
    polygons = [at[loop] for loop in loops] + [inset.figure[::-1] for inset in insets]
    flat = np.asarray(manifold3d.triangulate(polygons), dtype=np.int64)
    _check_cover(flat, np.concatenate(polygons), polygons)
    corners = np.concatenate(local) if local else np.zeros((0, 3))
    return Cap(corners, np.concatenate([names[flat], *faces]))


def _check_cover(faces: IntArray, at: Array, polygons: Sequence[Array]) -> None:
    """All faces the right way round and as large together as the section: then they cover it once."""
    a, b, c = (at[faces[:, k]] for k in range(3))
    doubled = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    wanted = sum(map(doubled_area_mm2, polygons))
    if (doubled <= 0.0).any() or abs(float(doubled.sum()) - wanted) > 1e-6 * wanted:
        raise CannotReshape("the section there crosses itself", "Cut it somewhere else, or scan the part again")


def doubled_area_mm2(loop: Array) -> float:
    """Twice the area of a loop, below nought for a clockwise one."""
    ahead = np.roll(loop, -1, axis=0)
    return float((loop[:, 0] * ahead[:, 1] - loop[:, 1] * ahead[:, 0]).sum())


def _at_height(figure: Array, height_mm: float) -> Array:
    return np.column_stack([figure, np.full(len(figure), height_mm)])
