"""The same dots in two scans: how many lie on each other in a pose, and which poses lay many on each other."""

import numpy as np
from scipy import sparse
from scipy.special import gammainc

from verifier.comparing.pose import moved
from verifier.joining.dots.dot import Dots
from verifier.joining.posed import scale_of
from verifier.mesh import Array, BoolArray, IntArray

# Dots of two scans are one when they face alike and lie as near as a good join brings them, a share of how far they are
# spread: one of 1.2 m is allowed to be off by a millimetre, and middles of dots are known to 0.3 mm.
ONE_SHARE, LEAST_ONE_MM, MOST_ONE_MM, ONE_COSINE = 1 / 600, 0.7, 1.5, np.cos(np.radians(30.0))
# Distances between dots differ from scan to scan by the scatter of their middles and by scale and warp.
MIDDLES_MM, SCALE_SHARE = 0.7, 0.004
# So do the angles between the ways they face: the way of a small dot is known to some degrees.
ALIKE_FACING = 0.15
# Fewer dots, or dots in one line, do not fix a pose; off the line by this at least.
LEAST_MATCHED, OFF_LINE_MM = 3, 8.0
# Fewer than would lie on each other somewhere by chance this often say nothing.
CHANCE = 0.005
# Of the poses found the best few are tried.
MOST_STARTS, MOST_SEEDS = 3, 40


def matched(first: Dots, second: Dots, pose: Array) -> IntArray:
    """Numbers (k, 2) of the dots that lie on each other, each once; pose : (4, 4) the second into the first's frame."""
    if len(first) == 0 or len(second) == 0:
        return np.empty((0, 2), dtype=np.int64)
    at, facing = moved(pose, second.at_mm), second.facing @ (pose[:3, :3] / scale_of(pose)).T
    away = np.linalg.norm(first.at_mm[:, None] - at[None], axis=2)
    away[first.facing @ facing.T < ONE_COSINE] = np.inf
    nearest, back = away.argmin(axis=1), away.argmin(axis=0)
    own = np.arange(len(first))
    one = (back[nearest] == own) & (away[own, nearest] < one_mm(first, second))
    return np.column_stack([own[one], nearest[one]])


def one_mm(first: Dots, second: Dots) -> float:
    """How near two dots of two scans lie that are one."""
    return float(np.clip(ONE_SHARE * max(_spread_mm(first), _spread_mm(second)), LEAST_ONE_MM, MOST_ONE_MM))


def _spread_mm(dots: Dots) -> float:
    return float(np.linalg.norm(np.ptp(dots.at_mm, axis=0))) if len(dots) else 0.0


def least_to_tell(first: Dots, second: Dots) -> int:
    """So many dots lie on each other by chance too seldom to be one.

    Reckoned for the worst case, dots round a rim that may be turned anyhow: of n and m dots a turn may lay any two on
    each other, and (n - 1)(m - 1) others then lie within reach as often as their reach is of the way round.
    """
    around_mm = np.pi * max(_spread_mm(first), _spread_mm(second), 1.0)
    others = (len(first) - 1) * (len(second) - 1) * 2.0 * one_mm(first, second) / around_mm
    many = LEAST_MATCHED
    while len(first) * len(second) / many * gammainc(many - 1, others) > CHANCE:
        many += 1
    return many


def fixes_pose(at_mm: Array) -> bool:
    """Whether these places are enough to fix a pose: three and more, not in one line."""
    if len(at_mm) < LEAST_MATCHED:
        return False
    return float(np.linalg.svd(at_mm - at_mm.mean(axis=0), compute_uv=False)[1]) > OFF_LINE_MM


def poses_by_dots(first: Dots, second: Dots) -> Array:
    """Poses that lay three dots and more on each other, the most first, (k, 4, 4); few, or none."""
    found: list[tuple[int, Array]] = []
    for one, other in _constellations(first, second):
        pose = _laid_on(second.at_mm[other], first.at_mm[one])
        for _ in range(2):
            pairs = matched(first, second, pose)
            if not fixes_pose(first.at_mm[pairs[:, 0]]):
                break
            pose = _laid_on(second.at_mm[pairs[:, 1]], first.at_mm[pairs[:, 0]])
        pairs = matched(first, second, pose)
        if fixes_pose(first.at_mm[pairs[:, 0]]) and not any(_same(second, pose, kept) for _, kept in found):
            found.append((len(pairs), pose))
    best = sorted(found, key=lambda each: -each[0])[:MOST_STARTS]
    return np.array([pose for _, pose in best]).reshape(-1, 4, 4)


def _same(dots: Dots, pose: Array, other: Array) -> bool:
    return bool(np.abs(moved(pose, dots.at_mm) - moved(other, dots.at_mm)).max() < LEAST_ONE_MM)


def _constellations(first: Dots, second: Dots) -> list[tuple[IntArray, IntArray]]:
    """Dots of one scan and of the other that lie alike to each other: distances and the ways they face agree."""
    if min(len(first), len(second)) < LEAST_MATCHED:
        return []
    fits, one, other = _fitting_pairs(first, second)
    links = sparse.csr_matrix(fits, dtype=np.float64)
    together = sparse.triu((links @ links).multiply(links)).tocoo()  # of two pairs that fit, how many others fit both
    best = np.argsort(-together.data, kind="stable")[:MOST_SEEDS]
    groups = [_grown(fits, int(together.row[k]), int(together.col[k])) for k in best]
    once = {tuple(sorted(group.tolist())): group for group in groups if len(group) >= LEAST_MATCHED}
    return [(one[group], other[group]) for group in once.values()]


def _fitting_pairs(first: Dots, second: Dots) -> tuple[BoolArray, IntArray, IntArray]:
    """Of every dot taken for every other one: which two such pairs can both be so; the dots of either scan."""
    one, other = (each.ravel() for each in np.indices((len(first), len(second))))
    here, there = _distances(first)[np.ix_(one, one)], _distances(second)[np.ix_(other, other)]
    fits = np.abs(here - there) < MIDDLES_MM + SCALE_SHARE * here
    facing, faced = first.facing @ first.facing.T, second.facing @ second.facing.T
    fits &= np.abs(facing[np.ix_(one, one)] - faced[np.ix_(other, other)]) < ALIKE_FACING
    fits &= (one[:, None] != one) & (other[:, None] != other)
    return fits, one, other


def _distances(dots: Dots) -> Array:
    return np.asarray(np.linalg.norm(dots.at_mm[:, None] - dots.at_mm[None], axis=2))


def _grown(fits: BoolArray, first: int, second: int) -> IntArray:
    """A group in which every pair fits every other, grown from two by those that most others support."""
    group = [first, second]
    can = fits[first] & fits[second]
    while can.any():
        left = np.flatnonzero(can)
        best = int(left[fits[np.ix_(left, left)].sum(axis=1).argmax()])
        group.append(best)
        can &= fits[best]
    return np.array(group, dtype=np.int64)


def _laid_on(points_mm: Array, onto_mm: Array) -> Array:
    """The turn and shift that bring points nearest to others in the sense of least squares (Kabsch 1976), (4, 4)."""
    here, there = points_mm.mean(axis=0), onto_mm.mean(axis=0)
    u, _, v = np.linalg.svd((points_mm - here).T @ (onto_mm - there))
    flip = np.diag([1.0, 1.0, np.sign(np.linalg.det(v.T @ u.T))])
    turn = v.T @ flip @ u.T
    pose = np.eye(4)
    pose[:3, :3], pose[:3, 3] = turn, there - turn @ here
    return pose
