"""A belt of a bore's wall that was not seen: joined from rim to rim on the wall laid out flat, however the rims slant.

______________________
    \\\\  not seen  \\\\          a disc over each rim would shut the bore, and no ring across the axis
_____\\\\___________\\\\___       lies between the two
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.spatial import cKDTree

from verifier.mending.discs import disc_over
from verifier.mending.draft import Draft
from verifier.mending.loops import RIM_EDGES, open_loops
from verifier.mending.new_faces import NewFaces, sewn_in
from verifier.mending.rims import FACING_COSINE, UNSEEN_WALL, nearest_pairs, runs_through
from verifier.mending.wall_ends import ALONG_WALL, LOOKING_IN, OFF_CIRCLE_SHARE, circle_of, normals_at
from verifier.mesh import Array, IntArray, Mesh, face_normals

# Rims farther apart than this many radii are those of a tunnel, or of two bores in one line with air between.
NEAR_RADII = 2.0


@dataclass(frozen=True, slots=True)
class _Wall:
    """The wall of a bore: frame (3, 3), two directions across its axis and the axis; middle_mm (2,) across it."""

    frame: Array
    middle_mm: Array
    radius_mm: float

    def turn_rad(self, points_mm: Array) -> Array:
        """Where round the axis points lie, (n,)."""
        x, y = (points_mm @ self.frame[:2].T - self.middle_mm).T
        return np.asarray(np.arctan2(y, x))

    def off_mm(self, points_mm: Array) -> Array:
        """How far outside the wall points lie, (n,)."""
        return np.asarray(np.linalg.norm(points_mm @ self.frame[:2].T - self.middle_mm, axis=1) - self.radius_mm)

    def laid_out(self, points_mm: Array, turn_rad: Array) -> Array:
        """Points as the wall is laid out flat: way round, height, and how far outside it, (n, 3)."""
        return np.column_stack([self.radius_mm * turn_rad, points_mm @ self.frame[2], self.off_mm(points_mm)])

    def rolled_up(self, flat_mm: Array) -> Array:
        """The points that lie there when it is laid out flat, (n, 3)."""
        turn_rad, away_mm = flat_mm[:, 0] / self.radius_mm, self.radius_mm + flat_mm[:, 2]
        across = self.middle_mm + away_mm[:, None] * np.column_stack([np.cos(turn_rad), np.sin(turn_rad)])
        return np.asarray(across @ self.frame[:2] + flat_mm[:, 1:2] * self.frame[2])


@dataclass(frozen=True, slots=True)
class _Rim:
    """A loop that goes once round its wall: sense 1 anticlockwise about the wall's axis, -1 clockwise."""

    loop: IntArray
    wall: _Wall
    sense: int


@dataclass(frozen=True, slots=True)
class _Side:
    """A rim laid out flat, walked back to its first corner: corners (k,), flat_mm (k, 3), beside_mm (k, 3).

    beside_mm : the third corner of the face at each step of the walk; at the last a place beyond the cut
    """

    corners: IntArray
    flat_mm: Array
    beside_mm: Array


def close_belts(draft: Draft) -> Draft:
    """Join the two rims of every belt of a bore's wall that was not seen; none that would run through the part."""
    rims = [rim for loop in open_loops(draft.edges) if (rim := _rim_round_wall(draft, loop)) is not None]
    belts = [_belt(draft, one, other) for one, other in _pairs(draft, rims)]
    return sewn_in(draft, [belt for belt in belts if not runs_through(draft, belt)], UNSEEN_WALL)


def _rim_round_wall(draft: Draft, loop: IntArray) -> _Rim | None:
    """The loop as a rim that goes once round a bore's wall; None for any other loop."""
    loop_mm = draft.mesh.vertices_mm[draft.edges.start[loop]]
    wall = _wall_around(draft, loop, loop_mm) if len(loop) >= RIM_EDGES else None
    if wall is None:
        return None
    turn = np.unwrap(wall.turn_rad(np.concatenate([loop_mm, loop_mm[:1]])))
    times = round(float(turn[-1] - turn[0]) / (2.0 * np.pi))
    return _Rim(loop, wall, times) if abs(times) == 1 else None


def _wall_around(draft: Draft, loop: IntArray, loop_mm: Array) -> _Wall | None:
    """The wall that the faces at a loop are of; None where they do not lie along an axis and look towards it."""
    normals = normals_at(draft, loop)
    axis = np.linalg.svd(normals, full_matrices=False)[2][2]
    if np.square(normals @ axis).mean() > ALONG_WALL:
        return None
    across = np.linalg.svd(axis[None])[2][1:]
    frame = np.vstack([across, np.cross(across[0], across[1])])
    wall = _Wall(frame, *circle_of(*(loop_mm @ across.T).T))
    spokes = (loop_mm @ across.T - wall.middle_mm) @ across
    own = face_normals(Mesh(draft.mesh.vertices_mm, draft.mesh.faces[loop // 3]))
    looks_in = np.mean(np.einsum("qx,qx->q", own, spokes) < 0.0) > LOOKING_IN
    return wall if looks_in and _lies_on(wall, loop_mm) else None


def _lies_on(wall: _Wall, points_mm: Array) -> bool:
    return bool(np.quantile(np.abs(wall.off_mm(points_mm)), 0.9) < OFF_CIRCLE_SHARE * wall.radius_mm)


def _pairs(draft: Draft, rims: Sequence[_Rim]) -> list[tuple[_Rim, _Rim]]:
    """Rims of one wall, the nearest first, every rim once."""
    found = nearest_pairs(
        (apart_mm, i, j)
        for i, j in combinations(range(len(rims)), 2)
        if (apart_mm := _apart_on_one_wall_mm(draft, rims[i], rims[j])) is not None
    )
    return [(rims[i], rims[j]) for i, j in found]


def _apart_on_one_wall_mm(draft: Draft, one: _Rim, other: _Rim) -> float | None:
    """How near two rims come to each other; None where they are not of one wall, walked against each other."""
    along = float(one.wall.frame[2] @ other.wall.frame[2])
    near_mm, far_mm = (draft.mesh.vertices_mm[draft.edges.start[rim.loop]] for rim in (one, other))
    if abs(along) < FACING_COSINE or one.sense == other.sense * np.sign(along) or not _lies_on(one.wall, far_mm):
        return None
    apart_mm = float(cKDTree(near_mm).query(far_mm)[0].min())
    return apart_mm if apart_mm < NEAR_RADII * one.wall.radius_mm else None


def _belt(draft: Draft, one: _Rim, other: _Rim) -> NewFaces:
    """Faces from rim to rim, on the wall cut open where they are nearest to each other and laid out flat.

    The two sides of the cut are one edge, walked both ways.
    """
    near_mm, far_mm = (draft.mesh.vertices_mm[draft.edges.start[rim.loop]] for rim in (one, other))
    away_mm, nearest = cKDTree(far_mm).query(near_mm)
    first = int(away_mm.argmin())
    near = _side(draft, one.wall, np.roll(one.loop, -first), one.sense, 0.0)
    cut_rad = float(near.flat_mm[-1, 0]) / one.wall.radius_mm
    far = _side(draft, one.wall, np.roll(other.loop, -int(nearest[first])), -one.sense, cut_rad)
    disc = disc_over(*(np.concatenate(both) for both in ((near.flat_mm, far.flat_mm), (near.beside_mm, far.beside_mm))))
    numbers = np.concatenate([near.corners, far.corners, -1 - np.arange(len(disc.inside_mm))])
    return NewFaces(one.wall.rolled_up(disc.inside_mm), numbers[disc.faces])


def _side(draft: Draft, wall: _Wall, loop: IntArray, sense: int, start_rad: float) -> _Side:
    """A rim walked in this sense, laid out flat so that it begins as near as may be to where the cut is."""
    corners = np.append(draft.edges.start[loop], draft.edges.start[loop[0]])
    corners_mm = draft.mesh.vertices_mm[corners]
    third_mm = draft.mesh.vertices_mm[draft.mesh.faces[loop // 3, (loop + 2) % 3]]
    turn = np.unwrap(wall.turn_rad(corners_mm))
    turn += 2.0 * np.pi * np.round((start_rad - turn[0]) / (2.0 * np.pi))
    turn_third = turn[:-1] + np.angle(np.exp(1j * (wall.turn_rad(third_mm) - turn[:-1])))
    flat_mm = wall.laid_out(corners_mm, turn)
    beyond_mm = flat_mm[-1] + np.array([sense * np.linalg.norm(flat_mm[1] - flat_mm[0]), 0.0, 0.0])
    return _Side(corners, flat_mm, np.vstack([wall.laid_out(third_mm, turn_third), beyond_mm]))
