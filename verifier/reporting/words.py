"""The figures of an inspection as sentences, the same in the terminal and on the page."""

import math

from verifier.inspection import (
    BoreTable,
    Inspection,
    MendStepTable,
    MendTable,
    PieceTable,
    Point,
    PrintTable,
    ReshapeTable,
    ScanTable,
    SizeTable,
)
from verifier.judging.row import NOT_READ
from verifier.rulebook.size_kinds import IN_DEGREES

# Filled places that are told one by one; the page and the JSON report have all.
UNSEEN_TOLD = 5
UNIT_KNOWN_BY = {
    "file": "the file says so",
    "sheet": "the sheet says so",
    "sizes": "only this unit fits the sheet",
    "guess": "a guess from its size: check it",
}
VERDICT_MEANING = {
    "PASS": "right to print",
    "FAIL": "not right to print",
    "UNDECIDED": "not settled yet",
    "REFUSED": "cannot be used",
}


OF_A_PRINT = {"PASS": "the print is right", "FAIL": "the print is not right"}


def meaning_of(inspection: Inspection) -> str:
    """What the verdict means, in a few words."""
    plain = VERDICT_MEANING[inspection.verdict]
    return OF_A_PRINT.get(inspection.verdict, plain) if inspection.of_print else plain


def unit_of(size: SizeTable) -> str:
    """Unit of the row's figures, with the space before it where there is one."""
    return "°" if size.kind in IN_DEGREES else " mm"


def figure(value: float | None, decimals: int = 3, *, signed: bool = False) -> str:
    """A figure, or a dash where there is none."""
    if value is None or not math.isfinite(value):
        return "–"
    return f"{value:{'+' if signed else ''}.{decimals}f}"


def share(value: float) -> str:
    """A share in per cent, with enough digits that a little does not read as nothing."""
    return f"{100 * value:.1f} %" if value >= 0.001 or value == 0 else "under 0.1 %"


def wanted_mm(size: SizeTable) -> float | None:
    """What the size should be: the drawing's nominal, or else what the calliper said."""
    return size.nominal_mm if size.nominal_mm is not None else size.reading_mm


def wanted_in_words(size: SizeTable) -> str:
    """What the size should be, as the table's first column has it: '24.06', '90.00°', '≤ 0.20', or 'measure'."""
    if size.one_sided and size.tolerance_mm is not None:
        return f"≤ {size.tolerance_mm[1]:.2f}"
    wanted = wanted_mm(size)
    return "measure" if wanted is None else f"{wanted:.2f}" + ("°" if size.kind in IN_DEGREES else "")


def limits_in_words(size: SizeTable) -> str:
    """'12.850 to 13.150', in the row's unit."""
    if size.tolerance_mm is None:
        return "no tolerance given"
    least, greatest = size.tolerance_mm
    if size.one_sided:
        return f"at most {greatest:.3f}"
    return f"{least:.3f} to {greatest:.3f}" + ("°" if size.kind in IN_DEGREES else "")


def printed_in_words(size: SizeTable) -> str:
    """What the row will measure once printed, '' when it was not predicted."""
    if size.printed_mm is None:
        return ""
    spread = "" if size.printed_expanded_uncertainty_mm is None else f" ± {size.printed_expanded_uncertainty_mm:.3f}"
    return f"{size.printed_mm:.3f}{spread}{unit_of(size)}"


def misreading_in_words(size: SizeTable) -> str:
    """How large a misreading of this row would have to be to show, '' for a row that was not compared."""
    if size.reading_mm is None or size.corrected_mm is None:
        return ""
    if size.smallest_error_mm is None:
        return "the other rows cannot show a misreading here"
    return f"a misreading over {size.smallest_error_mm:.2f}{unit_of(size)} would show"


# What a truly flat face shifts a size by, less than this, is nothing made on purpose.
SHOWN_MM = 0.005


def row_notes(size: SizeTable) -> tuple[str, ...]:
    """What there is to say about a row beyond its figures."""
    notes = (
        "" if _said_by_its_figures(size) else size.reason.rstrip("."),
        _reshaped_note(size),
        _printed_note(size),
        f"the worst of {size.set_size} equal places" if size.set_size > 1 else "",
        size.remark,
        "" if size.required else "not required for a pass",
    )
    return tuple(note for note in notes if note)


def _said_by_its_figures(size: SizeTable) -> bool:
    """A PASS; and a row without a reading, in whose place stands 'measure'."""
    return size.verdict == "PASS" or size.reason == NOT_READ


def _printed_note(size: SizeTable) -> str:
    """What printing may spoil; reports of earlier versions have its figures and no words for it."""
    if size.printed_doubt or size.printed_verdict in (None, "PASS") or abs(size.reshaped_by_mm) >= SHOWN_MM:
        return size.printed_doubt
    return f"as printed: {printed_in_words(size)}, {size.printed_verdict}"


def _reshaped_note(size: SizeTable) -> str:
    """A size that is another one on the print than on the original."""
    if abs(size.reshaped_by_mm) < SHOWN_MM:
        return ""
    word = "larger" if size.reshaped_by_mm > 0 else "smaller"
    printed = f", {printed_in_words(size)} on the print" if size.printed_mm is not None else ""
    verdict = f": {size.printed_verdict}" if size.printed_verdict and not size.printed_doubt else ""
    return f"made {abs(size.reshaped_by_mm):.2f} mm {word} on purpose, and its limits with it{printed}{verdict}"


def mend_in_words(mend: MendTable) -> str:
    """The solid that came out of the mending."""
    a, b, c = mend.extents_mm
    bodies = "one body" if mend.bodies == 1 else f"{mend.bodies} bodies"
    closed = "Closed" if mend.closed else "NOT closed"
    return (
        f"{closed}, {bodies}, {a:.1f} × {b:.1f} × {c:.1f} mm, {mend.volume_mm3 / 1000:.2f} cm³;"
        f" {share(mend.filled_share)} of its surface was filled in, not measured."
    )


def mending_in_words(mend: MendTable) -> tuple[str, ...]:
    """All that is said of the mending, a sentence or a line each."""
    changes = (*mend.size_changes, *mend.volume_changes)
    return (mend_in_words(mend), *changes, *map(step_in_words, mend.steps), *unseen_in_words(mend))


def unseen_in_words(mend: MendTable) -> tuple[str, ...]:
    """The widest filled places, each with size, place and side, in the export's own axes."""
    told = tuple(
        f"Not seen: {place.length_mm:.1f} × {place.width_mm:.1f} mm at {_place(place.at_mm)}, looking to"
        f" {_place(place.seen_from)}"
        for place in mend.unseen[:UNSEEN_TOLD]
    )
    rest = len(mend.unseen) - UNSEEN_TOLD
    return (*told, f"Not seen: {rest} narrower {'place' if rest == 1 else 'places'}") if rest > 0 else told


def _place(point: Point) -> str:
    return "({:.1f}, {:.1f}, {:.1f})".format(*point)


def step_in_words(step: MendStepTable) -> str:
    """'Filled holes: 3, 41.2 mm² in all, the largest 6.2 mm across at (1.0, 2.0, 3.0)'."""
    area = f", {step.area_mm2:.1f} mm² in all" if step.area_mm2 > 0 else ""
    largest = f", the largest {step.largest_mm:.1f} mm across" if step.largest_mm > 0 else ""
    place = f" at {_place(step.places_mm[0])}" if largest and step.places_mm else ""
    return f"{step.what}: {step.count}{area}{largest}{place}"


def bore_line(bore: BoreTable) -> str:
    """A bore with its name, what to know of it, and what to beware of before it is drilled."""
    said = f"{bore.row or bore.name}: {bore_in_words(bore)}. {bore.note}".rstrip()
    return f"{said} {bore.caution}" if bore.caution else said


def bore_in_words(bore: BoreTable) -> str:
    """A bore as a pin sees it, and what the print has of it."""
    depth = f"{bore.depth_mm:.1f} mm deep ({'through' if bore.through else 'blind'})"
    return (
        f"Ø {bore.diameter_mm:.2f} mm, a pin of {bore.pin_diameter_mm:.2f} mm goes in,"
        f" {bore.roundness_mm:.2f} mm out of round, {depth}, seen over {bore.arc_deg:.0f}°{_on_print(bore)}"
    )


def _on_print(bore: BoreTable) -> str:
    """'; rebuilt for M4, medium fit: 4.50 ± 0.12 mm on the print, 4.5 mm drill'."""
    drill = "" if bore.drill_mm is None else f"{bore.drill_mm:g} mm drill"
    if bore.rebuilt and bore.printed_diameter_mm is None:
        return f"; filled, to be drilled for {bore.made_for}" + (f": {drill}" if drill else "")
    if bore.printed_diameter_mm is None:
        return ""
    made = f"rebuilt for {bore.made_for}" if bore.rebuilt else "kept as scanned"
    size = f"{bore.printed_diameter_mm:.2f}"
    if bore.printed_expanded_uncertainty_mm is not None:
        size += f" ± {bore.printed_expanded_uncertainty_mm:.2f}"
    return "; " + ", ".join(part for part in (f"{made}: {size} mm on the print", drill) if part)


def print_in_words(plan: PrintTable) -> tuple[str, ...]:
    """The print: how it lies, its size, mass and cost, and the shrinkage allowed for."""
    a, b, c = plan.size_mm
    of_pieces = f"in {plan.pieces} pieces " if plan.pieces > 1 else ""
    fits = f"{of_pieces}{'fits' if plan.fits_bed else 'DOES NOT FIT'} the bed of {plan.printer}"
    return (
        f"{a:.1f} × {b:.1f} × {c:.1f} mm, rests on {plan.rests_on}, {fits}. {plan.rests_why}".rstrip(),
        f"{plan.mass_g:.1f} g, {plan.filament_m:.2f} m of filament, {plan.cost:.2f} {plan.currency}.",
        f"Made larger against shrinkage: {_shrink(plan.shrink_xy, plan.u_shrink_xy)} along the layers,"
        f" {_shrink(plan.shrink_z, plan.u_shrink_z)} across them.",
        *(check.says for check in plan.checks if not check.fine),
        *((" ".join(check.says for check in plan.checks if check.fine),) if plan.checks else ()),
    )


def _shrink(ratio: float, u_ratio: float) -> str:
    return f"{100 * ratio:.2f} ± {200 * u_ratio:.2f} %"


def reshape_in_words(done: ReshapeTable) -> str:
    """What was done to the copy, with its size before and after; or why it could not be."""
    if not done.made:
        return f"NOT done, '{done.do}': {done.why_not}."
    grown = max(abs(now - was) for was, now in zip(done.before_mm, done.after_mm, strict=True)) >= 0.05
    box = f"{_box(done.before_mm)} before, {_box(done.after_mm)} mm after" if grown else f"{_box(done.after_mm)} mm"
    percent = 100.0 * (done.after_mm3 / done.before_mm3 - 1.0)
    volume = f"{done.before_mm3 / 1000:.2f} to {done.after_mm3 / 1000:.2f} cm³ ({percent:+.1f} %)"
    faces = f"{done.faces:,}".replace(",", " ")
    return f"{done.said} {box}; {volume}; {faces} faces rebuilt." if done.faces or grown else done.said


def _box(sides_mm: tuple[float, float, float]) -> str:
    return " × ".join(f"{side:.1f}" for side in sides_mm)


def piece_in_words(piece: PieceTable, currency: str) -> str:
    """One piece, the file it is in, and what it costs."""
    fits = "" if piece.fits_bed else ", DOES NOT FIT the bed"
    return f"{piece.file}: {_box(piece.size_mm)} mm, {piece.mass_g:.1f} g, {piece.cost:.2f} {currency}{fits}"


def scan_in_words(scan: ScanTable) -> str:
    """The file, its triangles and its unit."""
    triangles = f"{scan.triangles:,}".replace(",", " ")
    return f"{scan.name}: {triangles} triangles, unit {scan.unit} ({UNIT_KNOWN_BY[scan.unit_known_by]})"


def filament_in_words(plan: PrintTable) -> str:
    """'ASA grey (ASA)', or the name alone when it says the polymer."""
    return plan.filament if plan.polymer.lower() in plan.filament.lower() else f"{plan.filament} ({plan.polymer})"
