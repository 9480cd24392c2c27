"""Open loops that go once round a round wall, a bore's or a hub's, and the wall laid out flat."""

from dataclasses import dataclass

import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.loops import RIM_EDGES, loops_of
from verifier.mending.wall_ends import ALONG_WALL, LOOKING_IN, OFF_CIRCLE_SHARE, circle_of, normals_at
from verifier.mesh import Array, IntArray, Mesh, face_normals


@dataclass(frozen=True, slots=True)
class RoundWall:
    """A round wall: frame (3, 3), two directions across its axis and the axis; middle_mm (2,) across it."""

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

    def holds(self, loop_mm: Array, *, ragged: bool = False) -> bool:
        """Whether nine of ten corners of a closed walk lie on it; of a ragged one, that ends a row of faces off it."""
        off_mm = float(np.quantile(np.abs(self.off_mm(loop_mm)), 0.9))
        row_mm = float(np.median(np.linalg.norm(np.roll(loop_mm, -1, axis=0) - loop_mm, axis=1))) if ragged else 0.0
        return off_mm < max(OFF_CIRCLE_SHARE * self.radius_mm, row_mm)

    def times_round(self, loop_mm: Array) -> int:
        """How often a closed walk goes round the axis, anticlockwise."""
        turn = np.unwrap(self.turn_rad(np.concatenate([loop_mm, loop_mm[:1]])))
        return round(float(turn[-1] - turn[0]) / (2.0 * np.pi))


@dataclass(frozen=True, slots=True, eq=False)
class RoundRim:
    """A loop that goes once round its wall.

    sense : 1 anticlockwise about the wall's axis, -1 clockwise
    looks_in : whether it is a bore's wall; a hub's looks out
    """

    loop: IntArray
    wall: RoundWall
    sense: int
    looks_in: bool

    @property
    def end(self) -> Array:
        """The direction along the axis in which the wall ends at this rim, (3,); the surface lies left of the walk."""
        return np.asarray(self.wall.frame[2] * (self.sense if self.looks_in else -self.sense))


@dataclass(frozen=True, slots=True)
class Side:
    """A closed walk laid out flat, back to its first corner: corners (k,), flat_mm (k, 3), beside_mm (k, 3).

    beside_mm : the third corner of the face at each step of the walk; at the last a place beyond the cut
    """

    corners: IntArray
    flat_mm: Array
    beside_mm: Array


def round_rims(draft: Draft) -> list[RoundRim]:
    """Every open loop that goes once round a round wall."""
    return draft.once(_round_rims)


def _round_rims(draft: Draft) -> list[RoundRim]:
    rims = (_round_rim(draft, loop) for loop in loops_of(draft) if len(loop) >= RIM_EDGES)
    return [rim for rim in rims if rim is not None]


def _round_rim(draft: Draft, loop: IntArray) -> RoundRim | None:
    """The loop as a rim of the wall whose faces are at it; None where they do not lie along an axis, all round it."""
    normals = normals_at(draft, loop)
    axis = np.linalg.svd(normals, full_matrices=False)[2][2]
    return rim_in(draft, loop, frame_along(axis)) if np.square(normals @ axis).mean() <= ALONG_WALL else None


def frame_along(axis: Array) -> Array:
    """Three directions of a right-handed frame, a row each, the third along an axis."""
    first, second = np.linalg.svd(axis[None])[2][1:]
    return np.vstack([first, second, axis] if np.cross(first, second) @ axis > 0.0 else [second, first, axis])


def wall_about(frame: Array, points_mm: Array) -> RoundWall:
    """The wall about the frame's third axis that lies nearest to points all round it."""
    return RoundWall(frame, *circle_of(*(points_mm @ frame[:2].T).T))


def rim_in(draft: Draft, loop: IntArray, frame: Array) -> RoundRim | None:
    """The loop as a rim of a wall about the frame's axis; None where it is no circle, or goes round more than once."""
    loop_mm = draft.mesh.vertices_mm[draft.edges.start[loop]]
    across, wall = frame[:2], wall_about(frame, loop_mm)
    spokes = (loop_mm @ across.T - wall.middle_mm) @ across
    own = face_normals(Mesh(draft.mesh.vertices_mm, draft.mesh.faces[loop // 3]))
    looking_in = float(np.mean(np.einsum("qx,qx->q", own, spokes) < 0.0))
    sense = wall.times_round(loop_mm)
    if max(looking_in, 1.0 - looking_in) <= LOOKING_IN or not wall.holds(loop_mm) or abs(sense) != 1:
        return None
    return RoundRim(loop, wall, sense, looking_in > LOOKING_IN)


def side_of(draft: Draft, wall: RoundWall, loop: IntArray, sense: int, start_rad: float) -> Side:
    """A rim walked in this sense, laid out flat so that it begins as near as may be to where the cut is."""
    corners = np.append(draft.edges.start[loop], draft.edges.start[loop[0]])
    corners_mm = draft.mesh.vertices_mm[corners]
    third_mm = draft.mesh.vertices_mm[draft.mesh.faces[loop // 3, (loop + 2) % 3]]
    turn = np.unwrap(wall.turn_rad(corners_mm))
    turn += 2.0 * np.pi * np.round((start_rad - turn[0]) / (2.0 * np.pi))
    turn_third = turn[:-1] + np.angle(np.exp(1j * (wall.turn_rad(third_mm) - turn[:-1])))
    flat_mm = wall.laid_out(corners_mm, turn)
    beyond_mm = flat_mm[-1] + np.array([sense * np.linalg.norm(flat_mm[1] - flat_mm[0]), 0.0, 0.0])
    return Side(corners, flat_mm, np.vstack([wall.laid_out(third_mm, turn_third), beyond_mm]))
