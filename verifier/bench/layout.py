"""Where things lie on a bench."""

import os
import shutil
import tomllib
from dataclasses import dataclass
from pathlib import Path

from verifier.bench.durable import make_folder, sync_folder
from verifier.errors import RuleMistake, WrongUsage

FOLDERS = ("inbox", "slicer", "held", "originals", "rules")
SETTINGS = "bench.toml"
LEDGER = "ledger.db"


@dataclass(frozen=True, slots=True)
class Bench:
    """The folders of one bench; `slicer` may lie anywhere, the others lie on one file system."""

    root: Path
    slicer: Path

    @property
    def inbox(self) -> Path:
        """Where exports are dropped."""
        return self.root / "inbox"

    @property
    def held(self) -> Path:
        """Everything that did not pass, a folder a part."""
        return self.root / "held"

    @property
    def earlier(self) -> Path:
        """Results that newer ones took the place of."""
        return self.held / ".earlier"

    @property
    def originals(self) -> Path:
        """Every export as it came."""
        return self.root / "originals"

    @property
    def rules(self) -> Path:
        """What the shop has decided."""
        return self.root / "rules"

    @property
    def ledger(self) -> Path:
        """The journal of jobs."""
        return self.root / LEDGER

    @property
    def jobs(self) -> Path:
        """Work in hand, a folder a job."""
        return self.root / ".work" / "jobs"

    @property
    def lock(self) -> Path:
        """The file a running service holds locked."""
        return self.root / ".work" / "lock"

    @property
    def pulse(self) -> Path:
        """What a running service is at, for whoever looks in from outside."""
        return self.root / ".work" / "now.json"

    @property
    def requests(self) -> Path:
        """What the person asks of a running service, a file a request."""
        return self.root / ".work" / "requests"

    @property
    def log(self) -> Path:
        """What the service did; it lies in the open, to be read and passed on."""
        return self.root / "verifier.log"

    def job_folder(self, job: int) -> Path:
        """One job's folder."""
        return self.jobs / str(job)

    def attempt_folder(self, job: int, attempt: int) -> Path:
        """One attempt's folder: a late finisher of an earlier attempt writes into another one."""
        return self.job_folder(job) / f"try-{attempt}"


def new_bench(path: Path, rules_source: Path) -> Bench:
    """Make the folders and copy the rules that are missing; nothing that is there is written over.

    On a bench that exists already only what is missing is added.
    Raises WrongUsage for a place that cannot be a bench.
    """
    root = path.absolute()
    _refuse_odd_place(root)
    for name in FOLDERS:
        (root / name).mkdir(parents=True, exist_ok=True)
    make_folder(root / ".work" / "jobs")
    (root / "rules" / "sheets").mkdir(exist_ok=True)
    _copy_missing(rules_source, root / "rules")
    sync_folder(root)
    return open_bench(root)


def open_bench(path: Path) -> Bench:
    """The bench at a folder, checked.

    Raises WrongUsage when a folder is missing, lies on another file system than the inbox, or inside the inbox;
    RuleMistake when bench.toml cannot be read.
    """
    root = path.absolute()
    missing = [name for name in FOLDERS if not (root / name).is_dir() and name != "slicer"]
    if missing:
        raise WrongUsage(
            f"there is no folder '{missing[0]}', so this is not a whole bench",
            where=str(root),
            do=f"Make what is missing: verifier new {path}",
        )
    bench = Bench(root, _slicer_folder(root))
    make_folder(bench.jobs)
    _refuse_outputs_in_inbox(bench)
    _refuse_two_file_systems(bench)
    return bench


def _refuse_odd_place(root: Path) -> None:
    if root.exists() and not root.is_dir():
        raise WrongUsage("there is a file of this name", where=str(root), do="Give another name for the bench")
    outer = next((above for above in root.resolve().parents if _is_bench(above)), None)
    if outer is not None:
        raise WrongUsage(f"this lies inside the bench {outer}", where=str(root), do="Make the bench outside of it")
    # The inbox is made first, so a bench that was cut off in the making is known by it and can be finished.
    if root.is_dir() and any(root.iterdir()) and not (root / "inbox").is_dir():
        raise WrongUsage(
            "the folder holds other things, and a bench wants its own", where=str(root), do="Give a new or empty folder"
        )


def _is_bench(folder: Path) -> bool:
    return (folder / ".work").is_dir() and (folder / "inbox").is_dir()


def _copy_missing(source: Path, target: Path) -> None:
    for file in sorted(source.rglob("*")):
        copy = target / file.relative_to(source)
        if file.is_file() and not os.path.lexists(copy):
            copy.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(file, copy)


def _slicer_folder(root: Path) -> Path:
    settings = root / SETTINGS
    told = _slicer_setting(settings) if settings.exists() else "slicer"
    folder = root / Path(told).expanduser()
    if not folder.is_dir():
        raise WrongUsage(
            "the slicer folder is not there", where=str(folder), do=f"Make it, or name another in {SETTINGS}"
        )
    return folder.resolve()


def _slicer_setting(settings: Path) -> str:
    try:
        told = tomllib.loads(settings.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise RuleMistake(
            f"it cannot be read: {error}", where=str(settings), do="Put it right, or delete it"
        ) from error
    slicer = told.get("slicer")
    if set(told) != {"slicer"} or not isinstance(slicer, str):
        raise RuleMistake(
            "it holds something else than one line slicer = 'FOLDER'",
            where=str(settings),
            do="Leave that line alone in it",
        )
    return slicer


def _refuse_outputs_in_inbox(bench: Bench) -> None:
    inbox = bench.inbox.resolve()
    for folder in (bench.slicer, bench.held, bench.originals, bench.rules, bench.jobs):
        if folder.resolve().is_relative_to(inbox):
            raise WrongUsage(
                f"the folder {folder.name} lies inside the inbox, so results would be taken for scans",
                where=str(folder),
                do="Move it out of the inbox",
            )


def _refuse_two_file_systems(bench: Bench) -> None:
    device = bench.inbox.stat().st_dev
    for folder in (bench.jobs, bench.held, bench.originals):
        if folder.stat().st_dev != device:
            raise WrongUsage(
                f"{folder.name} and inbox lie on different disks, so files cannot be moved between them in one step",
                where=str(bench.root),
                do="Keep the bench's folders on one disk; only the slicer folder may lie elsewhere",
            )
