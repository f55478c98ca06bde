"""Every screen of a booth in trade, on the narrowest phone and on a tablet: nothing to push sideways, no barrier."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from playwright.sync_api import Browser, Cookie, ViewportSize, expect

from tests.journeys.conftest import Screens
from tests.journeys.nearby import Nearby
from tests.journeys.orders import ARTIST, a_phone_photo
from tests.journeys.screens import Screen

PHONE = (360, 740)
TABLET: ViewportSize = {"width": 1280, "height": 800}
OPEN_TO_ALL = {
    "wall": "/booth/wall",
    "ticket of a portrait that waits": "/t/{waits}",
    "ticket of a portrait in hand": "/t/{drawn}",
    "ticket of a portrait that is ready": "/t/{ready}",
    "sign-in": "/sign-in",
    "start": "/",
    "where a code is typed": "/t",
    "where a tablet is paired": "/pair",
    "an address that is none": "/t/NOSUCHCODE",
}
AGE_IS_IN_SIGHT = """() => {
    const age = document.getElementById('age');
    Object.assign(age, { textContent: 'as of 14:05', hidden: false });
    const box = age.getBoundingClientRect();
    const is_seen = document.elementFromPoint((box.left + box.right) / 2, (box.top + box.bottom) / 2) === age;
    age.hidden = true;
    return is_seen;
}"""
FOR_STAFF = {
    "counter": "/booth/counter",
    "easel with a portrait in hand": "/booth/easel/a1",
    "easel with one to begin": "/booth/easel/a2",
    "choice of the easel": "/booth/easel",
    "day book": "/booth/daybook",
    "days and seasons": "/booth/daybook/season",
    "the day once more": "/booth/daybook/replay",
    "close of the day": "/booth/daybook/close",
    "plan of a day": "/booth/daybook/plan",
    "set-up": "/booth/set-up",
    "hand-over": "/t/{ready}",
    "a ticket's sheet": "/booth/counter/tickets/T3",
    "its places in the queue": "/booth/counter/tickets/T3/move",
    "slip": "/booth/slip/T3",
    "start, signed in": "/",
    "devices": "/devices",
}


@dataclass
class Trade:
    """A booth where number 1 is ready, number 2 on an easel and number 3 waits."""

    served: Nearby
    codes: dict[str, str]
    signed_in: list[Cookie]

    def open(self, screen: Screen, address: str, *, as_staff: bool) -> None:
        if as_staff:
            screen.context.add_cookies(self.signed_in)  # type: ignore[arg-type]
        screen.open(self.served.address + address.format(**self.codes))
        if screen.part("[data-view]").count():
            screen.wait_for_its_line()


@pytest.fixture(scope="module")
def trade(tmp_path_factory: pytest.TempPathFactory, browser: Browser) -> Iterator[Trade]:
    served = Nearby(tmp_path_factory.mktemp("trade"))
    served.start()
    photo = a_phone_photo()
    word = "Geburtstags" + "überraschungs" * 2 + "komitee"  # there are languages in which a word fills a phone
    card = {"name": f"Maya, {word}", "contact": "555 0100", "note": f"with the red scarf for the {word}"}
    orders = [served.order(photo=photo, **card), served.order(photo=photo), served.order("chalk-half", photo=photo)]
    ready, drawn = (str(one["ticket"]) for one in orders[:2])
    easel = f"easel:{ARTIST}"
    for who in ("a1", "a2"):
        served.do("artist_in", by=f"easel:{who}", artist=who)
    served.do("started", by=easel, ticket=ready, artist=ARTIST)
    for stage in ("layout", "likeness"):
        served.do("stage_done", by=easel, ticket=ready, stage=stage)
    served.do("finished", by=easel, ticket=ready, rack="A1")
    served.do("started", by=easel, ticket=drawn, artist=ARTIST)
    served.do("stage_done", by=easel, ticket=drawn, stage="layout")
    codes = {name: str(one["code"]) for name, one in zip(("ready", "drawn", "waits"), orders, strict=True)}
    yield Trade(served, codes, _signed_in(browser, served))
    served.stop()


def _signed_in(browser: Browser, served: Nearby) -> list[Cookie]:
    context = browser.new_context(has_touch=True)
    screen = Screen("sign-in", context, context.new_page())
    screen.open(f"{served.address}/sign-in")
    screen.sign_in(served.passphrase)
    cookies = context.cookies()
    context.close()
    return cookies


@pytest.mark.parametrize("name", [*OPEN_TO_ALL, *FOR_STAFF])
def test_a_screen_fits_and_puts_nothing_in_anybodys_way(name: str, trade: Trade, screens: Screens) -> None:
    screen = screens(name, *PHONE)
    screen.may_answer_no = name == "an address that is none"

    trade.open(screen, {**OPEN_TO_ALL, **FOR_STAFF}[name], as_staff=name in FOR_STAFF)

    fits_without_barrier(screen)
    assert screen.page.evaluate(AGE_IS_IN_SIGHT)
    screen.page.set_viewport_size(TABLET)
    fits_without_barrier(screen)


def fits_without_barrier(screen: Screen) -> None:
    assert screen.sideways_px() <= 0
    assert screen.cut_off() == []
    assert screen.grave_faults() == []


def test_what_is_given_away_after_an_order_fits_the_narrowest_phone(trade: Trade, screens: Screens) -> None:
    screen = screens("order taken", *PHONE, is_mobile=True)
    trade.open(screen, "/booth/counter", as_staff=True)
    screen.touch(screen.part("label.style").first)

    screen.touch_button("Take the order")
    expect(screen.part(".taken__number .number")).to_have_text("4")

    fits_without_barrier(screen)


def test_a_sheet_over_the_counter_fits_the_narrowest_phone(trade: Trade, screens: Screens) -> None:
    screen = screens("sheet", *PHONE, is_mobile=True)
    trade.open(screen, "/booth/counter", as_staff=True)

    screen.touch(screen.part(".ticket-row__open").first)
    expect(screen.page.get_by_role("dialog").get_by_role("heading", level=2)).to_be_visible()

    fits_without_barrier(screen)
