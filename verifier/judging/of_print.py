"""What the person does after the scan of a print was judged: other things than after the scan of an original."""

from collections.abc import Iterable
from dataclasses import replace

from verifier.judging.judgement import Judgement, RowJudgement
from verifier.rulebook import Sheet, SheetRow
from verifier.rulebook.print_sheet import PRINT_ENDING
from verifier.rulebook.size_kinds import unit_of


def steps_of_print(judgement: Judgement, sheet: Sheet) -> Judgement:
    """The judgement with the steps of a print: use it, measure what is open, learn from what failed."""
    part = sheet.part.removesuffix(PRINT_ENDING)
    rows = [pair for pair in zip(judgement.rows, sheet.rows, strict=True) if pair[0].required]
    steps = tuple(dict.fromkeys(_steps(judgement, rows, part)))
    return replace(judgement, next_steps=steps)


def _steps(judgement: Judgement, rows: list[tuple[RowJudgement, SheetRow]], part: str) -> Iterable[str]:
    if judgement.verdict == "PASS":
        yield "Use the print."
        return
    failed = [judged for judged, _ in rows if judged.verdict == "FAIL"]
    if failed:
        names = ", ".join(f"'{judged.name}'" for judged in failed)
        yield (
            f"Measure {names} on the print with the calliper, and let the shop learn from it: verifier printed {part}. "
            "Then check the scan of the original again and print the new mesh."
        )
    for judged, row in rows:
        if judged.verdict == "UNDECIDED":
            yield _open_step(judged, row)
    for step in judgement.next_steps:
        if "orientation" in step or "unit" in step:
            yield step


def _open_step(judged: RowJudgement, row: SheetRow) -> str:
    if judged.corrected is None or judged.limits is None:
        return judged.do or f"Scan the print so that '{judged.name}' is seen."
    unit = unit_of(row.kind)
    least, greatest = judged.limits
    return (
        f"Measure '{judged.name}' on the print with the calliper: {least:.2f} to {greatest:.2f} {unit} is right. "
        "The scan alone is not sure enough here."
    )
