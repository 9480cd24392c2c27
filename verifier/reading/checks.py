"""What must hold of triangles from any format before they are called a scan."""

import numpy as np

from verifier.errors import Malformed, NoTriangles, TooLarge
from verifier.mesh import BoolArray, Mesh, drop_unused_vertices, face_areas_mm2, marked_once
from verifier.reading.colours import Colours
from verifier.reading.file_bytes import EXPORT_AGAIN
from verifier.reading.polygons import MAX_DROPPED_SHARE, corner_missing, too_many_triangles
from verifier.reading.raw_mesh import RawMesh
from verifier.rulebook.rules import Reading

# The smallest unit a file can be in is the micron: numbers beyond this are beyond the limit in every unit.
LARGEST_NUMBER_PER_MM = 1000
# Area is looked for this many faces at a time, and on a sound file found in the first of them.
CHUNK_FACES = 65_536


def checked(raw: RawMesh, where: str, limits: Reading) -> RawMesh:
    """The same triangles without points that none uses and without the few that have a corner at no place.

    Raises NoTriangles, TooLarge, Malformed.
    """
    if len(raw.faces) == 0:
        raise NoTriangles("it has no faces", where=where, do="Export the scan as a mesh, with its surface")
    if len(raw.faces) > limits.max_triangles:
        raise too_many_triangles(len(raw.faces), limits.max_triangles, where)
    if raw.faces.min() < 0 or raw.faces.max() >= len(raw.vertices):
        raise corner_missing(where)
    used = drop_unused_vertices(Mesh(raw.vertices, raw.faces))
    mesh, notices = _finite_only(used, where)
    _refuse_impossible(mesh, limits, where)
    loose = len(raw.vertices) - len(used.vertices_mm)
    if loose:
        notices = (f"{loose:,} points belong to no triangle and were left out.", *notices)
    colours = _colours_of_kept(raw, len(mesh.vertices_mm))
    return RawMesh(mesh.vertices_mm, mesh.faces, raw.unit, raw.notices + notices, colours)


def _colours_of_kept(raw: RawMesh, kept: int) -> Colours | None:
    """Colours of the corners that were kept, in their order; kept : how many they are."""
    if raw.colours is None or kept == len(raw.vertices):
        return raw.colours
    finite: BoolArray = np.asarray(np.isfinite(raw.vertices).all(axis=1))
    sound = finite[raw.faces].all(axis=1)
    return np.asarray(raw.colours[marked_once(raw.faces[sound], len(raw.vertices))])


def _finite_only(mesh: Mesh, where: str) -> tuple[Mesh, tuple[str, ...]]:
    """Leave out the faces with a corner that is no number, if they are few."""
    finite: BoolArray = np.asarray(np.isfinite(mesh.vertices_mm).all(axis=1))
    if finite.all():
        return mesh, ()
    sound = finite[mesh.faces].all(axis=1)
    lost, total = int((~sound).sum()), len(mesh.faces)
    if lost > MAX_DROPPED_SHARE * total:
        what = f"{lost:,} of its {total:,} triangles have a corner that is no number"
        raise Malformed(what, where=where, do=EXPORT_AGAIN)
    kept = drop_unused_vertices(Mesh(mesh.vertices_mm, mesh.faces[sound]))
    return kept, (f"{lost:,} of {total:,} triangles have a corner that is no number and were left out.",)


def _refuse_impossible(mesh: Mesh, limits: Reading, where: str) -> None:
    largest = max(float(mesh.vertices_mm.max()), -float(mesh.vertices_mm.min()))
    if largest > LARGEST_NUMBER_PER_MM * limits.max_coordinate_mm:
        what = f"it has a corner at {largest:.3g}, which is no part in any unit"
        raise TooLarge(what, where=where, do="Delete the stray points in the scan and export it again")
    if not _has_area(mesh):
        raise NoTriangles("its triangles have no area", where=where, do=EXPORT_AGAIN)


def _has_area(mesh: Mesh) -> bool:
    chunks = range(0, len(mesh.faces), CHUNK_FACES)
    return any(face_areas_mm2(Mesh(mesh.vertices_mm, mesh.faces[k : k + CHUNK_FACES])).any() for k in chunks)


def refuse_far_corners(mesh: Mesh, limits: Reading, where: str) -> None:
    """Raise TooLarge for a corner beyond the limit, once the triangles are in millimetres."""
    largest = max(float(mesh.vertices_mm.max()), -float(mesh.vertices_mm.min()))
    if largest > limits.max_coordinate_mm:
        what = f"it has a corner {largest:,.0f} mm from the origin and the limit is {limits.max_coordinate_mm:,.0f} mm"
        raise TooLarge(
            what,
            where=where,
            do="Delete stray points and move the scan to the origin, or put its unit into the part's sheet",
        )
