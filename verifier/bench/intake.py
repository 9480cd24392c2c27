"""Looking after the inbox: what lies there, what of it is whole, and taking that out."""

import os
import shutil
import tomllib
from collections import deque
from collections.abc import Callable

from verifier.bench.claim import claim, finish_claim
from verifier.bench.endings import lacks_its_end
from verifier.bench.events import Claimed, Event, Notice, Waiting
from verifier.bench.inbox import Entry, Kind, again, look_into
from verifier.bench.job import Job, State
from verifier.bench.journal import Journal
from verifier.bench.layout import Bench
from verifier.bench.limits import GIB, Limits
from verifier.bench.names import scan_name, shown
from verifier.bench.numbered import gathered
from verifier.bench.once import Once
from verifier.bench.scan_files import files_of
from verifier.bench.settle import Stillness, why_not_readable
from verifier.rulebook import find_sheet, part_name
from verifier.rulebook.sheet import MOST_SCANS

# A result with its report, the copy in hand and a second result it takes the place of stay under this multiple.
ROOM_PER_BYTE = 10
# A claim takes some hundredths of a second of syncing. After this many the loop turns to its jobs before it goes on.
CLAIMS_A_LOOK = 20


class Intake:
    """One inbox. Times are the caller's, of any clock that only runs on."""

    def __init__(self, bench: Bench, journal: Journal, limits: Limits, tell: Callable[[Event], None]) -> None:
        self._bench, self._journal, self._limits, self._tell = bench, journal, limits, tell
        self._once_a_file, self._once = Once(tell), Once(tell)
        self._stillness = Stillness(limits)
        self._first_seen_s: dict[str, float] = {}
        self._claims_left = CLAIMS_A_LOOK
        self._unseen: deque[Entry] = deque()
        self._listed_s = self._next_due_s = float("-inf")

    def look(self, now_s: float) -> float | None:
        """Take whole files; seconds until the next may be whole, None when nothing is on its way.

        After some claims it returns 0, and the next look goes on with the same list: reading the folder anew for each
        twenty files makes the work grow with the square of their number (2,000 took 4.2 s of computing, 1.2 s this
        way; 20,000 take 28 s). The list is not used for longer than a look's usual pause.
        Raises OSError when the inbox cannot be read.
        """
        if not self._unseen or now_s - self._listed_s >= self._limits.rescan_s:
            self._list(now_s)
        self._claims_left = CLAIMS_A_LOOK
        while self._unseen and self._claims_left > 0:
            entry = self._unseen.popleft()
            seen = entry if self._listed_s == now_s else again(self._bench.inbox, entry)
            wait_s = self._see_to(seen, now_s) if seen else None
            if wait_s is not None:
                self._next_due_s = min(self._next_due_s, now_s + wait_s)
        if self._unseen:
            return 0.0
        return None if self._next_due_s == float("inf") else max(0.0, self._next_due_s - now_s)

    def settle_claims(self) -> None:
        """Take up claims that a disk error cut short after the file was moved."""
        for job in self._journal.in_state(State.CLAIMING):
            try:
                queued = finish_claim(self._bench, self._journal, job)
            except OSError as error:
                text = f"The scan of {job.part} cannot be taken up yet: {error.strerror}."
                self._once.tell(("claim", str(job.id)), Notice(text))
            else:
                self._tell_of(queued)

    def _list(self, now_s: float) -> None:
        self._unseen = deque(gathered(look_into(self._bench.inbox), self._scans_wanted))
        self._listed_s, self._next_due_s = now_s, float("inf")
        self._forget_all_but({entry.name for entry in self._unseen})

    def _see_to(self, entry: Entry, now_s: float) -> float | None:
        if entry.kind is not Kind.SCAN:
            self._say(entry, entry.kind.value)
            return None
        if missing := self._missing_of(entry):
            self._say(entry, missing)
            return self._wait(entry, missing, now_s, None)
        wait_s = self._stillness.still_in_s(entry.name, entry.fingerprint, now_s, slow=entry.several)
        if wait_s > 0:
            return self._wait(entry, "it may still be growing", now_s, wait_s)
        if reason := self._why_not_readable(entry):
            self._say(entry, reason)
            return self._wait(entry, reason, now_s, None)
        if (longer_s := self._patience_s(entry, wait_s)) > 0:
            return self._wait(entry, "its end is missing so far", now_s, longer_s)
        return None if self._take(entry) else self._wait(entry, "the disk is nearly full", now_s, None)

    def _why_not_readable(self, entry: Entry) -> str | None:
        try:
            files = [file for name in entry.names for file in files_of(self._bench.inbox / name)]
        except OSError as error:
            return f"it cannot be opened: {error.strerror}"
        return next((reason for file in files if (reason := why_not_readable(file))), None)

    def _missing_of(self, entry: Entry) -> str:
        """Which of several scans are still to come, by the numbers in their names or by the sheet."""
        if entry.missing:
            numbers = " and ".join(map(str, entry.missing))
            return (
                f"scan {numbers} of it is still missing" if len(entry.missing) == 1 else f"scans {numbers} are missing"
            )
        wanted = self._scans_wanted(part_name(scan_name(entry.names[0]))) if entry.several else None
        short = wanted is not None and entry.scans < wanted
        return f"its sheet says scans = {wanted}, and there are {entry.scans} so far" if short else ""

    def _scans_wanted(self, part: str) -> int | None:
        """As its sheet says; a sheet with a mistake in it says nothing here, and its job will tell."""
        found = find_sheet(self._bench.rules, part)
        try:
            told = tomllib.loads(found.read_text(encoding="utf-8")).get("scans") if found else None
        except (OSError, ValueError):
            return None
        return told if isinstance(told, int) and 1 <= told <= MOST_SCANS else None

    def _patience_s(self, entry: Entry, wait_s: float) -> float:
        """Seconds a file without its end is still given; wait_s is how long, negative, it has been still enough."""
        path = self._bench.inbox / entry.name
        if entry.several:
            return 0.0
        extra_s = self._limits.slow_settle_s - self._limits.settle_s
        if entry.name.lower().endswith(".obj") or wait_s + extra_s <= 0:
            return 0.0
        try:
            return wait_s + extra_s if lacks_its_end(path) else 0.0
        except OSError:
            return 0.0  # gone, or not to be read after all: taking it will tell

    def _wait(self, entry: Entry, reason: str, now_s: float, wait_s: float | None) -> float | None:
        self._once_a_file.tell((entry.name, reason), Waiting(shown(entry.name.replace("/", ", ")), reason))
        waited_s = now_s - self._first_seen_s.setdefault(entry.name, now_s)
        if waited_s > self._limits.overdue_s:
            text = f"{shown(entry.name.replace('/', ', '))} has waited for {waited_s / 60:.0f} minutes: {reason}."
            self._once_a_file.tell((entry.name, "overdue"), Notice(text))
        return wait_s

    def _say(self, entry: Entry, reason: str) -> None:
        notice = Notice(f"{shown(entry.name.replace('/', ', '))} stays in the inbox: {reason}.")
        self._once_a_file.tell((entry.name, f"notice: {reason}"), notice)

    def _take(self, entry: Entry) -> bool:
        """False when there is no room for it."""
        if not self._has_room(entry.fingerprint.size_bytes):
            return False
        self._claims_left -= 1
        try:
            job = claim(self._bench, self._journal, entry.name)
        except OSError as error:
            self._say(entry, f"it cannot be taken out: {error.strerror}")
            return True
        self._tell_of(job)
        return True

    def _tell_of(self, job: Job | None) -> None:
        if job:
            name = shown(os.fsdecode(job.original_name).replace("/", ", "))
            self._tell(Claimed(job.id, job.part, name, job.size_bytes or 0))

    def _has_room(self, size_bytes: int) -> bool:
        wanted_bytes = max(self._limits.least_free_bytes, ROOM_PER_BYTE * size_bytes)
        free_bytes = shutil.disk_usage(self._bench.root).free
        if free_bytes < wanted_bytes:
            text = (
                f"The disk is nearly full: {free_bytes / GIB:.1f} GiB free, {wanted_bytes / GIB:.1f} wanted. Make room."
            )
            self._once.tell(("room", ""), Notice(text))
            return False
        self._once.forget(("room", ""))
        return True

    def _forget_all_but(self, names: set[str]) -> None:
        self._stillness.keep_only(names)
        self._first_seen_s = {name: seen_s for name, seen_s in self._first_seen_s.items() if name in names}
        self._once_a_file.keep_only(names)
