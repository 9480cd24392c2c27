"""What the ledger remembers of scans and prints: questions for whoever looks back."""

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Self, TypeVar

from verifier.bench.schema import connect_to_read
from verifier.learning.kept_print import KeptPrint
from verifier.learning.row import PrintRow, ReadRow


@dataclass(frozen=True, slots=True)
class ScanSeen:
    """One finished and measured scan. Its columns are those of the table scans."""

    job: int
    part: str
    finished_at: str
    verdict: str
    description: str
    scan_name: str
    sha256: str
    scale: float
    u_scale: float
    coat_mm: float
    u_coat_mm: float
    filled_share: float
    filament: str
    printer: str
    shrink_xy: float
    shrink_z: float
    mass_g: float
    cost: float
    currency: str
    picture: str


@dataclass(frozen=True, slots=True)
class SizeSeen:
    """One size of one scan. Its columns are those of the table sizes; degrees for an angle."""

    job: int
    number: int
    name: str
    kind: str
    verdict: str
    reading_mm: float | None
    nominal_mm: float | None
    least_mm: float | None
    greatest_mm: float | None
    measured_mm: float | None
    u_measured_mm: float | None
    corrected_mm: float | None
    expanded_uncertainty_mm: float | None
    coverage_factor: float | None
    printed_mm: float | None
    model_mm: float | None
    u_model_mm: float | None
    rise: float | None
    walls: int | None
    upright_hole: int | None

    @property
    def wanted_mm(self) -> float | None:
        """What it should be: the drawing's size, or else what the calliper said of the original."""
        return self.reading_mm if self.nominal_mm is None else self.nominal_mm

    @property
    def on_print(self) -> PrintRow | None:
        """The size as the mesh to print has it; None for one that cannot be read on the print."""
        if self.model_mm is None or self.printed_mm is None or self.walls is None:
            return None
        return PrintRow(
            self.name,
            self.kind,
            self.model_mm,
            self.u_model_mm or 0.0,
            self.printed_mm,
            self.rise or 0.0,
            self.walls,
            bool(self.upright_hole),
        )


Seen = TypeVar("Seen", ScanSeen, SizeSeen)


class History:
    """Scans and prints of one bench, to be read beside a running service."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db

    @classmethod
    def open_to_read(cls, path: Path) -> Self:
        """Look into a ledger of today's version; raises WrongUsage for a file that is none."""
        return cls(connect_to_read(path))

    def close(self) -> None:
        """Close the ledger."""
        self._db.close()

    def scans(self) -> tuple[ScanSeen, ...]:
        """Every measured scan, oldest first."""
        return self._seen(ScanSeen, "SELECT * FROM scans ORDER BY job")

    def scans_of(self, part: str) -> tuple[ScanSeen, ...]:
        """The measured scans of a part, oldest first."""
        return self._seen(ScanSeen, "SELECT * FROM scans WHERE part = ? ORDER BY job", (part,))

    def sizes(self) -> tuple[SizeSeen, ...]:
        """All sizes of all scans, in the order of scans and rows."""
        return self._seen(SizeSeen, "SELECT * FROM sizes ORDER BY job, number")

    def sizes_of(self, part: str) -> tuple[SizeSeen, ...]:
        """All sizes of all scans of a part, in the order of scans and rows."""
        query = "SELECT sizes.* FROM sizes JOIN scans ON scans.job = sizes.job WHERE part = ? ORDER BY job, number"
        return self._seen(SizeSeen, query, (part,))

    def prints(self) -> tuple[KeptPrint, ...]:
        """Every print that was entered and not undone, oldest first."""
        rows: dict[int, list[ReadRow]] = {}
        for row in self._db.execute("SELECT * FROM print_sizes ORDER BY print, number"):
            rows.setdefault(row["print"], []).append(_read_row(row))
        query = "SELECT * FROM prints WHERE undone_at IS NULL ORDER BY number"
        return tuple(_kept(row, rows.get(row["number"], ())) for row in self._db.execute(query))

    def _seen(self, kind: type[Seen], query: str, values: Sequence[object] = ()) -> tuple[Seen, ...]:
        names = [field.name for field in fields(kind)]
        return tuple(kind(**{name: row[name] for name in names}) for row in self._db.execute(query, values))


def _kept(row: Any, rows: Sequence[ReadRow]) -> KeptPrint:
    return KeptPrint(
        number=row["number"],
        part=row["part"],
        job=row["job"],
        filament=row["filament"],
        printer=row["printer"],
        condition=row["condition"],
        entered_at=row["entered_at"],
        rows=tuple(rows),
        u_scale=row["u_scale"],
    )


def _read_row(row: Any) -> ReadRow:
    values = {field.name: row[field.name] for field in fields(PrintRow)}
    return ReadRow(PrintRow(**(values | {"upright_hole": bool(row["upright_hole"])})), row["read_mm"], row["u_mm"])
