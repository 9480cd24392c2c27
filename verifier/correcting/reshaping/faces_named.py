"""Which flat face a sheet means."""

import numpy as np

from verifier.correcting.reshaping.names import Names
from verifier.correcting.reshaping.work import CannotReshape, Flat, Work, flat_of
from verifier.finding.feature import Plane
from verifier.mesh import Array, box_mm
from verifier.rulebook.reshape_row import Reshape

# 'top' is a face that looks up within this much.
LOOKS_UP_WITHIN_DEG = 10.0
# Of the two faces of a wall one lies farther out than the other by at least this, or neither is the outer one.
CLEARLY_OUTER_MM = 0.5


def face_of(work: Work, wanted: Reshape, names: Names) -> Flat:
    """The flat face named by `face`, or by `wall` and `side`. Raises CannotReshape."""
    if wanted.wall is not None:
        return _of_wall(work, wanted, names)
    if wanted.face in ("top", "bottom"):
        return _looking(work, work.up if wanted.face == "top" else -work.up, wanted.face)
    plane = work.plane(wanted.face or "")
    if plane is None:
        known = ", ".join(each.name for each in work.found.planes[:8]) or "none at all"
        raise CannotReshape(f"there is no {wanted.face}", f"Name one of the flat faces that were found: {known}")
    return flat_of(work, plane)


def _looking(work: Work, way: Array, word: str) -> Flat:
    least = np.cos(np.radians(LOOKS_UP_WITHIN_DEG))
    facing = [plane for plane in work.found.planes if float(plane.normal @ way) >= least]
    if not facing:
        raise CannotReshape(
            f"no flat face is the {word} as it prints", 'Name a flat face of the report, such as face = "plane 3"'
        )
    return flat_of(work, max(facing, key=lambda plane: plane.area_mm2))


def _of_wall(work: Work, wanted: Reshape, names: Names) -> Flat:
    """The outer or inner one of the two faces a thickness is taken between."""
    pair = [plane for name in names.features.get(wanted.wall or "", ()) if (plane := work.plane(name)) is not None]
    if len(pair) != 2:
        raise CannotReshape(f"'{wanted.wall}' was not found on the scan", "Scan the part with both its faces in view")
    middle_mm = box_mm(work.mesh.vertices_mm).mean(axis=0)
    out_mm = [_out_mm(plane, middle_mm) for plane in pair]
    if abs(out_mm[0] - out_mm[1]) < CLEARLY_OUTER_MM:
        raise CannotReshape(
            f"neither face of '{wanted.wall}' is the outer one: they lie equally far from the middle",
            f'Write face = "{pair[0].name}" or face = "{pair[1].name}" in place of wall and side',
        )
    outer = int(np.argmax(out_mm))
    return flat_of(work, pair[outer if wanted.side == "outwards" else 1 - outer])


def _out_mm(plane: Plane, middle_mm: Array) -> float:
    """How far out of the middle a face looks."""
    return float(plane.normal @ (plane.centre_mm - middle_mm))
