"""What the scan of a print says of its sizes, for whoever learns from prints."""

from dataclasses import dataclass

from verifier.inspection import Inspection


@dataclass(frozen=True, slots=True)
class PrintSize:
    """One row of the sheet on a print.

    wanted_mm : what the print should measure; measured_mm : what its scan says, the scanner's scale and the coat taken
    out as far as they are known; u_mm : standard uncertainty of that. Degrees for an angle.
    """

    name: str
    kind: str
    wanted_mm: float
    measured_mm: float
    u_mm: float


def print_sizes(inspection: Inspection) -> tuple[PrintSize, ...]:
    """The sizes found on a scanned print, in the order of the sheet; rows that were not found are left out.

    inspection : of a scan named PART.print.…
    """
    return tuple(
        PrintSize(
            size.name,
            size.kind,
            size.nominal_mm,
            size.corrected_mm,
            size.expanded_uncertainty_mm / size.coverage_factor,
        )
        for size in inspection.sizes
        if size.nominal_mm is not None
        and size.corrected_mm is not None
        and size.expanded_uncertainty_mm is not None
        and size.coverage_factor
    )
