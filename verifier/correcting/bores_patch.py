"""New faces in place of a bore's scanned ones: a true wall from mouth to mouth, a blind hole, or a flush filling."""

from dataclasses import dataclass

import numpy as np

from verifier.correcting.bores_mouth import ring_faces, surface_at
from verifier.correcting.bores_opening import Around, CannotRebuild, Mouth, Opening
from verifier.correcting.bores_polygon import corners_round
from verifier.correcting.bores_seat import SeatCut
from verifier.mesh import Array, IntArray

# Between two mouths nearer than this there is no bore to speak of.
LEAST_DEPTH_MM = 0.3

# A dimple that a drill finds its middle by: a cone of 90 degrees, three strands wide. Common practice, no source.
MARK_ACROSS_MM = 1.2
MARK_SHARE_OF_BORE = 0.5
MARK_SIDES = 24

# A countersunk head sits true only where the rim of its seat is level; a lean of 2 degrees on 9 mm.
LEVEL_WITHIN_MM = 0.3


@dataclass(frozen=True, slots=True)
class Patch:
    """Faces that replace others.

    removed : (k,) faces of the mesh
    corners_mm : (n, 3) new corners
    faces : (m, 3) numbers below the mesh's corner count are corners of the mesh, those above are the new ones
    depth_mm : of the bore, None for a filling; through : open at both ends
    """

    removed: IntArray
    corners_mm: Array
    faces: IntArray
    depth_mm: float | None
    through: bool


@dataclass(slots=True)
class _Draft:
    """Corners and faces as they are added."""

    around: Around
    removed: IntArray
    local_mm: list[Array]
    faces: list[IntArray]
    sunk: frozenset[int] = frozenset()

    def add(self, local_mm: Array) -> IntArray:
        """Add corners in the axis' frame; their numbers."""
        first = len(self.around.local_mm) + sum(len(part) for part in self.local_mm)
        self.local_mm.append(local_mm)
        return first + np.arange(len(local_mm))

    def patch(self, depth_mm: float | None, *, through: bool) -> Patch:
        """What was added, in the mesh's frame."""
        corners_mm = self.around.back_mm(np.concatenate(self.local_mm))
        return Patch(self.removed, corners_mm, np.concatenate(self.faces), depth_mm, through)


def bored(
    around: Around,
    opening: Opening,
    diameter_mm: float,
    sides: int,
    seat: SeatCut | None = None,
    sunk: frozenset[int] = frozenset(),
) -> Patch:
    """The bore with a true wall of this diameter across its flats, as deep as it was, or from its seat on.

    sunk : which way the mouths look that open in a countersink as scanned, +1 along the axis
    A countersunk seat has the bore's sides. Raises CannotRebuild.
    """
    draft = _Draft(around, opening.faces, [], [], sunk)
    across_mm = corners_round(diameter_mm, sides)
    depths = [_channel(draft, low, high, across_mm, seat) for low, high in opening.channels]
    depths += [_blind(draft, mouth, floor_mm, across_mm, seat) for mouth, floor_mm in opening.blind]
    return draft.patch(sum(depths), through=not opening.blind)


def filled(around: Around, opening: Opening, bore_mm: float) -> Patch:
    """The bore filled flush, with a pilot mark in every mouth. Raises CannotRebuild."""
    draft = _Draft(around, opening.faces, [], [])
    mark_mm = min(MARK_ACROSS_MM, MARK_SHARE_OF_BORE * bore_mm)
    for mouth in (
        *(mouth for channel in opening.channels for mouth in channel),
        *(mouth for mouth, _ in opening.blind),
    ):
        ring, heights = _rim(draft, mouth, corners_round(mark_mm, MARK_SIDES))
        tip = draft.add(_seen_from(mouth, np.array([[0.0, 0.0, heights.mean() - mark_mm / 2.0]])))
        draft.faces.append(np.column_stack([ring, np.roll(ring, -1), np.full(len(ring), tip[0])]))
    return draft.patch(None, through=False)


def _channel(draft: _Draft, low: Mouth, high: Mouth, across_mm: Array, seat: SeatCut | None) -> float:
    """A wall between two mouths; its depth."""
    top, top_mm = _end(draft, high, across_mm, seat)
    # Seen from the lower mouth the same corners run clockwise.
    bottom, bottom_mm = _end(draft, low, (across_mm * [1.0, -1.0])[::-1], seat)
    depths = top_mm + bottom_mm[::-1]
    if seat is not None and (seat.mouth is low or seat.mouth is high):
        seat.see_floor(depths)
    draft.faces.append(_wall(top, bottom[::-1], depths))
    return float(depths.mean())


def _blind(draft: _Draft, mouth: Mouth, floor_mm: float, across_mm: Array, seat: SeatCut | None) -> float:
    """A wall from one mouth to a flat floor; its depth."""
    top, top_mm = _end(draft, mouth, across_mm, seat)
    floor_seen_mm = mouth.outward * floor_mm
    if seat is not None and seat.mouth is mouth:
        seat.see_floor(top_mm - floor_seen_mm)
    floor = draft.add(_seen_from(mouth, _at_height(np.vstack([across_mm, [0.0, 0.0]]), floor_seen_mm)))
    ring, middle = floor[:-1], floor[-1]
    draft.faces.append(_wall(top, ring, top_mm - floor_seen_mm))
    draft.faces.append(np.column_stack([ring, np.roll(ring, -1), np.full(len(ring), middle)]))
    return float(top_mm.mean() - floor_seen_mm)


def _end(draft: _Draft, mouth: Mouth, across_mm: Array, seat: SeatCut | None) -> tuple[IntArray, Array]:
    """Where the bore begins at a mouth: on its surface, or beneath its seat; the polygon's numbers and heights."""
    if seat is None or seat.mouth is not mouth:
        return _rim(draft, mouth, across_mm)
    return (_cone if seat.outline.is_cone else _pocket)(draft, mouth, across_mm, seat)


def _cone(draft: _Draft, mouth: Mouth, across_mm: Array, seat: SeatCut) -> tuple[IntArray, Array]:
    """A wall that narrows from the seat's width to the bore."""
    ring, heights = _rim(draft, mouth, _widened(across_mm, seat))
    if np.ptp(heights) > LEVEL_WITHIN_MM:
        raise CannotRebuild("the face round its mouth is not square to it, and a countersunk head would sit askew")
    level = np.full(len(across_mm), heights.min() - seat.deep_mm)
    bottom = draft.add(_seen_from(mouth, np.column_stack([across_mm, level])))
    draft.faces.append(_wall(ring, bottom, heights - level))
    return bottom, level


def _widened(across_mm: Array, seat: SeatCut) -> Array:
    """The bore's polygon made as wide as the seat, corner for corner."""
    apothem_mm = float(np.linalg.norm(across_mm[0] + across_mm[1])) / 2.0
    return across_mm * (0.5 * seat.outline.across_mm / apothem_mm)


def _pocket(draft: _Draft, mouth: Mouth, across_mm: Array, seat: SeatCut) -> tuple[IntArray, Array]:
    """An upright wall and a flat floor, as deep as wanted where its rim is lowest."""
    wide_mm = corners_round(seat.outline.across_mm, seat.outline.sides)
    ring, heights = _rim(draft, mouth, wide_mm)
    level_mm = float(heights.min()) - seat.deep_mm
    floor, bore = (draft.add(_seen_from(mouth, _at_height(part, level_mm))) for part in (wide_mm, across_mm))
    draft.faces.append(_wall(ring, floor, heights - level_mm))
    draft.faces.append(np.concatenate([floor, bore])[ring_faces(wide_mm, across_mm)])
    return bore, np.full(len(across_mm), level_mm)


def _rim(draft: _Draft, mouth: Mouth, across_mm: Array) -> tuple[IntArray, Array]:
    """Faces from a mouth's loop to a polygon on the surface it opens on; the polygon's numbers and heights.

    across_mm : (n, 2) anticlockwise as seen from outside, and heights count outwards
    """
    around = draft.around
    surface = surface_at(around, mouth, draft.removed, sunk=mouth.outward in draft.sunk)
    heights = mouth.outward * surface.height_mm(across_mm * [1.0, mouth.outward])
    ring = draft.add(_seen_from(mouth, np.column_stack([across_mm, heights])))
    loop_mm = _seen_from(mouth, around.local_mm[mouth.loop])[:, :2]
    draft.faces.append(np.concatenate([mouth.loop, ring])[ring_faces(loop_mm, across_mm)])
    return ring, heights


def _wall(top: IntArray, bottom: IntArray, depths_mm: Array) -> IntArray:
    """Two triangles a side between two rings, the upper anticlockwise seen from above; they face the axis."""
    if depths_mm.min() < LEAST_DEPTH_MM:
        raise CannotRebuild("its two ends are too near each other")
    ahead, below = np.roll(top, -1), np.roll(bottom, -1)
    return np.concatenate([np.column_stack([top, below, bottom]), np.column_stack([top, ahead, below])])


def _seen_from(mouth: Mouth, local_mm: Array) -> Array:
    """Between the axis' frame and that of someone who looks into the mouth, either way."""
    return local_mm * [1.0, mouth.outward, mouth.outward]


def _at_height(across_mm: Array, height_mm: float) -> Array:
    return np.column_stack([across_mm, np.full(len(across_mm), height_mm)])
