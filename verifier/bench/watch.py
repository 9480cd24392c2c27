"""The loop of the service: look, take, start, conclude, publish; and look again."""

import errno
import threading
import time
from collections import deque
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from verifier.bench.carrying_out import carry_out_all
from verifier.bench.crew import AttemptOver, Crew, News
from verifier.bench.durable import DISK_FULL
from verifier.bench.engine import Engine
from verifier.bench.events import Event, Notice, Ready, Stage
from verifier.bench.hints import InboxHints
from verifier.bench.intake import Intake
from verifier.bench.journal import Journal
from verifier.bench.layout import Bench, open_bench
from verifier.bench.limits import Limits, limits_of_this_machine
from verifier.bench.lock import hold_lock
from verifier.bench.once import Once
from verifier.bench.pulse import PulseWriter
from verifier.bench.recover import recover
from verifier.bench.rulesets import RulesWatch, rules_on
from verifier.bench.this_machine import ThisMachine
from verifier.bench.workshop import Workshop
from verifier.errors import LedgerCannotWrite

COMPUTE = "verifier.delivery:check_to_folder"
# A full disk, or one that has become read-only, as the system makes it after errors.
CANNOT_WRITE = DISK_FULL | {errno.EROFS}
# Some of every file format, on a bench that has had a few.
PEAKS_REMEMBERED = 200
# How soon a set `stop` is noticed.
LONGEST_SLEEP_S = 0.2
# Thousands of files dropped at once give thousands of hints; the folder is read this often at most.
SHORTEST_REST_S = 0.05


def run_bench(
    bench: Path,
    on_event: Callable[[Event], None],
    stop: threading.Event,
    *,
    compute: str = COMPUTE,
    until_idle: bool = False,
    limits: Limits | None = None,
    on_look: Callable[[], None] = lambda: None,
    cluster: str | None = None,
) -> None:
    """Serve a bench until `stop` is set, or, with until_idle, until everything that can be done is done.

    on_event : called from this thread with every event, in order
    compute : 'module:function', run in a process of its own as compute(scan, rules, out, report_stage, last_pass) and
        returning an exit status
    limits : None for those of this machine
    cluster : address of a scheduler whose workers do the jobs; None does them on this machine
    on_look : called after each completed look at the inbox, rules and requests: the sign that the service lives
    Raises WrongUsage and RuleMistake for a bench that is not in order, BenchBusy when it is served already,
    WrongUsage for a cluster that cannot be had here.
    """
    place = open_bench(bench)
    with hold_lock(place.lock), closing(Journal(place.ledger)) as journal:
        limits, say_once, interrupted = limits or limits_of_this_machine(), Once(on_event), True
        while True:
            try:
                recover(place, journal, interrupted=interrupted)
                engine = _engine_of(limits, compute, cluster, journal)
                service = _Service(
                    place, journal, limits, compute, engine, _only_one_ready(on_event, say_once), on_look
                )
                with closing(service):
                    return service.run(stop, until_idle=until_idle)
            except (LedgerCannotWrite, OSError) as error:
                if isinstance(error, OSError) and error.errno not in CANNOT_WRITE:
                    raise
                # No job is at fault, and a service that ended here would be missing when there is room again.
                say_once.tell(("disk", ""), Notice(f"Nothing can be written on the bench: {error} It is tried again."))
            if until_idle or stop.wait(limits.rescan_s):
                return None
            interrupted = False


def _engine_of(limits: Limits, compute: str, cluster: str | None, journal: Journal) -> Engine:
    if cluster is None:
        return ThisMachine(limits, compute, journal.peaks(PEAKS_REMEMBERED))
    from verifier.bench.cluster import Cluster  # a bench on one machine does without

    return Cluster(cluster)


def _only_one_ready(tell: Callable[[Event], None], say_once: Once) -> Callable[[Event], None]:
    """Going on after a full disk is no second start."""
    return lambda event: say_once.tell(("ready", ""), event) if isinstance(event, Ready) else tell(event)


class _Service:
    def __init__(
        self,
        bench: Bench,
        journal: Journal,
        limits: Limits,
        compute: str,
        engine: Engine,
        tell: Callable[[Event], None],
        on_look: Callable[[], None],
    ) -> None:
        self._bench, self._journal, self._limits, self._tell = bench, journal, limits, tell
        self._on_look = on_look
        self._pulse = PulseWriter(bench.pulse)
        self._once = Once(tell)
        self._wake = threading.Event()
        self._hinted = threading.Event()
        self._news: deque[News] = deque()
        self._crew = Crew(engine, self._on_news)
        self._hints = InboxHints(bench.inbox, self._on_hint)
        self._intake = Intake(bench, journal, limits, tell)
        self._workshop = Workshop(bench, journal, limits, compute, self._crew, tell)
        self._rules_watch = RulesWatch(limits.rules_settle_s)
        self._rules = rules_on(bench)
        self._next_look_s = 0.0
        self._expecting = True

    def run(self, stop: threading.Event, *, until_idle: bool) -> None:
        self._look()
        self._tell(Ready(self._bench.root))
        while not stop.is_set():
            self._take_news()
            self._carry_out_requests()
            if self._hinted.is_set() or time.monotonic() >= self._next_look_s:
                self._look()
            busy = self._workshop.start_jobs(self._rules, time.monotonic())
            if until_idle and not (busy or self._expecting or self._news):
                return
            self._wake.wait(min(LONGEST_SLEEP_S, max(SHORTEST_REST_S, self._next_look_s - time.monotonic())))
            self._wake.clear()

    def close(self) -> None:
        """End the attempts; their jobs stay queued and no attempt is held against them."""
        self._hints.stop()
        self._crew.stop()
        self._pulse.remove()
        self._take_news()

    def _look(self) -> None:
        """Read inbox and rules. Sets when to look next, and whether anything is on its way."""
        self._hinted.clear()
        now_s = time.monotonic()
        self._rules = rules_on(self._bench)
        rules_settled = self._rules_watch.settled(self._rules, now_s)
        if rules_settled:
            self._workshop.run_held_again(self._rules)
        self._workshop.publish_computed()
        wait_s = self._look_into_inbox(now_s)
        self._expecting = wait_s is not None or not rules_settled
        soonest_s = min(self._limits.rescan_s, wait_s if wait_s is not None else self._limits.rescan_s)
        self._next_look_s = now_s + (min(soonest_s, self._limits.rules_settle_s) if not rules_settled else soonest_s)
        self._pulse.looked()
        self._on_look()

    def _look_into_inbox(self, now_s: float) -> float | None:
        try:
            self._intake.settle_claims()
            wait_s = self._intake.look(now_s)
        except OSError as error:
            text = f"The inbox cannot be read: {error.strerror}. Put the folder back: {self._bench.inbox}"
            self._once.tell(("inbox", ""), Notice(text))
            self._hints.stop()
            return None
        self._once.forget(("inbox", ""))
        self._listen()
        return wait_s

    def _listen(self) -> None:
        try:
            self._hints.see_to_it()
        except OSError as error:
            text = f"The system does not tell of new files ({error.strerror}); they are found by looking instead."
            self._once.tell(("hints", ""), Notice(text))
        else:
            self._once.forget(("hints", ""))

    def _carry_out_requests(self) -> None:
        for event in carry_out_all(self._bench, self._journal):
            self._tell(event)

    def _take_news(self) -> None:
        while self._news:
            news = self._news.popleft()
            if isinstance(news, AttemptOver):
                self._pulse.over(news.job.id)
                self._workshop.conclude(news, time.monotonic())
            else:
                self._pulse.stage(news.job.id, news.stage)
                self._tell(Stage(news.job.id, news.job.part, news.stage, news.seconds))

    def _on_news(self, news: News) -> None:
        self._news.append(news)
        self._wake.set()

    def _on_hint(self) -> None:
        self._hinted.set()
        self._wake.set()
