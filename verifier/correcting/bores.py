"""Bores as the sheet wants them, rebuilt at their size or filled to be drilled; the rest of the part stays."""

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from verifier.correcting.bores_axis import rebuilding_axis
from verifier.correcting.bores_found import FoundMouth, mouths_of
from verifier.correcting.bores_opening import CannotRebuild, Reach, look_around, opening_of
from verifier.correcting.bores_patch import Patch, bored, filled
from verifier.correcting.bores_polygon import corner_radius_mm, sides_for
from verifier.correcting.bores_seat import SeatCut, seat_cut, seat_outline, seated_ends
from verifier.correcting.correction import Correction
from verifier.finding.feature import Cylinder, Features, Plane
from verifier.measuring.size import Size
from verifier.mending.check import as_written, judge_as_numbered
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Array, BoolArray, IntArray, Mesh, drop_unused_vertices
from verifier.rulebook import Hole, Printer

# A scanner rounds the rim of every mouth over about its point spacing, and so much further out the face is the face.
RIM_MM = 0.4
# Of the wall's corners this share lies within its radius; the rest are specks and rims.
WALL_SHARE = 0.98

WHICH_ONE = "which bore it is cannot be told"


@dataclass(frozen=True, slots=True)
class RebuiltBore:
    """One bore of the sheet that was to be rebuilt.

    row, feature : names in the sheet and among the features, '' for one that was not found
    on_copy_mm : diameter across its flats on the copy, the printer's allowance included; None for a filling
    sides : of its polygon, 0 for a filling
    depth_mm : None for a filling
    upright : it prints as a round hole
    seat : what was cut at a mouth; depth_mm then counts from there
    gone : countersinks and counterbores that were found at its mouths and made anew or filled with it
    why_not : completes 'it could not be rebuilt: …', '' where it was
    """

    row: str
    feature: str
    hole: Hole
    on_copy_mm: float | None = None
    sides: int = 0
    depth_mm: float | None = None
    through: bool = False
    upright: bool = False
    seat: SeatCut | None = None
    gone: tuple[str, ...] = ()
    why_not: str = ""

    @property
    def made(self) -> bool:
        """Whether the copy has it as the sheet wants it."""
        return not self.why_not

    @property
    def printed_mm(self) -> float | None:
        """Diameter expected on the print; None for a filling and for a bore that was left."""
        return self.hole.diameter_mm if self.made and self.on_copy_mm is not None else None


def rebuilt_bore(size: Size, bores: Sequence[RebuiltBore]) -> RebuiltBore | None:
    """What became of the bore that a row's diameter is taken of; None for other rows and for bores that are kept.

    Of several that one row stands for, one that could not be made comes first.
    """
    own = [bore for bore in bores if bore.row == size.name or (size.walls == -2 and bore.feature in size.features)]
    return min(own, key=lambda bore: bore.made, default=None)


def made_anew_with(size: Size, bores: Sequence[RebuiltBore]) -> RebuiltBore | None:
    """The rebuilt bore whose countersink or counterbore a row is of, where that is not as it was scanned any more."""
    return next((bore for bore in bores if bore.made and set(bore.gone).intersection(size.features)), None)


@dataclass(frozen=True, slots=True)
class BoreWork:
    """The copy with its bores rebuilt, and what became of each.

    of_copy : (m,) the face of the copy each face is, -1 for a new one; None where they are the same
    """

    solid: Solid
    bores: tuple[RebuiltBore, ...] = ()
    of_copy: IntArray | None = None


def rebuild_bores(
    copy: Solid,
    found: Features,
    sizes: Sequence[Size],
    holes: Mapping[str, Hole],
    correction: Correction,
    printer: Printer,
    upright: frozenset[str],
) -> BoreWork:
    """Rebuild every bore that has a hole to become; faces and corners away from it stay to the last bit.

    copy : without scale and coat, its faces those of the solid in which the features were found
    holes : by the sheet's rows
    upright : names of the bores that print as round holes; only these get the printer's allowance
    A bore that cannot be rebuilt stays as scanned, and says why.
    """
    scale = correction.scale_taken
    bores = {bore.name: bore for bore in found.bores}
    taken: BoolArray = np.zeros(len(copy.mesh.faces), dtype=bool)
    patches: list[Patch] = []
    told: list[RebuiltBore] = []
    for wanted in _asked_for(sizes, holes):
        patch, outcome = None, wanted
        if wanted.made:
            outcome = replace(wanted, upright=wanted.feature in upright)
            bore = bores[wanted.feature]
            bore = replace(bore, axis=rebuilding_axis(bore, found.planes))
            patch, outcome = _rebuilt(copy.mesh, bore, found, scale, outcome, printer, taken)
        if patch is not None:
            taken[patch.removed] = True
            patches.append(patch)
        told.append(outcome)
    if not patches:
        return BoreWork(copy, tuple(told))
    whole = _patched(copy, patches, taken)
    kept = np.flatnonzero(~taken)
    new = np.full(len(whole.mesh.faces) - len(kept), -1)
    return BoreWork(whole, tuple(told), np.concatenate([kept, new]))


def _asked_for(sizes: Sequence[Size], holes: Mapping[str, Hole]) -> list[RebuiltBore]:
    """Every bore a row stands for, once; where the sheet cannot tell which bore is which, none is touched."""
    wanted: dict[str, list[RebuiltBore]] = {}
    missing = []
    for size in sizes:
        if size.name not in holes:
            continue
        if size.measured_mm is None:
            missing.append(RebuiltBore(size.name, "", holes[size.name], why_not="it was not found on the scan"))
        for feature in size.set_features or size.features:
            unsure = WHICH_ONE if size.alternatives_mm or _names_too_few(size, sizes) else ""
            wanted.setdefault(feature, []).append(RebuiltBore(size.name, feature, holes[size.name], why_not=unsure))
    kept = {feature for size in sizes if size.walls == -2 and size.name not in holes for feature in size.set_features}
    return [_agreed(rows, kept) for rows in wanted.values()] + missing


def _names_too_few(size: Size, sizes: Sequence[Size]) -> bool:
    """Whether fewer rows than equal bores may mean any of them, so that others than the one meant would be changed."""
    rows = sum(other.walls == size.walls and other.set_features == size.set_features for other in sizes)
    return rows < len(size.set_features)


def _agreed(rows: Sequence[RebuiltBore], kept: Container[str]) -> RebuiltBore:
    """One bore that one row stands for, or several that want the same of it.

    kept : features that may be those of a row that wants nothing done
    """
    same = all(row.hole == rows[0].hole for row in rows) and rows[0].feature not in kept
    return rows[0] if same else replace(rows[0], why_not=WHICH_ONE)


def _rebuilt(
    mesh: Mesh,
    bore: Cylinder,
    found: Features,
    scale: float,
    wanted: RebuiltBore,
    printer: Printer,
    taken: BoolArray,
) -> tuple[Patch | None, RebuiltBore]:
    """The faces of one bore as it should be; none, and the reason, where that cannot be."""
    try:
        patch, made = _patch(mesh, bore, found, scale, wanted, printer)
        check_exchange(mesh, patch)
    except CannotRebuild as error:
        return None, replace(wanted, why_not=str(error))
    if taken[patch.removed].any():
        return None, replace(wanted, why_not="it lies too near another one that is rebuilt")
    return patch, made


def _patch(
    mesh: Mesh, bore: Cylinder, found: Features, scale: float, wanted: RebuiltBore, printer: Printer
) -> tuple[Patch, RebuiltBore]:
    mouths = mouths_of(bore, found, scale)
    if wanted.hole.use == "drill" or wanted.hole.diameter_mm is None:
        point_mm = bore.axis_point_mm / scale
        wall_mm = _wall_radius_mm(mesh, bore, point_mm)
        reach = _reach(wall_mm, mouths)
        around = look_around(mesh, point_mm, bore.axis, max(reach))
        gone = tuple(mouth.name for mouth in mouths)
        return filled(around, opening_of(around, bore.faces, reach), 2.0 * wall_mm), replace(wanted, gone=gone)
    return _bored(mesh, bore, found.planes, mouths, scale, wanted, wanted.hole.diameter_mm, printer)


def _reach(radius_mm: float, mouths: Sequence[FoundMouth]) -> Reach:
    """So far out that a radius, and on each side what was found at that mouth, is replaced with its rim."""
    below, above = (
        max([radius_mm, *(mouth.radius_mm for mouth in mouths if mouth.outward == side)]) + RIM_MM for side in (-1, 1)
    )
    return Reach(below, above)


def _bored(
    mesh: Mesh,
    bore: Cylinder,
    planes: Sequence[Plane],
    mouths: Sequence[FoundMouth],
    scale: float,
    wanted: RebuiltBore,
    diameter_mm: float,
    printer: Printer,
) -> tuple[Patch, RebuiltBore]:
    """A bore of this finished diameter, with its seat.

    A seat takes the place of what was found at its mouth; a countersink or counterbore at another mouth stays.
    """
    point_mm, seat = bore.axis_point_mm / scale, wanted.hole.seat
    allowance_mm, loss_mm = printer.hole_allowance_mm if wanted.upright else 0.0, printer.facet_loss_mm
    on_copy_mm = diameter_mm + allowance_mm
    outline = None if seat is None else seat_outline(seat, allowance_mm, loss_mm)
    # A countersink narrows side by side, so that the bore has as many.
    sides = outline.sides if outline is not None and outline.is_cone else sides_for(on_copy_mm, loss_mm)
    seated = seated_ends(seat, planes, bore.axis, mouths)
    replaced = [mouth for mouth in mouths if mouth.outward in seated]
    if outline is not None:
        replaced += [FoundMouth("", side, outline.radius_mm, is_cone=outline.is_cone) for side in seated]
    corners_mm = corner_radius_mm(on_copy_mm, sides)
    reach = _reach(max(_wall_radius_mm(mesh, bore, point_mm), corners_mm), replaced)
    around = look_around(mesh, point_mm, bore.axis, max(reach))
    opening = opening_of(around, bore.faces, reach)
    cut = None if seat is None or outline is None else seat_cut(seat, around, opening, planes, scale, outline, seated)
    sunk = frozenset(mouth.outward for mouth in mouths if mouth.is_cone and mouth.outward not in seated)
    patch = bored(around, opening, on_copy_mm, sides, cut, sunk)
    made = replace(
        wanted,
        on_copy_mm=on_copy_mm,
        sides=sides,
        depth_mm=patch.depth_mm,
        through=patch.through,
        seat=cut,
        gone=tuple(mouth.name for mouth in replaced if mouth.name),
    )
    return patch, made


def _wall_radius_mm(mesh: Mesh, bore: Cylinder, point_mm: Array) -> float:
    """How far from the axis the scanned wall reaches."""
    away = mesh.vertices_mm[np.unique(mesh.faces[bore.faces])] - point_mm
    away -= (away @ bore.axis)[:, None] * bore.axis
    return float(np.quantile(np.linalg.norm(away, axis=1), WALL_SHARE))


def check_exchange(mesh: Mesh, patch: Patch) -> None:
    """See that the part stays a closed solid with the patch in.

    A closed surface stays closed when one piece of it is exchanged for another with the same border: so the old piece
    turned inside out and the new one must be closed together. That asks the judge about some thousand faces and not
    about a million. Raises CannotRebuild.
    """
    turned_out = mesh.faces[patch.removed][:, ::-1]
    both = Mesh(np.concatenate([mesh.vertices_mm, patch.corners_mm]), np.concatenate([turned_out, patch.faces]))
    found = judge_as_numbered(as_written(drop_unused_vertices(both)))
    if found.open_edges + found.split_corners + found.flat_faces:
        raise CannotRebuild(f"the part would be no closed solid, {found.sentence}")


def _patched(copy: Solid, patches: Sequence[Patch], taken: BoolArray) -> Solid:
    """What stays, in its order, and behind it the new faces, marked REBUILT."""
    mesh = copy.mesh
    count = len(mesh.vertices_mm)
    faces, corners = [mesh.faces[~taken]], [mesh.vertices_mm]
    for patch in patches:
        shift = sum(len(part) for part in corners) - count
        faces.append(patch.faces + np.where(patch.faces >= count, shift, 0))
        corners.append(patch.corners_mm)
    new = sum(len(part) for part in faces[1:])
    origin = np.concatenate([copy.origin[~taken], np.full(new, Origin.REBUILT, dtype=np.uint8)])
    whole = Mesh(np.concatenate(corners), np.concatenate(faces))
    return Solid(drop_unused_vertices(whole), origin, copy.steps)
