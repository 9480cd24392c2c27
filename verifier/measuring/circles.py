"""Pitch circles: the circle through the axes of three or more bores, as their centres lie at a common depth."""

from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations

import numpy as np

from verifier.finding.feature import Cylinder
from verifier.finding.fits import fit_circle, frame_along
from verifier.measuring.by_size import regrets
from verifier.measuring.candidate import Candidate, unit
from verifier.measuring.kinds import KINDS
from verifier.measuring.matched import Matched, Owner
from verifier.measuring.option import Option, best_first
from verifier.measuring.regret import MOULDING_U_MM, RIVAL
from verifier.measuring.shared_way import PARALLEL_AXES_DEG
from verifier.measuring.wanted import Wanted
from verifier.mesh import Array

# More different sets of bores than this are not gone through: the person is told that there are too many alike.
MOST_SETS = 3000


def circle_options(matched: Matched, row: Wanted) -> tuple[Option, ...]:
    """The circles through the bores the named rows may have, each set of bores once.

    Bores that do not lie on one circle are no rivals for one; how far they lie off counts against them.
    """
    options = [
        Option(circle, worse)
        for owners, worse in _sets(matched, matched.frame.ends(row)).items()
        for circle, worse in [_weighed(matched, row, owners, worse)]
    ]
    least = min((option.worse_by for option in options), default=0.0)
    ranked = sorted((Option(o.candidate, o.worse_by - least) for o in options), key=best_first)
    return tuple(option for option in ranked if option.worse_by <= RIVAL)


def _weighed(matched: Matched, row: Wanted, owners: frozenset[Owner], worse: float) -> tuple[Candidate | None, float]:
    bores = [matched.frame.cylinder(owner) for owner in sorted(o for o in owners if o is not None)]
    found = None if None in owners else pitch_circle(bores)
    if found is None:
        return None, worse
    circle, misfit = found
    fit = regrets(row, [circle], matched.belief, KINDS[row.row.kind])[0] if row.size is not None else 0.0
    return circle, worse + misfit + float(fit)


def _sets(matched: Matched, ends: Sequence[int]) -> Mapping[frozenset[Owner], float]:
    """The sets of bores the rows may have together, no bore twice, each with how much worse than the best it is."""
    alone = [end for end in ends if end not in matched.tied]
    tied = [end for end in ends if end in matched.tied]
    sets: dict[frozenset[Owner], float] = {frozenset(): 0.0}
    if tied:
        sets = _best(((frozenset(owners), worse) for owners, worse in matched.owners(tied).items()), len(tied))
    for end in alone:
        size = 1 + max((len(owners) for owners in sets), default=0)
        choices = matched.free[end].items()
        sets = _best(
            ((owners | {owner}, worse + more) for owners, worse in sets.items() for owner, more in choices), size
        )
    return sets


def _best(found: Iterable[tuple[frozenset[Owner], float]], size: int) -> dict[frozenset[Owner], float]:
    """The sets of different bores, the best of each; a set with one not found counts however many it lacks."""
    best: dict[frozenset[Owner], float] = {}
    for owners, worse in found:
        if worse <= RIVAL and (len(owners) == size or None in owners):
            best[owners] = min(worse, best.get(owners, np.inf))
    return dict(sorted(best.items(), key=lambda each: each[1])[:MOST_SETS])


def pitch_circle(bores: Sequence[Cylinder]) -> tuple[Candidate, float] | None:
    """The circle of least squared distance through three or more axes, and how badly they lie on it (chi-square).

    None where the axes are not parallel, or lie on a line. The standard uncertainty is that of the fit (JCGM 102:2011,
    6.2.1.3) from each axis' own, and from what the axes lie off the circle where that is more.
    """
    axes = np.array([bore.axis for bore in bores])
    if len(bores) < 3 or np.abs(axes @ axes[0]).min() < np.cos(np.radians(PARALLEL_AXES_DEG)):
        return None
    axis = unit((axes * np.sign(axes @ axes[0])[:, None]).sum(axis=0))
    depth_mm = float(np.mean([bore.axis_point_mm @ axis for bore in bores]))
    spots = np.array([_at_depth(bore, axis, depth_mm) for bore in bores])
    u, v, _ = frame_along(axis)
    flat = np.column_stack([spots @ u, spots @ v])
    if _on_a_line(flat):
        return None
    fit = fit_circle(flat)
    own_u = np.array([np.hypot(b.u_position_mm, b.u_axis_rad * abs(depth_mm - b.axis_point_mm @ axis)) for b in bores])
    outward = (flat - fit.centre_mm) / np.linalg.norm(flat - fit.centre_mm, axis=1, keepdims=True)
    gain = np.linalg.pinv(np.column_stack([outward, np.ones(len(flat))]))[2]
    misfit = float(np.sum(fit.residuals_mm**2 / (own_u**2 + MOULDING_U_MM**2)))
    spread = float(np.sqrt(np.sum(fit.residuals_mm**2) / max(len(bores) - 3, 1)))
    u_mm = 2.0 * float(np.linalg.norm(gain * np.maximum(own_u, spread)))
    far = max(combinations(range(len(flat)), 2), key=lambda pair: float(np.linalg.norm(flat[pair[0]] - flat[pair[1]])))
    seen = min(1.0, *(bore.arc_deg / 360.0 for bore in bores))
    names = tuple(sorted(bore.name for bore in bores))
    return Candidate(2.0 * fit.radius_mm, u_mm, 0, names, spots[list(far)], seen), misfit


def _on_a_line(flat: np.ndarray) -> bool:
    """Whether the spots leave the circle's radius open: the narrow way less than a twentieth of the long one."""
    spread = np.linalg.svd(flat - flat.mean(axis=0), compute_uv=False)
    return bool(spread[1] < 0.05 * spread[0])


def _at_depth(bore: Cylinder, direction: Array, depth_mm: float) -> Array:
    """Where the axis crosses the plane direction . x = depth_mm, (3,)."""
    along = (depth_mm - bore.axis_point_mm @ direction) / (bore.axis @ direction)
    return np.asarray(bore.axis_point_mm + along * bore.axis, dtype=np.float64)
