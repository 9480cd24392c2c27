"""The command `check`: scans by hand, without a bench."""

import json
from collections.abc import Sequence
from pathlib import Path

from verifier.errors import EXIT_FAIL, EXIT_PASS, EXIT_REFUSED, EXIT_UNDECIDED, EXIT_USAGE, VerifierError, WrongUsage
from verifier.freed_memory import keep_freed_memory
from verifier.inspect import StageReport
from verifier.inspected import EXIT_OF, Delivered, Extras, inspect_file, refusal_verdict
from verifier.inspection import REFUSAL_SCHEMA
from verifier.part_scans import PartScans, parts_in
from verifier.reporting import as_json as json_report
from verifier.reporting import terminal
from verifier.screen import Screen
from verifier.shipped import rules_folder

WORST_FIRST = (EXIT_USAGE, EXIT_REFUSED, EXIT_FAIL, EXIT_UNDECIDED, EXIT_PASS)


def check_scans(
    scans: Sequence[Path],
    screen: Screen,
    *,
    sheet: Path | None,
    filament: str | None,
    reference: Path | None,
    rules: Path | None,
    out: Path | None,
    extras: Extras,
    as_json: bool,
) -> int:
    """Check every scan, print its report, and return the worst exit status."""
    keep_freed_memory()
    rules_here = rules_in_use(rules)
    statuses, told = [], []
    for part in parts_in(scans):
        try:
            delivered = inspect_file(
                part,
                rules_here,
                sheet_file=sheet,
                filament=filament,
                reference=reference,
                report_stage=stages_told(screen, part),
            )
        except VerifierError as error:
            screen.complain(str(error))
            statuses.append(error.exit_code)
            told.append(_refusal(part.part, error))
            continue
        told.append(json_report.render(delivered.inspection))
        _deliver(delivered, screen, out=out, extras=extras, quiet=as_json)
        statuses.append(EXIT_OF[delivered.inspection.verdict])
    if as_json:
        screen.say(told[0] if len(told) == 1 else f"[{','.join(told)}]")
    return next(status for status in WORST_FIRST if status in statuses)


def rules_in_use(asked: Path | None) -> Path:
    """The rules folder that was asked for, else the one here, else the one that comes with the verifier."""
    return asked or (Path("rules") if Path("rules").is_dir() else rules_folder())


def stages_told(screen: Screen, scans: PartScans) -> StageReport:
    """Says each stage of a part's scans as it begins."""
    return lambda stage: screen.tell(f"{scans.told}: {stage} …")


def _deliver(delivered: Delivered, screen: Screen, *, out: Path | None, extras: Extras, quiet: bool) -> None:
    inspection = delivered.inspection
    if not quiet:
        screen.say(
            terminal.render(
                inspection,
                width=screen.width,
                colour=screen.colour,
                ascii_only=screen.ascii_only,
                brief=out is not None,
            )
        )
    if out is not None:
        for written in _written(delivered, out, extras):
            screen.tell(f"Wrote {written}")


def _written(delivered: Delivered, out: Path, extras: Extras) -> tuple[Path, ...]:
    """The files written. Raises WrongUsage for a folder that cannot be written to."""
    from verifier.delivery import write_delivery  # what draws the page takes 0.2 s to load: the verdict stands by then

    try:
        return write_delivery(delivered, out, extras)
    except OSError as error:
        do = "Give a folder that can be written to, on a disk with room"
        raise WrongUsage(f"nothing can be written there ({error.strerror})", where=f"--out {out}", do=do) from error


def _refusal(part: str, error: VerifierError) -> str:
    """A refusal as JSON, so that a program reading standard output always gets a document."""
    return json.dumps(
        {
            "schema": REFUSAL_SCHEMA,
            "part": part,
            "verdict": refusal_verdict(error),
            "reasons": [error.reason],
            "next_steps": [error.step],
        },
        ensure_ascii=False,
        indent=2,
    )
