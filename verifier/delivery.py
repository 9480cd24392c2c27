"""From a scan on disk to the files that stand beside the corrected mesh: the one door to the folders."""

import json
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
from verifier.part_scans import PartScans, check_number, part_of, scans_of_part
from verifier.reading import printable, read_scan
from verifier.referring import LastPass, reference_for
from verifier.reporting import as_csv, as_json, page, terminal
from verifier.reporting.assemble import inspection_of
from verifier.reporting.mesh_files import stl_bytes, three_mf_bytes
from verifier.reporting.page import Pictured
from verifier.reporting.pictured import pictured_of
from verifier.reporting.print_tables import piece_file
from verifier.reporting.written import refuse_open_stl, refuse_open_three_mf
from verifier.rulebook import Rules, Sheet, draft_sheet_text, find_sheet, load_rules, load_sheet
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
    for name, mesh in _printed(outcome, part, ".3mf").items():
        refuse_open_three_mf(mesh, name)
    text = (
        _sheet_text(sheet, sheet_file or find_sheet(rules.folder, part), part) if joined and joined.scans_kept else ""
    )
    return Delivered(outcome, inspection_of(outcome, rules, versions()), rules, text)


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


def write_draft(delivered: Delivered, out: Path) -> tuple[Path, ...]:
    """Write the drafted sheet and the page whose callouts bear its names; the files written."""
    return _write_all(
        _drafted_sheet(delivered, out)
        | _page(delivered, pictured_of(delivered.outcome, delivered.inspection, delivered.sheet_text)),
        out,
    )


def _drafted_sheet(delivered: Delivered, out: Path) -> dict[str, bytes]:
    """The sheet of a part without one. One that lies there already may hold readings and stays."""
    part, proposed = delivered.inspection.part, delivered.outcome.proposed
    name = f"{part}.sheet.toml"
    return {name: draft_sheet_text(part, proposed).encode()} if proposed and not (out / name).exists() else {}


def _page(delivered: Delivered, pictured: Pictured) -> dict[str, bytes]:
    told = delivered.inspection
    return {f"{told.part}.report.html": page.render(told, pictured).encode()}


def _extras(delivered: Delivered, pictured: Pictured, extras: Extras) -> dict[str, bytes]:
    told = delivered.inspection
    files: dict[str, bytes] = {}
    if extras.stl:
        printed = _printed(delivered.outcome, told.part, ".stl")
        for name, mesh in printed.items():
            refuse_open_stl(mesh, name)
        files |= {name: stl_bytes(mesh, told.part) for name, mesh in printed.items()}
    if extras.pictures:
        files |= {f"{told.part}.picture-{k}.png": png for k, png in enumerate(pictured.stills, 1)}
    if extras.csv:
        files[f"{told.part}.sizes.csv"] = as_csv.render(told).encode()
    return files


def write_delivery(delivered: Delivered, out: Path, extras: Extras = Extras()) -> tuple[Path, ...]:
    """Write mesh, reports and, for a part without a sheet, the drafted sheet into a folder; the files written."""
    outcome, inspection = delivered.outcome, delivered.inspection
    part = inspection.part
    with ThreadPoolExecutor(1) as beside:  # meshes are packed and words written while the pictures are drawn
        written = beside.submit(lambda: _mesh_files(outcome, part) | _words(inspection))
        pictured = pictured_of(outcome, inspection, delivered.sheet_text)
        files = written.result()
    more = _extras(delivered, pictured, extras) | _drafted_sheet(delivered, out)
    return _write_all(files | _page(delivered, pictured) | more, out)


def _mesh_files(outcome: Outcome, part: str) -> dict[str, bytes]:
    meshes = _printed(outcome, part, ".3mf")
    return {name: three_mf_bytes(mesh, name.removesuffix(".3mf")) for name, mesh in meshes.items()}


def _words(told: Inspection) -> dict[str, bytes]:
    return {
        f"{told.part}.report.json": as_json.render(told).encode(),
        f"{told.part}.report.txt": terminal.render(told, width=100, colour=False).encode(),
    }


def _printed(outcome: Outcome, part: str, ending: str) -> dict[str, Mesh]:
    """The mesh to print, or those of a cut part's pieces, by file name; the whole of these would not fit the bed."""
    if outcome.of_print:
        return {}
    pieces = {piece_file(part, plan.name, ending): plan.mesh for plan in outcome.plan.pieces}
    return pieces or {f"{part}{ending}": outcome.plan.mesh}


def _write_all(files: dict[str, bytes], out: Path) -> tuple[Path, ...]:
    out.mkdir(parents=True, exist_ok=True)
    written = []
    for name, data in files.items():
        temporary = out / f".{name}.part"
        temporary.write_bytes(data)
        written.append(temporary.replace(out / name))
    return tuple(written)


def check_to_folder(
    scan: Path | PartScans,
    rules: Path,
    out: Path,
    report_stage: StageReport,
    last_pass: Path | None = None,
    *,
    filament: str | None = None,
) -> int:
    """One job of the bench: inspect, write everything into `out`, and say the outcome in `outcome.json`.

    scan : a file, a folder of scans of one part, or several files of one
    last_pass : the scan that the part last passed with; this may run where the bench's ledger cannot be read
    A refusal is an outcome too: its sentence is written, and the exit status says so.
    """
    try:
        delivered = inspect_file(
            scan, rules, filament=filament, find_last_pass=lambda *_: last_pass, report_stage=report_stage
        )
    except VerifierError as error:
        return _write_refusal(error, scan, out)
    report_stage("reporting")
    write_delivery(delivered, out, Extras(pictures=True))
    inspection = delivered.inspection
    return _write_outcome(out, inspection.part, inspection.verdict, inspection.reasons, inspection.next_steps)


def refusal_verdict(error: VerifierError) -> JobVerdict:
    """REFUSED for a scan that cannot be used; UNDECIDED where a word in the sheet or the rules puts it right."""
    return "REFUSED" if error.exit_code == EXIT_REFUSED else "UNDECIDED"


def _write_refusal(error: VerifierError, scan: Path | PartScans, out: Path) -> int:
    named = scan.told if isinstance(scan, PartScans) else scan.name
    part = scan.part if isinstance(scan, PartScans) else part_of(scan)
    verdict = refusal_verdict(error)
    told = terminal.render_refusal(named, str(error), verdict)
    _write_all({f"{part}.report.txt": told.encode()}, out)
    _write_outcome(out, part, verdict, (error.reason,), (error.step,))
    return error.exit_code


def _write_outcome(out: Path, part: str, verdict: JobVerdict, reasons: tuple[str, ...], steps: tuple[str, ...]) -> int:
    told = {"part": part, "verdict": verdict, "reasons": reasons, "next_steps": steps, "exit": EXIT_OF[verdict]}
    _write_all({"outcome.json": json.dumps(told, ensure_ascii=False, indent=2).encode()}, out)
    return EXIT_OF[verdict]
