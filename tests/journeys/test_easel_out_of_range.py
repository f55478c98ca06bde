"""Taps that come late: kept, sent in order and once, through reloads, battery swaps, sleep and clocks that are set;
and those that fit no more, which stay until they are dropped."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from portraitq.core.events import Event
from portraitq.core.timing import stage_times
from portraitq.passphrase import set_passphrase
from tests.journeys.at_the_easel import (
    BOUNCE_MS,
    SAME_S,
    TABLETS,
    Opens,
    answered,
    events,
    in_reach,
    kept,
    main_target,
    note_presses,
    out_of_reach,
    press,
    press_main,
    pressed_s,
    says,
    sign_in,
    told,
    under_way_s,
)
from tests.journeys.served import Served
from tests.web.conftest import PASSPHRASE, Web

AN_HOUR_MS = 3_600_000
# The device's clock and how much of performance.now() the page is shown, both to be set by a test: `set(wall, mono)`
CLOCKS = """
(() => {
    const [wall, mono] = [Date.now.bind(Date), performance.now.bind(performance)];
    const by = { wall: Number(sessionStorage.wallBy ?? 0), mono: 0 };
    Date.now = () => wall() + by.wall;
    performance.now = () => mono() + by.mono;
    window.setClocks = (more) => {
        by.wall += more.wall ?? 0;
        by.mono += more.mono ?? 0;
        sessionStorage.wallBy = by.wall;
    };
    window.hide = (isHidden) => {
        Object.defineProperty(document, "hidden", { configurable: true, get: () => isHidden });
        document.dispatchEvent(new Event("visibilitychange"));
    };
})();
"""


def tapped_s(web: Web, kind: str = "stage_done") -> list[float]:
    """When each event of that kind happened, in seconds."""
    return [event.happened_at.timestamp() for event in events(web) if event.kind == kind]


def last(web: Web, kind: str = "stage_done") -> Event:
    return [event for event in events(web) if event.kind == kind][-1]


def on_the_easel(web: Web, page: Page) -> str:
    ticket = web.order()
    press_main(page, "Start number 1")
    answered(page)
    return ticket


def misfit(page: Page, *words: str) -> None:
    """The one card that is shown says these words."""
    card = page.locator("[data-misfit]")
    expect(card).to_have_count(1)
    for each in words:
        expect(card).to_contain_text(each)


# The line is back


def test_what_waits_is_sent_the_moment_something_says_that_the_line_is_back(web: Web, easel: Opens):
    page = easel()
    on_the_easel(web, page)
    page.evaluate("Math.random = () => 1e5")  # without a sign, the next try is more than a day away

    for sign, words in (("online", "Layout done"), ("push", "Take back Layout"), ("tap", "Layout done")):
        out_of_reach(page)
        press(page, words)
        expect(page.locator("#unsent")).to_contain_text("1 tap is not sent yet: the booth is out of reach. Go on; it")
        page.unroute("**/commands")
        if sign == "online":
            page.evaluate("dispatchEvent(new Event('online'))")
        elif sign == "push":
            web.order()
        else:
            press_main(page, "Likeness done")
        answered(page)

    assert told(web, "stage_done", "stage_undone") == ["stage_done", "stage_undone", "stage_done", "stage_done"]


# What fits no more


def test_a_tap_that_fits_no_more_says_what_happened_instead_and_stays_over_a_reload(web: Web, easel: Opens):
    page = easel()
    ticket = on_the_easel(web, page)
    out_of_reach(page)
    press_main(page, "Layout done")
    web.do("stage_done", ticket=ticket, stage="layout")

    in_reach(page)

    misfit(page, "“Layout done” of number 1, tapped at", "was said already", "at the counter")
    says(page, "Likeness done")
    page.reload()
    page.wait_for_selector("main[data-is-ready]")
    misfit(page, "“Layout done” of number 1, tapped at", "was said already", "at the counter")
    press(page, "Drop it")
    expect(page.locator("[data-misfits]")).to_be_hidden()
    page.reload()
    says(page, "Likeness done")
    assert (page.locator("[data-misfit]").count(), kept(page, "misfit")) == (0, 0)
    assert told(web, "stage_done") == ["stage_done"]


def test_later_taps_that_still_fit_are_sent_after_one_that_does_not(web: Web, easel: Opens):
    page = easel()
    ticket = on_the_easel(web, page)
    out_of_reach(page)
    press_main(page, "Layout done")
    press_main(page, "Likeness done")
    web.do("stage_done", ticket=ticket, stage="layout")

    in_reach(page)
    answered(page)

    misfit(page, "“Layout done”")
    says(page, "Signed: rack it")
    assert [event.data.stage for event in events(web) if event.kind == "stage_done"] == ["layout", "likeness"]  # type: ignore[attr-defined]


def test_several_stack_calmly_and_are_dropped_by_one_touch(web: Web, easel: Opens):
    page = easel(reduced_motion="reduce")
    ticket = on_the_easel(web, page)
    out_of_reach(page)
    press_main(page, "Layout done")
    press_main(page, "Likeness done")
    press(page, "Take back Likeness")
    web.do("put_back", ticket=ticket)
    web.do("cancelled", ticket=ticket, why="customer")

    in_reach(page)
    answered(page)

    misfit(page, "“Layout done”", "was not taken", "Number 1 was cancelled at")
    expect(page.get_by_text("2 more were not taken.")).to_be_visible()
    assert Axe().run(page).violations_count == 0
    press(page, "Drop it")
    misfit(page, "“Likeness done”")
    press(page, "Drop all 2")
    expect(page.locator("[data-misfits]")).to_be_hidden()


def test_a_late_tap_moves_nothing_that_another_artist_draws_by_now(web: Web, easel: Opens):
    page = easel()
    ticket = on_the_easel(web, page)
    out_of_reach(page)
    press_main(page, "Layout done")
    web.do("artist_in", artist="a2")
    web.do("put_back", ticket=ticket)
    web.do("started", by="easel:a2", ticket=ticket, artist="a2")

    in_reach(page)
    answered(page)

    misfit(page, 'on the easel of "Second easel" now', "was started at")
    assert told(web, "stage_done") == []


# Two tablets on one easel


def test_two_tablets_on_one_easel_follow_each_other(web: Web, easel: Opens):
    web.order()
    one, other = easel(), easel(TABLETS["wide"])

    press_main(one, "Start number 1")
    press_main(other, "Layout done")

    says(one, "Likeness done")


@pytest.mark.parametrize("first", [0, 1])
def test_the_same_stage_on_two_tablets_out_of_reach_counts_once_whoever_comes_back_first(
    web: Web, easel: Opens, first: int
):
    web.order()
    tablets = easel(), easel(TABLETS["wide"])
    press_main(tablets[0], "Start number 1")
    says(tablets[1], "Layout done")
    for tablet in tablets:
        out_of_reach(tablet)
    for tablet in tablets:
        press_main(tablet, "Layout done")
        says(tablet, "Likeness done")

    for tablet in (tablets[first], tablets[1 - first]):
        in_reach(tablet)
        answered(tablet)

    misfit(tablets[1 - first], "“Layout done” of number 1", "was said already", "at this easel")
    for tablet in tablets:
        says(tablet, "Likeness done")
    assert told(web, "stage_done") == ["stage_done"]
    assert tablets[first].locator("[data-misfit]").count() == 0


def test_a_push_that_was_on_its_way_before_takes_no_answered_tap_back(web: Web, easel: Opens):
    page = easel()
    on_the_easel(web, page)
    up_to_date(web, page)
    main = page.locator("main")
    before = main.evaluate("(main) => ({ seq: main.dataset.seq, as_of: main.dataset.asOf, html: main.innerHTML })")
    main.evaluate("(main) => main.live.drop()")
    press_main(page, "Layout done")
    answered(page)

    main.evaluate("async (main, view) => (await import('/static/js/live.js')).show(main, view)", before)

    assert main_target(page).inner_text() == "Likeness done"  # at once: a moment later the page asks by itself
    main.evaluate("(main) => main.live.again()")
    up_to_date(web, page)
    says(page, "Likeness done")


def up_to_date(web: Web, page: Page) -> None:
    """Wait until the page shows what the journal's last line led to."""
    expect(page.locator("main")).to_have_attribute("data-seq", str(len(events(web))))


# Reload, battery, sleep, clocks


def test_what_a_page_that_was_closed_had_not_sent_the_next_one_sends_once_and_in_order(web: Web, easel: Opens):
    page = easel()
    on_the_easel(web, page)
    out_of_reach(page)
    note_presses(page)
    press_main(page, "Layout done")
    press_main(page, "Likeness done")
    pressed = pressed_s(page)
    context = page.context
    page.close()

    after = context.new_page()
    after.goto(f"{web_of(context.storage_state())}/quay/easel/a1")
    answered(after)

    first, second = tapped_s(web)
    assert second - first == pytest.approx(pressed[1] - pressed[0], abs=SAME_S + under_way_s(after))
    says(after, "Signed: rack it")


def web_of(state: object) -> str:
    """The address whose taps a browser keeps."""
    origins = state["origins"]  # type: ignore[index]
    return str(origins[0]["origin"])


@pytest.fixture
def clocked(browser: Browser, address: str) -> Iterator[Page]:
    """An easel whose device has clocks that a test sets."""
    context = browser.new_context(viewport=TABLETS["upright"])
    context.add_init_script(CLOCKS)
    page = context.new_page()
    sign_in(page, address)
    yield page
    context.close()


@pytest.mark.parametrize("wall_ms", [AN_HOUR_MS, -AN_HOUR_MS])
def test_a_tablet_whose_clock_is_set_meanwhile_measures_right_even_over_a_reload(web: Web, clocked: Page, wall_ms: int):
    on_the_easel(web, clocked)
    out_of_reach(clocked)
    note_presses(clocked)
    press_main(clocked, "Layout done")
    clocked.evaluate("(wall) => setClocks({ wall })", wall_ms)
    press_main(clocked, "Likeness done")
    pressed = pressed_s(clocked)
    clocked.wait_for_timeout(500)
    clocked.reload()
    says(clocked, "Signed: rack it")
    in_reach(clocked)
    answered(clocked)

    first, second = tapped_s(web)
    assert second - first == pytest.approx(pressed[1] - pressed[0], abs=SAME_S + under_way_s(clocked))
    assert last(web).ago_s < 120


def test_a_tablet_that_slept_counts_its_sleep(web: Web, clocked: Page):
    """Asleep, performance.now() stands still and the page is hidden; the device's clock goes on."""
    on_the_easel(web, clocked)
    out_of_reach(clocked)
    press_main(clocked, "Layout done")

    clocked.evaluate("hide(true)")
    clocked.evaluate("setClocks({ wall: 600_000 })")
    clocked.evaluate("hide(false)")
    in_reach(clocked)
    answered(clocked)

    assert 600 < last(web).ago_s < 600 + 60


def test_a_clock_of_the_booth_that_is_set_meanwhile_leaves_ages_as_they_are(web: Web, easel: Opens):
    page = easel()
    ticket = on_the_easel(web, page)
    out_of_reach(page)
    note_presses(page)
    press_main(page, "Layout done")
    page.wait_for_timeout(3000)
    press_main(page, "Likeness done")
    in_reach(page)
    answered(page)
    web.after(minutes=60)
    press_main(page, "Signed: rack it")
    press_main(page, "At A1")
    answered(page)

    pressed = pressed_s(page)
    by_stage = {time.stages: time.total_s for time in stage_times(web.desk.ticket(ticket))}
    assert by_stage[("likeness",)] == pytest.approx(pressed[1] - pressed[0], abs=SAME_S + under_way_s(page))


def test_a_sign_in_that_ran_out_while_out_of_reach_loses_no_tap(web: Web, address: str, easel: Opens):
    page = easel()
    on_the_easel(web, page)
    out_of_reach(page)
    press_main(page, "Layout done")
    set_passphrase(web.desks.store, PASSPHRASE)  # an answer on its way brings a fresh cookie, and that one is over too
    page.context.clear_cookies()
    in_reach(page)
    expect(page.locator("#said")).to_contain_text("Your sign-in has run out")
    expect(page.locator("#unsent")).to_contain_text("1 tap is not sent yet: your sign-in has run out")

    page.get_by_role("link", name="Sign in").click()
    page.wait_for_url("**/sign-in**")
    sign_in(page, address)
    answered(page)

    says(page, "Likeness done")
    assert told(web, "stage_done") == ["stage_done"]


def test_the_artist_sees_how_many_taps_wait_and_what_is_not_known(web: Web, easel: Opens):
    page = easel()
    on_the_easel(web, page)
    out_of_reach(page)

    for words in ("Layout done", "Likeness done", "Signed: rack it", "At A1"):
        press_main(page, words)

    expect(page.locator("#unsent")).to_contain_text("3 taps are not sent yet")
    expect(page.get_by_text("As far as this tablet knows")).to_be_visible()
    in_reach(page)
    answered(page)
    expect(page.get_by_text("The next order for you shows up here by itself.")).to_be_visible()


def test_a_server_that_loses_its_power_in_mid_sketch_loses_and_doubles_no_tap(browser: Browser, served: Served):
    served.do("artist_in", by="easel:a1", artist="a1")
    ticket = str(served.order()["ticket"])
    context = browser.new_context(viewport=TABLETS["upright"])
    page = context.new_page()
    sign_in(page, served.address, "/booth/easel/a1", served.passphrase)
    press_main(page, "Start number 1")
    answered(page)
    note_presses(page)
    press_main(page, "Layout done")
    served.kill()
    press_main(page, "Likeness done")
    served.start()
    press_main(page, "Signed: rack it")
    press_main(page, "At A1")
    answered(page)
    pressed, exactly_s = pressed_s(page), SAME_S + under_way_s(page)
    context.close()

    journal = served.journal()
    done = journal.of_kind("stage_done", ticket)
    assert [event.data.stage for event in done] == ["layout", "likeness", "shading"]  # type: ignore[attr-defined]
    assert len(journal.of_kind("finished", ticket)) == 1
    gap_s = (done[1].happened_at - done[0].happened_at).total_seconds()
    assert gap_s == pytest.approx(pressed[1] - pressed[0], abs=exactly_s)


# Hands that bounce


def test_double_taps_count_once_wherever_they_fall(web: Web, easel: Opens):
    web.order()
    page = easel()

    for words in ("Start number 1", "Layout done", "Likeness done", "Signed: rack it", "At A1"):
        says(page, words)
        main_target(page).dblclick()
        page.wait_for_timeout(BOUNCE_MS)

    answered(page)
    assert told(web, "started", "stage_done", "finished") == ["started", *["stage_done"] * 3, "finished"]
