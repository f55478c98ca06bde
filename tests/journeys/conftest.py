"""A service that really runs, and real screens that look at it; or `web`, a booth in this process, and `easel`s at it.

`served` is a service started by its command, its first booth open; `screens("wall", 1920, 1080)` opens a screen in a
browser context of its own. At the end of a test no screen may have complained: an error or a warning in the console,
a refusal by the Content-Security-Policy among them, fails the test.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.chromium import launched
from tests.journeys.at_the_easel import TABLETS, Opens, sign_in
from tests.journeys.nearby import Nearby
from tests.journeys.screens import PATIENCE_MS, Screen
from tests.journeys.served import Served
from tests.web.conftest import Web, make_web, serving

Screens = Callable[..., Screen]


@pytest.fixture(scope="session")
def one_browser() -> Iterator[Browser]:
    """One Chromium for all journeys: starting and ending one costs as much as a short journey, and nothing of one test
    is left in it for the next, since each has contexts of its own.
    """
    with launched() as chromium:
        yield chromium


@pytest.fixture(scope="module")
def browser(one_browser: Browser) -> Browser:
    """Chromium, patient with a busy machine."""
    expect.set_options(timeout=PATIENCE_MS)
    return one_browser


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    """A service on an empty folder, started as its owner starts it."""
    yield from running(Served(tmp_path))


@pytest.fixture
def nearby(tmp_path: Path) -> Iterator[Nearby]:
    """The same booth in this process, for journeys that are about screens alone."""
    yield from running(Nearby(tmp_path))


def running(booth: Served) -> Iterator[Any]:
    booth.start()
    yield booth
    booth.stop()


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


@pytest.fixture
def web(tmp_path: Path) -> Iterator[Web]:
    made = make_web(tmp_path)
    yield made
    made.app.extensions["portraitq-live"].close()
    made.desks.close()


@pytest.fixture
def address(web: Web) -> Iterator[str]:
    with serving(web) as served:
        yield served


@pytest.fixture
def easel(browser: Browser, address: str) -> Iterator[Opens]:
    """Opens the easel of a1, signed in, on a tablet of its own."""
    contexts: list[BrowserContext] = []

    def opens(size: dict[str, int] = TABLETS["upright"], **how: str | bool) -> Page:
        contexts.append(browser.new_context(viewport=size, **how))
        page = contexts[-1].new_page()
        sign_in(page, address)
        return page

    yield opens
    for context in contexts:
        context.close()
