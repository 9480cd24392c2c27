"""The scan a part last passed with, as the ledger remembers it."""

from contextlib import closing
from pathlib import Path

from verifier.bench.layout import LEDGER
from verifier.bench.ledger import Ledger
from verifier.rulebook.rules import Rules


def last_pass(ledger: Ledger, bench: Path, part: str, but_sha256: str | None) -> Path | None:
    """The kept original of the part's last PASS; None where there is none.

    bench : its folder
    but_sha256 : the scan in hand, which is no reference for itself
    """
    passes = ((sha256, bench / "originals" / original) for original, sha256 in ledger.passes(part))
    return next((path for sha256, path in passes if sha256 != but_sha256 and path.is_file()), None)


def last_pass_beside(rules: Rules, part: str, but_sha256: str) -> Path | None:
    """The same, on the bench whose rules these are. Only for the machine that the bench's disk is in.

    Raises WrongUsage for a file that is no ledger.
    """
    bench = rules.folder.absolute().parent
    if not (bench / LEDGER).is_file():
        return None
    with closing(Ledger.open_to_read(bench / LEDGER)) as ledger:
        return last_pass(ledger, bench, part, but_sha256)
