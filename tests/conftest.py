"""What all tests share: where a skip is not allowed, it is a failure."""

import os

import pytest


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item, call):
    """A test that skips checks nothing; where everything is installed it must run."""
    outcome = yield
    report = outcome.get_result()
    if report.skipped and os.environ.get("VERIFIER_TESTS_MUST_NOT_SKIP"):
        why = call.excinfo.value if call.excinfo else "no reason given"
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped where no test may be: {why}"
