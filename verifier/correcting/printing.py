"""The print of the true copy: how it stands, how much larger it is made against shrinkage, what it takes and costs."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from verifier.correcting.bores import RebuiltBore, made_anew_with, rebuilt_bore
from verifier.correcting.filling import fill
from verifier.correcting.piece_plan import PiecePlan
from verifier.correcting.print_checks import PrintCheck, check_print
from verifier.correcting.reshaping import Piece, Reshaping
from verifier.correcting.resting import Resting, choose_resting
from verifier.correcting.turning import turned_to
from verifier.correcting.way_up import UPRIGHT_WITHIN_DEG
from verifier.finding.feature import Features
from verifier.measuring.size import Size
from verifier.mending.solid import Solid
from verifier.mesh import Array, Mesh, box_mm, extents_mm
from verifier.rulebook.rules import Filament, Printer, Rules
from verifier.rulebook.sheet import Sheet

# Slicers take a hundredth; less does not show beside a layer's own waviness. Common practice, no source.
WORTH_MOVING_MM = 0.01


@dataclass(frozen=True, slots=True)
class PrintPlan:
    """The mesh to print and what is to be known about it.

    mesh : stands on z = 0 with its box's corner at x = y = 0, already enlarged against shrinkage
    build_direction : (3,) unit, the direction that becomes up, in the frame of the scan; a mirrored copy's own is
        `up_on_copy`
    shrink_xy, shrink_z, u_shrink_xy, u_shrink_z : ratios a length loses in the layers and across them
    upright_bores : names of the features that print as round holes
    bores : what became of those that the sheet wants rebuilt
    size_mm : of the mesh's box
    reshaping : what was done to the copy, and how the sheet's sizes follow; None where nothing was asked for
    rests_why : why it rests there, a sentence
    checks : what the printer may not make of it
    pieces : of a part that is cut; the mesh is then the whole, which is not printed
    """

    mesh: Mesh
    filament: Filament
    printer: Printer
    build_direction: Array
    rests_on: str
    rests_why: str
    upright_bores: frozenset[str]
    size_mm: tuple[float, float, float]
    fits_bed: bool
    mass_g: float
    filament_m: float
    cost: float
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    bores: tuple[RebuiltBore, ...] = ()
    reshaping: Reshaping | None = None
    pieces: tuple[PiecePlan, ...] = ()
    checks: tuple[PrintCheck, ...] = ()

    @property
    def up_on_copy(self) -> Array:
        """The direction that becomes up as the copy lies, which may be mirrored, (3,)."""
        return self.build_direction if self.reshaping is None else self.reshaping.up

    @property
    def shrink_xy(self) -> float:
        """Ratio a length in the layers loses."""
        return self.filament.shrink_xy

    @property
    def shrink_z(self) -> float:
        """Ratio a height loses."""
        return self.filament.shrink_z

    @property
    def u_shrink_xy(self) -> float:
        """Standard uncertainty of shrink_xy."""
        return self.filament.u_shrink_xy

    @property
    def u_shrink_z(self) -> float:
        """Standard uncertainty of shrink_z."""
        return self.filament.u_shrink_z

    @property
    def shrink_source(self) -> str:
        """Whose shrink figures these are."""
        return self.filament.source

    @property
    def currency(self) -> str:
        """Of the cost."""
        return self.filament.currency

    @property
    def price_source(self) -> str:
        """Whose price that is."""
        return self.filament.source


def plan_print(
    copy: Solid,
    features: Features,
    sheet: Sheet,
    rules: Rules,
    filament: Filament,
    printer: Printer,
    bores: tuple[RebuiltBore, ...] = (),
    resting: Resting | None = None,
    reshaping: Reshaping | None = None,
) -> PrintPlan:
    """Stand the copy on its best face, enlarge it against shrinkage, and count what it takes.

    features : of the scan, before correction; their directions hold for the copy as well
    rules : for another printer where the bed is too small
    bores : those rebuilt in the copy, for their sizes on the print
    resting : as chosen before the bores were rebuilt; None chooses here
    reshaping : of the copy; its solid is then printed
    """
    resting = resting or choose_resting(copy, features, sheet, printer)
    solid, turn = (copy, resting.turn)
    if reshaping is not None and reshaping.told:
        solid, turn = reshaping.solid, turned_to(reshaping.solid.mesh, reshaping.up)
    mesh = _standing(solid.mesh, turn, filament)
    size_mm = extents_mm(mesh)
    pieces = () if reshaping is None else reshaping.pieces.pieces
    plans = tuple(_plan_of(piece, turn, sheet, filament, printer) for piece in pieces)
    printed = [plan.mesh for plan in plans] or [mesh]
    fillings = [fill(each, sheet.infill, filament) for each in printed]
    checks = check_print(mesh, printer) if not plans else _of_pieces(plans, printer)
    fits = all(plan.fits_bed for plan in plans) if plans else _fits(size_mm, printer)
    bed_note = _pieces_note(plans, printer) if plans else _bed_note(size_mm, printer, rules)
    return PrintPlan(
        mesh=mesh,
        filament=filament,
        printer=printer,
        build_direction=resting.turn[2],
        rests_on=resting.rests_on,
        rests_why=resting.why,
        upright_bores=upright_bores(features, resting.turn[2]),
        size_mm=(float(size_mm[0]), float(size_mm[1]), float(size_mm[2])),
        fits_bed=fits,
        mass_g=sum(filling.mass_g for filling in fillings),
        filament_m=sum(filling.filament_m for filling in fillings),
        cost=sum(filling.cost for filling in fillings),
        notes=(*bed_note, *resting.notes, *_walls_note(printer), *fillings[0].notes, *filament.notes),
        cautions=filament.cautions,
        bores=bores,
        reshaping=reshaping,
        pieces=plans,
        checks=checks,
    )


def _standing(mesh: Mesh, turn: Array, filament: Filament) -> Mesh:
    """A mesh turned as it prints, enlarged, and set on the bed."""
    return _stood_on_bed(Mesh(mesh.vertices_mm @ turn.T * enlargement(filament), mesh.faces))


def _plan_of(piece: Piece, turn: Array, sheet: Sheet, filament: Filament, printer: Printer) -> PiecePlan:
    mesh = _standing(piece.solid.mesh, turn, filament)
    size_mm, filling = extents_mm(mesh), fill(mesh, sheet.infill, filament)
    box = (float(size_mm[0]), float(size_mm[1]), float(size_mm[2]))
    return PiecePlan(piece, mesh, box, _fits(size_mm, printer), filling.mass_g, filling.cost)


def _of_pieces(plans: Sequence[PiecePlan], printer: Printer) -> tuple[PrintCheck, ...]:
    """What is wrong with any piece, by its name; one that is fine everywhere says so once."""
    found = [(plan.name, check) for plan in plans for check in check_print(plan.mesh, printer)]
    wrong = [replace(check, says=f"{name.capitalize()}: {check.says}") for name, check in found if not check.fine]
    fine = {check.name: check for _, check in found if check.fine}
    return (*wrong, *(check for name, check in fine.items() if name not in {each.name for each in wrong}))


def _pieces_note(plans: Sequence[PiecePlan], printer: Printer) -> tuple[str, ...]:
    too_large = [plan.name for plan in plans if not plan.fits_bed]
    told = f"Still too large for the bed of {printer.name}: {', '.join(too_large)}. Cut it oftener."
    return (told,) if too_large else ()


def enlargement(filament: Filament) -> Array:
    """Factors for x, y, z that shrinking takes back, (3,): 1 / (1 - shrink), not 1 + shrink."""
    return 1.0 / (1.0 - np.array([filament.shrink_xy, filament.shrink_xy, filament.shrink_z]))


def printed_sizes(
    sizes: Sequence[Size], corrected_mm: Sequence[float | None], plan: PrintPlan
) -> list[tuple[float, float] | None]:
    """What each size should measure on the print, and the standard uncertainty that printing adds.

    sizes : for the direction each was taken in; corrected_mm : on the reshaped part, None where it is not known
    A bore that was rebuilt prints from the size it was given, and one that was filled has none.
    """
    on_copy = (_on_copy_mm(size, value, plan) for size, value in zip(sizes, corrected_mm, strict=True))
    sizes = [_where_it_is(size, plan) for size in sizes]
    return [None if value is None else _printed(size, value, plan) for size, value in zip(sizes, on_copy, strict=True)]


def _where_it_is(size: Size, plan: PrintPlan) -> Size:
    """The size with the places it is taken between as they lie on the reshaped copy."""
    if plan.reshaping is None or size.name not in plan.reshaping.places:
        return size
    return replace(size, points_mm=plan.reshaping.places[size.name])


def _on_copy_mm(size: Size, corrected_mm: float | None, plan: PrintPlan) -> float | None:
    rebuilt = rebuilt_bore(size, plan.bores)
    if plan.reshaping is not None and size.name in plan.reshaping.lost:
        return None
    if made_anew_with(size, plan.bores) is not None:
        return None
    return corrected_mm if rebuilt is None or not rebuilt.made else rebuilt.on_copy_mm


def _printed(size: Size, value_mm: float, plan: PrintPlan) -> tuple[float, float]:
    """The enlargement takes the expected shrink back.

    What stays is its uncertainty, what upright holes lose, and how proud upright outside walls stand.
    """
    u_mm, printer = value_mm * shrink_u(size, plan), plan.printer
    if size.walls >= 0:
        walls = size.walls * float(np.sqrt(1.0 - _rise(size, plan)))
        return value_mm + walls * printer.wall_proud_mm, float(np.hypot(u_mm, walls * printer.u_wall_mm))
    if not plan.upright_bores.intersection(size.features):
        return value_mm, u_mm
    return value_mm - printer.hole_allowance_mm, float(np.hypot(u_mm, printer.u_hole_mm))


def shrink_u(size: Size, plan: PrintPlan) -> float:
    """Relative standard uncertainty of a printed length in the direction it was taken.

    The square of a length is the sum over the axes, so each axis counts with the square of its direction cosine.
    A size without a direction of its own counts with the worse of the two.
    """
    u_xy, u_z = plan.u_shrink_xy / (1.0 - plan.shrink_xy), plan.u_shrink_z / (1.0 - plan.shrink_z)
    if plan.upright_bores.intersection(size.features) and size.walls < 0:
        return u_xy
    if not _span_mm(size).any():
        return max(u_xy, u_z)
    up = _rise(size, plan)
    return float(np.hypot((1.0 - up) * u_xy, up * u_z))


def _span_mm(size: Size) -> Array:
    """From the first to the last place the size was taken at, (3,); zero for a size without two places."""
    return size.points_mm[-1] - size.points_mm[0] if len(size.points_mm) >= 2 else np.zeros(3)


def _rise(size: Size, plan: PrintPlan) -> float:
    """Squared cosine between the line a size was taken along and the build direction, 0 to 1."""
    span_mm, up = _span_mm(size), plan.up_on_copy
    product = float(span_mm @ span_mm) * float(up @ up)
    return min(1.0, float(span_mm @ up) ** 2 / product) if product > 0.0 else 0.0


def _stood_on_bed(mesh: Mesh) -> Mesh:
    return Mesh(mesh.vertices_mm - box_mm(mesh.vertices_mm)[0], mesh.faces)


def upright_bores(features: Features, up: Array) -> frozenset[str]:
    """Names of the bores that print as round holes when this direction is up."""
    least = np.cos(np.radians(UPRIGHT_WITHIN_DEG))
    return frozenset(bore.name for bore in features.bores if abs(float(bore.axis @ up)) >= least)


def _fits(size_mm: Array, printer: Printer) -> bool:
    """Whether a box stands on the bed, turned by a quarter where that helps."""
    along, across = sorted((printer.bed_x_mm, printer.bed_y_mm), reverse=True)
    long_mm, wide_mm = sorted((float(size_mm[0]), float(size_mm[1])), reverse=True)
    return long_mm <= along and wide_mm <= across and float(size_mm[2]) <= printer.bed_z_mm


def _walls_note(printer: Printer) -> tuple[str, ...]:
    """Walls are not moved in the mesh: that is the slicer's to do, and moves nothing else."""
    proud_mm = printer.wall_proud_mm
    if abs(proud_mm) < WORTH_MOVING_MM:
        return ()
    told = f"{abs(proud_mm):.2f} mm {'proud' if proud_mm > 0 else 'short'}"
    how = f"draw outlines {'in' if proud_mm > 0 else 'out'} by {abs(proud_mm):.2f} mm"
    return (f"By our own prints, outside walls come out {told}; have the slicer {how} where that matters.",)


def _bed_note(size_mm: Array, printer: Printer, rules: Rules) -> tuple[str, ...]:
    if _fits(size_mm, printer):
        return ()
    others = [other.name for other in rules.printers if _fits(size_mm, other)]
    bed = f"{printer.bed_x_mm:g} × {printer.bed_y_mm:g} × {printer.bed_z_mm:g} mm"
    do = f"print it on {' or '.join(others)}" if others else "print it in pieces"
    return (f"It does not fit the bed of {printer.name}, {bed}: {do}.",)
