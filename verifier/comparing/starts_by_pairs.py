"""Starting poses from pairs of points: two points and their normals lie alike on both surfaces, and many pairs agree.

Each point of the moving surface is paired with all others; pairs of the fixed surface with the same distance and the
same three angles each vote for a place of the point and a turn about its normal (the point-pair feature of Drost and
others, 2010). Needs no features and copes with partial views.
"""

import numpy as np

from verifier.comparing.cloud import Cloud, evenly_facing
from verifier.comparing.pose import inverse, pose_of
from verifier.mesh import Array, IntArray

FIXED_POINTS = 420
MOVING_POINTS = 420
VOTERS = 36
PEAKS = 5
DISTANCE_STEPS = 24
ANGLE_STEP_RAD = np.radians(15.0)
TURNS = 30
# A pair that occurs this often (two points of one flat) says nothing; it is left out.
MOST_ALIKE = 1500


def starts_by_pairs(moving: Cloud, fixed: Cloud, size_mm: float) -> Array:
    """The poses with most votes of each of a few points, (k, 4, 4), the most voted first.

    size_mm : the longest distance a pair may have
    """
    target = fixed.of(evenly_facing(fixed, FIXED_POINTS))
    source = moving.of(evenly_facing(moving, MOVING_POINTS))
    voters = np.unique(np.linspace(0, len(source) - 1, VOTERS).astype(np.int64))
    return _peaks(_votes(source, voters, target, size_mm), source.of(voters), target)


def _votes(source: Cloud, voters: IntArray, target: Cloud, size_mm: float) -> Array:
    """How many pairs speak for each voter lying on each target point at each turn, (voters, targets, TURNS)."""
    first, second = _all_pairs(len(target))
    keys, angles = _described(target, first, second, size_mm)
    order = np.argsort(keys, kind="stable")
    base = np.repeat(np.arange(len(voters)), len(source))
    partner = np.tile(np.arange(len(source)), len(voters))
    base, partner = base[voters[base] != partner], partner[voters[base] != partner]
    asked, asked_angles = _described(source, voters[base], partner, size_mm)
    rows, hits, rarity = _alike(keys[order], asked)
    turn = np.rint((asked_angles[rows] - angles[order][hits]) / (2.0 * np.pi) * TURNS).astype(np.int64) % TURNS
    cell = (base[rows] * len(target) + first[order][hits]) * TURNS + turn
    votes = np.bincount(cell, rarity, minlength=len(voters) * len(target) * TURNS).astype(np.float64)
    votes = votes.reshape(len(voters), len(target), TURNS)
    return np.asarray(votes + 0.5 * (np.roll(votes, 1, axis=2) + np.roll(votes, -1, axis=2)))


def _alike(sorted_keys: IntArray, asked: IntArray) -> tuple[IntArray, IntArray, Array]:
    """Every asked pair with every known pair of the same description: both their numbers, and what a vote counts.

    A rare likeness tells more than a common one.
    """
    low, high = np.searchsorted(sorted_keys, asked, "left"), np.searchsorted(sorted_keys, asked, "right")
    count = np.where(asked >= 0, high - low, 0)
    count[count > MOST_ALIKE] = 0
    rows = np.repeat(np.arange(len(asked)), count)
    hits = np.arange(len(rows)) - np.repeat(np.cumsum(count) - count - low, count)
    return rows, hits, 1.0 / np.sqrt(count[rows])


def _all_pairs(count: int) -> tuple[IntArray, IntArray]:
    first, second = np.divmod(np.arange(count * count), count)
    return first[first != second], second[first != second]


def _described(cloud: Cloud, first: IntArray, second: IntArray, size_mm: float) -> tuple[IntArray, Array]:
    """Distance and three angles of each pair as one number (-1 too far), and its turn about the first normal."""
    apart = cloud.points_mm[second] - cloud.points_mm[first]
    distance = np.linalg.norm(apart, axis=1)
    unit = apart / np.maximum(distance, 1e-12)[:, None]
    n1, n2 = cloud.normals[first], cloud.normals[second]
    angles = (np.einsum("ij,ij->i", a, b) for a, b in ((n1, unit), (n2, unit), (n1, n2)))
    steps = int(np.ceil(np.pi / ANGLE_STEP_RAD)) + 1
    key = np.floor(distance / size_mm * DISTANCE_STEPS).astype(np.int64)
    for cosine in angles:
        key = key * steps + np.rint(np.arccos(np.clip(cosine, -1.0, 1.0)) / ANGLE_STEP_RAD).astype(np.int64)
    key[distance > size_mm] = -1
    local = np.einsum("ijk,ik->ij", _frames(cloud.normals)[first], apart)
    return key, np.arctan2(local[:, 2], local[:, 1])


def _frames(normals: Array) -> Array:
    """For each normal a turn that lays it along x, (n, 3, 3)."""
    helper = np.eye(3)[np.argmin(np.abs(normals), axis=1)]
    second = np.cross(normals, helper)
    second /= np.maximum(np.linalg.norm(second, axis=1), 1e-12)[:, None]
    return np.stack([normals, second, np.cross(normals, second)], axis=1)


def _peaks(votes: Array, voters: Cloud, target: Cloud) -> Array:
    """The poses of the most voted places of each voter, (k, 4, 4)."""
    count = len(votes)
    flat = votes.reshape(count, -1)
    best = np.argpartition(-flat, PEAKS, axis=1)[:, :PEAKS]
    strength = np.take_along_axis(flat, best, axis=1)
    place, turn = np.divmod(best, TURNS)
    voter = np.repeat(np.arange(count), PEAKS)
    angle = -2.0 * np.pi * turn.ravel() / TURNS
    about = np.zeros((len(angle), 3, 3))
    about[:, 0, 0] = 1.0
    about[:, 1, 1], about[:, 1, 2] = np.cos(angle), -np.sin(angle)
    about[:, 2, 1], about[:, 2, 2] = np.sin(angle), np.cos(angle)
    here = _local_poses(voters)[voter]
    there = _local_poses(target)[place.ravel()]
    spun = pose_of(about, np.zeros((len(angle), 3)))
    poses = inverse(there) @ spun @ here
    return np.asarray(poses[np.argsort(-strength.ravel(), kind="stable")])


def _local_poses(cloud: Cloud) -> Array:
    """For each point the pose that lays it at the origin with its normal along x, (n, 4, 4)."""
    frames = _frames(cloud.normals)
    return pose_of(frames, -np.einsum("nij,nj->ni", frames, cloud.points_mm))
