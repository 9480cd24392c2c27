"""Which flats and cylinders hold a handful of patches of surface: the one that holds most, again and again."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from verifier.mending.forms import (
    ON_FORM_MM,
    Flat,
    Form,
    Patches,
    Round,
    held_by_flats,
    held_by_rounds,
    is_same,
    lies_on,
)
from verifier.mesh import Array, BoolArray, IntArray

# No more forms than this are looked for around one hole, a shell with all its roundings; and none of less surface than
# the second: a strip 1 mm wide and two spacings of a scan long.
MOST_FORMS = 24
LEAST_MM2 = 1.0
# Forms tried in each round: planes by one patch and its normal, cylinders by two. Where a third of the patches are on
# one form it is missed by 400 pairs once in 1e20 times, where a twentieth are, once in three.
PLANES_TRIED = 64
PAIRS_TRIED = 400
# Patches asked which of the forms tried holds most.
PATCHES_ASKED = 1_000
# The two patches of a pair: so near to each other, and their normals between 12 and 168 degrees apart (cosine). Half of
# the pairs are the nearest found: two on what is left of a narrow bore, a millimetre or two, are seldom met by chance.
PAIR_MM = 6.0
PAIR_COSINE = 0.978
# Radii of round walls; one wider than the upper bound is as good as flat over a hole.
LEAST_RADIUS_MM = 0.4
MOST_RADIUS_MM = 15.0
# A cylinder is preferred to a plane that holds nearly as much: this much more surface it must have.
ROUNDER = 1.15
# A cylinder whose axis is so near (cosine of 10 degrees) to a plane's normal is square to that plane: what is left of a
# wall, often a millimetre high, says little of its own axis.
SQUARE_TO_PLANE = 0.985
# A wall's axis leans for sure from so many standard uncertainties on; scatter is that of a handheld scan (common
# practice, no source), the same over a millimetre or two.
SURE = 3.0
SCATTER_MM = 0.05
PATCH_OF_ONE_SCATTER_MM2 = 2.0

Kind = TypeVar("Kind", Flat, Round)


def forms_in(patches: Patches) -> list[Form]:
    """The forms that hold most of the patches, the largest first."""
    rng = np.random.default_rng(0)
    left = np.ones(len(patches.areas_mm2), dtype=bool)
    forms: list[Form] = []
    for _ in range(MOST_FORMS):
        rest = patches.at(left)
        if rest.areas_mm2.sum() < LEAST_MM2:
            break
        flat = _best(_flats(rest, rng), held_by_flats, rest)
        square = [f.normal for f in forms if isinstance(f, Flat)]
        cylinder = _best(_rounds(rest, square, rng), held_by_rounds, rest)
        found = cylinder if _area_mm2(cylinder) > ROUNDER * _area_mm2(flat) else flat
        if found is None or found.area_mm2 < LEAST_MM2:
            break
        left[np.flatnonzero(left)[found.mine]] = False
        if not any(is_same(found.form, other) for other in forms):
            forms.append(found.form)
    return forms


@dataclass(frozen=True, slots=True)
class _Held:
    """A form, which patches lie on it, (n,), and their area."""

    form: Form
    mine: BoolArray
    area_mm2: float


def _held(form: Form, patches: Patches) -> _Held:
    mine = lies_on(form, patches)
    return _Held(form, mine, float(patches.areas_mm2[mine].sum()))


def _area_mm2(held: _Held | None) -> float:
    return 0.0 if held is None else held.area_mm2


def _best(tried: Sequence[Kind], held: Callable[[Sequence[Kind], Patches], Array], patches: Patches) -> _Held | None:
    """The one that holds most, fitted to what it holds.

    held : says how much each of some forms holds
    """
    if not tried:
        return None
    some = patches.at(np.arange(len(patches.areas_mm2)) % (1 + len(patches.areas_mm2) // PATCHES_ASKED) == 0)
    best = _held(tried[int(np.argmax(held(tried, some)))], patches)
    for _ in range(3):
        if best.mine.sum() < 4:
            return best
        better = _held(fitted(best.form, patches.at(best.mine)), patches)
        if better.area_mm2 < 0.9 * best.area_mm2:
            break
        best = better
    return best


def _flats(patches: Patches, rng: np.random.Generator) -> list[Flat]:
    chosen = rng.choice(len(patches.areas_mm2), PLANES_TRIED, p=patches.areas_mm2 / patches.areas_mm2.sum())
    return [Flat(patches.middles_mm[k], patches.normals[k]) for k in np.unique(chosen).tolist()]


def _rounds(patches: Patches, square: Sequence[Array], rng: np.random.Generator) -> list[Round]:
    """Cylinders through pairs of patches, square to a plane where they nearly are."""
    count = len(patches.areas_mm2)
    one, other = rng.integers(count, size=(2, 8 * PAIRS_TRIED))
    apart_mm = np.linalg.norm(patches.middles_mm[one] - patches.middles_mm[other], axis=1)
    near = apart_mm < PAIR_MM
    cosine = np.einsum("nx,nx->n", patches.normals[one], patches.normals[other])
    good = np.flatnonzero(near & (np.abs(cosine) < PAIR_COSINE))
    close = good[np.argsort(apart_mm[good], kind="stable")[: PAIRS_TRIED // 2]]
    good = np.concatenate([close, good[: PAIRS_TRIED // 2]])
    return _through(patches, one[good], other[good], square)


def _through(patches: Patches, one: IntArray, other: IntArray, square: Sequence[Array]) -> list[Round]:
    """The cylinders whose walls look as two patches do, of those pairs for which there is one."""
    axes = np.cross(patches.normals[one], patches.normals[other])
    axes /= np.linalg.norm(axes, axis=1, keepdims=True)
    for normal in square:
        axes[np.abs(axes @ normal) > SQUARE_TO_PLANE] = normal
    here, there = (_across(patches.normals[k], axes) for k in (one, other))
    here, there = (each / np.maximum(np.linalg.norm(each, axis=1, keepdims=True), 1e-12) for each in (here, there))
    apart = _across(patches.middles_mm[other] - patches.middles_mm[one], axes)
    # one + s n1 = other + s n2: the same way along both normals, by least squares.
    turned = here - there
    reach = (apart * turned).sum(axis=1) / np.maximum((turned**2).sum(axis=1), 1e-12)
    off_mm = np.linalg.norm(apart - reach[:, None] * turned, axis=1)
    good = (np.abs(reach) > LEAST_RADIUS_MM) & (np.abs(reach) < MOST_RADIUS_MM) & (off_mm < ON_FORM_MM)
    middles = patches.middles_mm[one] + reach[:, None] * here
    return [
        Round(middles[k], axes[k], abs(float(reach[k])), -1 if reach[k] > 0 else 1)
        for k in np.flatnonzero(good).tolist()
    ]


def _across(vectors: Array, axes: Array) -> Array:
    """Vectors less what of them lies along axes, (n, 3)."""
    return np.asarray(vectors - np.einsum("nx,nx->n", vectors, axes)[:, None] * axes)


def fitted(form: Form, patches: Patches) -> Form:
    """The form by least squares through patches; a cylinder keeps its axis's direction unless it is seen well."""
    weights = patches.areas_mm2 / patches.areas_mm2.sum()
    middle = weights @ patches.middles_mm
    if isinstance(form, Flat):
        spread = (patches.middles_mm - middle) * np.sqrt(weights)[:, None]
        normal = np.linalg.svd(spread, full_matrices=False)[2][2]
        return Flat(middle, normal * np.sign(normal @ form.normal))
    across = np.linalg.svd(form.axis[None])[2][1:]
    x, y = ((patches.middles_mm - form.at_mm) @ across.T).T
    # A circle through points: x^2 + y^2 = 2 a x + 2 b y + c (Kasa), near enough to its true fit from a third of a turn.
    rows = np.column_stack([2.0 * x, 2.0 * y, np.ones_like(x)]) * np.sqrt(weights)[:, None]
    a, b, c = np.linalg.lstsq(rows, (x**2 + y**2) * np.sqrt(weights), rcond=None)[0]
    radius = float(np.sqrt(max(c + a**2 + b**2, 1e-12)))
    if not LEAST_RADIUS_MM < radius < MOST_RADIUS_MM:
        return form
    return _upright(Round(form.at_mm + a * across[0] + b * across[1], form.axis, radius, form.outward), patches)


def _upright(form: Round, patches: Patches) -> Round:
    """The cylinder with its axis along the wall where that surely leans from it, by least squares.

    An axis comes from two patches or a plane; a wall seen well says more: of a hub seen all round, a lean of a degree
    leaves half the wall off the form.
    """
    across = np.linalg.svd(form.axis[None])[2][1:]
    middle = patches.areas_mm2 @ patches.middles_mm / patches.areas_mm2.sum()
    height_mm = (patches.middles_mm - middle) @ form.axis
    spoke = form.looking(patches.middles_mm) @ across.T
    rows = np.column_stack([height_mm[:, None] * spoke, spoke, np.ones_like(height_mm)])
    weighed = rows.T * (patches.areas_mm2 / PATCH_OF_ONE_SCATTER_MM2)
    known = np.linalg.pinv(weighed @ rows)
    lean, shift, wider_mm = np.split(known @ weighed @ form.off_mm(patches.middles_mm), [2, 4])
    u_lean = SCATTER_MM * np.sqrt(np.trace(known[:2, :2]))
    if np.linalg.norm(lean) < SURE * u_lean:
        return form
    axis = form.axis + lean @ across
    return Round(
        form.at_mm + ((middle - form.at_mm) @ form.axis) * form.axis + shift @ across,
        axis / np.linalg.norm(axis),
        form.radius_mm + float(wider_mm[0]),
        form.outward,
    )
