"""The one way to Chromium for every test that looks at a real screen."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import Browser, Playwright, sync_playwright

ON_PATH = ("chromium-headless-shell", "chromium")
CHROMIUM = os.environ.get("PORTRAITQ_CHROMIUM") or next(filter(None, map(shutil.which, ON_PATH)), "/usr/bin/chromium")
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)

_running: list[Playwright] = []  # at most one: a thread can have no second


@contextmanager
def launched(*more: str) -> Iterator[Browser]:
    """Chromium, with `more` flags. Where there is none, tests are skipped, but never where nobody would notice."""
    if not shutil.which(CHROMIUM):
        missing = f"there is no Chromium at {CHROMIUM}: scripts/test.py installs it, or says how to"
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)
    with _playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=[*FLAGS, *more])
        yield browser
        browser.close()


@contextmanager
def _playwright() -> Iterator[Playwright]:
    """What drives browsers, shared with whoever has one open already."""
    if _running:
        yield _running[0]
        return
    with sync_playwright() as playwright:
        _running.append(playwright)
        yield playwright
        _running.clear()
