"""From a scan on disk to what is known of the part: all that a verdict needs, and nothing of what draws its page."""

import platform
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path

from verifier.bench.last_pass import last_pass_beside
from verifier.bench.own_figures import own_figures_beside
from verifier.errors import (
    EXIT_FAIL,
    EXIT_PASS,
    EXIT_REFUSED,
    EXIT_UNDECIDED,
    CannotJoin,
    UnknownName,
    VerifierError,
)
from verifier.inspect import Outcome, StageClock, StageReport, inspect_part, made_one
from verifier.inspection import Inspection, JobVerdict
from verifier.mesh import Mesh
from verifier.of_print import print_scanned
from verifier.part_scans import PartScans, check_number, scans_of_part
from verifier.reading import printable, read_scan
from verifier.referring import LastPass, reference_for
from verifier.reporting.assemble import inspection_of
from verifier.reporting.print_tables import piece_file
from verifier.reporting.written import refuse_open_three_mf
from verifier.rulebook import Rules, Sheet, find_sheet, load_rules, load_sheet
from verifier.rulebook.print_sheet import is_print
from verifier.rulebook.toml_file import read_toml

EXIT_OF: dict[JobVerdict, int] = {
    "PASS": EXIT_PASS,
    "FAIL": EXIT_FAIL,
    "UNDECIDED": EXIT_UNDECIDED,
    "REFUSED": EXIT_REFUSED,
}
REPORTED_LIBRARIES = ("numpy", "scipy", "manifold3d", "pymeshfix", "libigl")
_LIBRARIES = {name: version(name) for name in REPORTED_LIBRARIES}  # looked up once: each has its files read for it


@dataclass(frozen=True, slots=True)
class Extras:
    """What may be written beside mesh and reports.

    stl : the mesh as STL too; pictures : stills of the part as PNG; csv : the sizes as a table for a spreadsheet
    """

    stl: bool = False
    pictures: bool = False
    csv: bool = False


NO_EXTRAS = Extras()


@dataclass(frozen=True, slots=True)
class Delivered:
    """One scan's way through the house, and what the report says of it.

    sheet_text : of the part's own sheet, where the report asks for a line in it; '' otherwise
    """

    outcome: Outcome
    inspection: Inspection
    rules: Rules
    sheet_text: str = ""


def inspect_file(
    scan: Path | PartScans,
    rules_folder: Path,
    *,
    sheet_file: Path | None = None,
    filament: str | None = None,
    as_new: bool = False,
    reference: Path | None = None,
    find_last_pass: LastPass = last_pass_beside,
    report_stage: StageReport = lambda _: None,
) -> Delivered:
    """Read one part's scan, or its several scans, and its sheet, and inspect it.

    scan : a file, a folder of scans of one part, or several files of one, which are then joined
    sheet_file : the part's sheet; None looks in the rules folder by the part's name
    as_new : look for no sheet, as for a part nobody has measured yet
    reference : a file to compare the corrected mesh with, in place of the sheet's
    find_last_pass : says which scan the part last passed with, where the sheet's reference is that
    Raises VerifierError of every kind: rules, sheet, scan and mending each say what puts them right. CannotDeliver when
    the mesh to print is no closed solid as its file holds it.
    """
    clock = StageClock(report_stage)
    scans = scan if isinstance(scan, PartScans) else scans_of_part(scan)
    part = scans.part
    rules = _with_own_figures(load_rules(rules_folder))
    sheet = None if as_new else _sheet_of(part, rules, sheet_file)
    if any(is_print(file.name) for file in scans.files):
        return _inspect_print(scans, sheet, rules, filament, reference, clock)
    with clock.stage("reading"):
        check_number(scans, sheet)
        files = tuple(read_scan(file, rules, sheet) for file in scans.files)
    read, joined = made_one(files, sheet, rules, clock)
    compared_with = None
    if reference is not None or (sheet is not None and sheet.reference is not None):
        with clock.stage("reading the reference"):
            compared_with = reference_for(read, sheet, rules, reference, find_last_pass)
    outcome = inspect_part(
        read, sheet, rules, part=part, filament=filament, reference=compared_with, clock=clock, joined=joined
    )
    with ThreadPoolExecutor(1) as beside:  # what is known is put in words while the file is seen to be closed
        told = beside.submit(inspection_of, outcome, rules, versions())
        for name, mesh in printed_meshes(outcome, part, ".3mf").items():
            refuse_open_three_mf(mesh, name)
    text = (
        _sheet_text(sheet, sheet_file or find_sheet(rules.folder, part), part) if joined and joined.scans_kept else ""
    )
    return Delivered(outcome, told.result(), rules, text)


def _sheet_text(sheet: Sheet | None, file: Path | None, part: str) -> str:
    """The text of a part's own sheet; '' for none, and for a twin's: a choice written there would hold for both."""
    return "" if sheet is None or file is None or sheet.part != part else read_toml(file).text


def _with_own_figures(rules: Rules) -> Rules:
    """The rules with what the bench they lie on has learned from its prints."""
    return replace(rules, own_figures=own_figures_beside(rules))


def _inspect_print(
    scans: PartScans, sheet: Sheet | None, rules: Rules, filament: str | None, reference: Path | None, clock: StageClock
) -> Delivered:
    """The scan of a print, PART.print.stl, against what the print should be."""
    if len(scans.files) > 1:
        raise CannotJoin(
            "one of these is the scan of a print by its name, and prints are not joined",
            where=printable(scans.told),
            do=f"Give the print's scan alone, as {scans.part}.print.stl",
        )
    with clock.stage("reading"):
        given = print_scanned(scans.files[0], sheet, scans.part, rules, filament, reference)
    outcome = inspect_part(
        given.scan, given.sheet, given.rules, part=given.sheet.part, reference=given.reference, clock=clock
    )
    return Delivered(outcome, inspection_of(outcome, given.rules, versions()), given.rules)


def _sheet_of(part: str, rules: Rules, sheet_file: Path | None) -> Sheet | None:
    if sheet_file is None:
        found = find_sheet(rules.folder, part)
        return load_sheet(found, rules) if found else None
    sheet = load_sheet(sheet_file, rules)
    if part not in (sheet.part, sheet.twin):
        raise UnknownName(
            f"this sheet is for '{sheet.part}', the scan is of '{part}'",
            where=sheet_file.name,
            do=f"Give the sheet of '{part}', or name the scan '{sheet.part}' up to its first dot",
        )
    return sheet


def versions() -> dict[str, str]:
    """What made the numbers: this program, Python, and the libraries they rest on."""
    return {"verifier": version("verifier"), "python": platform.python_version(), **_LIBRARIES}


def printed_meshes(outcome: Outcome, part: str, ending: str) -> dict[str, Mesh]:
    """The mesh to print, or those of a cut part's pieces, by file name; the whole of these would not fit the bed."""
    if outcome.of_print:
        return {}
    pieces = {piece_file(part, plan.name, ending): plan.mesh for plan in outcome.plan.pieces}
    return pieces or {f"{part}{ending}": outcome.plan.mesh}


def refusal_verdict(error: VerifierError) -> JobVerdict:
    """REFUSED for a scan that cannot be used; UNDECIDED where a word in the sheet or the rules puts it right."""
    return "REFUSED" if error.exit_code == EXIT_REFUSED else "UNDECIDED"
