"""Why this time? The counter's panel: fetched when it is opened, and saying what the command line says."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from portraitq.forecast.explain import explain
from portraitq.web.explained import explained
from tests.chromium import launched
from tests.web.conftest import PASSPHRASE, Web

SCRIPT = {"X-Portraitq-Token": "x"}


@pytest.fixture
def counter(web: Web) -> Web:
    web.sign_in()
    return web


def panel(web: Web, way: str) -> str:
    answer = web.client.get(f"/quay/counter/{way}")
    assert answer.status_code == 200
    return html.unescape(answer.get_data(as_text=True))


def said_in(text: str) -> list[str]:
    return re.findall(r"<dd>(.*?)</dd>", text)


def test_it_is_for_the_booths_own_people(web: Web):
    ticket = web.order()

    for way in (f"tickets/{ticket}/why", "why?style=pencil-head"):
        assert web.client.get(f"/quay/counter/{way}", headers=SCRIPT).status_code == 401


def test_a_tickets_panel_lists_its_explanation(counter: Web):
    first, second = counter.order(), counter.order()
    counter.do("started", ticket=first, artist="a1")
    standing = counter.desk.standing(10)

    seen = panel(counter, f"tickets/{second}/why?sheet=1")

    told = explained(explain(standing.booth, standing.pace, standing.as_of, second))
    assert said_in(seen) == [line for part in told.parts for line in part.lines]
    assert re.findall(r"<dt>(.*?)</dt>", seen) == [part.heading for part in told.parts]
    assert "<html" not in seen


def test_its_times_are_those_that_stand_on_the_sheet(counter: Web):
    ticket = counter.order()
    quote = counter.desk.standing(10).forecast.tickets[ticket]
    zone = counter.desk.standing().booth.zone

    seen = panel(counter, f"tickets/{ticket}/why?sheet=1")

    assert f"ready by {quote.median_at.astimezone(zone):%H:%M}." in seen
    assert f"Promised now it would be {quote.promise_at.astimezone(zone):%H:%M}," in seen


def test_an_order_not_yet_taken_is_explained_and_nothing_is_written(counter: Web):
    counter.order()
    before = counter.desk.standing(10).seq

    seen = panel(counter, "why?style=pencil-head&sitters=2&artist=a1&sheet=1")

    assert "A portrait ordered now" in seen
    assert "2 sitters" in seen
    assert "who was asked for" in seen
    assert counter.desk.standing().seq == before


def test_the_explained_promise_of_an_order_is_the_one_that_the_form_shows(counter: Web):
    form = panel(counter, "quotes")
    shown = re.search(r'data-quote="pencil-head"[^>]*data-promise="([^"]+)"', form)
    assert shown

    assert f"Promise: {shown[1]}," in panel(counter, "why?style=pencil-head&sheet=1")


def test_what_has_no_quote_says_why_in_one_sentence(counter: Web):
    drawn = counter.order()
    counter.do("cancelled", ticket=drawn, why="customer")
    asked = {
        f"tickets/{drawn}/why": (409, "is cancelled"),
        "tickets/T999/why": (404, "There is no ticket T999"),
        "why": (422, "Choose a style first."),
        "why?style=": (422, "Choose a style first."),
        "why?style=fresco": (409, "fresco"),
        "why?style=pencil-head&sitters=13": (422, "1 to 12"),
    }

    for way, (status, said) in asked.items():
        answer = counter.client.get(f"/quay/counter/{way}", headers=SCRIPT)
        assert (answer.status_code, said in answer.get_json()["detail"]) == (status, True), way


def test_without_scripts_it_is_a_page_of_its_own(counter: Web):
    seen = panel(counter, f"tickets/{counter.order()}/why")

    assert "<html" in seen
    assert "Back to the counter" in seen


def test_the_sheet_asks_only_for_what_is_still_to_be_drawn(counter: Web):
    waiting, over = counter.order(), counter.order()
    counter.do("cancelled", ticket=over, why="customer")
    counter.desk.standing(10)

    shown = {id: panel(counter, f"tickets/{id}?sheet=1") for id in (waiting, over)}

    assert f'data-why="/quay/counter/tickets/{waiting}/why"' in shown[waiting]
    assert "half of all cases" not in shown[waiting], "it is not made before somebody asks"
    assert "data-why" not in shown[over]


# In Chromium


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with launched() as chromium:
        yield chromium


@pytest.fixture
def page(browser: Browser, web: Web, served: str) -> Iterator[Page]:
    """The counter on a phone, signed in."""
    web.order()
    context = browser.new_context(viewport={"width": 360, "height": 740})
    context.set_default_timeout(20_000)
    expect.set_options(timeout=20_000)
    page = context.new_page()
    page.goto(f"{served}/sign-in?next=/quay/counter")
    page.fill("input[name=passphrase]", PASSPHRASE)
    page.click("main button")
    page.wait_for_url("**/quay/counter")
    yield page
    context.close()


def test_it_is_fetched_when_it_is_opened_and_not_before(page: Page):
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url) if "/why" in request.url else None)
    page.click("a.ticket-row__open")
    panel = page.locator("#sheet details.why")
    expect(panel).to_be_visible()
    before = [url for url in asked if not url.endswith(".js")]

    panel.locator("summary").click()

    expect(panel.locator("dt").first).to_have_text("The time")
    assert before == []
    too_wide_px = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert too_wide_px <= 0


def test_beside_the_form_it_follows_what_is_chosen(page: Page):
    panel = page.locator("#why")
    panel.locator("summary").click()
    expect(panel).to_contain_text("Choose a style first.")

    page.locator("label.style").first.click()
    expect(panel.locator(".why__title")).to_contain_text("A portrait ordered now")
    page.get_by_label("One sitter more").click()

    expect(panel.locator(".why__title")).to_contain_text("2 sitters")


def test_out_of_reach_it_says_so_and_is_asked_again_when_opened_again(page: Page):
    page.locator("label.style").first.click()
    panel = page.locator("#why")
    page.route("**/counter/why*", lambda route: route.abort())
    panel.locator("summary").click()
    expect(panel).to_contain_text("out of reach")
    page.unroute("**/counter/why*")

    panel.locator("summary").click()
    panel.locator("summary").click()

    expect(panel.locator("dt").first).to_have_text("The time")
