"""The files that stand beside the corrected mesh, written all together: the one door to the folders."""

import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from verifier.errors import VerifierError
from verifier.inspect import Outcome, StageReport
from verifier.inspected import EXIT_OF, NO_EXTRAS, Delivered, Extras, inspect_file, printed_meshes, refusal_verdict
from verifier.inspection import Inspection, JobVerdict
from verifier.part_scans import PartScans, part_of
from verifier.reporting import as_csv, as_json, page, terminal
from verifier.reporting.mesh_files import stl_bytes, three_mf_bytes
from verifier.reporting.page import Pictured
from verifier.reporting.pictured import pictured_of
from verifier.reporting.written import refuse_open_stl
from verifier.rulebook import draft_sheet_text


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
        printed = printed_meshes(delivered.outcome, told.part, ".stl")
        for name, mesh in printed.items():
            refuse_open_stl(mesh, name)
        files |= {name: stl_bytes(mesh, told.part) for name, mesh in printed.items()}
    if extras.pictures:
        files |= {f"{told.part}.picture-{k}.png": png for k, png in enumerate(pictured.stills, 1)}
    if extras.csv:
        files[f"{told.part}.sizes.csv"] = as_csv.render(told).encode()
    return files


def write_delivery(delivered: Delivered, out: Path, extras: Extras = NO_EXTRAS) -> tuple[Path, ...]:
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
    meshes = printed_meshes(outcome, part, ".3mf")
    return {name: three_mf_bytes(mesh, name.removesuffix(".3mf")) for name, mesh in meshes.items()}


def _words(told: Inspection) -> dict[str, bytes]:
    return {
        f"{told.part}.report.json": as_json.render(told).encode(),
        f"{told.part}.report.txt": terminal.render(told, width=100, colour=False).encode(),
    }


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
