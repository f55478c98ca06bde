"""What should the booth change? Suggestions out of its record, each with its evidence; thin evidence suggests nothing.

They are read from the last RECENT_DAYS days of trading: older ones tell of another booth. Each kind states here what it
asks for before it speaks, and every one of them asks that the 95 % interval of what it says leaves the other case out.

take the measured times     `measured_guesses.py`
promise at another level    of the quotes that the forecast remembers, at least FEWEST_QUOTES
round more finely           the same
never done before closing   portraits ordered in the last LAST_HOURS before closing
a break drawn through       planned breaks in which the artist drew for more than half of them
the counter takes the hand  pauses for the counter against the time drawn
earns less an hour          what a style brings in an hour at the easel (`earnings.py`), beside every other

What is suggested in words, and how it is done, is the web's.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from itertools import islice

from portraitq.core.booth import Booth, TradingDay
from portraitq.core.events import SetUp, Style
from portraitq.core.life import CANCELLED, Ticket
from portraitq.core.timing import Turnaround, stays, turnaround
from portraitq.daybook.changes import CONFIDENCE, ROUNDING, Change
from portraitq.daybook.days import Day, days_of
from portraitq.daybook.differences import mean_of
from portraitq.daybook.earnings import StyleEarns
from portraitq.daybook.estimates import Estimate, estimate
from portraitq.daybook.measured_guesses import MeasuredGuess, guesses_spoken_against
from portraitq.daybook.other_promises import Outcome, Policy, outcome
from portraitq.daybook.promises import promises_of
from portraitq.daybook.segments import PAUSE, STAGE, Segment, segments
from portraitq.daybook.shares import Share
from portraitq.daybook.spans import common, length_s
from portraitq.forecast.doubts import Judged, judged
from portraitq.forecast.pace import Pace

RECENT_DAYS = 10  # of trading: about a month of weekends
MOST_TICKETS = 500  # read at most, of whole days as far as there is more than one: what they say is clear by then
MOST_SHOWN = 3  # nobody changes more than that in one evening

GUESSES, PROMISES, FINER, CLOSING, BREAK, COUNTER, EARNS = (
    "guesses",
    "confidence",
    "rounding",
    "closing",
    "break",
    "counter",
    "earns",
)


@dataclass(frozen=True, slots=True)
class TakeGuesses:
    """Take what was measured as the guesses of these stages, and of the turnaround."""

    guesses: tuple[MeasuredGuess, ...]
    days: int

    key = GUESSES

    @property
    def strength(self) -> float:
        """That of the guess which is spoken against most clearly."""
        return max(one.strength for one in self.guesses)

    @property
    def changes(self) -> tuple[Change, ...]:
        """What it changes in the set-up."""
        return tuple(one.change for one in self.guesses)


@dataclass(frozen=True, slots=True)
class OtherPromises:
    """Promise at another confidence, or rounded otherwise: what the present way did, and what the other would have.

    wish     the share of promises that the booth wants kept
    is_free  whether the wish is met all the same; otherwise fewer would be kept, and it is a matter of choice
    """

    key: str
    present: Outcome
    other: Outcome
    wish: float
    is_free: bool
    strength: float
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class NeverDone:
    """A style that, ordered in the last hours before closing, is not done by then."""

    style: Style
    missed: Share
    carried: int
    days: int
    strength: float
    changes: tuple[Change, ...] = ()

    @property
    def key(self) -> str:
        """It is put away by its style."""
        return f"{CLOSING}:{self.style.id}"


@dataclass(frozen=True, slots=True)
class DrawnThrough:
    """Planned breaks of an artist in which they drew."""

    artist: str
    drawn: Share
    strength: float
    changes: tuple[Change, ...] = ()

    @property
    def key(self) -> str:
        """It is put away by its artist."""
        return f"{BREAK}:{self.artist}"


@dataclass(frozen=True, slots=True)
class CounterPauses:
    """What pauses for the counter take from the easels a day, seconds; `portraits` is how many fit into that."""

    a_day_s: Estimate
    pauses: int
    of_drawing: float
    portraits: float
    strength: float
    changes: tuple[Change, ...] = ()

    key = COUNTER


@dataclass(frozen=True, slots=True)
class EarnsLess:
    """A style that brings less an hour at the easel than every other: minor units an hour, by days.

    portraits  of it that this stands on
    least      what the one brings that brings the least of the others
    """

    style: Style
    portraits: int
    own: Estimate
    least: Estimate
    strength: float
    changes: tuple[Change, ...] = ()

    @property
    def key(self) -> str:
        """It is put away by its style."""
        return f"{EARNS}:{self.style.id}"


Suggestion = TakeGuesses | OtherPromises | NeverDone | DrawnThrough | CounterPauses | EarnsLess


def suggestions(booth: Booth, pace: Pace, now: datetime, earned: Iterable[StyleEarns] = ()) -> tuple[Suggestion, ...]:
    """Every suggestion that the record of `booth` supports at `now`, strongest first.

    earned  what each style brought on the last RECENT_DAYS days
    """
    if booth.set_up is None or not booth.days:
        return ()
    record = _Record(booth, booth.set_up, pace, now, tuple(earned))
    found = [one for kind in _KINDS for one in kind(record)]
    return tuple(sorted(found, key=lambda one: -one.strength))


def shown(found: Iterable[Suggestion], put_away: Iterable[str]) -> tuple[Suggestion, ...]:
    """Those to show: one of a kind, none that was put away, MOST_SHOWN at most."""
    away, kinds = set(put_away), dict[str, Suggestion]()
    for one in found:
        if one.key not in away:
            kinds.setdefault(one.key.partition(":")[0], one)
    return tuple(islice(kinds.values(), MOST_SHOWN))


@dataclass
class _Record:
    """The last days of trading, read once for all kinds."""

    booth: Booth
    set_up: SetUp
    pace: Pace
    now: datetime
    earned: tuple[StyleEarns, ...]
    days: tuple[Day, ...] = ()
    tickets: dict[str, Ticket] = field(default_factory=dict)
    times: tuple[Judged, ...] = ()
    stretches: tuple[Segment, ...] = ()

    def __post_init__(self) -> None:
        days = days_of(self.booth)[-RECENT_DAYS:]
        newest = [self.booth.tickets[id] for id in islice(reversed(self.booth.tickets), MOST_TICKETS)]
        if len(newest) == MOST_TICKETS:
            days = tuple(day for day in days if day.opened_at > newest[-1].ordered_at) or days[-1:]
        self.days = days
        self.tickets = {one.id: one for one in reversed(newest) if one.ordered_at >= days[0].opened_at}
        self.times = tuple(judged(self.tickets.values(), self.booth.days, self.pace))
        self.stretches = tuple(one for ticket in self.tickets.values() for one in segments(ticket))

    @property
    def present(self) -> Policy:
        """How the booth makes its promises now."""
        settings = self.set_up.booth
        return Policy(float(settings.confidence), float(settings.round_to_s), self.booth.zone)

    def breaks_its_word(self) -> bool:
        """Whether what customers were told on these days was kept clearly less often than wished.

        Whatever the quotes would have borne, nobody whose word is broken is advised to give earlier times.
        """
        kept = promises_of(self.tickets.values(), self.now).kept
        return kept is not None and kept.interval()[1] < self.present.confidence

    def day_of(self, at: datetime) -> Day | None:
        return next((day for day in reversed(self.days) if day.holds(at)), None)

    def turnarounds(self) -> Iterator[tuple[str, Turnaround]]:
        """Those of the tickets of these days, each with its day."""
        free_at: dict[str, datetime] = {}
        came = [stay for ticket in self.tickets.values() for stay in stays(ticket)]
        for stay in sorted(came, key=lambda one: one.began_at):
            measured, day = turnaround(stay, free_at.get(stay.artist), self.booth), self.day_of(stay.began_at)
            if measured is not None and day is not None:
                yield day.day, measured
            if stay.ended_at is not None:
                free_at[stay.artist] = stay.ended_at

    def closed(self) -> Iterator[TradingDay]:
        """The sessions of these days that are over."""
        return (session for day in self.days for session in day.sessions if session.closed_at is not None)


def _guesses(record: _Record) -> Iterator[TakeGuesses]:
    found = guesses_spoken_against(record.set_up, record.times, record.turnarounds(), record.tickets)
    if found:
        yield TakeGuesses(found, len(record.days))


FEWEST_QUOTES = 60  # of fewer the share kept is known to ±10 points at best, which is what one step of confidence moves
STEPS = (0.7, 0.75, 0.8, 0.85, 0.9, 0.95)
LEAST_GAIN_S = 120.0  # a promise earlier by less than two minutes is not noticed
MOST_GIVEN_UP = 0.1  # kept fewer by more than this is another booth's way, and not for us to suggest


def _other_confidence(record: _Record) -> Iterator[OtherPromises]:
    past, present = record.pace.calibration.past, record.present
    wish, now = present.confidence, outcome(past, present, present)
    if now is None or now.kept.n < FEWEST_QUOTES:
        return
    outcomes = {step: outcome(past, replace(present, confidence=step), present) for step in STEPS}
    steps = [one for one in outcomes.values() if one is not None]
    if now.kept.interval()[1] < wish:
        better = [one for one in steps if one.policy.confidence > wish and one.kept.value >= wish]
        for other in better[:1]:
            strength = _beyond(now.kept.value, wish, now.kept.interval()[1])
            yield OtherPromises(PROMISES, now, other, wish, True, strength, (_to(CONFIDENCE, wish, other),))
        return
    if record.breaks_its_word():
        return
    earlier = [one for one in steps if wish - MOST_GIVEN_UP - 1e-9 <= one.policy.confidence < wish and _is_earlier(one)]
    free = [one for one in earlier if one.kept.interval()[0] >= wish]
    for other in free[:1] or earlier[-1:]:  # as early as costs nothing, else one step down
        beyond = _beyond(other.earlier_s.value, 0, other.earlier_s.low)
        strength = beyond if free else _of_choice(beyond)
        yield OtherPromises(PROMISES, now, other, wish, bool(free), strength, (_to(CONFIDENCE, wish, other),))


def _of_choice(beyond: float) -> float:
    """The strength of what is a matter of choice, under 1: it comes after all that the record speaks for."""
    return beyond / (1 + beyond)


def _is_earlier(other: Outcome) -> bool:
    return other.earlier_s.value >= LEAST_GAIN_S and other.earlier_s.low > 0


def _to(what: str, old: float, other: Outcome) -> Change:
    return Change(what, (old,), (other.policy.confidence if what == CONFIDENCE else other.policy.round_to_s,))


FINER_S = 300.0  # what people read off a clock; finer than that a promise pretends too much


def _finer_rounding(record: _Record) -> Iterator[OtherPromises]:
    """Rounding up by more than five minutes, where five would keep the wish as well."""
    past, present = record.pace.calibration.past, record.present
    if present.round_to_s <= FINER_S:
        return
    now, other = outcome(past, present, present), outcome(past, replace(present, round_to_s=FINER_S), present)
    if now is None or other is None or now.kept.n < FEWEST_QUOTES or record.breaks_its_word():
        return
    if _is_earlier(other) and other.kept.value >= present.confidence:
        strength = _beyond(other.earlier_s.value, 0, other.earlier_s.low)
        change = _to(ROUNDING, present.round_to_s, other)
        yield OtherPromises(FINER, now, other, present.confidence, True, strength, (change,))


LAST_HOURS = timedelta(hours=2)
FEWEST_LATE, FEWEST_LATE_DAYS = 6, 3  # one long queue at the end of one day is that day's, not the style's
HALF = 0.5


def _never_done(record: _Record) -> Iterator[NeverDone]:
    """Styles of which, ordered in the last hours, clearly more than half are not done when the booth closes."""
    late: dict[str, list[tuple[Ticket, TradingDay]]] = {}
    for session in record.closed():
        for ticket in record.tickets.values():
            is_late = max(session.closes_at - LAST_HOURS, session.opened_at) <= ticket.ordered_at < session.closes_at
            was_called_off = ticket.place == CANCELLED and ticket.over_at and ticket.over_at < session.closes_at
            if is_late and not was_called_off:
                late.setdefault(ticket.style.id, []).append((ticket, session))
    for style in record.set_up.styles:
        of_it = late.get(style.id, [])
        missed = [(ticket, session) for ticket, session in of_it if not _by(ticket, session.closes_at)]
        days = len({session.opened_at for _, session in of_it})
        if len(of_it) < FEWEST_LATE or days < FEWEST_LATE_DAYS:
            continue
        share = Share(len(missed), len(of_it))
        if share.interval()[0] > HALF:
            carried = sum(not _by(ticket, session.closed_at or session.closes_at) for ticket, session in missed)
            yield NeverDone(style, share, carried, days, _beyond(share.value, HALF, share.interval()[0]))


def _by(ticket: Ticket, at: datetime) -> bool:
    return ticket.finished_at is not None and ticket.finished_at <= at


FEWEST_BREAKS = 4  # four of four is the least of which the interval lies above a half


def _drawn_through(record: _Record) -> Iterator[DrawnThrough]:
    """Artists who drew for more than half of nearly every break that was planned for them.

    Only time that can be trusted counts as drawn: a clock that ran on over a break is one that was forgotten.
    """
    sound = {(one.time.ticket, stage) for one in record.times if one.is_trusted for stage in one.time.stages}
    drawn: dict[str, list[bool]] = {}
    for session in record.closed():
        for planned in session.breaks:
            own = [
                (one.from_at, one.to_at)
                for one in record.stretches
                if one.artist == planned.artist and one.kind == STAGE and one.to_at and (one.ticket, one.name) in sound
            ]
            was_there = any(session.opened_at <= begins_at < planned.begins_at for begins_at, _ in own)
            whole = (max(planned.begins_at, session.opened_at), min(planned.ends_at, session.closed_at or record.now))
            if was_there and whole[0] < whole[1]:
                in_it_s = length_s(common(own, [whole]))
                drawn.setdefault(planned.artist, []).append(in_it_s > HALF * length_s([whole]))
    for artist, each in drawn.items():
        share = Share(sum(each), len(each))
        if share.n >= FEWEST_BREAKS and share.interval()[0] > HALF and record.set_up.artist(artist):
            yield DrawnThrough(artist, share, _beyond(share.value, HALF, share.interval()[0]))


FEWEST_COUNTER_DAYS = 3  # fewer hardly know how far days differ
COUNTER_A_DAY_S = 30 * 60.0  # less than this nobody would be asked to come for


def _counter_pauses(record: _Record) -> Iterator[CounterPauses]:
    """Pauses for the counter that clearly take more than half an hour a day from the easels."""
    by_day: dict[str, list[float]] = {day.day: [] for day in record.days if day.closed_at is not None}
    drawing_s = 0.0
    for one in record.stretches:
        day = record.day_of(one.from_at)
        if day is None or day.day not in by_day or one.to_at is None or not day.holds(one.to_at):
            continue
        if one.kind == PAUSE and one.name == "counter":
            by_day[day.day].append((one.to_at - one.from_at).total_seconds())
        elif one.kind == STAGE:
            drawing_s += (one.to_at - one.from_at).total_seconds()
    a_day_s = estimate(mean_of([sum(each) for each in by_day.values()]))
    portraits = [line for line in record.tickets.values() if line.finished_at is not None]
    if a_day_s is None or a_day_s.n < FEWEST_COUNTER_DAYS or a_day_s.low <= COUNTER_A_DAY_S or not portraits:
        return
    yield CounterPauses(
        a_day_s,
        sum(len(each) for each in by_day.values()),
        of_drawing=sum(sum(each) for each in by_day.values()) / drawing_s if drawing_s else 0.0,
        portraits=a_day_s.value / (drawing_s / len(portraits)) if drawing_s else 0.0,
        strength=_beyond(a_day_s.value, COUNTER_A_DAY_S, a_day_s.low),
    )


FEWEST_EARNING = 10
FAR_LESS = 0.7  # of what every other style brings; with its whole interval under theirs


def _earns_less(record: _Record) -> Iterator[EarnsLess]:
    """Styles that clearly bring less than FAR_LESS of what each other style brings in an hour at the easel."""
    rates = {one.style: found for one in record.earned if (found := estimate(one.per_hour)) and one.n >= FEWEST_EARNING}
    portraits = {one.style: one.n for one in record.earned}
    for style in record.set_up.styles:
        others = [rate for id, rate in rates.items() if id != style.id]
        if style.id not in rates or not others:
            continue
        own, least = rates[style.id], min(others, key=lambda one: one.low)
        if own.high < FAR_LESS * least.low:
            beyond = _beyond(own.value, FAR_LESS * least.low, own.high)
            yield EarnsLess(style, portraits[style.id], own, least, _of_choice(beyond))


def _beyond(value: float, threshold: float, bound: float) -> float:
    """How far `value` lies beyond a threshold, in halves of its interval on that side; over 1 it is left out."""
    half = abs(value - bound)
    return abs(value - threshold) / half if half else MOST_STRENGTH


MOST_STRENGTH = 100.0
_KINDS: tuple[Callable[[_Record], Iterator[Suggestion]], ...] = (
    _guesses,
    _other_confidence,
    _finer_rounding,
    _never_done,
    _drawn_through,
    _counter_pauses,
    _earns_less,
)
