"""Which rules lie in the rules folder, told by content: a change is seen even when it came while nobody watched."""

import hashlib
import unicodedata
from dataclasses import dataclass
from pathlib import Path

from verifier.bench.job import Seen
from verifier.bench.layout import Bench
from verifier.rulebook.print_sheet import PRINT_ENDING


@dataclass(frozen=True, slots=True)
class RuleSet:
    """Digests of every sheet by part, and of all other rules together."""

    sheets: dict[str, str]
    others: str

    def seen_by(self, part: str) -> Seen:
        """What of the rules concerns one part; a print is judged by the sheet of its part."""
        return Seen(self.sheets.get(part.removesuffix(PRINT_ENDING)), self.others)


def rules_on(bench: Bench) -> RuleSet:
    """The rules as they lie there now."""
    sheets = {unicodedata.normalize("NFC", file.stem): _digest_of(file) for file in _toml_files(bench.rules / "sheets")}
    others = hashlib.sha256()
    for file in _toml_files(bench.rules):
        others.update(f"{file.name} {_digest_of(file)}\n".encode("utf-8", "surrogateescape"))
    return RuleSet(sheets, others.hexdigest())


def _toml_files(folder: Path) -> list[Path]:
    return sorted(file for file in folder.glob("*.toml") if not file.name.startswith("."))


def _digest_of(file: Path) -> str:
    """A file that cannot be read has a digest too, so that the day it can is seen as a change."""
    try:
        return hashlib.sha256(file.read_bytes()).hexdigest()
    except OSError as error:
        return f"unreadable: {error.errno}"


class RulesWatch:
    """Tells the rules once nobody has touched them for a while: editors save in several steps."""

    def __init__(self, settle_s: float) -> None:
        self._settle_s = settle_s
        self._last: RuleSet | None = None
        self._since_s = 0.0

    def settled(self, rules: RuleSet, now_s: float) -> bool:
        """Whether these rules have been the same for long enough; now_s is of any clock that only runs on."""
        if rules != self._last:
            self._last, self._since_s = rules, now_s
        return now_s - self._since_s >= self._settle_s
