"""A clock that is wrong: what the booth's people read, what they can do, and what is told to nobody meanwhile."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from flask.testing import FlaskClient

from portraitq import passphrase, starter
from portraitq.clock import Clock
from portraitq.clock_watch import AHEAD, BEHIND, BY_HAND, EARLY, LATE, Doubt
from portraitq.core.commands import Command
from portraitq.core.events import ArtistIn, print_instant
from portraitq.desk import Desk, Desks
from portraitq.store.store import open_store
from portraitq.web.app import create_app
from portraitq.web.clock_said import said_of
from tests.chromium import launched
from tests.hands import Hands
from tests.web.conftest import PASSPHRASE, Web, serving

LISBON = ZoneInfo("Europe/Lisbon")
NOW = datetime(2026, 6, 6, 9, 0, tzinfo=UTC)
IN_1970 = datetime(1970, 1, 1, tzinfo=UTC)
CLOCK_TIME = re.compile(r"\b\d\d:\d\d\b")


def wrong(why: str, shown: datetime, tells_time: bool = False, at: datetime = NOW) -> str:
    line = said_of(Doubt(why, shown, at, NOW, tells_time), LISBON, "quay")
    assert line is not None
    return line.said


def test_a_board_in_1970_is_told_what_it_shows_and_what_to_do():
    assert wrong(EARLY, IN_1970) == (
        "This computer's clock is wrong: it shows 1 January 1970, 01:00. Set it, or connect it to the internet for a "
        "minute. Until then no times are told or promised; taps are kept and measured."
    )


def test_a_clock_that_is_behind_is_told_from_the_last_tap():
    said = wrong(BEHIND, NOW - timedelta(minutes=43))

    assert "it shows 6 June 2026, 09:17, but something was tapped here at 6 June 2026, 10:00 already." in said


@pytest.mark.parametrize(
    ("ahead", "tells", "expected"),
    [
        (timedelta(minutes=5), True, "run 5 min ahead of it. They come right once nobody draws and nothing was tapped"),
        (timedelta(minutes=58), False, "run 58 min ahead of it, so no times are told or promised."),
        (timedelta(days=1), False, "run a day ahead of it"),
        (timedelta(days=30), False, "run 30 days ahead of it, so no times are told or promised."),
    ],
)
def test_a_clock_set_back_is_told_by_how_much_and_how_it_comes_right(ahead: timedelta, tells: bool, expected: str):
    said = wrong(AHEAD, NOW - ahead, tells)

    assert expected in said
    assert ("overnight" in said) == (ahead < timedelta(hours=12))
    assert ("back-up" in said) == (ahead >= timedelta(days=1))


@pytest.mark.parametrize("shown", [IN_1970, datetime(2, 1, 1, tzinfo=UTC), datetime(9998, 12, 31, tzinfo=UTC)])
def test_whatever_a_clock_shows_can_be_said(shown: datetime):
    for why in (EARLY, LATE, BEHIND, BY_HAND):
        for tells_time in (False, True):
            assert "clock" in wrong(why, shown, tells_time)


def test_of_a_right_clock_nothing_is_said():
    assert said_of(None, LISBON, "quay") is None


# At the booth


class Lost:
    """A booth that comes up in 1970 after a day was opened, a portrait begun and another one ordered."""

    def __init__(self, folder: Path) -> None:
        self.hands = Hands(NOW)
        self.web = self._up(folder)
        self.desk.carry_out(Command("day", starter.first_day(NOW, LISBON)))
        self.desk.carry_out(Command("in", ArtistIn(artist="a1")))
        self.told = self.web.order()
        self.web.do("started", by="easel:a1", ticket=self.told, artist="a1")
        self.close()
        self.hands.go_by(60)
        self.hands.set_to(IN_1970)
        self.web = self._up(folder)
        self.untold = self.web.order()

    def _up(self, folder: Path) -> Web:
        store = open_store(folder)
        desks = Desks(store, Clock(system=self.hands))
        if not desks.slugs():
            desks.create("quay", starter.set_up(LISBON.key, "EUR"))
            passphrase.set_passphrase(store, PASSPHRASE)
        return Web(desks, create_app(desks, address="http://192.168.4.1:8750"))

    @property
    def desk(self) -> Desk:
        return self.web.desk

    def find_the_time(self) -> None:
        self.hands.set_to(NOW + timedelta(minutes=7))
        self.desk.refresh()
        self.web.do("walked_away", style=None, sitters=1, ready_by=None)
        assert self.desk.standing(wait_s=10).clock is None

    def close(self) -> None:
        self.web.app.extensions["portraitq-live"].close()
        self.web.desks.close()


@pytest.fixture(scope="module")
def lost(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lost]:
    """It stays lost: a test that finds the time makes one of its own."""
    made = Lost(tmp_path_factory.mktemp("lost"))
    yield made
    made.close()


@pytest.fixture
def found(tmp_path: Path) -> Iterator[Lost]:
    made = Lost(tmp_path)
    yield made
    made.close()


def page(client: FlaskClient, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, address
    return answer.get_data(as_text=True)


STAFF_PAGES = ("/", "/quay/counter", "/quay/easel", "/quay/easel/a1", "/quay/set-up")


def test_every_screen_of_the_booths_people_says_it_and_stops_once_the_clock_is_right(found: Lost):
    found.web.sign_in()
    while_lost = {address: "it shows 1 January 1970" in page(found.web.client, address) for address in STAFF_PAGES}
    found.find_the_time()
    afterwards = {address: "it shows" in page(found.web.client, address) for address in STAFF_PAGES}

    assert while_lost == dict.fromkeys(STAFF_PAGES, True)
    assert afterwards == dict.fromkeys(STAFF_PAGES, False)


@pytest.mark.parametrize("fragment", ["/quay/counter?fragment=1", "/quay/easel/a1?fragment=1"])
def test_what_is_pushed_carries_the_line(lost: Lost, fragment: str):
    lost.web.sign_in()

    assert "it shows 1 January 1970" in lost.web.client.get(fragment).get_json()["html"]


def test_nobody_else_is_told_of_it(lost: Lost):
    stranger = lost.web.app.test_client()

    for address in ("/", "/quay/wall", f"/t/{lost.web.code(lost.told)}"):
        assert "1970" not in page(stranger, address)


def test_the_wall_tells_no_times(lost: Lost):
    wall = page(lost.web.client, "/quay/wall?fragment=1")

    assert not CLOCK_TIME.search(re.sub(r'"as_of":.*', "", wall))
    assert "Ask at the counter" in wall


def test_a_ticket_tells_what_was_told_while_the_time_was_known_and_nothing_else(lost: Lost):
    promise = lost.desk.ticket(lost.told).promise
    assert promise is not None
    told, untold = (lost.web.client.get(f"/t/{lost.web.code(one)}?fragment=1").get_json()["html"]
                    for one in (lost.told, lost.untold))  # fmt: skip
    be_back = f"{promise.ready_by.astimezone(LISBON):%H:%M}"
    closes = f"{lost.desk.standing().booth.day.closes_at.astimezone(LISBON):%H:%M}"

    assert set(CLOCK_TIME.findall(re.sub(r"<time[^>]*>", "", told))) == {be_back, closes}
    assert set(CLOCK_TIME.findall(untold)) == {closes}
    assert "Ask at the booth when it will be ready." in untold


def test_the_counter_says_how_long_it_takes_and_promises_nothing(lost: Lost):
    lost.web.sign_in()
    quotes = page(lost.web.client, "/quay/counter/quotes?sitters=1")

    assert re.search(r"ready <b[^>]*>in \d+ min to (\d+ min|\d h)", quotes)
    assert not CLOCK_TIME.search(quotes)
    assert 'data-ready-by=""' in quotes
    assert lost.desk.ticket(lost.untold).promise is None


def test_somebody_of_the_booth_says_what_time_it_is(found: Lost):
    found.web.sign_in()
    at = NOW + timedelta(minutes=9)

    answer = found.web.client.post(
        "/quay/clock", json={"at": print_instant(at)}, headers={"X-Portraitq-Token": found.web.token()}
    )

    assert answer.status_code == 200
    assert found.desk.standing(wait_s=10) is not None
    assert found.desk.clock.now() == at
    assert "The booth goes by what was said here" in page(found.web.client, "/quay/counter")


def test_no_day_is_opened_before_somebody_says_which_it_is(found: Lost):
    found.web.do("day_closed")
    found.web.sign_in()
    form = {"token": found.web.token(), "closes": "18:00", "in-a1": "on"}

    answer = found.web.client.post("/quay/counter/day", data=form)
    found.desk.set_clock(NOW + timedelta(minutes=9))
    again = found.web.client.post("/quay/counter/day", data=form)

    assert (answer.status_code, again.status_code) == (409, 303)
    assert "Nobody knows which day it is" in answer.get_data(as_text=True)
    assert found.desk.standing(wait_s=10).booth.day is not None


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        ({"at": print_instant(NOW - timedelta(days=1))}, 409),
        ({"at": print_instant(NOW + timedelta(days=9999))}, 409),
        ({"at": "now"}, 422),
        ({"at": None}, 422),
        ([], 422),
        ({"at": "9999-99-99T99:99:99.999Z"}, 422),
    ],
)
def test_a_time_that_cannot_be_is_refused_and_changes_nothing(lost: Lost, sent: object, status: int):
    lost.web.sign_in()
    before = lost.desk.clock.now()

    answer = lost.web.client.post("/quay/clock", json=sent, headers={"X-Portraitq-Token": lost.web.token()})

    assert answer.status_code == status
    assert lost.desk.clock.now() == before


def test_strangers_and_foreign_pages_set_no_clock(lost: Lost):
    sent = {"at": print_instant(NOW + timedelta(minutes=9))}

    stranger = lost.web.app.test_client().post("/quay/clock", json=sent, headers={"Accept": "application/json"})
    lost.web.sign_in()
    foreign = lost.web.client.post("/quay/clock", json=sent)

    assert (stranger.status_code, foreign.status_code) == (401, 403)
    assert lost.desk.clock.now() < NOW + timedelta(minutes=9)


def test_a_right_clock_is_set_by_nobody(web: Web):
    web.sign_in()
    sent = {"at": print_instant(web.desk.clock.now() + timedelta(minutes=9))}

    answer = web.client.post("/quay/clock", json=sent, headers={"X-Portraitq-Token": web.token()})

    assert answer.status_code == 409
    assert "nothing was changed" in answer.get_json()["detail"]


# In the browser

WAIT_MS = 60_000


def test_a_tablet_in_any_zone_gives_the_booth_its_time_and_the_line_goes_once_the_computer_has_found_it(found: Lost):
    at = NOW + timedelta(minutes=9)
    with serving(found.web) as address, launched() as chromium:
        context = chromium.new_context(timezone_id="Asia/Tokyo", viewport={"width": 390, "height": 844})
        context.set_default_timeout(WAIT_MS)
        page = context.new_page()
        page.clock.set_fixed_time(at)
        page.goto(f"{address}/sign-in?next=/quay/counter")
        page.fill("input[name=passphrase]", PASSPHRASE)
        page.click("main button")
        page.wait_for_url("**/quay/counter")
        button = page.locator("#clock [data-clock-set]")
        button.wait_for()
        offered = button.text_content()
        button.click()
        page.get_by_text("The booth goes by what was said here").first.wait_for()
        by_hand_at = found.desk.clock.now()
        found.hands.set_to(at + timedelta(seconds=20))
        found.desk.refresh()
        page.locator("#clock").wait_for(state="hidden")
        page.goto(f"{address}/t/{found.web.code(found.told)}?public=1")
        be_back = page.locator(".ticket__back time").first.text_content()
        context.close()

    promise = found.desk.ticket(found.told).promise
    assert promise is not None
    assert offered == "It is 6 June 2026 at 10:09: go by this device"  # the booth's clocks, not the tablet's zone
    assert by_hand_at == at
    assert be_back == f"{promise.ready_by.astimezone(LISBON):%H:%M}"
