"""From the plan of the print to its tables of the report: the print, what was reshaped, the pieces."""

from collections.abc import Iterable

from verifier.correcting import PrintPlan
from verifier.inspection import PieceTable, PrintCheckTable, PrintTable, ReshapeTable
from verifier.reporting.points import as_point


def print_table(plan: PrintPlan) -> PrintTable:
    """How it is to be printed, and what that costs."""
    return PrintTable(
        filament=plan.filament.name,
        polymer=plan.filament.polymer,
        printer=plan.printer.name,
        shrink_xy=plan.shrink_xy,
        shrink_z=plan.shrink_z,
        u_shrink_xy=plan.u_shrink_xy,
        u_shrink_z=plan.u_shrink_z,
        shrink_source=plan.shrink_source,
        hole_allowance_mm=plan.printer.hole_allowance_mm,
        build_direction=as_point(plan.build_direction),
        rests_on=plan.rests_on,
        rests_why=plan.rests_why,
        checks=tuple(
            PrintCheckTable(
                name=check.name,
                fine=check.fine,
                says=check.says,
                value=check.value,
                limit=check.limit,
                place_mm=check.place_mm,
            )
            for check in plan.checks
        ),
        size_mm=plan.size_mm,
        fits_bed=plan.fits_bed,
        pieces=len(plan.pieces) or 1,
        mass_g=plan.mass_g,
        filament_m=plan.filament_m,
        cost=plan.cost,
        currency=plan.currency,
        price_source=plan.price_source,
        notes=plan.notes,
        cautions=plan.cautions,
    )


def reshape_tables(plan: PrintPlan) -> Iterable[ReshapeTable]:
    """Every reshaping the sheet asks for, before and after."""
    told = () if plan.reshaping is None else plan.reshaping.told
    for each in told:
        yield ReshapeTable(
            do=each.wanted.do,
            made=each.made,
            said=each.said,
            why_not=each.why_not,
            before_mm=each.before_mm,
            after_mm=each.after_mm,
            before_mm3=each.before_mm3,
            after_mm3=each.after_mm3,
            faces=each.faces,
        )


def piece_tables(plan: PrintPlan, part: str) -> Iterable[PieceTable]:
    """The pieces of a part that is cut to the bed, each with its file."""
    for cut in plan.pieces:
        yield PieceTable(
            name=cut.name,
            file=piece_file(part, cut.name),
            size_mm=cut.size_mm,
            fits_bed=cut.fits_bed,
            volume_mm3=cut.piece.solid.volume_mm3,
            mass_g=cut.mass_g,
            cost=cut.cost,
        )


def piece_file(part: str, piece: str, ending: str = ".3mf") -> str:
    """'seat_armrest.piece_1_of_2.3mf'."""
    return f"{part}.{piece.replace(' ', '_')}{ending}"
