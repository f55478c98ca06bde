"""A day once more: the wall of any minute is the one that hung there, and every way leads to the minute it names."""

from __future__ import annotations

import json
import re
import threading
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from portraitq.clock import Clock
from portraitq.core.booth import Booth, fold, import_lines
from portraitq.core.errors import Malformed
from portraitq.core.events import KINDS, Event
from portraitq.daybook.days import day_named
from portraitq.desk import Desks, Standing
from portraitq.forecast.past import PastDay, day_once_more
from portraitq.forecast.replay import read_journal
from portraitq.store import journal
from portraitq.store.store import open_store
from portraitq.web import past_days
from portraitq.web.day_replay_view import DayView, Minutes, MinuteView, day_view, minute_view, standing_at
from portraitq.web.event_said import event_said
from portraitq.web.views import render_view
from portraitq.web.wall import wall_view
from tests.builders import Told, a_booth, instant
from tests.daybook.evening import NOW, quay_day
from tests.web.conftest import Web

JOURNALS = Path(__file__).parents[1] / "journals"
PAGE = "/past/daybook/replay"
LISBON = ZoneInfo("Europe/Lisbon")


@cache
def read_once(text: str) -> PastDay:
    found = day_once_more(import_lines(text.splitlines())[1], "2026-06-06")
    assert found is not None
    return found


def whole(told: Told, now: datetime = NOW) -> tuple[DayView, PastDay]:
    day, past = day_named(told.booth, "2026-06-06"), read_once(told.text)
    assert day is not None
    return day_view("past", past, day, told.booth, now), past


def at(told: Told, clock: str, now: datetime = NOW) -> MinuteView:
    view, past = whole(told, now)
    minute = view.minutes.of_clock(clock)
    then = standing_at("past", past, view.minutes.at(minute))
    return minute_view(view, past, then, told.booth, minute, now)


def a_past_day(web: Web) -> str:
    web.desks.import_journal("past", quay_day().lines)
    web.sign_in()
    return PAGE


def fragment(web: Web, query: str) -> dict[str, str]:
    return json.loads(web.client.get(f"{PAGE}?fragment=1&{query}").get_data(as_text=True))


def text_of(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html.replace("\u00a0", " ")))


# The wall and its quotes are those that were


def test_the_wall_of_an_instant_is_the_one_that_hung_there(web: Web):
    first, second, third = web.order(), web.order("chalk-half"), web.order(sitters=2)
    seen: list[tuple[Standing, str]] = []

    def looked(minutes: float) -> None:
        standing = web.after(minutes)
        with web.app.app_context():
            seen.append((standing, render_view("wall", web.desk, standing=standing).html))

    looked(1)
    web.do("started", by="easel:a1", ticket=first, artist="a1")
    looked(2)
    web.do("stage_done", by="easel:a1", ticket=first, stage="layout")
    web.do("moved", ticket=third, before=second)
    looked(4)
    web.do("stage_done", by="easel:a1", ticket=first, stage="likeness")
    web.do("finished", by="easel:a1", ticket=first, rack="A1")
    looked(3)
    web.do("held", ticket=third, why="photo")
    web.do("started", by="easel:a1", ticket=second, artist="a1")
    looked(30)
    with web.desks.store.reading() as connection:
        events = journal.events(connection, "quay")
    past = day_once_more(events, web.desk.standing().booth.days[-1].day)
    assert past is not None

    for live, html in seen:
        then = standing_at("quay", past, live.as_of)

        with web.app.app_context():
            assert render_view("wall", web.desk, standing=then).html == html
        assert then.forecast == live.forecast
        assert then.booth == live.booth


def cuts(events: list[Event]) -> Iterable[int]:
    """A few places in a journal after which nothing is written for a while."""
    quiet = [n for n in range(2, len(events)) if events[n].at - events[n - 1].at > timedelta(seconds=30)]
    return [quiet[len(quiet) // 3], quiet[2 * len(quiet) // 3]]


@pytest.mark.parametrize("name", ["stops-and-starts", "two-days"])
def test_a_desk_that_knew_the_lines_up_to_there_quoted_the_same(name: str, tmp_path: Path):
    events = read_journal(JOURNALS / f"{name}.jsonl")
    for cut in cuts(events):
        store = open_store(tmp_path / str(cut))
        with store.writing() as connection:
            journal.append(connection, "past", events[:cut])
        desks = Desks(store, Clock(start_at=events[cut - 1].at + timedelta(seconds=1)))
        live = desks.at("past").standing(wait_s=0)
        desks.close()
        past = day_once_more(events, live.booth.days[-1].day)
        assert past is not None

        then = standing_at("past", past, live.as_of)

        assert then.forecast == live.forecast
        assert wall_view(then) == wall_view(live)


# What is beside it


def test_each_open_ticket_says_what_was_told_quoted_and_what_came_of_it():
    view = at(quay_day(), "10:07")  # 09:07 in UTC: T1 on an easel, T2 waits

    (first, second) = view.rows

    assert (first.number, first.told, first.where) == (1, "10:30", "stage 1 of 3: Layout")
    assert (first.then, first.then_state) == ("ready 10:16, 14 min early", "kept")  # 13.5 min, halves go up
    assert (second.number, second.told, second.where) == (2, "10:40", "waiting")
    assert (second.then, second.then_state) == ("ready 10:42, 2 min late", "late")  # 09:42:10 against 09:40
    assert re.fullmatch(r"about 10:\d\d–1[01]:\d\d", second.quote)
    assert re.fullmatch(r"\d+\u00a0%", second.chance)
    assert view.headline.startswith("1 waiting · 1 on the easel")
    assert view.headline.endswith("1 not kept in the end")


def test_nothing_is_known_of_what_came_later_but_in_its_own_column():
    view = at(quay_day(), "10:05")

    [only] = view.rows  # T2 is ordered a minute later

    assert only.where == "waiting"
    assert [one.said for one in view.after][:3] == [
        "Number 1 begun by Easel a1",
        "Number 2 ordered: Ink head, 2 sitters",
        "Number 2 promised for 10:40",
    ]
    assert [one.said for one in view.before] == [
        "Number 1 ordered: Ink head",
        "Number 1 promised for 10:30",
        "Number 1: €18.00 paid in cash",
    ]


def test_a_promise_that_was_moved_says_what_was_told_first_and_is_judged_by_it():
    view = at(quay_day(), "13:01")  # T6: told 13:10 at 12:50, told 13:45 at 13:00, ready at 13:42

    [only] = view.rows

    assert (only.told, only.told_first) == ("13:45", "first 13:10")
    assert (only.then, only.then_state) == ("ready 13:42, 32 min late", "late")


def test_a_tap_that_arrived_late_says_when_it_was_made():
    told = a_booth().ordered("T1", at="09:10").started("T1", at="09:30", ago_s=600)

    view = at(told, "10:30", instant("10:00"))

    assert [(one.clock, one.said, one.tapped) for one in view.before] == [
        ("10:30", "Number 1 begun by Easel a1", "tapped 10:20")
    ]


def test_the_promises_that_broke_stand_at_the_minute_that_was_told():
    view, _ = whole(quay_day())

    assert [(one.clock, one.said) for one in view.broken] == [
        ("10:40", "number 2: ready 10:42, 2 min late"),
        ("13:10", "number 6: ready 13:42, 32 min late"),
    ]


def test_the_graph_says_how_many_waited_at_most_and_marks_what_broke():
    view, _ = whole(quay_day())

    assert view.minutes.clock(view.longest) == "10:05"
    assert view.graph_said == "How many waited, minute by minute: at most 1 at 10:05. Crosses: 2 promises not kept."
    assert view.graph.count("✕") == 2


# The ways to other minutes


def jumps(told: Told, clock: str) -> dict[str, str]:
    view, _ = whole(told)
    return {one.id: view.minutes.clock(one.minute) if one.address else "" for one in at(told, clock).jumps}


def test_every_jump_leads_to_what_it_names():
    found = jumps(quay_day(), "11:30")

    assert found == {
        "open": "10:00",
        "event-before": "11:20",  # T5 is cancelled
        "event-after": "12:00",  # somebody walks away
        "broken-before": "10:40",
        "broken-after": "13:10",
        "longest": "10:05",
        "close": "19:00",
    }


def test_there_is_no_way_where_it_would_lead_nowhere():
    assert jumps(quay_day(), "10:00")["event-before"] == ""
    assert jumps(quay_day(), "10:00")["open"] == ""
    assert jumps(quay_day(), "19:00")["event-after"] == ""
    assert jumps(quay_day(), "13:10")["broken-after"] == ""


def test_an_event_within_a_minute_is_known_at_the_next_one():
    told = a_booth().ordered("T1", at="09:10:20")

    assert jumps(told, "10:05")["event-after"] == "10:11"
    assert at(told, "10:10", instant("10:00")).rows == ()
    assert len(at(told, "10:11", instant("10:00")).rows) == 1


# Which minutes there are


def test_a_day_goes_on_for_an_hour_after_its_closing_where_something_was_put_away():
    told = a_booth().ordered("T1").drawn("T1").day_closed(at="18:00").collected("T1", at="18:20:30")
    told = told.erased("T1", at="18:40")

    view, _ = whole(told, instant("19:00"))

    assert view.minutes.clock(view.minutes.last) == "19:21"
    assert view.minutes.clock(view.closed) == "19:00"


def test_an_open_day_goes_until_now_but_not_for_weeks_when_nobody_closed_it():
    told = a_booth(closes="18:00").ordered("T1", at="09:10")

    assert (
        whole(told, instant("09:30:40"))[0].minutes.clock(whole(told, instant("09:30:40"))[0].minutes.last) == "10:30"
    )
    late = whole(told, instant("09:30") + timedelta(days=30))[0].minutes
    assert late.clock(late.last) == "20:00"  # an hour after the closing that was planned, 18:00 in UTC


SUMMER_ENDS = Minutes(datetime(2026, 10, 24, 18, tzinfo=UTC), 12 * 60, LISBON)  # 19:00 to 06:00, 01:00–02:00 twice


def test_a_clock_time_past_midnight_is_the_night_s():
    assert SUMMER_ENDS.at(SUMMER_ENDS.of_clock("00:30")) == datetime(2026, 10, 24, 23, 30, tzinfo=UTC)


def test_an_hour_that_comes_twice_is_asked_for_by_its_minute_the_second_time():
    first, second = SUMMER_ENDS.of_clock("01:15"), SUMMER_ENDS.of_clock("01:15") + 60

    assert SUMMER_ENDS.clock(first) == SUMMER_ENDS.clock(second) == "01:15"
    assert SUMMER_ENDS.asked(first) == "at=01:15"
    assert SUMMER_ENDS.asked(second) == f"minute={second}"


@pytest.mark.parametrize(("typed", "minute"), [("18:59", 0), ("06:01", 12 * 60), ("19:00", 0), ("06:00", 12 * 60)])
def test_a_time_outside_the_day_is_its_nearer_end(typed: str, minute: int):
    assert SUMMER_ENDS.of_clock(typed) == minute


@pytest.mark.parametrize("typed", ["", "25:00", "noon", "10:60", "-1:00"])
def test_what_is_no_time_of_day_is_told(typed: str):
    with pytest.raises(Malformed, match="a time of day such as 14:05"):
        SUMMER_ENDS.of_clock(typed)


def test_every_minute_of_a_night_over_the_end_of_summer_time_is_reached_by_its_own_address():
    for minute in range(SUMMER_ENDS.last + 1):
        key, _, value = SUMMER_ENDS.asked(minute).partition("=")

        assert (SUMMER_ENDS.of_clock(value) if key == "at" else int(value)) == minute


# What is said of a line


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_line_is_told_in_words_without_an_id(kind: str):
    booth, lines = Booth(), []
    for path in sorted(JOURNALS.glob("*.jsonl")):
        events = read_journal(path)
        booth = fold(Booth(), events)
        first = fold(Booth(), events[:1]).set_up
        lines += [event_said(event, booth, first) for event in events if event.kind == kind]

    assert lines
    for said in lines:
        assert re.match(r"[A-Z]", said)
        assert not re.search(r"\bT\d|ink-head|_|None", said), said


# The page


def test_the_day_once_more_is_for_the_booth_s_people(web: Web):
    web.desks.import_journal("past", quay_day().lines)

    answer = web.client.get(PAGE)

    assert answer.status_code == 303
    assert "/sign-in" in answer.headers["Location"]


def test_the_page_shows_the_minute_asked_for_without_any_script(web: Web):
    page = web.client.get(f"{a_past_day(web)}?at=10:07").get_data(as_text=True)

    assert 'name="at" type="time" value="10:07"' in page
    assert "Still to be drawn at 10:07" in page
    assert "Quayside Portraits" in page
    assert re.search(r'href="\?day=2026-06-06&amp;at=10:40"[^>]*aria-label="Next broken promise"', page)


def test_left_to_itself_it_shows_when_most_waited(web: Web):
    page = text_of(web.client.get(a_past_day(web)).get_data(as_text=True))

    assert "Still to be drawn at 10:05" in page


def test_a_minute_is_a_fragment_with_the_wall_s_own_html(web: Web):
    a_past_day(web)

    told = fragment(web, "minute=7")

    past = past_days.past_day(web.desks.at("past"), "2026-06-06", wait_s=60)
    assert past is not None
    with web.app.app_context():
        wall = render_view("wall", web.desks.at("past"), standing=standing_at("past", past, instant("09:07")))
    assert wall.html in told["html"]
    assert (told["minute"], told["clock"], told["address"]) == (7, "10:07", "?day=2026-06-06&at=10:07")
    assert told["said"] == "10:07, 1 waiting"


def test_a_minute_beyond_the_day_is_its_last_one(web: Web):
    a_past_day(web)

    assert fragment(web, "minute=99999")["clock"] == "19:00"


def test_a_minute_that_is_none_is_told(web: Web):
    page = a_past_day(web)
    for query in ("minute=-3", "minute=x", "at=25:00", "minute=9999999"):
        answer = web.client.get(f"{page}?{query}", headers={"Accept": "application/json"})

        assert answer.status_code == 422
        assert "expected" in answer.get_json()["detail"]


def test_a_day_that_was_not_traded_on_is_not_there(web: Web):
    answer = web.client.get(f"{a_past_day(web)}?day=2026-06-05")

    assert answer.status_code == 404
    assert "did not trade on" in answer.get_data(as_text=True)


def test_a_booth_that_never_opened_a_day_is_told_so(web: Web):
    web.desks.import_journal("fresh", quay_day().lines[:1])
    web.sign_in()

    answer = web.client.get("/fresh/daybook/replay")

    assert answer.status_code == 200
    assert "No day has been opened yet" in answer.get_data(as_text=True)


def test_the_open_day_shows_the_minute_that_is_now_and_what_was_just_taken(web: Web):
    web.sign_in()
    web.client.get("/quay/daybook/replay")  # the day is read before the order comes
    web.order()
    web.after(2)

    page = text_of(web.client.get("/quay/daybook/replay").get_data(as_text=True))

    assert "1 waiting" in page
    assert "Pencil head study" in page
    assert re.search(r"\bNow\b", page)


# Reading the record


def test_a_record_that_takes_long_is_said_to_be_read_and_nobody_is_kept_waiting(
    web: Web, monkeypatch: pytest.MonkeyPatch
):
    a_past_day(web)
    go_on = threading.Event()

    def slowly(events: list[Event], day: str) -> PastDay | None:
        go_on.wait(60)
        return day_once_more(events, day)

    monkeypatch.setattr(past_days, "day_once_more", slowly)
    monkeypatch.setattr("portraitq.web.day_replay.READ_WITHIN_S", 0.01)
    page = web.client.get(PAGE)
    asked = web.client.get(f"{PAGE}?fragment=1")

    assert (page.status_code, asked.status_code) == (202, 202)
    assert "Reading the record" in page.get_data(as_text=True)
    web.order()  # the booth trades on meanwhile
    go_on.set()
    assert past_days.past_day(web.desks.at("past"), "2026-06-06", wait_s=60) is not None
    assert web.client.get(f"{PAGE}?fragment=1").status_code == 200


def test_a_record_that_could_not_be_read_is_read_anew_by_the_next_one_who_asks(
    web: Web, monkeypatch: pytest.MonkeyPatch
):
    a_past_day(web)

    def fails(events: list[Event], day: str) -> PastDay | None:
        raise RuntimeError("the disk went away")

    with monkeypatch.context() as broken:
        broken.setattr(past_days, "day_once_more", fails)
        assert web.client.get(PAGE).status_code == 500

    assert web.client.get(PAGE).status_code == 200


def test_only_the_days_looked_at_last_are_kept(web: Web):
    told = a_booth().day_closed(at="10:00")
    for day in range(7, 13):
        told = told.day_opened(f"2026-06-{day:02d}").day_closed(at="10:00")
    desk = web.desks.import_journal("season", told.lines)

    for day in range(6, 13):
        assert past_days.past_day(desk, f"2026-06-{day:02d}", wait_s=60) is not None

    assert list(past_days._of(desk).days) == [f"2026-06-{day:02d}" for day in range(9, 13)]


def test_a_minute_looked_at_again_is_made_once(web: Web):
    made: list[int] = []

    def make() -> int:
        made.append(1)
        return len(made)

    first, again = (past_days.answered_once(web.desk, ("minute", 1), make) for _ in range(2))
    other = past_days.answered_once(web.desk, ("minute", 2), make)

    assert (first, again, other) == (1, 1, 2)
