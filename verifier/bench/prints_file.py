"""The prints of the ledger once more as a file, for workers: a database is not to be read across a network.

SQLite's write-ahead log wants all its readers on one machine (its documentation of WAL), and a job may run on another.
"""

from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from verifier.bench.durable import make_folder, write_file
from verifier.bench.history import History
from verifier.bench.layout import Bench
from verifier.errors import WrongUsage
from verifier.learning.kept_print import KeptPrint

NAME = "prints.json"
_PRINTS = TypeAdapter(tuple[KeptPrint, ...])


def write_prints(bench: Bench, history: History) -> None:
    """Bring the file up to date with the ledger; nothing is written where it is. Raises OSError."""
    file, told = bench.root / ".work" / NAME, _PRINTS.dump_json(history.prints(), indent=1)
    if not (file.is_file() and file.read_bytes() == told):
        make_folder(file.parent)
        write_file(file, told)


def prints_beside(rules_folder: Path) -> tuple[KeptPrint, ...]:
    """The prints of the bench whose rules these are; none for rules that lie on no bench.

    Raises WrongUsage for a file that is not what write_prints writes.
    """
    file = rules_folder.absolute().parent / ".work" / NAME
    try:
        return _PRINTS.validate_json(file.read_bytes())
    except (FileNotFoundError, NotADirectoryError):
        return ()
    except ValidationError as error:
        do = "Delete it: the next start of the service, or the next print, writes it anew"
        raise WrongUsage("it is not as the verifier writes it", where=str(file), do=do) from error
