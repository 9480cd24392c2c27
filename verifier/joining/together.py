"""All poses refined at once, each with its scale: every view is drawn onto every other that shows the same surface."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations, permutations

import numpy as np

from verifier.comparing.pose import moved, pose_of, turns_about
from verifier.comparing.refining import partners
from verifier.joining.dots.matching import fixes_pose, matched
from verifier.joining.view import View
from verifier.mesh import Array

# A scanner's scale differs from view to view by a few tenths of a percent; so much is no surprise, and no more than
# the most is believed. A row of the fit is worth this scatter, and neighbouring points err together: so many rows tell
# as much as one.
SCALE_U, MOST_SCALE, ROW_MM, ROWS_ALIKE = 0.0015, 0.006, 0.05, 10.0
# Middles of one dot in two views agree within this.
DOT_MM = 0.2
# A pair of views with fewer points in common has no say.
LEAST_COMMON = 30


@dataclass(frozen=True, slots=True)
class _Pull:
    """How one view would move another: partners across their common surface.

    places, normals : (n, 3) in the common frame; away_mm, weights : (n,)
    """

    of: int
    onto: int
    places: Array
    normals: Array
    away_mm: Array
    weights: Array


def refined_together(
    poses: Sequence[Array], views: Sequence[View], gates_mm: Iterable[float], *, with_scale: bool = True
) -> tuple[Array, ...]:
    """The poses after one step of them all for each gate; the first one stays as it is.

    gates_mm : distance at which a point loses three quarters of its say, step by step
    """
    found = list(poses)
    size = max(float(np.linalg.norm(np.ptp(view.stepped.points_mm, axis=0))) for view in views)
    for gate in gates_mm:
        found = _step(found, views, float(gate), size, with_scale)
    return tuple(found)


def _step(poses: list[Array], views: Sequence[View], gate_mm: float, size_mm: float, with_scale: bool) -> list[Array]:
    pulls = [
        pull for i, j in permutations(range(len(views)), 2) if (pull := _pull(poses, views, i, j, gate_mm)) is not None
    ]
    pulls += [
        pull for i, j in combinations(range(len(views)), 2) if (pull := _pull_of_dots(poses, views, i, j)) is not None
    ]
    if not pulls:
        return poses
    width = 7 if with_scale else 6
    middles = [moved(pose, view.stepped.points_mm).mean(axis=0) for pose, view in zip(poses, views, strict=True)]
    square, right = np.zeros((7 * len(views),) * 2), np.zeros(7 * len(views))
    for pull in pulls:
        here, there = (_rows(pull, middles[k], size_mm) for k in (pull.of, pull.onto))
        rows = np.concatenate([here, -there], axis=1)
        weighted = rows * pull.weights[:, None]
        at = np.r_[7 * pull.of : 7 * pull.of + 7, 7 * pull.onto : 7 * pull.onto + 7]
        square[np.ix_(at, at)] += weighted.T @ rows
        right[at] -= weighted.T @ pull.away_mm
    for k, pose in enumerate(poses):
        held = ROWS_ALIKE * (ROW_MM / SCALE_U / size_mm) ** 2
        square[7 * k + 6, 7 * k + 6] += held
        right[7 * k + 6] -= held * size_mm * _log_scale(pose)
    free = np.array([7 * k + c for k in range(1, len(views)) for c in range(width)])
    inner = square[np.ix_(free, free)]
    # A little damping leaves alone what the surface does not fix, such as the spin of a round part.
    inner += np.eye(len(free)) * (1e-7 * np.trace(inner) / len(free) * 7 + 1e-9)
    move = np.zeros((len(views), 7))
    move[1:, :width] = np.linalg.solve(inner, right[free]).reshape(-1, width)
    return [poses[0], *(_moved_by(poses[k], move[k], middles[k], size_mm) for k in range(1, len(views)))]


def _pull(poses: list[Array], views: Sequence[View], i: int, j: int, gate_mm: float) -> _Pull | None:
    between = np.linalg.inv(poses[j]) @ poses[i]
    target = views[j].target
    most_aside_mm = max(2.0 * gate_mm, 1.5 * target.cloud.spacing_mm)
    far_mm = 1.001 * float(np.hypot(most_aside_mm, 4.0 * gate_mm))  # nothing farther away has a say
    found = partners(target, views[i].stepped, between[None], within_mm=far_mm)
    near = found.aside_mm[0] < most_aside_mm
    chosen = near & found.facing[0] & (np.abs(found.away_mm[0]) < 4.0 * gate_mm)
    if chosen.sum() < LEAST_COMMON:
        return None
    away = found.away_mm[0][chosen]
    normals = target.cloud.normals[found.index[0][chosen]] @ poses[j][:3, :3].T
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    weights = (gate_mm**2 / (gate_mm**2 + away**2)) ** 2
    return _Pull(i, j, moved(poses[j], found.places_mm[0][chosen]), normals, away, weights)


def _pull_of_dots(poses: list[Array], views: Sequence[View], i: int, j: int) -> _Pull | None:
    """The marker dots that both show, drawn onto each other along all three axes; none where they fix no pose."""
    if min(len(views[i].dots), len(views[j].dots)) == 0:
        return None
    pairs = matched(views[j].dots, views[i].dots, np.linalg.inv(poses[j]) @ poses[i])
    here = moved(poses[i], views[i].dots.at_mm[pairs[:, 1]])
    there = moved(poses[j], views[j].dots.at_mm[pairs[:, 0]])
    if not fixes_pose(there):
        return None
    off, ways = (here - there).T.ravel(), np.repeat(np.eye(3), len(pairs), axis=0)
    weight = ROWS_ALIKE * (ROW_MM / DOT_MM) ** 2  # dots err each for itself, rows of the surface do not
    return _Pull(i, j, np.tile(here, (3, 1)), ways, off, np.full(len(off), weight))


def _rows(pull: _Pull, middle: Array, size_mm: float) -> Array:
    """How the distances change with a view's turn, shift and growth, each in millimetres at the part's size, (n, 7)."""
    arm = (pull.places - middle) / size_mm
    growth = np.einsum("ij,ij->i", arm, pull.normals)
    return np.concatenate([np.cross(arm, pull.normals), pull.normals, growth[:, None]], axis=1)


def _log_scale(pose: Array) -> float:
    return float(np.log(np.linalg.det(pose[:3, :3])) / 3.0)


def _moved_by(pose: Array, move: Array, middle: Array, size_mm: float) -> Array:
    turn = turns_about(np.clip(move[:3] / size_mm, -0.3, 0.3))
    was = _log_scale(pose)
    grown = float(np.exp(np.clip(was + move[6] / size_mm, -MOST_SCALE, MOST_SCALE) - was)) * turn
    return np.asarray(pose_of(grown, middle + move[3:6] - grown @ middle) @ pose)
