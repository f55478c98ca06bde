"""Suggestions beside the day book: taken over with one tap, put back, put away, refused when the set-up moved on."""

from __future__ import annotations

import html
import re

import pytest
from werkzeug.test import TestResponse

from portraitq import starter
from portraitq.core.commands import Command
from portraitq.core.errors import Malformed
from portraitq.core.events import SetUp, print_data
from portraitq.daybook.changes import CONFIDENCE, Change, changed
from portraitq.web.suggestions import print_change, read_change
from tests.daybook.seasons import season
from tests.web.conftest import ZONE, Web
from tests.web.test_daybook import text_of

PAGE = "/market/daybook"
SLOW = (100.0, 600.0, 110.0)  # the likeness takes ten minutes, not the 380 s of the guess


@pytest.fixture
def market(web: Web) -> Web:
    """A booth with three days of slow likenesses."""
    web.desks.import_journal("market", season(3, 6, SLOW).lines)
    web.sign_in()
    return web


def page(web: Web, query: str = "") -> str:
    return web.client.get(PAGE + query).get_data(as_text=True)


def fields(shown: str) -> list[str]:
    return [html.unescape(one) for one in re.findall(r'name="change" value="([^"]+)"', shown)]


def post(web: Web, what: str, **data: object) -> TestResponse:
    return web.client.post(f"{PAGE}/suggestions/{what}", data={"token": web.token(), **data})


def page_after(web: Web, answer: TestResponse) -> str:
    """What stands on the page that the answer leads to."""
    assert answer.status_code == 303
    return text_of(web.client.get(answer.headers["Location"]).get_data(as_text=True))


def set_up(web: Web) -> SetUp:
    found = web.desks.at("market").standing(wait_s=10).booth.set_up
    assert found is not None
    return found


def test_the_day_book_shows_what_would_change_and_why(market: Web):
    shown = text_of(page(market))

    assert "Take the measured times as your guesses: 1 stage." in shown
    assert "Ink head: Likeness" in shown
    assert re.search(r"from 3:10 · 6:20 · 12:40 → ?to 10:00 · 10:00 · 10:00", shown)
    assert "n = 18 on 3 days" in shown


def test_one_tap_replaces_exactly_those_guesses(market: Web):
    before = print_data(set_up(market))

    answer = post(market, "take", change=fields(page(market)))

    assert answer.status_code == 303
    expected = before
    expected["styles"][0]["stages"][1] |= {"quick_s": 600, "usual_s": 600, "slow_s": 600}
    assert print_data(set_up(market)) == expected
    assert "Taken over." in text_of(page(market, "?did=taken"))


def test_what_was_taken_over_can_be_put_back_the_same_day(market: Web):
    before = set_up(market)
    post(market, "take", change=fields(page(market)))

    shown = page(market)
    undo = re.search(r'action="[^"]+put-back".*?</form>', shown, re.S)
    assert undo
    answer = post(market, "put-back", change=fields(undo[0]))

    assert answer.status_code == 303
    assert set_up(market) == before
    assert "put-back" not in page(market)


def test_the_next_day_there_is_nothing_to_put_back(market: Web):
    post(market, "take", change=fields(page(market)))
    assert "put-back" in page(market)

    desk = market.desks.at("market")
    desk.carry_out(Command("next-day", starter.first_day(desk.clock.now(), ZONE)))
    desk.standing(wait_s=10)

    assert "put-back" not in page(market)


def test_a_tap_sent_twice_is_carried_out_once(market: Web):
    taken = fields(page(market))
    post(market, "take", change=taken)
    seq = market.desks.at("market").standing(wait_s=10).seq

    answer = post(market, "take", change=taken)

    assert answer.status_code == 303
    assert market.desks.at("market").standing(wait_s=10).seq == seq


def test_a_set_up_that_changed_since_is_left_alone(market: Web):
    taken = fields(page(market))
    (change,) = map(read_change, taken)
    desk = market.desks.at("market")
    theirs = changed(set_up(market), [Change(change.what, change.old, (200.0, 400.0, 800.0))])
    desk.carry_out(Command("theirs", theirs))

    answer = post(market, "take", change=taken)

    assert set_up(market) == theirs
    assert "The set-up was changed since that page was shown, so nothing was taken over." in page_after(market, answer)


def test_nothing_ticked_changes_nothing(market: Web):
    seq = market.desks.at("market").standing(wait_s=10).seq

    answer = post(market, "take")

    assert "Nothing was ticked, so nothing was changed." in page_after(market, answer)
    assert market.desks.at("market").standing(wait_s=10).seq == seq


def test_a_suggestion_that_was_put_away_comes_back_when_asked_for(market: Web):
    post(market, "put-away", key="guesses")
    assert "as your guesses" not in page(market)
    assert "Show again what was put away (1)" in page(market)

    post(market, "show-again")

    assert "as your guesses" in page(market)


def test_an_earlier_day_has_no_suggestions(market: Web):
    assert "What the record suggests" not in page(market, "?day=2026-05-02")


def test_a_booth_whose_guesses_hold_is_suggested_nothing(web: Web):
    web.desks.import_journal("market", season(3, 6).lines)
    web.sign_in()

    assert "What the record suggests" not in page(web)


@pytest.mark.parametrize("what", ["take", "put-back", "put-away", "show-again"])
def test_strangers_change_nothing(web: Web, what: str):
    web.desks.import_journal("market", season(1, 1).lines)

    answer = web.client.post(f"{PAGE}/suggestions/{what}", data={"change": "confidence|0.85|0.5", "key": "guesses"})

    assert answer.status_code in (303, 401)
    assert set_up(web).booth.confidence == 0.85


@pytest.mark.parametrize(
    "change",
    [Change(CONFIDENCE, (0.85,), (0.8,)), Change("ink-head/likeness", (190.0, 380.5, 760.0), (195.25, 400.0, 800.0))],
)
def test_a_change_goes_through_a_form_as_it_is(change: Change):
    assert read_change(print_change(change)) == change


@pytest.mark.parametrize("field", ["", "confidence|0.85", "confidence|0.85|x", "a/b|1,2|3,4", "confidence|1|nan"])
def test_what_is_no_change_is_malformed(field: str):
    with pytest.raises(Malformed):
        read_change(field)
