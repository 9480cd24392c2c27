"""How well it is known how far apart two sides lie, from what holds them in place."""

import numpy as np

from verifier.joining.continuing import hidden_wall_u_mm
from verifier.joining.profile import FOLD_MM
from verifier.joining.refining import LEAST_GATE_MM, Refined, holding
from verifier.joining.rows import TAINTED_MM, Moving, Rows, Target, dot_rows
from verifier.mesh import Array

# Places along the rim share their errors over this much of it, as a share of the part's length: warp, and skirts.
SHARED_SHARE = 1 / 10
# The rim is looked at in so many places.
LOOKED_AT = 24
# A rim is well seen that turns under along this share of it: 0.95 of simulated ones seen 1.9 mm past their middle at a
# spacing of 1.4 mm, 0.3 to 0.6 of those seen 1.7 mm past it.
WELL_SEEN = 0.8


def gap_u_mm(found: Refined, target: Target, moving: Moving) -> float:
    """Standard uncertainty of the second side's place across the part, where along the rim it is known worst, mm."""
    surface, rim, *others = holding(found, target, moving, LEAST_GATE_MM, only_clean=True)
    levers = _levers((surface, rim, *others), target)  # of each row, by how much it moves each place of the rim
    seen, here = found.seen, found.seen.matched
    square = _by_pieces(seen.at_mm[here], levers[0] * surface.wanted, SHARED_SHARE * target.side.length_mm)
    square += (levers[0][:, seen.worth[here] < 1.0].sum(axis=1) * TAINTED_MM) ** 2
    rim_u_mm = _of_both_folds(target, moving) if found.rim is None else found.rim.common_u_mm
    square += (levers[1].sum(axis=1) * rim_u_mm) ** 2
    if found.rim is not None:
        square += _by_pieces(found.rim.to_mm, levers[1] * rim.wanted, SHARED_SHARE * target.side.length_mm)
    for rows, lever in zip(others, levers[2:], strict=True):
        known = rows.weight > 0.0
        square += (lever[:, known] ** 2 / rows.weight[known]).sum(axis=1)
    worst = float(np.sqrt(square.max()))
    if found.rim is None or found.rim.is_round or len(others[-1].wanted) > 0:
        return worst
    return max(worst, found.rim.common_u_mm)  # the scatter of an upright wall's normals says nothing of height


def of_hidden_wall_mm(found: Refined, target: Target, moving: Moving) -> float:
    """What a wall adds that only those places show which a crease may have pulled, mm; nought where dots tell."""
    if found.rim is None or not found.rim.is_round or len(dot_rows(found.pose, moving, target).wanted) > 0:
        return 0.0
    return hidden_wall_u_mm(found.pose, target.side, moving.side)


def _of_both_folds(target: Target, moving: Moving) -> float:
    """Of how high both rims lie by themselves, mm; where little is seen past them both are short."""
    one, other = (max(FOLD_MM, each.heights.common_u_mm) for each in (target, moving))
    seen = min(each.outline.sure.mean() for each in (target, moving))
    return float(np.hypot(one, other)) if seen > WELL_SEEN else one + other


def _levers(held: tuple[Rows, ...], target: Target) -> list[Array]:
    """How far one mm in each row moves places along the rim across the part, (places, rows) of each."""
    points = target.side.rim_mm[:: max(1, len(target.side.rim_mm) // LOOKED_AT)]
    unit = np.array([target.side.length_mm] * 3 + [1.0] * 3)
    up = np.column_stack([points[:, 1], -points[:, 0], *np.zeros((3, len(points))), np.ones(len(points))]) / unit
    matrices = [each.matrix[:, :6] / unit for each in held]
    normal = sum((m.T * each.weight) @ m for m, each in zip(matrices, held, strict=True)) + 1e-9 * np.eye(6)
    moves = np.linalg.solve(normal, up.T).T
    return [np.asarray(moves @ (m.T * each.weight)) for m, each in zip(matrices, held, strict=True)]


def _by_pieces(at_mm: Array, moved_mm: Array, piece_mm: float) -> Array:
    """Sum of squares of what whole pieces of the rim do, since places of one piece are off together, (places,)."""
    if len(at_mm) == 0:
        return np.zeros(len(moved_mm))
    cell = np.floor(at_mm[:, :2] / piece_mm).astype(np.int64)
    name = np.unique(cell, axis=0, return_inverse=True)[1]
    order = np.argsort(name, kind="stable")
    starts = np.flatnonzero(np.r_[True, np.diff(name[order]) > 0])
    return np.asarray((np.add.reduceat(moved_mm[:, order], starts, axis=1) ** 2).sum(axis=1))
