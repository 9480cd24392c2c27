"""What a part is painted like: the colours of a view less what the light of its scan makes of them.

A scan's colours are paint times light. Under light from afar the light depends on the way a surface faces alone, be it
dull or glossy (nine numbers say 98 % of it for a dull one: Ramamoorthi and Hanrahan 2001); lamps that are near add a
smooth change over the part. Both are fitted to the logarithms of the colours and taken off, paint or light. What is
left is the same in every view of a place, whatever lamp, exposure and way up it was seen with.
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from verifier.comparing.cloud import Cloud
from verifier.mesh import Array, BoolArray
from verifier.reading.colours import FULL, Colours
from verifier.reading.scan import Scan

# Light that depends on the way a surface faces, in lobes as wide as a highlight on plastic, about so many ways.
WAYS, LOBE_RAD = 120, np.radians(15.0)
# Black and white hide what is under them: channels this dark or bright are cut off by the camera.
DARK, BRIGHT = 4.0, 250.0
# Added before the logarithm, so that the scatter of a dark channel is not taken for paint.
DARK_OFFSET = 12.0
# Held against the lobes where hardly a point faces.
RIDGE = 1e-3
# What a camera did not see exporters fill with one colour, exact to the last bit on this share of the places, where
# colours that were seen scatter to their neighbours. Where nearly all is so exact nothing was seen by a camera.
FILLED_SHARE, SCATTERED, LEAST_SEEN = 0.02, 0.2, 0.1
GOLDEN_TURN = np.pi * (3.0 - np.sqrt(5.0))
# So much light must come to a place for a lamp to be told of, and so many lamps are tried.
GRAZING, LAMPS = 0.3, 48
# Shadows are looked for in no more cells than this along a view, so that a wire takes no more memory than a block.
MOST_CELLS = 600


@dataclass(frozen=True, slots=True)
class Painted:
    """Places of a view with their paint.

    paint : (n, 3) logarithms of red, green and blue against the rest of the view; nought where nothing is known
    known : (n,) where the colour is the part's own
    """

    points_mm: Array
    normals: Array
    paint: Array
    known: BoolArray
    spacing_mm: float


def painted(scan: Scan, cloud: Cloud, plain: BoolArray, *, to_scan: Array | None = None) -> Painted | None:
    """The paint at places of a view; None where its file has no colours.

    plain : (n,) which places show nothing but paint and light
    to_scan : (4, 4) from the places' frame to the scan's
    """
    if scan.colours is None:
        return None
    at = cloud.points_mm if to_scan is None else cloud.points_mm @ to_scan[:3, :3].T + to_scan[:3, 3]
    seen = scan.colours[cKDTree(scan.mesh.vertices_mm).query(at)[1]]
    colours = seen.astype(np.float64)
    known = plain & (colours.max(axis=1) > DARK) & (colours.max(axis=1) < BRIGHT) & ~_filled(seen)
    light = np.log((colours + DARK_OFFSET) / (FULL + DARK_OFFSET))
    return Painted(cloud.points_mm, cloud.normals, _less_light(light, cloud, known), known, cloud.spacing_mm)


def _filled(colours: Colours) -> BoolArray:
    """Which places have a colour that was filled in: the far side of a part on its table has one in every view."""
    names, which, counts = np.unique(colours, axis=0, return_inverse=True, return_counts=True)
    levels = names.astype(np.int64)
    filled = np.zeros(len(names), dtype=bool)
    for k in np.flatnonzero(counts > FILLED_SHARE * len(colours)):
        beside = np.abs(levels - levels[k]).max(axis=1) == 1
        filled[k] = counts[beside].max(initial=0) < SCATTERED * counts[k]
    if counts[~filled].sum() < LEAST_SEEN * len(colours):
        return np.zeros(len(colours), dtype=bool)
    return np.asarray(filled[which.ravel()])


def _less_light(values: Array, cloud: Cloud, known: BoolArray) -> Array:
    """What is left of logarithms when the light has explained all it can, (n, 3)."""
    if known.sum() < 3 * WAYS:
        return np.zeros_like(values)
    rows = np.concatenate([_by_facing(cloud.normals), _by_place(cloud.points_mm)], axis=1)
    used = rows[known]
    square = used.T @ used
    square += RIDGE * len(used) / WAYS * np.eye(len(square))
    left = values - rows @ np.linalg.solve(square, used.T @ values[known])
    return np.where(known[:, None], left, 0.0)


def _by_facing(normals: Array) -> Array:
    return np.asarray(np.exp((normals @ ways_all_round(WAYS).T - 1.0) / LOBE_RAD**2))


def _by_place(points_mm: Array) -> Array:
    at = points_mm - points_mm.mean(axis=0)
    x, y, z = (at / np.maximum(np.abs(at).max(), 1e-12)).T
    return np.column_stack([np.ones_like(x), x, y, z, x * x, y * y, z * z, x * y, y * z, z * x])


def ways_all_round(count: int) -> Array:
    """Unit directions evenly over a ball, (count, 3)."""
    z = 1.0 - (2.0 * np.arange(count) + 1.0) / count
    turn, wide = GOLDEN_TURN * np.arange(count), np.sqrt(1.0 - z * z)
    return np.column_stack([wide * np.cos(turn), wide * np.sin(turn), z])


def in_the_open(cloud: Cloud) -> BoolArray:
    """Which points nothing of the view can shade, (n,): shadows, too, are seen where no paint is."""
    shaded = np.zeros(len(cloud), dtype=bool)
    for lamp in ways_all_round(LAMPS):
        shaded |= _shaded_from(lamp, cloud)
    return ~shaded


def _shaded_from(lamp: Array, cloud: Cloud) -> BoolArray:
    across = np.cross(lamp, np.eye(3)[int(np.abs(lamp).argmin())])
    across /= np.linalg.norm(across)
    flat = cloud.points_mm @ np.column_stack([across, np.cross(lamp, across)])
    cell_mm = max(1.5 * cloud.spacing_mm, float(np.ptp(flat, axis=0).max()) / MOST_CELLS)
    at = ((flat - flat.min(axis=0)) / cell_mm).astype(np.int64)
    name = np.ravel_multi_index((at[:, 0], at[:, 1]), at.max(axis=0) + 1)
    height = cloud.points_mm @ lamp
    top = np.full(int(name.max()) + 1, -np.inf)
    np.maximum.at(top, name, height)
    cosine = np.maximum(cloud.normals @ lamp, 1e-3)
    rise = 1.5 * cell_mm * np.sqrt(np.maximum(1.0 - cosine**2, 0.0)) / cosine  # of the surface itself within a cell
    return np.asarray((cosine > GRAZING) & (top[name] - height > rise + cell_mm))
