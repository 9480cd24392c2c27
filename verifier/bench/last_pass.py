"""The scan a part last passed with, as the ledger remembers it."""

from contextlib import closing
from pathlib import Path

from verifier.bench.layout import LEDGER
from verifier.bench.schema import connect_to_read
from verifier.rulebook.rules import Rules

QUERY = """
SELECT original, sha256 FROM jobs
WHERE part = ? AND verdict = 'PASS' AND original IS NOT NULL AND finished_at IS NOT NULL
ORDER BY id DESC
"""


def last_pass_beside(rules: Rules, part: str, but_sha256: str) -> Path | None:
    """The kept original of the part's last PASS on the bench whose rules these are; None where there is none.

    but_sha256 : the scan in hand, which is no reference for itself
    Raises WrongUsage for a file that is no ledger.
    """
    bench = rules.folder.absolute().parent
    ledger = bench / LEDGER
    if not ledger.is_file():
        return None
    with closing(connect_to_read(ledger)) as db:
        for row in db.execute(QUERY, (part,)):
            path = bench / "originals" / str(row["original"])
            if row["sha256"] != but_sha256 and path.is_file():
                return path
    return None
