"""What the browser's side does when the line, the sign-in or a hand is not steady, tried in Chromium."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, WebSocketRoute, expect

from portraitq.core.events import WalkedAway
from portraitq.passphrase import set_passphrase
from portraitq.store import devices, trouble
from tests.chromium import launched
from tests.web.conftest import PASSPHRASE, Web

WALKED = {"kind": "walked_away", "data": {"style": None, "sitters": 1, "ready_by": None}}

expect.set_options(timeout=20_000)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with launched() as chromium:
        yield chromium


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context()
    context.set_default_timeout(20_000)
    yield context.new_page()
    context.close()


@pytest.fixture
def counter(web: Web, served: str, page: Page) -> Page:
    """A signed-in page with one more button, which says that somebody asked and left."""
    page.goto(f"{served}/sign-in?next=/quay/counter")
    page.fill("input[name=passphrase]", PASSPHRASE)
    page.click("main button")
    page.wait_for_url("**/quay/counter")
    give_button(page)
    return page


def give_button(page: Page) -> None:
    page.evaluate(
        """(said) => document.getElementById("said").insertAdjacentHTML("afterend",
           '<button id="left" data-command=\\'' + said + '\\'>Left</button>')""",
        json.dumps(WALKED),
    )


def walked(web: Web) -> list[Any]:
    return [event for event in web.desk.standing().booth.walked_away if isinstance(event.data, WalkedAway)]


def until_walked(web: Web, page: Page, count: int) -> list[Any]:
    for _ in range(200):
        if len(found := walked(web)) >= count:
            return found
        page.wait_for_timeout(50)
    raise AssertionError(f"{count} taps were expected, {len(walked(web))} came")


def until_live(page: Page) -> None:
    """Wait for the line; playwright's own way to wait asks for eval, which our policy forbids."""
    for _ in range(400):
        if page.evaluate("Boolean(document.querySelector('[data-view]').live?.isUp)"):
            return
        page.wait_for_timeout(50)
    raise AssertionError("the line did not come up")


def tap(page: Page) -> None:
    page.evaluate("document.getElementById('left').click()")


def sign_in_runs_out(web: Web, page: Page) -> None:
    set_passphrase(web.desks.store, PASSPHRASE)  # an answer on its way brings a fresh cookie, and that one is over too
    page.context.clear_cookies()


def sign_in_elsewhere(page: Page, served: str) -> None:
    """On another tab of the same browser."""
    other = page.context.new_page()
    other.goto(f"{served}/sign-in")
    other.fill("input[name=passphrase]", PASSPHRASE)
    other.click("main button")
    other.wait_for_url(f"{served}/")


def test_a_finger_that_bounces_taps_once(web: Web, counter: Page):
    tap(counter)
    tap(counter)
    until_walked(web, counter, 1)
    counter.wait_for_timeout(900)
    tap(counter)

    assert len(until_walked(web, counter, 2)) == 2


def test_a_tap_that_the_booth_cannot_write_down_is_kept_says_why_and_is_sent_once(
    web: Web, counter: Page, tmp_path: Path
):
    moved = tmp_path.with_name(f"{tmp_path.name}-elsewhere")
    tmp_path.rename(moved)
    tap(counter)
    line = counter.locator("#unsent")
    expect(line).to_contain_text("1 tap is not sent yet. It is kept and sent by itself. The booth says: ")
    expect(line).to_contain_text(trouble.GONE)
    assert walked(web) == []

    moved.rename(tmp_path)

    assert len(until_walked(web, counter, 1)) == 1
    expect(line).to_be_hidden()


def test_a_tap_out_of_reach_is_kept_over_a_reload_and_sent_once_with_its_age(web: Web, counter: Page):
    counter.context.route("**/commands", lambda route: route.abort())
    tap(counter)
    expect(counter.locator("#unsent")).to_contain_text("1 tap is not sent yet")
    counter.reload()
    expect(counter.locator("#unsent")).to_contain_text("1 tap is not sent yet")
    counter.context.unroute("**/commands")

    (event,) = until_walked(web, counter, 1)

    assert 1 < event.ago_s < 60
    expect(counter.locator("#unsent")).to_be_hidden()


def test_taps_arrive_in_the_order_in_which_they_were_made(web: Web, counter: Page):
    counter.context.route("**/commands", lambda route: route.abort())
    for sitters in (1, 2, 3):
        counter.evaluate(
            """(sitters) => import("/static/js/taps.js").then((taps) => {
                 taps.send("walked_away", { style: null, sitters, ready_by: null }); })""",
            sitters,
        )
    counter.context.unroute("**/commands")

    assert [event.data.sitters for event in until_walked(web, counter, 3)] == [1, 2, 3]


def test_a_sign_in_that_ran_out_loses_no_tap(web: Web, counter: Page):
    sign_in_runs_out(web, counter)
    tap(counter)
    expect(counter.locator("#said")).to_contain_text("Your sign-in has run out")

    counter.click("#said a")
    counter.fill("input[name=passphrase]", PASSPHRASE)
    counter.click("main button")
    counter.wait_for_url("**/quay/counter")

    assert len(until_walked(web, counter, 1)) == 1


def test_taps_kept_without_a_sign_in_are_sent_once_after_signing_in_on_another_tab(
    web: Web, served: str, counter: Page
):
    sign_in_runs_out(web, counter)
    tap(counter)
    expect(counter.locator("#unsent")).to_contain_text("1 tap is not sent yet: your sign-in has run out")
    sign_in_elsewhere(counter, served)

    tap(counter)

    assert len(until_walked(web, counter, 2)) == 2
    expect(counter.locator("#unsent")).to_be_hidden()
    expect(counter.locator("#said")).to_be_empty()


def test_a_sign_in_that_ran_out_loses_nothing_that_is_typed_on_a_sheet(web: Web, served: str, counter: Page):
    ticket = web.order()
    counter.click(f"#queue a[href$='/tickets/{ticket}']")
    counter.click("#sheet summary:has-text('Add name')")
    counter.fill("#sheet [name=name]", "Anouk")
    sign_in_runs_out(web, counter)

    counter.click("#sheet [data-form]:has([name=name]) button")
    expect(counter.locator("#sheet form .refusal:visible")).to_contain_text("Your sign-in has run out")
    sign_in_elsewhere(counter, served)
    counter.click("#sheet [data-form]:has([name=name]) button")

    expect(counter.locator("#sheet .facts")).to_contain_text("Anouk")


def test_a_sign_in_that_ran_out_leaves_a_half_typed_order_where_it_is(web: Web, counter: Page):
    ticket = web.order()
    counter.fill("#order [name=price]", "17")
    counter.wait_for_selector(f"#queue a[href$='/tickets/{ticket}']")
    sign_in_runs_out(web, counter)

    counter.click(f"#queue a[href$='/tickets/{ticket}']")

    expect(counter.locator("#said")).to_contain_text("Your sign-in has run out")
    assert counter.input_value("#order [name=price]") == "17"


def test_a_refusal_is_said_in_words_and_can_be_put_away(web: Web, counter: Page):
    counter.evaluate("""() => import("/static/js/taps.js").then((taps) => taps.send("collected", { ticket: "T99" }))""")
    said = counter.locator("#said")
    expect(said).to_contain_text("T99")

    said.get_by_role("button", name="OK").click()

    expect(said).to_be_empty()


def test_a_page_without_its_socket_asks_the_plain_way(web: Web, served: str, page: Page):
    page.route_web_socket(re.compile("socket.io"), lambda socket: socket.close())
    page.goto(f"{served}/quay/wall")
    main = page.locator("[data-view=wall]")
    before = main.inner_html()

    web.order()

    expect(main).not_to_have_js_property("innerHTML", before)
    assert int(main.get_attribute("data-seq") or 0) == web.desk.standing().seq
    expect(page.locator("#age")).to_be_hidden()


def test_a_page_without_its_socket_starts_over_when_a_backup_was_put_back(web: Web, served: str, page: Page):
    page.route_web_socket(re.compile("socket.io"), lambda socket: socket.close())
    page.goto(f"{served}/quay/wall")
    page.evaluate("document.querySelector('[data-view]').dataset.seq = 9999")  # of the journal that is no more

    web.order()

    expect(page.locator("[data-view=wall]")).to_have_attribute("data-seq", str(web.desk.standing().seq))


def test_a_line_that_was_refused_for_a_moment_comes_back_by_itself(web: Web, served: str, page: Page):
    tries: list[WebSocketRoute] = []

    def refuse_twice(socket: WebSocketRoute) -> None:
        tries.append(socket)
        if len(tries) > 2:
            socket.connect_to_server()
        else:
            refuse(socket, {"message": "The store does not answer.", "data": {"why": "store"}})

    page.route_web_socket(re.compile("socket.io"), refuse_twice)
    page.goto(f"{served}/quay/wall")

    until_live(page)

    expect(page.locator("#said")).to_be_empty()


@pytest.mark.parametrize("why", ["unsigned", "unknown"])
def test_a_page_that_may_not_be_seen_says_why_and_asks_again_slowly(web: Web, served: str, page: Page, why: str):
    tries: list[WebSocketRoute] = []

    def refuse_at_first(socket: WebSocketRoute) -> None:
        tries.append(socket)
        if len(tries) > 1:
            socket.connect_to_server()
        else:
            refuse(socket, {"message": "Not for you.", "data": {"why": why}})

    page.clock.install()
    page.route_web_socket(re.compile("socket.io"), refuse_at_first)
    page.goto(f"{served}/quay/wall")
    expect(page.locator("#said")).to_have_text("Not for you.")

    page.clock.run_for(55_000)
    before = len(tries)
    page.clock.run_for(10_000)

    until_live(page)
    assert before == 1
    expect(page.locator("#said")).to_be_empty()


@pytest.mark.parametrize("screen", ["counter", "set-up/pedal"])
def test_a_tablet_that_is_withdrawn_shows_nothing_of_the_booth_any_more(web: Web, served: str, page: Page, screen: str):
    tablet, cookie = web.app.test_client(), web.app.config["SESSION_COOKIE_NAME"]
    web.pair(tablet)
    paired = tablet.get_cookie(cookie)
    assert paired
    page.context.add_cookies([{"name": cookie, "value": paired.value, "url": served}])
    page.goto(f"{served}/quay/{screen}")
    if screen == "counter":
        until_live(page)
    with web.desks.store.reading() as connection:
        (device,) = [one for one in devices.listed(connection) if one.withdrawn_at is None]
    web.sign_in()

    web.client.post(f"/devices/{device.id}/withdraw", data={"token": web.token()})
    if screen != "counter":
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")  # the tablet is taken up again

    expect(page).to_have_url(re.compile("/sign-in"))


def refuse(socket: WebSocketRoute, why: dict[str, object]) -> None:
    """Answer on this line like a booth that opens it and then lets nobody in: Engine.IO 4 and Socket.IO 5."""
    socket.on_message(lambda packet: socket.send(f"44/live,{json.dumps(why)}") if packet[:2] == "40" else None)
    socket.send('0{"sid":"x","upgrades":[],"pingInterval":20000,"pingTimeout":15000,"maxPayload":100000}')


def test_a_page_that_nobody_confirms_says_as_of_when_it_is(web: Web, served: str, page: Page):
    page.route_web_socket(re.compile("socket.io"), lambda socket: socket.close())
    page.route("**/*fragment=1", lambda route: route.abort())
    page.goto(f"{served}/quay/wall")

    expect(page.locator("#age")).to_have_text(re.compile(r"^as of \d\d:\d\d$"))


def test_an_older_view_never_replaces_a_newer_one(web: Web, served: str, page: Page):
    web.do("day_closed")
    page.goto(f"{served}/quay/wall")
    until_live(page)

    shown = page.evaluate(
        """() => import("/static/js/live.js").then(({ show }) => {
             const wall = document.querySelector("[data-view]");
             const seq = Number(wall.dataset.seq);
             show(wall, { seq: seq + 1, html: "newer", as_of: wall.dataset.asOf });
             show(wall, { seq, html: "older", as_of: wall.dataset.asOf });
             return wall.innerHTML; })"""
    )

    assert shown == "newer"


def test_what_has_the_focus_keeps_it_over_a_push_and_a_pressed_button_stays_under_the_finger(
    web: Web, served: str, page: Page
):
    page.goto(f"{served}/quay/wall")
    told = page.evaluate(
        """() => import("/static/js/live.js").then(({ show }) => {
             const wall = document.querySelector("[data-view]");
             const push = (html) => show(wall, { seq: Number(wall.dataset.seq) + 1, html, as_of: wall.dataset.asOf });
             push('<button data-key="a">A</button><button data-key="b">B</button>');
             wall.querySelector('[data-key="b"]').focus();
             push('<i>new</i><button data-key="a">A</button><button data-key="b">B</button>');
             const focused = document.activeElement.textContent;
             const pressed = wall.querySelector('[data-key="b"]');
             window.dispatchEvent(new PointerEvent("pointerdown"));
             push("gone");
             const stayed = pressed.isConnected;
             window.dispatchEvent(new PointerEvent("pointerup"));
             return new Promise((done) => setTimeout(() => done([focused, stayed, wall.innerHTML]), 50)); })"""
    )

    assert told == ["B", True, "gone"]


def test_a_page_loads_nothing_from_elsewhere_and_breaks_no_rule_of_its_own(served: str, counter: Page):
    asked: list[str] = []
    complaints: list[str] = []
    counter.on("request", lambda request: asked.append(request.url))
    counter.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)

    counter.goto(f"{served}/quay/wall")
    until_live(counter)

    assert [url for url in asked if not url.startswith(("data:", served, served.replace("http", "ws")))] == []
    assert complaints == []


def test_evening_is_chosen_by_hand_and_stays(counter: Page):
    light = counter.evaluate("getComputedStyle(document.body).backgroundColor")

    counter.get_by_role("button", name="Evening").click()
    dark = counter.evaluate("getComputedStyle(document.body).backgroundColor")
    counter.reload()

    assert light != dark
    assert counter.evaluate("getComputedStyle(document.body).backgroundColor") == dark


def test_a_promise_that_slips_is_read_out_once_and_politely(web: Web, counter: Page):
    ticket = web.order()
    until_live(counter)
    expect(counter.locator(".ticket-row")).to_have_count(1)
    expect(counter.locator("#slips")).to_be_empty()

    slip = web.after(minutes=600).slips[ticket]
    new = f"{slip.new_ready_by.astimezone(web.desk.standing().booth.zone):%H:%M}"
    expect(counter.locator("#slips")).to_have_text(re.compile(f"^Number 1 late: now about .*{new}$"))
    counter.evaluate("document.getElementById('slips').textContent = ''")
    web.order()
    expect(counter.locator(".ticket-row")).to_have_count(2)

    assert counter.locator("#slips").get_attribute("role") == "status"
    expect(counter.locator("#slips")).to_be_empty()


def test_a_new_time_is_told_by_one_tap_in_the_sheet_and_ends_the_mark(web: Web, counter: Page):
    ticket = web.order()
    slip = web.after(minutes=600).slips[ticket]
    counter.click("[data-slip] [data-sheet]")

    counter.get_by_role("button", name=re.compile("^Tell them")).click()

    expect(counter.locator("[data-slip]")).to_have_count(0)
    promise = web.desk.ticket(ticket).promise
    assert promise is not None
    assert promise.ready_by == slip.new_ready_by


def test_a_page_that_is_told_when_to_come_back_does_so_and_not_at_the_same_moment_as_others(served: str, page: Page):
    """RFC 9110 §10.2.3: how long to wait, in seconds; from memory."""
    page.goto(f"{served}/quay/wall")
    until_live(page)
    page.route("**/quay/wall?fragment=1", lambda route: route.fulfill(status=503, headers={"Retry-After": "30"}))

    waits_ms = page.evaluate(
        """async () => {
             const { live } = document.querySelector("[data-view]"), waits = [];
             live.open = () => {};
             live.drop();
             for (let n = 0; n < 12; n++) {
               Object.assign(live, { downSince: -1e6, askedAt: -1e6 });
               await live.askWhileDown();
               waits.push(live.askedAt + 15000 - performance.now());
             }
             return waits;
           }"""
    )

    assert all(29_000 < wait_ms <= 45_000 for wait_ms in waits_ms)
    assert len({round(wait_ms / 100) for wait_ms in waits_ms}) > 3
