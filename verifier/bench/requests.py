"""What a person asks of a bench: to try a scan again, to hear no more of a part, to keep a print's readings.

The service alone writes the journal, so a request is a small file that a running service picks up and removes once it
is carried out. A request that was carried out twice, after a crash in between, does no harm.
"""

import uuid
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from verifier.bench.durable import make_folder, write_file
from verifier.bench.layout import Bench
from verifier.bench.print_entry import PrintEntry


class Retry(BaseModel):
    """Run the original of a finished job once more, as a new job."""

    model_config = ConfigDict(frozen=True)

    ask: Literal["retry"] = "retry"
    job: int


class Forget(BaseModel):
    """Put what is held of a part away, and run it for no change of the rules; its originals stay."""

    model_config = ConfigDict(frozen=True)

    ask: Literal["forget"] = "forget"
    part: str


class EnterPrint(BaseModel):
    """Keep the readings of a print."""

    model_config = ConfigDict(frozen=True)

    ask: Literal["enter-print"] = "enter-print"
    entry: PrintEntry


class UndoPrint(BaseModel):
    """Take a print out of every figure."""

    model_config = ConfigDict(frozen=True)

    ask: Literal["undo-print"] = "undo-print"
    number: int


Request = Retry | Forget | EnterPrint | UndoPrint
_READER: TypeAdapter[Request] = TypeAdapter(Annotated[Request, Field(discriminator="ask")])


def leave_request(bench: Bench, request: Request) -> Path:
    """Lay a request where the service looks; the file is gone once it is carried out."""
    make_folder(bench.requests)
    path = bench.requests / f"{request.ask}-{uuid.uuid4().hex}.json"
    write_file(path, request.model_dump_json().encode())
    return path


def requests_on(bench: Bench) -> list[Path]:
    """Requests that are not carried out yet."""
    return sorted(bench.requests.glob("[!.]*.json"))


def read_request(path: Path) -> Request | None:
    """The request in a file; None for a file that holds none."""
    try:
        return _READER.validate_json(path.read_bytes())
    except (OSError, ValidationError):
        return None
