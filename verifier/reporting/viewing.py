"""From which side a part is looked at, so that its sizes face the eye."""

import numpy as np

from verifier.mesh import Array, Mesh, corner_columns, face_areas_mm2
from verifier.reporting.shown import ShownMesh

# The part is first seen from above its broadest side, turned and tilted so that all three directions show.
FIRST_YAW_DEG, FIRST_TILT_DEG = -18.0, 38.0


def first_turn(shown: ShownMesh, points_mm: Array) -> Array:
    """The turn the part is first seen under: longest across, shortest towards the eye, then tilted; (3, 3) rotation.

    points_mm : (k, 3) what the callouts lead to; the side that more of them lie towards faces the eye

    The directions are the principal ones of the surface, each triangle counted by its area: corners lie denser where
    the surface is bent, and would pull the picture askew.
    """
    if len(shown.faces) == 0:
        return np.eye(3)
    mesh = Mesh(shown.vertices_mm.astype(np.float64), shown.faces.astype(np.int64))
    a, b, c = corner_columns(mesh)
    spread = np.cov((a + b + c) / 3.0, aweights=face_areas_mm2(mesh))
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


def seen_from_below(turn: Array) -> Array:
    """The same part from its other side: turned half about the axis across, so that what lay behind lies in front."""
    return np.asarray(_about_across(180.0 - 2 * FIRST_TILT_DEG) @ turn)
