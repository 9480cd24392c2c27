"""What can go wrong that the person at the bench can put right: one line of what, where and what to do."""

from typing import ClassVar

EXIT_PASS = 0
EXIT_FAIL = 1
EXIT_UNDECIDED = 2
EXIT_REFUSED = 3
EXIT_USAGE = 64  # EX_USAGE of the BSD sysexits convention
EXIT_OUR_MISTAKE = 70  # EX_SOFTWARE of the same
EXIT_CANNOT_WRITE = 74  # EX_IOERR of the same
EXIT_LOCKED = 75  # EX_TEMPFAIL of the same


class VerifierError(Exception):
    """Something the person at the bench can put right.

    what : what is wrong, as a sentence without its full stop
    where : the file, row or folder it is wrong in
    do : what puts it right, as a sentence without its full stop
    """

    exit_code: ClassVar[int] = EXIT_REFUSED

    def __init__(self, what: str, *, where: str, do: str) -> None:
        super().__init__(what, where, do)
        self.what, self.where, self.do = what, where, do

    def __str__(self) -> str:
        return f"{self.reason} {self.step}"

    @property
    def reason(self) -> str:
        """Where and what, as a sentence."""
        return f"{self.where}: {self.what}."

    @property
    def step(self) -> str:
        """What puts it right, as a sentence."""
        return f"{self.do}."

    def __reduce__(self) -> tuple[object, ...]:
        return _rebuild, (type(self), self.what, self.where, self.do)


def _rebuild(kind: type[VerifierError], what: str, where: str, do: str) -> VerifierError:
    """Make the error again on the other side of a process boundary."""
    return kind(what, where=where, do=do)


class NotAMesh(VerifierError):
    """The file is of another kind than its name says, or of a kind that holds no surface."""


class Truncated(VerifierError):
    """The file ends before what it announces."""


class Malformed(VerifierError):
    """The file breaks its format's own rules: a false count, an index out of range, a corner that is no number."""


class NoTriangles(VerifierError):
    """The file is well formed and holds no surface."""


class TooLarge(VerifierError):
    """The file is beyond the reading limits of the acceptance rules."""


class CannotOpen(VerifierError):
    """The file cannot be opened: missing, no permission, a link or a device."""


class CannotMend(VerifierError):
    """The surface could not be made into a closed solid."""


class CannotDeliver(VerifierError):
    """The mesh would not be a closed solid to whoever reads its file."""


class CannotJoin(VerifierError):
    """Several scans of one part were given that cannot be made into one."""


class UnitUnclear(VerifierError):
    """The size of the file fits more than one unit of length, or none."""

    exit_code = EXIT_UNDECIDED


class RuleMistake(VerifierError):
    """A rules file or a dimension sheet says something that cannot be used; `where` has the file and the line."""

    exit_code = EXIT_USAGE


class UnknownName(VerifierError):
    """A sheet, filament, printer, calliper or row is asked for by a name that the rules do not have."""

    exit_code = EXIT_USAGE


class WrongUsage(VerifierError):
    """The command was called in a way that cannot be carried out."""

    exit_code = EXIT_USAGE


class LedgerCannotWrite(WrongUsage):
    """The ledger's disk is full, broken, or not to be written to; that may be better at the next start."""

    exit_code = EXIT_CANNOT_WRITE


class BenchBusy(VerifierError):
    """Another verifier watches this bench already."""

    exit_code = EXIT_LOCKED
