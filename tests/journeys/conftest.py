"""A service that really runs, and real screens that look at it.

`served` is a service started by its command, its first booth open; `screens("wall", 1920, 1080)` opens a screen in a
browser context of its own. At the end of a test no screen may have complained: an error or a warning in the console,
a refusal by the Content-Security-Policy among them, fails the test.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect, sync_playwright

from tests.journeys.screens import PATIENCE_MS, Screen
from tests.journeys.served import Served

CHROMIUM = os.environ.get("PORTRAITQ_CHROMIUM") or "/usr/bin/chromium"
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
Screens = Callable[..., Screen]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium. Where there is none, tests are skipped, but never where nobody would notice."""
    if not shutil.which(CHROMIUM):
        missing = f"there is no Chromium at {CHROMIUM}: scripts/test.py installs it, or says how to"
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)
    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    """A service on an empty folder, started as its owner starts it."""
    service = Served(tmp_path)
    service.start()
    yield service
    service.stop()


@pytest.fixture
def screens(browser: Browser) -> Iterator[Screens]:
    """Opens screens: `screens(name, width_px, height_px, is_mobile=False)`, all with touch."""
    opened: list[Screen] = []

    def open_one(name: str, width_px: int = 1280, height_px: int = 800, *, is_mobile: bool = False) -> Screen:
        context = browser.new_context(
            viewport={"width": width_px, "height": height_px}, has_touch=True, is_mobile=is_mobile
        )
        opened.append(Screen(name, context, context.new_page()))
        return opened[-1]

    yield open_one
    for screen in opened:
        screen.context.close()
    assert [complaint for screen in opened for complaint in screen.complaints] == []
