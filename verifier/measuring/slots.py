"""Sizes of slots: how wide they are, also where only two faces are left of one, and how long."""

from collections.abc import Iterable
from itertools import combinations

import numpy as np

from verifier.finding.feature import Features, Slot
from verifier.measuring.candidate import Candidate
from verifier.measuring.faces import gap_between
from verifier.measuring.flats import surest_of_each_face
from verifier.mesh import Array, IntArray
from verifier.rulebook.sheet import SheetRow


def width_candidates(features: Features, row: SheetRow) -> list[Candidate]:
    """Slots between their flats, and the room between two faces that look at each other, as in a fork."""
    slots = [
        Candidate(s.width_mm, s.u_width_mm, -2, (s.name,), _ends(s, s.width_mm, across=True), s.seen_share)
        for s in features.slots
    ]
    within = sides_of_slots(features)
    pairs = ((a, b) for a, b in combinations(features.planes, 2) if not {a.name, b.name} & within)
    gaps = (gap for gap in (gap_between(a, b) for a, b in pairs) if gap is not None)
    return slots + surest_of_each_face(gaps, features.planes)


def length_candidates(features: Features, row: SheetRow) -> list[Candidate]:
    """Slots from end to end."""
    return [
        Candidate(s.length_mm, s.u_length_mm, -2, (s.name,), _ends(s, s.length_mm, across=False), s.seen_share)
        for s in features.slots
    ]


def _ends(slot: Slot, size_mm: float, *, across: bool) -> Array:
    way = np.cross(slot.axis, slot.along) if across else slot.along
    return np.stack([slot.centre_mm - 0.5 * size_mm * way, slot.centre_mm + 0.5 * size_mm * way])


def sides_of_slots(features: Features) -> set[str]:
    """Names of the planes that are a slot's own sides: most of their faces are the slot's."""
    return {plane.name for plane in features.planes if _shares_faces(plane.faces, (s.faces for s in features.slots))}


def _shares_faces(faces: IntArray, others: Iterable[IntArray]) -> bool:
    return any(len(np.intersect1d(faces, other)) > 0.3 * len(faces) > 0 for other in others)
