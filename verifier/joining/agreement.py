"""What two views say of each other in a pose: where they show one surface, and what no two views of one part can show.

A pose of views that overlap little cannot be judged by how much agrees: the flat back of a part laid on its flat front
agrees over more of it than the right pose does. What tells is what cannot be: a boss of one view standing where the
other saw a bare flat, a bore's wall running through the other's material, two faces pressed onto each other.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from verifier.comparing.fit import ASIDE_SPACINGS, beneath_of
from verifier.comparing.pose import moved
from verifier.comparing.refining import Partners, Target, partners
from verifier.joining.putty import NEIGHBOURS, lump_before
from verifier.joining.view import View
from verifier.mesh import Array, BoolArray, IntArray

# Surfaces that face alike within this are one; four spreads of the scatter, and no less.
LEAST_TOLERANCE_MM, SPREADS = 0.12, 4.0
# Farther apart than this, two surfaces that face alike may be two faces of the part, as a share of its size.
REACH_SHARE = 0.06
# Raised off its surface by this share of the part's size a point stands in the open, whatever the scatter.
RAISED_SHARE = 0.012
DEEP_SHARE = 0.15
OPPOSED = -0.5
# No scanner looks into a slot narrower than this, and no wall is thinner: faces so near back to back are pressed.
THINNEST_WALL_MM, NARROWEST_SLOT_MM = 0.4, 1.0
BACK_TO_BACK = -0.85
# Of a point's eight neighbours so many must say the same: single points at rims say anything.
SAME_AROUND = 6
# The more of the views cannot be, the less the pose is believed: by e for each of this share. In thirty right poses of
# simulated views nothing of the kind was seen, and a boss of 6 x 2 mm on a rail of 120 mm makes 0.0012.
IMPOSSIBLE_SHARE = 0.001
# Lumps of putty explain what cannot be only where little is to be explained: a ball of 6 mm covers a few hundredths of
# a view. The more of a view would have to be putty, the less the pose is believed: by e for each of this share.
MOST_EXPLAINED, PUTTY_SHARE = 0.08, 0.05


@dataclass(frozen=True, slots=True)
class Said:
    """What the asked points of one view say of another, each (n,).

    agree : one surface
    before, behind : wrongly before or behind the other's surface, which faces alike
    buried : stands in the other's material
    pressed : back to back with the other's surface with no wall between
    putty : of a lump at the foot that the other showed to be no part
    away_mm : distance across the surface, where they agree
    """

    agree: BoolArray
    before: BoolArray
    behind: BoolArray
    buried: BoolArray
    pressed: BoolArray
    putty: BoolArray
    away_mm: Array

    @property
    def unexplained(self) -> BoolArray:
        """What no two views of one part can show, whatever a third one shows, (n,)."""
        return np.asarray(self.before | self.behind | self.pressed)

    @property
    def impossible(self) -> BoolArray:
        """What no two views of one part can show, (n,)."""
        return np.asarray(self.unexplained | self.buried)


@dataclass(frozen=True, slots=True)
class Agreement:
    """Two views in a pose, each as the other sees it."""

    first: Said
    second: Said

    @property
    def agree(self) -> float:
        """Share of the smaller view that the other shows too."""
        return max(float(self.first.agree.mean()), float(self.second.agree.mean()))

    @property
    def impossible(self) -> float:
        """Shares of both views that cannot be, together."""
        return float(self.first.impossible.mean() + self.second.impossible.mean())

    @property
    def worth(self) -> float:
        """What speaks for the pose, less and less the more of it cannot be."""
        both = 0.5 * float(self.first.agree.mean() + self.second.agree.mean())
        putty = float(self.first.putty.mean() + self.second.putty.mean())
        return both * float(np.exp(-self.impossible / IMPOSSIBLE_SHARE - putty / PUTTY_SHARE))

    @property
    def rms_mm(self) -> float:
        """Of the distances across the surface that both show."""
        away = np.concatenate([said.away_mm[said.agree] for said in (self.first, self.second)])
        return float(np.sqrt(np.mean(away**2))) if len(away) else float("inf")


def agreement_of(first: View, second: View, pose: Array, size_mm: float, tolerance_mm: float) -> Agreement:
    """Look at two views both ways; what cannot be is looked at again where a lump of putty explains it.

    pose : (4, 4) takes the first view's points into the second's frame
    tolerance_mm : distance that scatter explains
    """
    back: Array = np.asarray(np.linalg.inv(pose), dtype=np.float64)

    def looked(one: View, other: View) -> Agreement:
        return Agreement(
            said_of(one, other, pose, size_mm, tolerance_mm), said_of(other, one, back, size_mm, tolerance_mm)
        )

    found = looked(first, second)
    if not 0.0 < found.impossible < MOST_EXPLAINED:
        return found
    known = _with_putty(first, second, pose), _with_putty(second, first, back)
    return looked(*known) if any(view.putty.any() for view in known) else found


def _with_putty(view: View, other: View, pose: Array) -> View:
    """The view with the lumps at its foot marked that the other view shows to be no part."""
    places, normals = moved(pose, view.cloud.points_mm), turned_by(pose, view.cloud.normals)
    return replace(view, putty=lump_before(view, places, normals, other.target))


def said_of(asked: View, other: View, pose: Array, size_mm: float, tolerance_mm: float) -> Said:
    """What one view's points say of another view.

    What stands at the foot of either view may be putty or table, and is not held against the pose.
    """
    # Nothing farther away than this is beneath and within reach, or pressed.
    aside_mm = max(ASIDE_SPACINGS * other.cloud.spacing_mm, tolerance_mm)
    far_mm = max(1.001 * float(np.hypot(aside_mm, REACH_SHARE * size_mm)), 2.0 * _close_mm(other))
    found = partners(other.target, asked.asked, pose[None], NEIGHBOURS, within_mm=far_mm)
    beneath = beneath_of(found, other.target, tolerance_mm)[0]
    away = found.away_mm[0]
    off = beneath & (np.abs(away) > 2.0 * tolerance_mm) & (np.abs(away) < REACH_SHARE * size_mm)
    hidden, putty = (other.foot | other.putty)[found.index[0]], asked.putty[asked.asked_of]
    mine = asked.asked_foot | putty
    return Said(
        agree=beneath & (np.abs(away) <= tolerance_mm),
        before=_not_alone(off & (away > 0.0) & ~mine, asked),
        behind=_not_alone(off & (away < 0.0) & ~hidden, asked),
        buried=_not_alone(_buried(asked, other, pose, size_mm, ~mine), asked),
        pressed=_not_alone(_pressed(asked, other, pose) & ~hidden, asked),
        putty=putty,
        away_mm=away,
    )


def tolerance_of(found: Partners, target: Target, most_mm: float) -> float:
    """Four spreads of what lies within most_mm of each other."""
    near = beneath_of(found, target, most_mm) & (np.abs(found.away_mm) < most_mm)
    spread = 1.4826 * float(np.median(np.abs(found.away_mm[near]))) if near.any() else most_mm
    return float(np.clip(SPREADS * spread, LEAST_TOLERANCE_MM, most_mm))


def _not_alone(said: BoolArray, view: View) -> BoolArray:
    return np.asarray(said & (said[view.beside].sum(axis=1) >= SAME_AROUND))


def _buried(asked: View, other: View, pose: Array, size_mm: float, among: BoolArray) -> BoolArray:
    """Which of some points, raised off their surface, are right behind one of the other with no wall's end between."""
    behind = _behind(asked, other, pose, size_mm, among)
    buried = np.zeros(len(asked.asked), dtype=bool)
    if len(behind.points):
        back: Array = np.asarray(np.linalg.inv(pose), dtype=np.float64)
        buried[behind.points[~_wall_ends(behind, ((other, np.eye(4)), (asked, back)))]] = True
    return buried


def less_ended(
    said: Said, asked: View, other: View, pose: Array, size_mm: float, thirds: Sequence[tuple[View, Array]]
) -> Said:
    """The same without the buried points between which and the surface before them a third view shows the wall's end.

    A boss inside a box may be seen by one view from below, and the box by another from outside: that its wall ends
    between them neither of the two shows.
    thirds : views, and what takes the other view's points into the frame of each, (4, 4)
    """
    behind = _behind(asked, other, pose, size_mm, said.buried)
    ended = _wall_ends(behind, thirds)
    buried = said.buried.copy()
    buried[behind.points[ended]] = False
    return replace(said, buried=buried)


@dataclass(frozen=True, slots=True)
class _Behind:
    """Points right behind a surface of another view: their numbers, the places before them, the way out, how deep."""

    points: IntArray
    feet: Array
    outward: Array
    deep_mm: Array


def _behind(asked: View, other: View, pose: Array, size_mm: float, among: BoolArray) -> _Behind:
    raised, some = max(RAISED_SHARE * size_mm, 2.0 * other.cloud.spacing_mm), np.flatnonzero(among)
    normals = turned_by(pose, asked.asked.normals)
    places = (moved(pose, asked.asked.points_mm) + raised * normals)[some]
    # Nothing farther away than the deepest is asked for: looking far for a nearest point is what takes time.
    far_mm = DEEP_SHARE * size_mm + raised
    away_mm, index = other.target.tree.query(places, distance_upper_bound=far_mm)
    near = np.isfinite(away_mm)
    index = np.where(near, index, 0)
    feet, outward = other.cloud.points_mm[index], other.cloud.normals[index]
    apart = places - feet
    away = np.einsum("nj,nj->n", apart, outward)
    aside = np.sqrt(np.maximum(np.einsum("nj,nj->n", apart, apart) - away**2, 0.0))
    beneath = aside < max(1.2 * other.cloud.spacing_mm, 0.5 * raised)
    facing = np.einsum("nj,nj->n", normals[some], outward)
    doubtful = np.flatnonzero(
        near
        & beneath
        & ~other.putty[index]
        & (away < -0.5 * raised)
        & (away > -DEEP_SHARE * size_mm)
        & (facing > OPPOSED)
    )
    return _Behind(some[doubtful], feet[doubtful], outward[doubtful], -away[doubtful])


def _wall_ends(behind: _Behind, seers: Sequence[tuple[View, Array]]) -> BoolArray:
    """Whether a surface that faces the other way lies between these points and the surface before them, in some view.

    seers : views, and what takes places into the frame of each
    """
    feet, outward, deep_mm = behind.feet, behind.outward, behind.deep_mm
    ended = np.zeros(len(feet), dtype=bool)
    for view, way in seers:
        out_of_all, top_of_all = turned_by(way, outward), moved(way, feet)
        for share in (0.25, 0.5, 0.75, 1.0):
            open_yet = np.flatnonzero(~ended)
            at = moved(way, feet - share * deep_mm[:, None] * outward)[open_yet]
            out, top = out_of_all[open_yet], top_of_all[open_yet]
            near = view.target.tree.query(at, k=NEIGHBOURS)[1]
            opposed = np.einsum("nkj,nj->nk", view.cloud.normals[near], out) < OPPOSED
            under = np.einsum("nkj,nj->nk", top[:, None] - view.cloud.points_mm[near], out)
            beside = view.cloud.points_mm[near] - top[:, None] + under[:, :, None] * out[:, None]
            close = np.linalg.norm(beside, axis=2) < 2.5 * view.cloud.spacing_mm
            ends = (opposed & close & (under > 0.0) & (under < deep_mm[open_yet, None])).any(axis=1)
            ended[open_yet[ends]] = True
    return ended


def _close_mm(other: View) -> float:
    """How near a place is looked for surface pressed onto it."""
    return NARROWEST_SLOT_MM + 1.5 * other.cloud.spacing_mm


def _pressed(asked: View, other: View, pose: Array) -> BoolArray:
    """Which points, but for those at the foot, are back to back with the other's surface."""
    some = np.flatnonzero(~asked.asked_foot)
    places, normals = moved(pose, asked.asked.points_mm)[some], turned_by(pose, asked.asked.normals)[some]
    distance, near = other.target.tree.query(places, k=NEIGHBOURS, distance_upper_bound=_close_mm(other))
    near = np.where(np.isfinite(distance), near, 0)
    facing = np.einsum("nkj,nj->nk", other.cloud.normals[near], normals)
    facing[~np.isfinite(distance)] = 1.0
    best = np.take_along_axis(near, facing.argmin(axis=1)[:, None], axis=1)[:, 0]
    apart = places - other.cloud.points_mm[best]
    away = np.einsum("nj,nj->n", apart, other.cloud.normals[best])
    aside = np.sqrt(np.maximum(np.einsum("nj,nj->n", apart, apart) - away**2, 0.0))
    back_to_back = facing.min(axis=1) < BACK_TO_BACK
    pressed = np.zeros(len(asked.asked), dtype=bool)
    pressed[some] = (
        back_to_back & (aside < 1.5 * other.cloud.spacing_mm) & (away > -THINNEST_WALL_MM) & (away < NARROWEST_SLOT_MM)
    )
    return pressed


def turned_by(pose: Array, directions: Array) -> Array:
    """Unit directions (n, 3) under a pose that may hold a scale."""
    turned = directions @ pose[:3, :3].T
    return np.asarray(turned / np.maximum(np.linalg.norm(turned, axis=1, keepdims=True), 1e-12))


def unlike(points_mm: Array, one: Array, other: Array) -> float:
    """How far apart two poses put any of these points, mm."""
    off = one - other
    return float(np.linalg.norm(points_mm @ off[:3, :3].T + off[:3, 3], axis=1).max())
