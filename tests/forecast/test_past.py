"""A day once more: whatever instant is asked, the answer is what reading the lines up to there gives."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from portraitq.core.booth import Booth, fold
from portraitq.core.errors import Refused
from portraitq.core.events import DayOpened, Event, OfTicket
from portraitq.forecast.learning import QUOTED_BACK, Learned, read_on
from portraitq.forecast.past import KEPT_EVERY, PastDay, day_once_more, lines_of
from portraitq.forecast.quotes import forecast
from portraitq.forecast.replay import read_journal
from tests.builders import Told, a_booth
from tests.forecast.test_learning import same_pace

JOURNALS = sorted((Path(__file__).parents[1] / "journals").glob("*.jsonl"))


def every_day(path: Path) -> list[tuple[list[Event], PastDay]]:
    events = read_journal(path)
    names = dict.fromkeys(event.data.day for event in events if isinstance(event.data, DayOpened))
    days = [day_once_more(events, name) for name in names]
    return [(events, day) for day in days if day is not None]


def a_long_day(orders: int = 30) -> Told:
    """More lines than are kept at once."""
    told = a_booth(closes="23:00")
    for number in range(orders):
        told = told.ordered(f"T{number}")
        told = told.drawn(f"T{number}") if number % 3 else told
    return told


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_after_every_line_the_booth_stands_as_its_lines_fold(path: Path):
    for events, day in every_day(path):
        for line in day.lines:
            by_then = [event for event in events if event.at <= line.at]

            assert day.known(line.at).booth == fold(Booth(), by_then)


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_after_every_line_the_pace_is_what_a_desk_started_that_morning_had_learned(path: Path):
    for events, day in every_day(path):
        opened = day.lines[0].seq - 1
        desk = read_on(Learned(), events[:opened], quoted_back=QUOTED_BACK)
        for place, line in enumerate(day.lines):
            desk = read_on(desk, [line])
            if place + 1 < len(day.lines) and day.lines[place + 1].at == line.at:
                continue  # written down at the same instant as the next one

            assert same_pace(day.known(line.at).pace, desk.pace)


def test_between_what_is_kept_the_quotes_are_the_same_to_the_last_digit():
    told = a_long_day()
    day = day_once_more(told.events, "2026-06-06")
    assert day is not None
    assert len(day.lines) > 3 * KEPT_EVERY
    for place in (KEPT_EVERY - 2, KEPT_EVERY - 1, KEPT_EVERY, 2 * KEPT_EVERY + 7, len(day.lines) - 1):
        at = day.lines[place].at + timedelta(seconds=30)
        live = read_on(Learned(), [event for event in told.events if event.at <= at])

        then = day.known(at)

        assert forecast(then.booth, then.pace, at) == forecast(live.booth, live.pace, at)


def test_what_was_tapped_out_of_reach_is_known_from_when_it_arrived():
    told = a_booth().ordered("T1", at="09:10").started("T1", at="09:30", ago_s=600)
    day = day_once_more(told.events, "2026-06-06")
    assert day is not None

    before, after = day.known(told.at("09:29:59")), day.known(told.at("09:30"))

    assert before.booth.queue == ("T1",)
    assert after.booth.tickets["T1"].history[-1].happened_at == told.at("09:20")


def test_before_its_opening_a_day_knows_the_evening_before():
    told = a_booth().ordered("T1").day_closed(at="18:00").day_opened("2026-06-07").artist_in("a1")
    day = day_once_more(told.events, "2026-06-07")
    assert day is not None

    assert day.known(day.lines[0].at - timedelta(seconds=1)).booth.day is None
    assert day.before.booth.queue == ("T1",)


def test_a_day_that_was_never_opened_is_none():
    assert day_once_more(a_booth().events, "2026-06-05") is None


def test_a_day_grows_with_what_is_written_and_ends_where_the_next_one_opens():
    told = a_long_day(12)
    later = told.ordered("T90").drawn("T90").day_closed().day_opened("2026-06-07").artist_in("a1")
    day = day_once_more(told.events, "2026-06-06")
    assert day is not None

    grown = day.with_more(later.events[len(told.events) :])

    assert grown.lines == later.events[day.lines[0].seq - 1 : -2]
    assert (day.is_over, grown.is_over) == (False, True)
    last = grown.lines[-1].at
    whole = read_on(Learned(), later.events[:-2])
    assert grown.known(last).booth == whole.booth
    assert same_pace(grown.known(last).pace, whole.pace)


def test_a_line_that_does_not_follow_is_refused_when_it_is_read():
    told = a_booth().ordered("T1")
    day = day_once_more(told.events, "2026-06-06")
    assert day is not None

    with pytest.raises(Refused):
        day.with_more([told.events[-1]])


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_how_many_waited_is_the_queue_of_every_instant(path: Path):
    for _, day in every_day(path):
        steps = day.waiting()
        for line in day.lines:
            n = [count for at, count in steps if at <= line.at][-1]

            assert n == len(day.known(line.at).booth.queue)


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_a_booth_and_the_lines_of_no_ticket_are_the_whole_journal(path: Path):
    events = read_journal(path)
    beside = [event for event in events if not isinstance(event.data, OfTicket)]

    assert lines_of(fold(Booth(), events), beside) == events


def test_a_line_that_is_missing_is_told():
    told = a_booth().ordered("T1")

    with pytest.raises(ValueError, match="line 1 of"):
        lines_of(told.booth, [])
