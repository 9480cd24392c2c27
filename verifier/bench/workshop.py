"""Jobs on their way from queued to done."""

import shutil
from collections.abc import Callable

from verifier.bench.attempt import End, Order
from verifier.bench.claim import describe_scan, is_unchanged, scan_in_job_folder
from verifier.bench.crashpoint import CrashPoint, crash_point
from verifier.bench.crew import AttemptOver, Crew
from verifier.bench.durable import make_folder
from verifier.bench.events import Event, Notice, TriedAgain
from verifier.bench.job import Job, State
from verifier.bench.journal import Journal
from verifier.bench.last_pass import last_pass
from verifier.bench.layout import Bench
from verifier.bench.limits import Limits
from verifier.bench.once import Once
from verifier.bench.publish import publish
from verifier.bench.result import UselessResult, result_folder, seal, seal_reason
from verifier.bench.rulesets import RuleSet
from verifier.bench.scan_files import copy_scan, fingerprint_at, is_whole_scan
from verifier.bench.settle import Stillness
from verifier.bench.telling import told_of

# Jobs looked at when one may start, in their turn, and as many of the smallest. A few of them may have a scan that is
# still written to; not so many. With a hundred, looking twenty times a second while jobs run took a third of a core.
TRIED_AT_ONCE = 20


class Workshop:
    """Starts attempts, deals with their ends, publishes, and runs held jobs again."""

    def __init__(
        self, bench: Bench, journal: Journal, limits: Limits, compute: str, crew: Crew, tell: Callable[[Event], None]
    ) -> None:
        self._bench, self._journal, self._limits, self._compute = bench, journal, limits, compute
        self._crew, self._tell = crew, tell
        self._once = Once(tell)
        self._stillness = Stillness(limits)
        self._no_start_before_s = 0.0
        self._held_rest_on: RuleSet | None = None

    def start_jobs(self, rules: RuleSet, now_s: float) -> bool:
        """Start what may be started; whether anything runs or waits for its turn."""
        self._tell_of_trouble()
        waiting = self._journal.runnable(TRIED_AT_ONCE) if now_s >= self._no_start_before_s and self._has_room() else []
        left = list(waiting)
        while (job := self._crew.choose(left)) is not None:
            left.remove(job)
            self._start(job, rules, now_s)
        return bool(self._crew.jobs) or bool(waiting)

    def conclude(self, over: AttemptOver, now_s: float) -> None:
        """An attempt has ended: publish, try again or give up."""
        self._crew.dismiss(over.job)
        crash_point(CrashPoint.ATTEMPT_ENDED)
        job = self._journal.job(over.job.id)
        match over.end.end:
            case End.FINISHED:
                self._take_result(job, over, now_s)
            case End.FAILED:
                self._failed(job, over.end.sentence)
            case End.DISK_FULL:
                self._wait_for_room(job, over.end.sentence, now_s)
            case End.STOPPED:
                self._journal.queue_again(job, over.end.sentence)
            case End.LOST:
                self._try_again(self._journal.queue_again(job, over.end.sentence, interrupted=True))

    def publish_computed(self) -> None:
        """Publish what an earlier start, or an earlier try against a full disk, left computed."""
        for job in self._journal.in_state(State.COMPUTED):
            self._publish(job)

    def run_held_again(self, rules: RuleSet) -> None:
        """Queue each held job that rests on other rules than lie there now.

        All are looked through only after a change: with ten thousand held jobs that takes a tenth of a second.
        """
        if rules == self._held_rest_on:
            return
        self._held_rest_on = rules
        for job in self._journal.held():
            if job.seen != rules.seen_by(job.part):
                self._journal.run_again(job.id)
                crash_point(CrashPoint.HELD_QUEUED_AGAIN)
                why = "its sheet" if job.seen.sheet != rules.seen_by(job.part).sheet else "a rule"
                self._tell(TriedAgain(job.id, job.part, f"{why} has changed"))

    def _start(self, job: Job, rules: RuleSet, now_s: float) -> None:
        if job.failures >= self._limits.tries:
            self._give_up(job, f"It was tried {job.failures} times. {job.reason}")
        elif job.interruptions >= self._limits.interruptions:
            self._give_up(job, f"What it ran on ended {job.interruptions} times during this job.")
        elif (ready := self._with_scan_in_hand(job, rules, now_s)) is not None:
            self._run(ready, rules)

    def _run(self, job: Job, rules: RuleSet) -> None:
        shutil.rmtree(self._bench.attempt_folder(job.id, job.attempt), ignore_errors=True)
        started = self._journal.start(job, rules.seen_by(job.part))
        crash_point(CrashPoint.ATTEMPT_COUNTED)
        out = result_folder(self._bench, started)
        out.mkdir(parents=True)  # synced once there is something in it
        scan = scan_in_job_folder(self._bench, started)
        compared_with = last_pass(self._journal, self._bench.root, started.part, started.sha256)
        self._crew.start(started, Order(self._compute, scan, self._bench.rules, out, self._limits, compared_with))
        crash_point(CrashPoint.ATTEMPT_STARTED)

    def _with_scan_in_hand(self, job: Job, rules: RuleSet, now_s: float) -> Job | None:
        """The job, its scan lying still in its folder as recorded; None when it is not to be run now."""
        scan = scan_in_job_folder(self._bench, job)
        if not scan.exists() and not self._fetch_original(job):
            self._miss_original(job, rules)
            return None
        if is_unchanged(self._bench, job):
            return job
        # A program that kept the file open has written on, or this is a fresh copy of the original.
        still_in_s = self._stillness.still_in_s(f"{job.id}/{job.scan_name}", fingerprint_at(scan), now_s)
        fresh_copy = job.original is not None
        return describe_scan(self._bench, self._journal, job) if fresh_copy or still_in_s <= 0 else None

    def _fetch_original(self, job: Job) -> bool:
        original = self._bench.originals / job.original if job.original else None
        if original is None or not is_whole_scan(original):
            return False
        scan = scan_in_job_folder(self._bench, job)
        make_folder(scan.parent)
        copy_scan(original, scan)
        crash_point(CrashPoint.ATTEMPT_SCAN_COPIED)
        return True

    def _miss_original(self, job: Job, rules: RuleSet) -> None:
        if job.verdict is None:
            self._give_up(job, "Its scan is gone from the folder .work. Drop it again.")
            return
        self._journal.leave_held(job.id, rules.seen_by(job.part))
        self._tell(Notice(f"{job.part} cannot be run again: its original was deleted. Drop the scan again."))

    def _take_result(self, job: Job, over: AttemptOver, now_s: float) -> None:
        if not is_unchanged(self._bench, job):
            self._try_again(self._journal.queue_again(job, "The scan was still being written."))
            return
        try:
            outcome = seal(self._bench, job)
        except UselessResult as error:
            self._failed(job, str(error))
        except OSError as error:
            self._wait_for_room(job, f"The result could not be kept: {error.strerror}.", now_s)
        else:
            computed = self._journal.computed(job.id, outcome, over.end.seconds, over.end.peak_bytes)
            crash_point(CrashPoint.RESULT_COMPUTED)
            self._once.forget(("full", ""))
            self._publish(computed)

    def _wait_for_room(self, job: Job, sentence: str, now_s: float) -> None:
        """A full disk is no fault of the job: it is tried again after a while, and this attempt does not count."""
        self._journal.queue_again(job, sentence)
        self._once.tell(("full", ""), Notice(f"{job.part} waits. {sentence} Make room."))
        self._no_start_before_s = now_s + self._limits.rescan_s

    def _tell_of_trouble(self) -> None:
        trouble = self._crew.trouble()
        if trouble is None:
            self._once.keep_all_but("engine")
        else:
            self._once.tell(("engine", trouble), Notice(trouble))

    def _failed(self, job: Job, sentence: str) -> None:
        again = self._journal.queue_again(job, sentence, failed=True)
        if again.failures < self._limits.tries:
            self._try_again(again)

    def _try_again(self, job: Job) -> None:
        self._tell(TriedAgain(job.id, job.part, job.reason or ""))

    def _give_up(self, job: Job, reason: str) -> None:
        seal_reason(self._bench, job, reason)
        self._publish(self._journal.given_up(job.id, reason))

    def _publish(self, job: Job) -> None:
        try:
            tell_of_it = told_of(self._bench, job)
            publish(self._bench, self._journal, job)
        except OSError as error:
            text = f"The result of {job.part} cannot be put in its place yet: {error.strerror}."
            self._once.tell(("publish", str(job.id)), Notice(text))
            return
        if self._held_rest_on and job.seen != self._held_rest_on.seen_by(job.part):
            self._held_rest_on = None  # the rules have changed while it ran
        self._tell(tell_of_it())

    def _has_room(self) -> bool:
        free_bytes = shutil.disk_usage(self._bench.root).free
        if free_bytes >= self._limits.least_free_bytes:
            self._once.forget(("room", ""))
            return True
        self._once.tell(("room", ""), Notice("The disk is nearly full, so no job is started. Make room."))
        return False
