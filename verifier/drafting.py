"""The command `draft`: a dimension sheet to fill in, and the page that shows what to measure."""

from collections.abc import Sequence
from pathlib import Path

from verifier.checking import rules_in_use, stages_told
from verifier.delivery import write_draft
from verifier.errors import EXIT_PASS, VerifierError, WrongUsage
from verifier.freed_memory import keep_freed_memory
from verifier.inspected import Delivered, inspect_file
from verifier.part_scans import parts_in
from verifier.screen import Screen


def draft_sheets(scans: Sequence[Path], screen: Screen, *, rules: Path | None, out: Path) -> int:
    """Draft a sheet for every scan, also for a part that has one; 0 when all went well, else the last refusal's status.

    A sheet that lies in the folder already is never written over.
    """
    keep_freed_memory()
    status = EXIT_PASS
    for part in parts_in(scans):
        try:
            delivered = inspect_file(part, rules_in_use(rules), as_new=True, report_stage=stages_told(screen, part))
            _write(delivered, out, screen)
        except VerifierError as error:
            screen.complain(str(error))
            status = error.exit_code
    return status


def _write(delivered: Delivered, out: Path, screen: Screen) -> None:
    part = delivered.inspection.part
    sheet = out / f"{part}.sheet.toml"
    if sheet.exists():
        raise WrongUsage(
            "a drafted sheet lies there already, and may hold readings",
            where=str(sheet),
            do="Fill that one in, move it away, or give another folder with --out",
        )
    for written in write_draft(delivered, out):
        screen.say(f"Wrote {written}")
    join = delivered.inspection.join
    if join is not None and not join.sure:
        screen.say(f"The scans are not surely put together: {join.why} {join.do}")
    many = len(delivered.inspection.sizes)
    screen.say(
        f"Fill in the {many} readings; the page shows which is which. Then: rules/sheets/{part}.toml is its place."
    )
