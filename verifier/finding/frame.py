"""The part's own three directions, so that 'length' means the same however the scan lies."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from verifier.finding.doubt import evenly
from verifier.finding.feature import Cylinder, Plane
from verifier.finding.fits import frame_along
from verifier.mesh import Array

SAME_DIRECTION_DEG = 1.0
SQUARE_DEG = 2.0
# A moulded wall leans by half a degree to three, so that the part leaves its mould (common practice, no source).
DRAFT_DEG = 3.0
# A pair of opposite flats turns the box only when it has this share of all flats, or when both run along this share of
# the part, as the sides of a thin plate do; a keyway does not.
LEAST_PAIR_SHARE = 0.04
LEAST_RUN_SHARE = 0.5
# Where two lines between bores are this much alike in length, as the diagonals of a rectangle, neither is the part's.
LIKE_LINES = 0.97
# Two flats that mirror each other are this much alike in area, and the outline's two sides to this much.
LEAST_LIKENESS = 0.7
MIRRORED_MM, MIRRORED_SHARE = 0.1, 0.003
# An outline whose widths differ by less is round but for its knurls or teeth: a calliper is turned to the widest there.
# Of a hexagon they differ by 13 %, of an octagon by 8 %.
ROUND_SHARE = 0.06
# A boss seen over less of its turn has no vote: a stretch of a free-form grip looks like one, and leans as it bends.
WHOLE_TURN_DEG = 300.0
HULL_POINTS = 20_000
MOST_BOXES = 300


def natural_frame(points_mm: Array, planes: Sequence[Plane], cylinders: Sequence[Cylinder]) -> Array:
    """Three directions square to each other as rows, (3, 3).

    The first is the direction of most flats and bore axes. The second is that of the largest opposite pair of flats
    square to it, else the line between the two parallel bores or bosses that are farthest apart by far, else where a
    nearly round outline is widest, else across the plane that mirrors two flats and the outline, as of a tapered lever,
    else the smallest rectangle's.
    """
    few = points_mm[evenly(len(points_mm), HULL_POINTS)]
    first = _main_direction(planes, cylinders)
    if first is None:
        return _smallest_box(few)
    second = _paired_direction(few, planes, first)
    if second is None:
        second = _line_of_bores(cylinders, first)
    if second is None:
        second = _widest_direction(few, first)
    if second is None:
        second = _mirrored_direction(few, planes, first)
    if second is None:
        second = _smallest_rectangle(few, first)[1]
    second = second - first * (second @ first)
    second /= np.linalg.norm(second)
    return np.stack([first, second, np.cross(first, second)])


def _main_direction(planes: Sequence[Plane], cylinders: Sequence[Cylinder]) -> Array | None:
    whole = [c for c in cylinders if c.arc_deg >= WHOLE_TURN_DEG] or cylinders
    directions = [p.normal for p in planes] + [c.axis for c in whole]
    weights = [p.area_mm2 for p in planes] + [np.pi * c.diameter_mm * c.depth_mm for c in whole]
    if not directions:
        return None
    near = np.abs(np.array(directions) @ np.array(directions).T) > np.cos(np.radians(SAME_DIRECTION_DEG))
    best = int(np.argmax(near @ np.array(weights)))
    # Bore axes vote, but flats are far better known: where there are any, they alone say the exact direction.
    among = [p for p, close in zip(planes, near[best], strict=False) if close]
    if not among:
        return directions[best]
    return _mean_direction([p.normal for p in among], [p.area_mm2**2 for p in among])


def _mean_direction(normals: Sequence[Array], weights: Sequence[float]) -> Array:
    """Mean of directions whose sign says nothing."""
    stack = np.array(normals)
    signs = np.sign(stack @ stack[0])
    mean = (stack * (signs * np.array(weights))[:, None]).sum(axis=0)
    return np.asarray(mean / np.linalg.norm(mean))


def _paired_direction(points_mm: Array, planes: Sequence[Plane], first: Array) -> Array | None:
    """Direction of the largest two flats that face away from each other, square to the first direction.

    Seen along the first direction, so that walls with draft are a pair too.
    """
    square = [p for p in planes if abs(float(p.normal @ first)) < np.sin(np.radians(DRAFT_DEG))]
    faced = [(p, _across(p.normal, first)) for p in square]
    opposite = -np.cos(np.radians(SAME_DIRECTION_DEG))
    pairs = [(a, b) for a, b in combinations(faced, 2) if float(a[1] @ b[1]) < opposite]
    if not pairs:
        return None
    (one, way), (other, back) = max(pairs, key=lambda pair: min(pair[0][0].area_mm2, pair[1][0].area_mm2))
    small = min(one.area_mm2, other.area_mm2) < LEAST_PAIR_SHARE * sum(p.area_mm2 for p in planes)
    if small and min(_run_share(points_mm, flat, np.cross(first, way)) for flat in (one, other)) < LEAST_RUN_SHARE:
        return None
    return _mean_direction([way, back], [one.area_mm2**2, other.area_mm2**2])


def _run_share(points_mm: Array, flat: Plane, along: Array) -> float:
    """How much of the part's reach in a direction a flat has."""
    if len(flat.points_mm) == 0:
        return 0.0
    return float(np.ptp(flat.points_mm @ along) / np.ptp(points_mm @ along))


def _across(normal: Array, first: Array) -> Array:
    """A normal as seen along the first direction, of length 1."""
    flat = normal - first * (normal @ first)
    return np.asarray(flat / np.linalg.norm(flat))


def _line_of_bores(cylinders: Sequence[Cylinder], first: Array) -> Array | None:
    """From one bore or boss to the one farthest from it, among those along the first direction.

    None where another line, not parallel to it, is nearly as long.
    """
    along = [c for c in cylinders if abs(float(c.axis @ first)) > np.cos(np.radians(SQUARE_DEG))]
    lines = [b.axis_point_mm - a.axis_point_mm for a, b in combinations(along, 2)]
    flat = [line - first * (line @ first) for line in lines]
    if not flat or max(np.linalg.norm(line) for line in flat) < 1.0:
        return None
    lengths = np.linalg.norm(flat, axis=1)
    longest = flat[int(np.argmax(lengths))] / lengths.max()
    parallel = np.abs(np.array(flat) @ longest) > np.cos(np.radians(SAME_DIRECTION_DEG)) * lengths
    rivals = lengths[~parallel]
    return None if len(rivals) and rivals.max() > LIKE_LINES * lengths.max() else np.asarray(longest)


def _mirrored_direction(points_mm: Array, planes: Sequence[Plane], first: Array) -> Array | None:
    """Normal of the plane that mirrors the largest two like flats, square to the first direction, and the outline."""
    square = [p for p in planes if abs(float(p.normal @ first)) < np.sin(np.radians(SQUARE_DEG))]
    pairs = [
        (min(a.area_mm2, b.area_mm2), a.normal - b.normal)
        for a, b in combinations(square, 2)
        if min(a.area_mm2, b.area_mm2) > LEAST_LIKENESS * max(a.area_mm2, b.area_mm2)
        and float(a.normal @ b.normal) < np.cos(np.radians(SQUARE_DEG))
    ]
    for _, across in sorted(pairs, key=lambda pair: -pair[0]):
        across = across - first * (across @ first)
        across /= np.linalg.norm(across)
        if _is_mirrored(points_mm, across, np.cross(first, across)):
            return np.asarray(across)
    return None


def _outline(points_mm: Array, right: Array, up: Array) -> Array:
    """Corners of the convex outline as seen with these directions to the right and up, (k, 2)."""
    flat = np.column_stack([points_mm @ right, points_mm @ up])
    return np.asarray(flat[ConvexHull(flat).vertices])


def _is_mirrored(points_mm: Array, across: Array, along: Array) -> bool:
    """Whether the outline, seen along what is square to both, is alike on both sides of a plane.

    Its reach in a direction and in the mirrored one differ by 2 c sin(angle), c being where the plane lies.
    """
    corners = _outline(points_mm, along, across)
    angle = np.radians(np.arange(5.0, 180.0, 5.0))
    ways = np.stack([np.cos(angle), np.sin(angle)])
    other = ways * np.array([[1.0], [-1.0]])
    differs = (corners @ ways).max(axis=0) - (corners @ other).max(axis=0)
    place = float(differs @ np.sin(angle) / (2.0 * np.sin(angle) @ np.sin(angle)))
    size_mm = float(np.ptp(corners, axis=0).max())
    return bool(np.abs(differs - 2.0 * place * np.sin(angle)).max() < MIRRORED_MM + MIRRORED_SHARE * size_mm)


def _widest_direction(points_mm: Array, first: Array) -> Array | None:
    """Where the outline, seen along the first direction, is widest; None where it is not nearly round."""
    u, v, _ = frame_along(first)
    corners = _outline(points_mm, u, v)
    angle = np.radians(np.arange(0.0, 180.0, 0.5))
    ways = np.stack([np.cos(angle), np.sin(angle)])
    widths = np.ptp(corners @ ways, axis=0)
    if widths.min() < (1.0 - ROUND_SHARE) * widths.max():
        return None
    across, along = ways[:, int(np.argmax(widths))]
    return np.asarray(u * across + v * along)


def _smallest_rectangle(points_mm: Array, first: Array) -> tuple[float, Array]:
    """Area and one side of the smallest rectangle round the points, seen along a direction (rotating callipers)."""
    u, v, _ = frame_along(first)
    corners = _outline(points_mm, u, v)
    edges = np.roll(corners, -1, axis=0) - corners
    edges /= np.linalg.norm(edges, axis=1, keepdims=True)
    along = np.ptp(corners @ edges.T, axis=0)
    across = np.ptp(corners @ np.column_stack([-edges[:, 1], edges[:, 0]]).T, axis=0)
    best = int(np.argmin(along * across))
    return float((along * across)[best]), u * edges[best, 0] + v * edges[best, 1]


def _smallest_box(points_mm: Array) -> Array:
    """Directions of the smallest box with one side on a facet of the hull."""
    try:
        hull = ConvexHull(points_mm)
    except QhullError:
        return np.eye(3)
    largest = np.argsort(-_facet_areas(points_mm, hull), kind="stable")[:MOST_BOXES]
    normals = hull.equations[largest, :3]
    corners = points_mm[hull.vertices]
    boxes = [(np.ptp(corners @ n) * _smallest_rectangle(corners, n)[0], i) for i, n in enumerate(normals)]
    first = normals[min(boxes)[1]]
    second = _smallest_rectangle(corners, first)[1]
    return np.stack([first, second, np.cross(first, second)])


def _facet_areas(points_mm: Array, hull: ConvexHull) -> Array:
    a, b, c = (points_mm[hull.simplices[:, k]] for k in range(3))
    return np.asarray(np.linalg.norm(np.cross(b - a, c - a), axis=1))
