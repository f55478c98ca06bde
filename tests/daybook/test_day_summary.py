"""A day's summary says what the day's own page says, and nothing of anybody."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest

from portraitq.core.booth import import_lines
from portraitq.daybook.attendance import attendances
from portraitq.daybook.day_summary import LEFT, OUT_OF_HOURS, UNTOLD, print_summary, read_summary, summary_of
from portraitq.daybook.days import days_of
from portraitq.daybook.figures import of_day
from portraitq.daybook.presence import area_s, count, flow_span
from portraitq.daybook.promises import JUDGED, KEPT, OPEN
from portraitq.daybook.spans import common, length_s
from portraitq.forecast.pace import pace_of
from tests.builders import Told
from tests.daybook.evening import NOW, quay_day

JOURNALS = sorted((Path(__file__).parents[1] / "journals").glob("*.jsonl"))


def summarised(told: Told, now=NOW):
    booth = told.booth
    return [summary_of(booth, day, booth.tickets.values(), attendances(told.events), now) for day in days_of(booth)]


def of_journal(path: Path):
    booth, events = import_lines(path.read_text("utf-8").splitlines())
    assert booth.last_at is not None
    return booth, attendances(events), booth.last_at


def test_the_hand_worked_day():
    (found,) = summarised(quay_day())

    assert (found.day, found.zone, found.open_s) == ("2026-06-06", "Europe/Lisbon", 9 * 3600)
    assert (found.ordered, found.cancelled, len(found.portraits)) == (7, 1, 5)
    # T1 1800, T3 3600 less 600, T2 3000, T5 500, T6 1800
    assert found.taken == 10100
    # T1 was on the easel from 09:05:30 to 09:16:30, for a minute of it the artist was at the counter. a1 turned around
    # while the next waited: 90 s before T3, 60 s before T4 (ordered 10:00, begun 10:01), 300 s before T6, and before T6
    # was begun again 7 min besides the break. Of the five portraits four are a1's.
    first = found.portraits[0]
    assert (first.artist, first.style, first.sitters) == ("a1", "ink-head", 1)
    assert first.drawn_s == 600  # 11 min less the minute at the counter
    assert first.guess_s == 100 + 380 + 110
    assert first.easel_s == pytest.approx(660 + (90 + 60 + 300 + 420) / 4)
    assert first.earned == 1800


def test_who_asked_and_what_they_were_told():
    (found,) = summarised(quay_day())

    told = {one.wait_s: one.became for one in found.asked if one.wait_s is not None}
    assert told[25 * 60] == KEPT  # T1: ordered 09:05, told 09:30, ready 09:16:30
    assert [one.became for one in found.asked].count(LEFT) == 1  # at 11:00, told nothing
    assert found.asked[0].confidence == 0.85
    assert not found.is_settled  # T7 is promised for 18:30, and it is 18:05


def test_the_hours_are_those_of_the_booths_clock():
    (found,) = summarised(quay_day())

    hours = {one.hour: one for one in found.hours}  # Lisbon in June is an hour ahead of UTC
    assert sorted(hours) == list(range(10, 19))
    assert {one.open_s for one in found.hours} == {3600}
    # T1 09:16:30, T3 09:38, T2 09:42:10 UTC; T4 10:08; T6 12:42
    assert [hours[hour].finished for hour in (10, 11, 13)] == [3, 1, 1]
    assert hours[10].taken == 1800 + 3600 - 600


def test_money_after_closing_belongs_to_no_hour():
    told = quay_day().paid("T7", 3600, at="18:20:00")

    (found,) = summarised(told)

    assert found.hours[0].hour == OUT_OF_HOURS
    assert (found.hours[0].open_s, found.hours[0].taken) == (0.0, 3600)


def test_an_order_that_was_promised_nothing_is_told_so():
    told = Told().set_up(at="08:00").day_opened().artist_in("a1").ordered("T1")

    (found,) = summarised(told)

    assert [(one.became, one.wait_s) for one in found.asked] == [(UNTOLD, None)]


def test_a_portrait_of_which_a_stage_is_not_known_has_no_measured_time():
    told = Told().set_up(at="08:00").day_opened().artist_in("a1", at="09:00:00").ordered("T1", at="09:00:00")
    told = told.started("T1", "a1", at="09:05:00").taps("layout 09:05:01", "likeness 09:15:00", "finish 09:17:00")

    (found,) = summarised(told.finished("T1", at="09:17:00"))

    assert [(one.drawn_s, one.guess_s) for one in found.portraits] == [(0, 0)]
    assert found.portraits[0].easel_s == 12 * 60


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_it_says_what_the_days_own_page_says(path: Path):
    booth, here, now = of_journal(path)

    for day in days_of(booth):
        found = summary_of(booth, day, booth.tickets.values(), here, now)
        figures = of_day(booth, day, here, now, pace_of(booth))

        assert found.ordered == figures.n("ordered")
        assert found.collected == figures.n("collected")
        assert found.cancelled == figures.n("cancelled")
        assert len(found.portraits) == sum(one.finished for one in found.hours) == figures.n("finished")
        assert found.taken == sum(one.taken for one in found.hours) == figures.takings.net
        words = figures.promises
        assert sum(one.became == OPEN for one in found.asked) == len(words.of(OPEN))
        assert sum(one.became == KEPT for one in found.asked) == len(words.of(KEPT))
        assert sum(one.became in JUDGED for one in found.asked) == sum(one.outcome in JUDGED for one in words.words)
        assert sum(one.became == LEFT for one in found.asked) == len(figures.walked_away)
        assert found.open_s == pytest.approx(sum(one.open_s for one in found.hours))
        assert sorted((one.artist, one.total_s, one.turnaround_s, one.idle_s) for one in found.artists) == sorted(
            (one.artist, one.total_s, one.turnaround_s, one.idle_s) for one in figures.hours
        )


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_littles_law_holds_across_all_days(path: Path):
    # Operations Research 9 (1961), 383–387: Σ over portraits of the open hours that each was in hand = ∫ how many were
    # in hand over the open hours. The days' sum, ticket by ticket over the whole range, and the steps of the count.
    booth, here, now = of_journal(path)
    days = days_of(booth)
    trading = [span for day in days for span in day.trading(min(now, day.ends_at))]
    flows = [flow_span(ticket, now) for ticket in booth.tickets.values()]

    found_s = sum(summary_of(booth, day, booth.tickets.values(), here, now).in_hand_s for day in days)

    assert found_s == pytest.approx(sum(length_s(common([flow], trading)) for flow in flows), abs=1e-6)
    steps_s = sum(area_s(count(flows, begins_at, ends_at), ends_at) for begins_at, ends_at in trading)
    assert found_s == pytest.approx(steps_s, abs=1e-6)


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_what_is_kept_reads_back_the_same_and_names_no_ticket(path: Path):
    booth, here, now = of_journal(path)

    for day in days_of(booth):
        summary = summary_of(booth, day, booth.tickets.values(), here, now)
        kept = print_summary(summary)

        assert read_summary(kept) == summary
        texts = set(_texts(json.loads(kept)))
        assert not texts & set(booth.tickets)


def _texts(found: object):
    if isinstance(found, str):
        yield found
    elif isinstance(found, dict):
        for one in found.values():
            yield from _texts(one)
    elif isinstance(found, list):
        for one in found:
            yield from _texts(one)


@pytest.mark.parametrize("odd", ["", "[]", "{}", '{"day":"2026-06-06"}', "null"])
def test_what_cannot_be_read_is_refused(odd: str):
    with pytest.raises(ValueError, match="a day's summary of version 1 was expected"):
        read_summary(odd)


def test_a_clock_left_on_over_night_counts_no_closed_hours():
    told = Told().set_up(at="08:00").day_opened(closes="18:00").artist_in("a1", at="09:00:00")
    told = told.ordered("T1", at="17:40:00").started("T1", "a1", at="17:50:00").day_closed(at="18:00:00")
    told = told.day_opened(day="2026-06-07").artist_in("a1")
    told = told.taps("layout 09:10:00", "likeness 09:20:00", "finish 09:30:00").finished("T1", at="09:30:00")

    found = summarised(told, told.at("18:00") + timedelta(days=3))[1].portraits[0]

    assert found.drawn_s == 0  # nobody knows
    assert found.easel_s == 600 + 30 * 60  # ten minutes before closing, half an hour of the morning
