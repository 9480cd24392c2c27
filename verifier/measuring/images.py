"""Whether the ways of matching a sheet differ only by a mirror or a turn of the part."""

from collections.abc import Iterator, Sequence

import numpy as np

from verifier.finding.feature import Cylinder
from verifier.finding.fits import frame_along
from verifier.finding.symmetry import DIAMETER_MM, OFF_MM
from verifier.measuring.shared_way import PARALLEL_AXES_DEG
from verifier.mesh import Array, IntArray

# More rivals than this are not gone through: no moulded part has so many turns and mirrors.
MOST_RIVALS = 100


def all_images(owners: IntArray, cylinders: Sequence[Cylinder]) -> bool:
    """Whether each matching is the first one carried over by a turn or a mirror of the part's own bores and bosses.

    owners : (n, r) the cylinder that each of r rows has in each of n matchings, negative where it has none
    All that stand along one axis must come to lie on their like: where a bore is missing, or one is where its image has
    none, nothing carries the part onto itself.
    """
    if len(owners) > MOST_RIVALS or owners.shape[1] == 0 or (owners < 0).any():
        return False
    axis = cylinders[int(owners[0, 0])].axis
    upright = [abs(float(axis @ each.axis)) > np.cos(np.radians(PARALLEL_AXES_DEG)) for each in cylinders]
    if not all(upright[c] for c in np.unique(owners)):
        return False
    u, v, _ = frame_along(axis)
    spots = np.array([[each.axis_point_mm @ u, each.axis_point_mm @ v] for each in cylinders])
    sizes = np.array([each.diameter_mm * (1.0 if each.kind == "bore" else -1.0) for each in cylinders])
    among = np.flatnonzero(upright)
    return all(_carries(spots, sizes, among, owners[0], rival) for rival in owners[1:])


def _carries(spots: Array, sizes: Array, among: IntArray, one: IntArray, other: IntArray) -> bool:
    """Whether a motion that takes the rows' cylinders of one matching to those of another takes all onto their like."""
    for turn, start, end in _motions(spots[one], spots[other]):
        away = np.linalg.norm(((spots[among] - start) @ turn + end)[:, None] - spots[among], axis=2)
        like = np.abs(sizes[among][:, None] - sizes[among]) < DIAMETER_MM
        image = np.argmin(np.where(like, away, np.inf), axis=1)
        lands = away[np.arange(len(among)), image] < OFF_MM
        place = {int(c): int(among[i]) for c, i in zip(among, image, strict=True)}
        rows_too = all(place[int(a)] == int(b) for a, b in zip(one, other, strict=True))
        if lands.all() and len(set(image.tolist())) == len(among) and rows_too:
            return True
    return False


def _motions(one: Array, other: Array) -> Iterator[tuple[Array, Array, Array]]:
    """The turn and the mirror that bring points of the plane nearest to others, (n, 2): y = (x - start) turn + end."""
    start, end = one.mean(axis=0), other.mean(axis=0)
    left, _, right = np.linalg.svd((one - start).T @ (other - end))
    for sign in (1.0, -1.0):
        yield left @ np.diag([1.0, sign]) @ right, start, end
