"""A real browser for the pages."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from .pages import Opened

QUIET = ("--disable-background-networking", "--disable-component-update", "--disable-sync", "--no-first-run")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    chromium = os.environ.get("VERIFIER_CHROMIUM") or shutil.which("chromium")
    if chromium is None:
        pytest.skip("no Chromium here: install it, or put its path in VERIFIER_CHROMIUM")
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", *QUIET])
        yield started
        started.close()


@pytest.fixture
def opened(browser: Browser, tmp_path: Path) -> Iterator[Opened]:
    opened = Opened(browser, tmp_path)
    yield opened
    opened.tab.close()
    assert opened.complaints == []
    assert opened.requests == [opened.address]
