"""Lays one surface on another from nothing: found features first, then pairs of points and axes, then fine steps."""

import numpy as np

from verifier.comparing.alignment import Alignment
from verifier.comparing.buried import BURIED_SHARE, buried_share
from verifier.comparing.cloud import Cloud, evenly_facing
from verifier.comparing.deciding import decided
from verifier.comparing.fit import fit_of
from verifier.comparing.pose import distinct, inverse
from verifier.comparing.refining import Target, refined, target_of
from verifier.comparing.starts_by_axes import starts_by_axes
from verifier.comparing.starts_by_features import starts_by_features
from verifier.comparing.starts_by_pairs import starts_by_pairs
from verifier.mesh import Array

# Each sieve looks closer at fewer poses. Lengths are shares of the part's size; a start is off by up to a tenth.
COARSE_POINTS, MIDDLE_POINTS = 2500, 8000
SIEVED, REFINED, CLOSE = 160, 32, 8
COARSE_GATES = np.geomspace(0.10, 0.03, 6)
MIDDLE_GATES = np.geomspace(0.03, 0.006, 8)
REACH_SHARE = 0.06


def align(moving: Cloud, fixed: Cloud) -> Alignment:
    """The pose that lays one surface on another, whatever the two poses are, whole parts or partial views.

    moving, fixed : points and normals, and the found features where they are known
    Neither scale nor coat is fitted: a seven-parameter fit takes 0.05 mm of coat for 0.4 % of scale.
    """
    return decided(likely_poses(moving, fixed), moving, fixed, min(size_mm(moving), size_mm(fixed)))


def likely_poses(moving: Cloud, fixed: Cloud) -> Array:
    """The few poses worth a close look, the best first, (k, 4, 4); each within some tenths of a millimetre of a fit."""
    size = min(size_mm(moving), size_mm(fixed))
    return _sieved(_starts(moving, fixed, size), moving, fixed, size)


def size_mm(cloud: Cloud) -> float:
    """Length across a cloud: the diagonal of its own box."""
    middle = cloud.points_mm - cloud.points_mm.mean(axis=0)
    along = middle @ np.linalg.eigh(middle.T @ middle)[1]
    return float(np.linalg.norm(np.ptp(along, axis=0)))


def _starts(moving: Cloud, fixed: Cloud, size: float) -> Array:
    starts = [starts_by_axes(moving, fixed), starts_by_pairs(moving, fixed, size)]
    if moving.features is not None and fixed.features is not None:
        starts.insert(0, starts_by_features(moving.features, fixed.features))
    return np.concatenate(starts)


def _sieved(poses: Array, moving: Cloud, fixed: Cloud, size: float) -> Array:
    """The few poses that stand closer and closer looks, the best first."""
    few, more = moving.of(evenly_facing(moving, 120)), moving.of(evenly_facing(moving, 400))
    coarse = target_of(fixed.thinned(COARSE_POINTS), 0.1 * size)
    poses = _best(poses, few, coarse, 0.03 * size, SIEVED, size)
    poses = refined(poses, few, coarse, COARSE_GATES * size)
    poses = _with_unburied(poses, more, moving, fixed, coarse, 0.015 * size, REFINED, size)
    middle = target_of(fixed.thinned(MIDDLE_POINTS), 0.03 * size)
    poses = refined(poses, more, middle, MIDDLE_GATES * size)
    return _with_unburied(poses, more, moving, fixed, middle, 0.006 * size, CLOSE, size)


def _best(poses: Array, moving: Cloud, target: Target, tolerance: float, count: int, size: float) -> Array:
    """The poses of the highest scores, no two of them alike."""
    fit = fit_of(target, moving, poses, tolerance, REACH_SHARE * size)
    poses = poses[np.argsort(-fit.score, kind="stable")][: 8 * count]
    return poses[distinct(poses, moving.points_mm, 0.5 * tolerance)[:count]]


def _with_unburied(
    poses: Array, moving: Cloud, whole: Cloud, fixed: Cloud, target: Target, tolerance: float, count: int, size: float
) -> Array:
    """Half of the poses kept by score alone, half by what is left of it when what is buried counts against it.

    A round part seen from two sides has a hundred spins that agree more than the right one does, and each of them
    would take its place; only what sticks in the material tells them apart.

    moving, whole : a few of the moving points, and all of them
    """
    poses = _best(poses, moving, target, tolerance, 4 * count, size)
    score = np.maximum(fit_of(target, moving, poses, tolerance, REACH_SHARE * size).score, 1e-6)
    other = fixed.of(evenly_facing(fixed, len(moving)))
    under, over = target_of(target.cloud), target_of(whole.thinned(len(target.cloud)))
    raised = 2.0 * tolerance / size
    buried = np.array(
        [
            buried_share(moving, under, pose, size, raised) + buried_share(other, over, inverse(pose), size, raised)
            for pose in poses
        ]
    )
    worth = score * np.exp(-(buried - buried.min()) / BURIED_SHARE)
    kept = dict.fromkeys([*np.argsort(-worth, kind="stable")[: count // 2], *np.argsort(-score, kind="stable")])
    return np.asarray(poses[list(kept)[:count]])
