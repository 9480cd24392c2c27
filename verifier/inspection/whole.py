"""The report of one scan, all tables together."""

from typing import Literal

from pydantic import ConfigDict, Field

from verifier.inspection.deviation import DeviationTable
from verifier.inspection.joined import JoinTable
from verifier.inspection.scanned import FeatureTable, MendTable, ScanTable
from verifier.inspection.sized import CoatTable, ScaleTable, SizeTable
from verifier.inspection.table import Part, Verdict
from verifier.inspection.to_print import BoreTable, PieceTable, PrintTable, ReshapeTable


class Inspection(Part):
    """The JSON report of one scan."""

    schema_: Literal["verifier.inspection/1"] = Field(default="verifier.inspection/1", alias="schema")
    part: str
    description: str
    of_print: bool = Field(default=False, description="a print was scanned; 'print' then says nothing")
    verdict: Verdict
    reasons: tuple[str, ...]
    next_steps: tuple[str, ...] = Field(description="what the person does now, first thing first")
    scan: ScanTable
    join: JoinTable | None = Field(default=None, description="of several scans; null for one")
    mend: MendTable
    features: tuple[FeatureTable, ...]
    sizes: tuple[SizeTable, ...]
    scale: ScaleTable
    coat: CoatTable
    bores: tuple[BoreTable, ...]
    print: PrintTable
    reshaped: tuple[ReshapeTable, ...] = ()
    pieces: tuple[PieceTable, ...] = Field(default=(), description="of a part that is cut; each is a mesh of its own")
    deviation: DeviationTable | None = Field(default=None, description="null when nothing was there to compare with")
    cautions: tuple[str, ...] = ()
    sources: tuple[str, ...] = Field(default=(), description="whose figures the report rests on")
    seconds: dict[str, float]
    versions: dict[str, str]

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
