"""What all tests share: where a skip is not allowed, it is a failure, and drawn examples are the same in every run."""

import os

import pytest
from hypothesis import settings

# At the desk every run draws examples never seen before; where a red run blocks a change it must mean the change.
# Nothing is timed: on a busy machine any example may take long.
settings.register_profile("untimed", deadline=None)
settings.register_profile("the same in every run", derandomize=True, deadline=None)
settings.load_profile("untimed")
if os.environ.get("CI") or os.environ.get("VERIFIER_TESTS_MUST_NOT_SKIP"):
    settings.load_profile("the same in every run")


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item, call):
    """A test that skips checks nothing; where everything is installed it must run."""
    outcome = yield
    report = outcome.get_result()
    if report.skipped and os.environ.get("VERIFIER_TESTS_MUST_NOT_SKIP"):
        why = call.excinfo.value if call.excinfo else "no reason given"
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped where no test may be: {why}"
