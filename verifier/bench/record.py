"""What the history keeps of a finished job, read from its published report."""

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from pydantic import ValidationError

from verifier.inspection import Inspection, SizeTable
from verifier.learning.row import print_rows

REPORT_ENDING = ".report.json"
Columns = Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Record:
    """Column -> value of one row of the table scans, and of the rows of sizes that belong to it."""

    scan: Columns
    sizes: tuple[Columns, ...]


def record_in(folder: Path, part: str) -> Record | None:
    """The record of the part's report in a folder; None where there is none that can be read."""
    inspection = inspection_in(folder, part)
    return None if inspection is None else record_of(inspection, _picture_in(folder, part))


def inspection_in(folder: Path, part: str) -> Inspection | None:
    """The part's report in a folder; None where there is none that can be read."""
    try:
        return Inspection.model_validate_json((folder / f"{part}{REPORT_ENDING}").read_bytes())
    except (FileNotFoundError, NotADirectoryError, ValidationError):
        return None


def _picture_in(folder: Path, part: str) -> str:
    """File name of the part's first still, or else of its page."""
    stills = sorted(file.name for file in folder.glob("*.png") if file.name.startswith(f"{part}."))
    return stills[0] if stills else f"{part}.report.html"


def record_of(inspection: Inspection, picture: str) -> Record:
    """The numbers of one report.

    picture : name of the file beside it that shows the part
    """
    scan, scale, coat, plan = inspection.scan, inspection.scale, inspection.coat, inspection.print
    return Record(
        scan={
            "part": inspection.part,
            "verdict": inspection.verdict,
            "description": inspection.description,
            "scan_name": scan.name,
            "sha256": scan.sha256,
            "scale": scale.factor,
            "u_scale": scale.standard_uncertainty,
            "scale_applied": int(scale.applied),
            "coat_mm": coat.thickness_mm,
            "u_coat_mm": coat.standard_uncertainty_mm,
            "coat_applied": int(coat.applied),
            "filled_share": inspection.mend.filled_share,
            "filament": plan.filament,
            "printer": plan.printer,
            "shrink_xy": plan.shrink_xy,
            "shrink_z": plan.shrink_z,
            "mass_g": plan.mass_g,
            "cost": plan.cost,
            "currency": plan.currency,
            "picture": picture,
        },
        sizes=tuple(_sizes(inspection)),
    )


def _sizes(inspection: Inspection) -> Iterator[Columns]:
    on_print = {row.name: row for row in print_rows(inspection)}
    for size in inspection.sizes:
        row = on_print.get(size.name)
        told = {} if row is None else asdict(row)
        yield {
            **_as_measured(size),
            "model_mm": told.get("model_mm"),
            "u_model_mm": told.get("u_model_mm"),
            "rise": told.get("rise"),
            "walls": told.get("walls"),
            "upright_hole": told.get("upright_hole"),
        }


def _as_measured(size: SizeTable) -> dict[str, object]:
    least, greatest = size.tolerance_mm or (None, None)
    return {
        "name": size.name,
        "kind": size.kind,
        "verdict": size.verdict,
        "reading_mm": size.reading_mm,
        "nominal_mm": size.nominal_mm,
        "least_mm": least,
        "greatest_mm": greatest,
        "measured_mm": size.measured_mm,
        "u_measured_mm": size.u_measured_mm,
        "corrected_mm": size.corrected_mm,
        "expanded_uncertainty_mm": size.expanded_uncertainty_mm,
        "coverage_factor": size.coverage_factor,
        "printed_mm": size.printed_mm,
    }
