"""Which found planes are pieces of one flat face, cut apart by a rib, a blend or a hole in the scan."""

from collections.abc import Iterable, Sequence

import numpy as np

from verifier.finding.feature import Plane
from verifier.measuring.candidate import Candidate, root_sum_square

# Pieces of one face agree in direction within this angle; the tilt of a small piece is uncertain by about as much.
ONE_FACE_DEG = 2.0
# They lie in one plane within this many standard uncertainties of their distance, and within the flatness of a moulded
# face in any case: two faces with a step of 0.1 mm are two faces.
ONE_FACE_U = 3.0
ONE_FACE_MM = 0.1


def flat_faces(planes: Sequence[Plane]) -> dict[str, str]:
    """Plane name -> name of the largest piece of the face it is part of."""
    largest: list[Plane] = []
    face: dict[str, str] = {}
    for plane in sorted(planes, key=lambda plane: -plane.area_mm2):
        whole = next((other for other in largest if _one_face(plane, other)), plane)
        face[plane.name] = whole.name
        if whole is plane:
            largest.append(plane)
    return face


def surest_of_each_face(candidates: Iterable[Candidate], planes: Sequence[Plane]) -> list[Candidate]:
    """Of the sizes taken to pieces of the same faces, the one of least uncertainty."""
    face = flat_faces(planes)
    surest: dict[tuple[str, ...], Candidate] = {}
    for candidate in sorted(candidates, key=lambda candidate: candidate.u):
        surest.setdefault(tuple(sorted(face.get(name, name) for name in candidate.features)), candidate)
    return list(surest.values())


def _one_face(small: Plane, large: Plane) -> bool:
    if float(small.normal @ large.normal) < np.cos(np.radians(ONE_FACE_DEG)):
        return False
    between = small.centre_mm - large.centre_mm
    lever_mm = float(np.linalg.norm(between))
    u = root_sum_square(small.u_offset_mm, large.u_offset_mm, large.u_tilt_rad * lever_mm)
    return abs(float(large.normal @ between)) < min(ONE_FACE_MM, ONE_FACE_U * u)
