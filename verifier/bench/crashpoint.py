"""Places where a test may have the service killed, to prove that nothing is lost, doubled or half done there."""

import os
import signal
from enum import StrEnum

VARIABLE = "VERIFIER_CRASH_AT"


class CrashPoint(StrEnum):
    """Every step between two states on disk; the name says what has just been done."""

    CLAIM_RECORDED = "claim-recorded"
    CLAIM_FOLDER_MADE = "claim-folder-made"
    CLAIM_FILE_MOVED = "claim-file-moved"
    CLAIM_MOVED = "claim-moved"
    CLAIM_SYNCED = "claim-synced"
    CLAIM_QUEUED = "claim-queued"
    ATTEMPT_COUNTED = "attempt-counted"
    ATTEMPT_SCAN_COPIED = "attempt-scan-copied"
    ATTEMPT_STARTED = "attempt-started"
    ATTEMPT_ENDED = "attempt-ended"
    RESULT_SYNCED = "result-synced"
    RESULT_COMPUTED = "result-computed"
    EARLIER_MESH_KEPT = "earlier-mesh-kept"
    EARLIER_KEPT = "earlier-kept"
    REPORT_PLACED = "report-placed"
    MESH_PLACED = "mesh-placed"
    HELD_EARLIER_KEPT = "held-earlier-kept"
    HELD_PLACED = "held-placed"
    SHEET_OFFERED = "sheet-offered"
    ORIGINAL_PLANNED = "original-planned"
    ORIGINAL_FILED = "original-filed"
    DONE_RECORDED = "done-recorded"
    JOB_FOLDER_REMOVED = "job-folder-removed"
    HELD_QUEUED_AGAIN = "held-queued-again"
    RECOVERY_CLAIM_SETTLED = "recovery-claim-settled"
    RECOVERY_ATTEMPT_DROPPED = "recovery-attempt-dropped"


def crash_point(point: CrashPoint) -> None:
    """End this process at once, without clearing up, when the environment names this point; else do nothing."""
    if os.environ.get(VARIABLE) == point:
        os.kill(os.getpid(), getattr(signal, "SIGKILL", signal.SIGTERM))  # Windows ends a process at once with either
