"""A worn side made anew as the mirror image of the sound one."""

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from verifier.correcting.reshaping.mirror_plane import MirrorPlane, mirror_plane
from verifier.correcting.reshaping.names import Names
from verifier.correcting.reshaping.section import Divided, clear_of_corners_mm, divided_at
from verifier.correcting.reshaping.work import NEW, CannotReshape, Work
from verifier.mesh import Array, IntArray, Mesh, marked_once
from verifier.rulebook.reshape_row import Reshape

# Sound places of two sides agree within this and three times the scan's scatter, or the part has no mirrored sides.
SIDES_AGREE_MM = 0.15
SCATTERS = 3.0
COMPARED = 20_000
# Below this share of the volume, what one side has more than the other may be the scan's scatter.
LEAST_WEAR_SHARE = 0.002


def restored(work: Work, wanted: Reshape, names: Names) -> tuple[Work, str]:
    """The part with its worn half replaced by the other one, mirrored; and what was done, a sentence.

    Raises CannotReshape where the part has no two sides alike.
    """
    plane = _plane(work, wanted)
    heights = work.mesh.vertices_mm @ plane.normal - plane.offset_mm
    divided = divided_at(work.mesh, heights, clear_of_corners_mm(heights, 0.0))
    at_mm = float(divided.crossing.points_mm.mean(axis=0) @ plane.normal)
    plane = replace(plane, offset_mm=at_mm)
    sound = _sound_side(work, wanted, names, plane, divided)
    kept = divided.above if sound > 0 else ~divided.above
    mesh, source = _doubled(divided.mesh, divided.first, divided.mesh.faces[kept], divided.source[kept], plane)
    worst_mm, worst_at = _greatest_change(divided.mesh, divided.mesh.faces[kept], divided.mesh.faces[~kept], plane)
    # What lay on the worn side is not what was measured any more.
    lost = frozenset(
        name
        for name, points in work.places.items()
        if (sound * (points @ plane.normal - plane.offset_mm) < -SIDES_AGREE_MM).any()
    )
    again = replace(work.with_faces(mesh, source, source == NEW), lost=work.lost | lost)
    x, y, z = worst_at
    which = "worn side" if wanted.worn is None else f"side of '{wanted.worn}'"
    said = (
        f"The {which} is made anew from the other one, mirrored; the greatest change is"
        f" {worst_mm:.2f} mm, at ({x:.1f}, {y:.1f}, {z:.1f}) mm of the scan. The two sides' sound places agree within"
        f" {plane.rms_mm:.2f} mm."
    )
    return again, said


def _plane(work: Work, wanted: Reshape) -> MirrorPlane:
    extent = work.extent(wanted.across or "length")
    start_mm = float(extent.ends_mm.mean(axis=0) @ extent.direction)
    plane = mirror_plane(work.mesh, extent.direction, start_mm)
    noise = work.found.noise
    allowed_mm = SIDES_AGREE_MM + SCATTERS * float(np.hypot(noise.white_mm, noise.correlated_mm))
    turned_deg = float(np.degrees(np.arccos(min(1.0, abs(float(plane.normal @ extent.direction))))))
    if plane.rms_mm > allowed_mm or turned_deg > 20.0:
        raise CannotReshape(
            f"its two sides are no mirror images: the best-agreeing places differ by {plane.rms_mm:.2f} mm",
            "Take the line out, or name another direction with across",
        )
    return plane


def _sound_side(work: Work, wanted: Reshape, names: Names, plane: MirrorPlane, divided: Divided) -> float:
    """1 where the side the plane looks to is the sound one, else -1: as the sheet says, or the one with more to it.

    Raises CannotReshape where neither tells.
    """
    if wanted.worn is None:
        more_mm3, whole_mm3 = _more_beyond_mm3(divided, plane)
        if abs(more_mm3) < LEAST_WEAR_SHARE * whole_mm3:
            why = f"its two sides differ by {abs(more_mm3):.0f} mm³ only, and which one is worn cannot be told"
            raise CannotReshape(why, 'Add worn = "…" with a bore or boss on the worn side')
        return float(np.sign(more_mm3))
    cylinder = names.cylinder(work, wanted.worn)
    height_mm = float(cylinder.axis_point_mm @ plane.normal) - plane.offset_mm
    if abs(height_mm) < cylinder.diameter_mm / 2.0:
        why = f"'{wanted.worn}' lies in the middle, on neither side"
        raise CannotReshape(why, "Name a bore or boss on the worn side")
    return -float(np.sign(height_mm))


def _more_beyond_mm3(divided: Divided, plane: MirrorPlane) -> tuple[float, float]:
    """How much more volume lies on the side the plane looks to, and the whole.

    Seen from a point of the plane the cut face between the two sides adds nothing to either.
    """
    seen = divided.mesh.vertices_mm - plane.offset_mm * plane.normal
    a, b, c = (seen[divided.mesh.faces[:, k]] for k in range(3))
    volumes = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0
    beyond, whole = float(volumes[divided.above].sum()), float(volumes.sum())
    return 2.0 * beyond - whole, whole


def _doubled(mesh: Mesh, first: int, faces: IntArray, source: IntArray, plane: MirrorPlane) -> tuple[Mesh, IntArray]:
    """The kept faces and their mirror image, joined along the cut; and where each face comes from."""
    count = len(mesh.vertices_mm)
    vertices = mesh.vertices_mm.copy()
    on_cut = vertices[first:]
    vertices[first:] = 0.5 * (on_cut + plane.mirrored(on_cut))
    twin = np.arange(count)
    twin[:first] += count
    both = np.concatenate([faces, twin[faces[:, ::-1]]])
    corners = np.concatenate([vertices, plane.mirrored(vertices)])
    return Mesh(corners, both), np.concatenate([source, np.full(len(faces), NEW)])


def _greatest_change(mesh: Mesh, kept: IntArray, worn: IntArray, plane: MirrorPlane) -> tuple[float, Array]:
    """How far the worn side lies from what replaces it at most, and where, from evenly taken corners."""
    new = plane.mirrored(mesh.vertices_mm[marked_once(kept, len(mesh.vertices_mm))])
    old = mesh.vertices_mm[marked_once(worn, len(mesh.vertices_mm))]
    worst_mm, worst_at = 0.0, old[0]
    for one, other in ((old, new), (new, old)):
        asked = one[:: max(1, len(one) // COMPARED)]
        away = cKDTree(other).query(asked)[0]
        if float(away.max()) > worst_mm:
            worst_mm, worst_at = float(away.max()), asked[int(np.argmax(away))]
    return worst_mm, np.asarray(worst_at)
