"""Suggestions beside the day book: taken over with one tap, put back, put away, refused when the set-up moved on."""

from __future__ import annotations

import html
import re
from dataclasses import replace

import pytest
from werkzeug.test import TestResponse

from portraitq import starter
from portraitq.core.commands import Command
from portraitq.core.errors import Malformed
from portraitq.core.events import SetUp, print_data
from portraitq.daybook.changes import CONFIDENCE, Change, changed
from portraitq.daybook.estimates import Estimate
from portraitq.daybook.other_promises import Outcome, Policy
from portraitq.daybook.shares import Share
from portraitq.daybook.suggestions import (
    CounterPauses,
    DrawnThrough,
    EarnsLess,
    NeverDone,
    OtherPromises,
    Suggestion,
)
from portraitq.web.suggestions import in_words, print_change, read_change
from tests.builders import a_set_up
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


# In words

INK = a_set_up().styles[0]
PAST = Policy(0.85, 300, ZONE)


def an_outcome(kept: int, earlier_s: float = 0.0, **policy: float) -> Outcome:
    return Outcome(replace(PAST, **policy), Share(kept, 100), Estimate(earlier_s, earlier_s - 60, earlier_s + 60, 100))


def other_promises(key: str, other: Outcome, is_free: bool) -> OtherPromises:
    return OtherPromises(key, an_outcome(88), other, 0.85, is_free, 1.0, ())


@pytest.mark.parametrize(
    ("suggestion", "title", "evidence"),
    [
        (
            other_promises("confidence", an_outcome(81, 240, confidence=0.8), is_free=False),
            "Promising at 85 % instead of 80 % makes each promise 4 min later.",
            "At 80 % your promises would have been 4 min earlier (95 %: 3 to 5 min) and 81 % kept (n = 100, "
            "95 %: 72 to 87 %); at 85 %, 88 % kept (n = 100, 95 %: 80 to 93 %).",  # Wilson
        ),
        (
            other_promises("confidence", an_outcome(95, 240, confidence=0.8), is_free=True),
            "Promise at 80 % instead of 85 %: your word would be kept as often as you wish, and earlier.",
            "95 % kept",
        ),
        (
            other_promises("confidence", an_outcome(90, -150, confidence=0.9), is_free=True),
            "Promise at 90 % instead of 85 %: fewer promises than you wish are kept.",
            "At 90 % your promises would have been 2.5 min later (95 %: 1.5 to 3.5 min)",
        ),
        (
            other_promises("rounding", an_outcome(86, 300, round_to_s=60), is_free=True),
            "Round promises up to 1 min instead of 5 min: your wish would be kept all the same.",
            "Rounded to 1 min your promises would have been 5 min earlier",
        ),
        (
            NeverDone(INK, Share(7, 8), 6, 5, 1.0),
            "Ink head is not done before closing when it is ordered in the last 2 hours.",
            "Of 8 such orders on 5 days, 7 were not done at closing (88 %, 95 %: 53 to 98 %); 6 carried over.",
        ),
        (
            DrawnThrough("a1", Share(4, 4), 1.0),
            "Easel a1 draws through the planned breaks: take them, or do not plan them.",
            "4 of 4 planned breaks were drawn through for more than half (100 %, 95 %: 51 to 100 %).",
        ),
        (
            CounterPauses(Estimate(2700, 2100, 3300, 3), 24, 0.15, 3.4, 1.0),
            "Somebody at the counter would free 45 min a day at the easels, room for about 3 portraits more.",
            "24 pauses for the counter on 3 days: 45 min a day (95 %: 35 min to 55 min), 15 % of the time drawn.",
        ),
        (
            EarnsLess(INK, 12, Estimate(5000, 4500, 5500, 4), Estimate(9000, 8500, 9500, 5), 0.5),
            "Ink head brings €50.00 an hour at the easel, each of your other styles €90.00 or more.",
            "12 portraits, €45.00 to €55.00 (95 %, 4 days); against €85.00 to €95.00 (95 %, 5 days).",
        ),
    ],
    ids=lambda one: type(one).__name__ if not isinstance(one, str) else "",
)
def test_each_kind_is_said_with_its_n_and_interval(suggestion: Suggestion, title: str, evidence: str):
    view = in_words("quay", a_set_up(), suggestion)

    assert view.title.replace("\u00a0", " ") == title
    assert evidence in view.evidence.replace("\u00a0", " ")
    assert view.button or view.link.startswith("/quay/")
