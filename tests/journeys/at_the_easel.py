"""A hand at an Easel in a real browser: what it presses, what the tablet says, and what the booth's journal has."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import Locator, Page, expect

from portraitq.core.events import Event
from portraitq.store import journal
from tests.web.conftest import PASSPHRASE, Web

TABLETS = {"upright": {"width": 820, "height": 1180}, "wide": {"width": 1280, "height": 800}}
PHONES = {"upright": {"width": 360, "height": 740}, "on its side": {"width": 740, "height": 360}}
BOUNCE_MS = 850  # longer than what counts as one press
PATIENCE = 600  # looks, 50 ms apart: an outbox tries again after at most 15 s
SAME_S = 0.5  # so exactly is a stage measured that was tapped without a network, beside what its taps were under way
Opens = Callable[..., Page]


def sign_in(page: Page, address: str, to: str = "/quay/easel/a1", passphrase: str = PASSPHRASE) -> None:
    """Open the Easel signed in, and wait until it hears presses. The sign-in's own page is others' to try."""
    answer = page.context.request.post(f"{address}/sign-in", form={"passphrase": passphrase}, max_redirects=0)
    assert answer.status == 303
    page.goto(f"{address}{to}")
    page.wait_for_selector("main[data-is-ready]")


def events(web: Web) -> list[Event]:
    with web.desks.store.reading() as connection:
        return journal.events(connection, "quay")


def told(web: Web, *kinds: str) -> list[str]:
    """The kinds of events so far, of those asked about."""
    return [event.kind for event in events(web) if event.kind in kinds]


def main_target(page: Page) -> Locator:
    return page.locator("[data-main]:visible")


def says(page: Page, words: str) -> None:
    expect(main_target(page)).to_have_text(words)


def press_main(page: Page, words: str) -> None:
    """Press the large field once it says `words`, and wait until another press would count."""
    says(page, words)
    main_target(page).click()
    page.wait_for_timeout(BOUNCE_MS)


def press(page: Page, name: str) -> None:
    """Press another button, and wait until another press would count."""
    page.get_by_role("button", name=name).click()
    page.wait_for_timeout(BOUNCE_MS)


def out_of_reach(page: Page) -> None:
    """The booth answers this tablet no more; `in_reach` ends it. The page can still be loaded."""
    page.route("**/commands", lambda route: route.abort())


def in_reach(page: Page) -> None:
    page.unroute("**/commands")
    page.evaluate("dispatchEvent(new Event('online'))")


def kept(page: Page, what: str = "tap") -> int:
    """How many taps this browser keeps unsent, or ("misfit") as not taken."""
    keys: list[str] = page.evaluate("Object.keys(localStorage)")
    return sum(key.startswith(f"portraitq-{what}:") for key in keys)


def answered(page: Page) -> None:
    """Wait until the booth has answered every tap of this tablet."""
    for _ in range(PATIENCE):
        if not kept(page):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"Taps are still unanswered: {page.locator('#unsent').text_content()}")


def under_way_s(page: Page) -> float:
    """The longest that the page had a tap under way, by its own clock: ages are counted up to the sending."""
    took_ms: list[float] = page.evaluate(
        """() => performance.getEntriesByType("resource")
            .filter(({ name }) => name.endsWith("/commands"))
            .map(({ duration }) => duration)"""
    )
    return max(took_ms) / 1000


def note_presses(page: Page) -> None:
    """From now on, the page notes by its own clock when it was pressed; `pressed_s` tells."""
    page.evaluate(
        """() => {
            window.pressedAt = [];
            addEventListener("click", () => { window.pressedAt.push(performance.now()); }, true);
        }"""
    )


def pressed_s(page: Page) -> list[float]:
    """When the page was pressed, in seconds of its own clock."""
    return [at_ms / 1000 for at_ms in page.evaluate("window.pressedAt")]
