"""The outcome of one scan as the report says it. JSON, terminal and page are made from this and nothing else."""

from verifier.inspection.deviation import (
    ChangeTable,
    DeviationTable,
    HistogramTable,
    OtherPoseTable,
    SideTable,
    SpreadTable,
    WithinTable,
)
from verifier.inspection.joined import (
    DotsTable,
    JoinLinkTable,
    JoinRegionTable,
    JoinTable,
    JoinWayTable,
    PosedScanTable,
    SeamSpreadTable,
    SeamTable,
)
from verifier.inspection.scanned import FeatureTable, MendStepTable, MendTable, ScanTable, UnseenTable
from verifier.inspection.sized import CoatTable, ScaleTable, SizeTable
from verifier.inspection.table import REFUSAL_SCHEMA, JobVerdict, Part, Point, Row4, Verdict
from verifier.inspection.to_print import BoreTable, PieceTable, PrintCheckTable, PrintTable, ReshapeTable, SeatTable
from verifier.inspection.whole import Inspection

__all__ = [
    "REFUSAL_SCHEMA",
    "BoreTable",
    "ChangeTable",
    "CoatTable",
    "DeviationTable",
    "DotsTable",
    "FeatureTable",
    "HistogramTable",
    "Inspection",
    "JobVerdict",
    "JoinLinkTable",
    "JoinRegionTable",
    "JoinTable",
    "JoinWayTable",
    "MendStepTable",
    "MendTable",
    "OtherPoseTable",
    "Part",
    "PieceTable",
    "Point",
    "PosedScanTable",
    "PrintCheckTable",
    "PrintTable",
    "ReshapeTable",
    "Row4",
    "ScaleTable",
    "ScanTable",
    "SeamSpreadTable",
    "SeamTable",
    "SeatTable",
    "SideTable",
    "SizeTable",
    "SpreadTable",
    "UnseenTable",
    "Verdict",
    "WithinTable",
]
