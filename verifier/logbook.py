"""The log of a bench: verifier.log in the bench's own folder, where the person finds it and can pass it on.

A megabyte a file and five files are kept (verifier.log, verifier.log.1 to .4, the oldest last): some ten thousand
jobs. A line is: time with its offset from UTC, level, verb, thing, number with unit. A disk without room for the log
stops nothing; its lines are then lost, and the ledger still knows every job.
"""

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from logging.handlers import RotatingFileHandler
from pathlib import Path

from verifier.bench import Claimed, Event, Finished, Notice, Ready, SetAside, Stage, TriedAgain, Waiting
from verifier.errors import VerifierError

FILE_BYTES = 1_000_000
EARLIER_FILES = 4


class _Handler(RotatingFileHandler):
    def handleError(self, record: logging.LogRecord) -> None:
        """A full disk, or a file that another program holds open: the line is lost, the service goes on."""


class _Lines(logging.Formatter):
    def formatTime(self, record: logging.LogRecord, datefmt: str | None = None) -> str:
        return datetime.fromtimestamp(record.created).astimezone().isoformat(timespec="milliseconds")


@contextmanager
def logbook(path: Path, *, file_bytes: int = FILE_BYTES) -> Iterator[Callable[[Event], None]]:
    """Keep the log while the service runs; yields what writes an event down.

    The file is made at the first line. What ends the service unawares is written with its traceback, and goes on.
    """
    handler = _Handler(path, maxBytes=file_bytes, backupCount=EARLIER_FILES, encoding="utf-8", delay=True)
    handler.setFormatter(_Lines("%(asctime)s %(levelname)s %(message)s"))
    log = logging.Logger("verifier.bench")
    log.addHandler(handler)
    try:
        yield lambda event: log.log(*line_of(event))
        log.info("Stopped watching")
    except VerifierError:
        raise  # told to the person by the command; a second service must not write into the first one's log
    except Exception:
        log.exception("Stopped watching, by a mistake of the verifier's own")
        raise
    finally:
        handler.close()


def line_of(event: Event) -> tuple[int, str]:
    """Level and line of an event."""
    level, line = _words_of(event)
    return level, " | ".join(line.split("\n"))


def _words_of(event: Event) -> tuple[int, str]:
    match event:
        case Ready(bench):
            return logging.INFO, f"Watched {bench}"
        case Waiting(name, reason):
            return logging.INFO, f"Left {name} in the inbox: {reason}"
        case Claimed(job, part, name, size_bytes):
            return logging.INFO, f"Took {name} as job {job} of {part}, {size_bytes / 1e6:.3f} MB"
        case Stage(job, part, stage, seconds):
            return logging.INFO, f"Began {stage}, job {job} of {part}, after {seconds:.3f} s"
        case TriedAgain(job, part, reason):
            return logging.WARNING, f"Restarted job {job} of {part}: {reason}"
        case Finished(job, part, verdict, folder):
            return logging.INFO, f"Published job {job} of {part}: {verdict}, in {folder}"
        case SetAside(job, part, reason, folder):
            return logging.ERROR, f"Set aside job {job} of {part}, in {folder}: {reason}"
        case Notice(text):
            return logging.WARNING, f"Noticed: {text}"
