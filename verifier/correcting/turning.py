"""How a part is turned to stand with one direction up."""

import numpy as np
from scipy.spatial import ConvexHull

from verifier.mesh import Array, Mesh

# Corners this close to the lowest one lie on the bed. A scan's flat is uneven by 0.1 to 0.2 mm (three or four times its
# scatter), and a first layer is about 0.2 mm high.
TOUCHES_WITHIN_MM = 0.25
# What hangs over less than four layers above the bed is the rounded rim of the face on it, which lies on the bed in
# printing, or the ground of letters engraved there, whose strokes close by themselves.
NEAR_BED_MM = 0.8


def turned_to(mesh: Mesh, up: Array) -> Array:
    """Axes with this direction up, x along the longer side of the smallest rectangle round the part's shadow."""
    flat = across(up)
    shadow = mesh.vertices_mm @ flat.T
    corners = shadow[ConvexHull(shadow).vertices]
    sides = np.roll(corners, -1, axis=0) - corners
    angles = np.arctan2(sides[:, 1], sides[:, 0]) % (np.pi / 2.0)
    ways = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    long = np.ptp(corners @ ways.T, axis=0)
    wide = np.ptp(corners @ np.stack([-ways[:, 1], ways[:, 0]]), axis=0)
    best = int(np.argmin(long * wide))
    along = ways[best] if long[best] >= wide[best] else np.array([-ways[best, 1], ways[best, 0]])
    x = along @ flat
    return np.stack([x, np.cross(up, x), up])


def across(up: Array) -> Array:
    """Two unit directions square to a third, (2, 3); right-handed with it."""
    start = np.eye(3)[np.argmin(np.abs(up))]
    x = np.cross(start, up)
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(up, x)])
