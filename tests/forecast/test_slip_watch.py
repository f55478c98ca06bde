"""Which promises are marked, when a mark goes, and that neither it nor the time beside it wavers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from types import MappingProxyType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portraitq.core.booth import Booth, fold
from portraitq.core.events import Event, Promised
from portraitq.forecast.pace import Pace, pace_of
from portraitq.forecast.promise import LEVELS
from portraitq.forecast.quotes import Forecast, Quote, forecast, quotes_of_tickets
from portraitq.forecast.slip_watch import CLEARED_OVER, MARKED_UNDER, NO_SLIPS, Slip, Slips, watch
from tests.builders import Told, a_booth, a_set_up, artist, instant
from tests.seasons.simulate import simulate
from tests.seasons.truths import TRUTHS

CONFIDENCE = 0.85  # of `a_set_up`
LOW, HIGH = MARKED_UNDER * CONFIDENCE, CLEARED_OVER * CONFIDENCE
PROMISED = instant("10:00")
STEP = timedelta(seconds=300)
WAITS = a_booth().ordered("T1", at="09:10").promised("T1", PROMISED)


def a_quote(chance: float | None, promise_at: datetime = PROMISED + 4 * STEP, spread: timedelta = STEP) -> Quote:
    """A quote whose promise is `promise_at`; its levels lie evenly on the `spread` before that."""
    at = {level: promise_at - spread * (1 - level) for level in LEVELS}
    return Quote(
        ready_at_quantiles=MappingProxyType(at),
        promise_at=promise_at,
        median_at=at[0.5],
        window=(at[0.2], at[0.8]),
        chance_kept=chance,
        artist="a1",
        ahead=0,
    )


def watched(*quotes: Quote, told: Told = WAITS, before: Slips = NO_SLIPS) -> Slip | None:
    """The mark of T1 after those quotes of it, one a minute."""
    for minute, quote in enumerate(quotes):
        now = instant("09:20") + timedelta(minutes=minute)
        seen = Forecast(now, told.booth.seq, MappingProxyType({"T1": quote}), MappingProxyType({}))
        before = watch(before, told.booth, seen)
    return before.get("T1")


def really(told: Told, now: str, before: Slips = NO_SLIPS, pace: Pace | None = None) -> Slips:
    """The marks by real quotes."""
    return watch(before, told.booth, forecast(told.booth, pace or pace_of(told.booth), told.at(now)))


# When a promise is marked


def test_a_promise_that_lost_half_its_chance_is_marked_with_the_present_honest_time():
    slip = watched(a_quote(LOW - 0.01))

    assert slip == Slip(PROMISED, instant("09:20"), PROMISED + 4 * STEP, LOW - 0.01)


def test_a_promise_with_more_than_half_its_chance_left_is_not_marked():
    assert watched(a_quote(LOW)) is None


def test_a_booth_that_wants_half_its_promises_kept_does_not_mark_each_one_as_it_is_made():
    told = a_booth(a_set_up(confidence=0.5)).ordered("T1", at="09:10").promised("T1", PROMISED)

    assert watched(a_quote(0.45), told=told) is None
    assert watched(a_quote(0.2), told=told) is not None


def test_nothing_is_marked_where_nothing_was_promised():
    assert watched(a_quote(None), told=a_booth().ordered("T1", at="09:10")) is None


def test_a_held_ticket_has_no_mark_until_it_is_released():
    held = WAITS.held("T1", "customer")

    assert watched(a_quote(0.0), told=held, before={"T1": slipped()}) is None
    assert watched(a_quote(0.0), told=held.released("T1")) is not None


def test_a_ticket_that_nobody_draws_has_no_new_time_and_so_no_mark():
    told = a_booth().ordered("T1", style="chalk-half", at="09:10").promised("T1", "10:00")
    told = told.set_up(a_set_up(artists=[artist("a1", "ink-head")]))

    assert really(told, "09:59") == {}


def test_a_stage_that_runs_on_marks_its_own_promise_and_those_behind_it_before_they_are_broken():
    told = a_booth().artist_out("a2").ordered("T1", "T2", at="09:05")
    told = told.promised("T1", "09:30").promised("T2", "09:50").started("T1", "a1")

    assert really(told, "09:10") == {}
    slips = really(told, "09:29")

    assert set(slips) == {"T1", "T2"}
    assert all(slip.new_ready_by > slip.ready_by for slip in slips.values())


def test_what_cannot_be_drawn_today_any_more_is_told_for_tomorrow():
    told = a_booth(closes="10:00").artist_out("a2").ordered("T1", "T2", at="09:05").promised("T2", "10:00")

    slip = really(told.started("T1", "a1", at="09:06"), "10:00")["T2"]

    assert slip.new_ready_by > instant("09:00", "2026-06-07")


# When a mark goes


def slipped(shown: datetime = PROMISED + 4 * STEP) -> Slip:
    return Slip(PROMISED, instant("09:15"), shown, 0.1)


def test_a_mark_stays_until_most_of_the_chance_is_back():
    before = {"T1": slipped()}

    assert watched(a_quote(HIGH), before=before) is not None
    assert watched(a_quote(HIGH + 0.01), before=before) is None


def test_a_promise_that_would_be_made_again_is_not_marked_whatever_its_chance():
    assert watched(a_quote(0.1, PROMISED)) is None


def test_a_mark_remembers_since_when_it_stands():
    slip = watched(a_quote(0.2), a_quote(HIGH), a_quote(0.3))

    assert slip is not None
    assert slip.marked_at == instant("09:20")


def test_a_new_time_that_is_told_ends_the_mark():
    told = WAITS.promised("T1", "10:20")

    assert watched(a_quote((LOW + HIGH) / 2), told=told, before={"T1": slipped()}) is None


def test_a_new_time_that_is_itself_unlikely_is_marked_at_once_as_its_own():
    told = WAITS.promised("T1", "10:05")

    slip = watched(a_quote(0.1), told=told, before={"T1": slipped()})

    assert slip is not None
    assert (slip.ready_by, slip.marked_at) == (instant("10:05"), instant("09:20"))


def test_one_that_is_ready_or_cancelled_has_no_mark():
    told = a_booth().ordered("T1", "T2", at="09:05").promised("T1", "09:06").promised("T2", "09:06")
    before = really(told, "09:30")
    assert set(before) == {"T1", "T2"}

    assert really(told.drawn("T1", at="09:31").cancelled("T2"), "09:40", before) == {}


def test_a_watch_that_begins_anew_finds_what_the_present_quotes_say():
    """After a restart: what slips is marked again, what is between the bounds is not."""
    assert watched(a_quote(0.1)) is not None
    assert watched(a_quote((LOW + HIGH) / 2)) is None


# Which time is shown with it


def test_the_time_shown_stays_while_the_honest_one_is_a_step_later():
    slip = watched(a_quote(0.1), a_quote(0.1, PROMISED + 5 * STEP, spread=8 * STEP))

    assert slip is not None
    assert slip.new_ready_by == PROMISED + 4 * STEP


def test_it_goes_later_when_the_honest_one_is_more_than_a_step_later():
    slip = watched(a_quote(0.1), a_quote(0.1, PROMISED + 6 * STEP, spread=12 * STEP))

    assert slip is not None
    assert slip.new_ready_by == PROMISED + 6 * STEP


def test_it_goes_later_by_a_single_step_when_it_is_not_likely_any_more():
    slip = watched(a_quote(0.1), a_quote(0.1, PROMISED + 5 * STEP, spread=2 * STEP))

    assert slip is not None
    assert slip.new_ready_by == PROMISED + 5 * STEP


def test_it_goes_earlier_only_when_it_is_much_too_late():
    kept = watched(a_quote(0.1, PROMISED + 9 * STEP), a_quote(0.1, PROMISED + 6 * STEP))
    mended = watched(a_quote(0.1, PROMISED + 9 * STEP), a_quote(0.1, PROMISED + 5 * STEP))

    assert kept is not None
    assert kept.new_ready_by == PROMISED + 9 * STEP
    assert mended is not None
    assert mended.new_ready_by == PROMISED + 5 * STEP


def test_a_booth_that_rounds_to_the_minute_does_not_show_another_time_each_minute():
    told = a_booth(a_set_up(round_to_s=60)).ordered("T1", at="09:10").promised("T1", PROMISED)
    minute = timedelta(minutes=1)

    slip = watched(a_quote(0.1), a_quote(0.1, PROMISED + 4 * STEP + 3 * minute, spread=8 * STEP), told=told)

    assert slip is not None
    assert slip.new_ready_by == PROMISED + 4 * STEP


# What holds however the quotes waver

chances = st.lists(st.floats(0, 1), min_size=1, max_size=30)
quotes = st.builds(
    lambda chance, later: a_quote(chance, PROMISED + later * STEP, spread=4 * STEP),
    st.floats(0, HIGH),
    st.integers(1, 12),
)


@given(chances)
def test_a_mark_comes_and_goes_only_across_both_bounds(chances: Sequence[float]):
    before: Slips = NO_SLIPS

    for chance in chances:
        was, slip = before.get("T1"), watched(a_quote(chance), before=before)
        if chance < LOW:
            assert slip is not None
        elif chance > HIGH:
            assert slip is None
        else:
            assert (slip is None) == (was is None)
        before = {"T1": slip} if slip else NO_SLIPS


@given(st.lists(quotes, min_size=1, max_size=30))
def test_the_time_shown_is_always_likely_itself_and_later_than_what_was_promised(quotes: Sequence[Quote]):
    slip = watched(replace(quotes[0], chance_kept=0.0), *quotes)

    assert slip is not None
    assert slip.new_ready_by > slip.ready_by
    assert quotes[-1].chance_by(slip.new_ready_by) >= HIGH


@given(st.floats(0.5, 0.99))
def test_the_bounds_lie_apart_and_under_what_was_promised(confidence: float):
    assert MARKED_UNDER * confidence < CLEARED_OVER * confidence < confidence
    assert MARKED_UNDER * confidence < 0.5, "what is more likely kept than broken is not called late"


# How it does on days that it does not know


@dataclass
class Watched:
    """One promise of a season: when it was ready, and the marks that it had, by when each began, with its times."""

    ready_by: datetime
    ready_at: datetime | None = None
    marks: dict[datetime, list[datetime]] = field(default_factory=dict)

    @property
    def was_broken(self) -> bool:
        return self.ready_at is not None and self.ready_at > self.ready_by


class Season:
    """A booth that promises what its own forecast says and is quoted after every line and every minute between."""

    def __init__(self) -> None:
        self.booth, self.pace, self.slips = Booth(), Pace(), NO_SLIPS
        self.promises: dict[str, Watched] = {}

    def take(self, event: Event) -> None:
        while self.booth.day and self.booth.last_at and (at := self.looked_at + timedelta(minutes=1)) < event.at:
            self.look(at)
        if isinstance(event.data, Promised):
            event = replace(event, data=self.own_promise(event.data, event.at))
        self.booth = fold(self.booth, [event])
        self.pace = pace_of(self.booth, self.pace)
        self.look(event.at)

    def own_promise(self, told: Promised, now: datetime) -> Promised:
        ready_by = quotes_of_tickets(self.booth, self.pace, now, [told.ticket])[told.ticket].promise_at
        self.promises[told.ticket] = Watched(ready_by)
        return told.model_copy(update={"ready_by": ready_by})

    def look(self, now: datetime) -> None:
        self.looked_at = now
        open_ids = [ticket.id for ticket in self.booth.open_tickets()]
        quotes = quotes_of_tickets(self.booth, self.pace, now, open_ids)  # as `forecast` says, the styles left out
        seen = Forecast(now, self.booth.seq, quotes, MappingProxyType({}))
        self.slips = watch(self.slips, self.booth, seen)
        for id, slip in self.slips.items():
            shown = self.promises[id].marks.setdefault(slip.marked_at, [])
            if slip.new_ready_by not in shown[-1:]:
                shown.append(slip.new_ready_by)


@pytest.fixture(scope="module")
def promises() -> list[Watched]:
    """The promises of five days with hard faces, which the forecast does not expect."""
    season = Season()
    for event in simulate(replace(TRUTHS["bimodal-faces"], days=5), seed=11).events:
        season.take(event)
    for id, watched in season.promises.items():
        watched.ready_at = season.booth.tickets[id].finished_at
    return [watched for watched in season.promises.values() if watched.ready_at]


def test_nearly_every_broken_promise_is_marked_before_it_is_broken(promises: list[Watched]):
    broken = [one for one in promises if one.was_broken]

    in_time = [one for one in broken if one.marks and min(one.marks) < one.ready_by]

    assert len(broken) >= 5, "a season without broken promises shows nothing"
    assert len(in_time) >= 0.8 * len(broken)


def test_few_promises_that_are_kept_are_marked(promises: list[Watched]):
    kept = [one for one in promises if not one.was_broken]

    assert sum(bool(one.marks) for one in kept) <= 0.15 * len(kept)


def test_marks_seldom_come_again_and_their_times_seldom_move(promises: list[Watched]):
    marked = [one for one in promises if one.marks]
    marks = [shown for one in marked for shown in one.marks.values()]

    assert len(marks) <= 1.35 * len(marked)
    assert sum(map(len, marks)) <= 2 * len(marks)


def test_the_new_time_that_is_shown_is_one_to_be_stood_by(promises: list[Watched]):
    last_shown = [(one.ready_at, list(one.marks.values())[-1][-1]) for one in promises if one.marks]

    kept = [ready_at <= shown for ready_at, shown in last_shown if ready_at]

    assert sum(kept) >= 0.85 * len(kept)
