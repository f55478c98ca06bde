"""Why this time? A quote taken apart: what comes before it, how long each takes, what else counts, and how sure it is.

Everything comes out of the same scenarios as the quote itself. What breaks cost is asked of the same scenarios without
them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import islice

import numpy as np

from portraitq.core.booth import Booth
from portraitq.core.errors import Refused
from portraitq.core.events import Event, Ordered
from portraitq.core.life import CANCELLED, HELD, ON_EASEL, Ticket
from portraitq.core.timing import pause_in_hand, running, stage_times
from portraitq.forecast.explanation import (
    Absent,
    BreakAhead,
    Closing,
    Explanation,
    HeldAhead,
    InHand,
    Interruptions,
    PastPromises,
    PastQuote,
    Seconds,
    Sketch,
    Span,
    StageTold,
)
from portraitq.forecast.hand import DAY, SKETCH
from portraitq.forecast.learning import Learned, read_on
from portraitq.forecast.lognormal import Z90
from portraitq.forecast.pace import READ_BACK, Pace
from portraitq.forecast.promise import at_level
from portraitq.forecast.quotes import ASKED, LEVELS, Quote, quote_order, quotes_of_tickets
from portraitq.forecast.replay import ready_times
from portraitq.forecast.schedule import Outlook, Scenarios
from portraitq.forecast.usual import usual_stage_s

LAST_PROMISES = 50  # what an artist remembers, and few enough to show a change


def explain(booth: Booth, pace: Pace, now: datetime, ticket: str) -> Explanation:
    """The quote of a ticket that waits, is held or is on an easel; Refused where there is no time to explain."""
    found = booth.tickets.get(ticket)
    if found is None:
        raise Refused(f"There is no ticket {ticket} at this booth.")
    if found.finished_at is not None or not (ticket in booth.queue or ticket in booth.easels.values()):
        raise Refused(
            f"Number {found.number} is {found.place}: only a portrait still to be drawn has a time to explain."
        )
    quotes = quotes_of_tickets(booth, pace, now, [*booth.easels.values(), *booth.queue])
    return _Reading(booth, pace, now, found, quotes[ticket], quotes).explanation()


def explain_order(
    booth: Booth, pace: Pace, now: datetime, *, style: str, sitters: int, artist: str | None
) -> Explanation:
    """The quote of a portrait as though it were ordered now; KeyError when the booth has no such style."""
    quote = quote_order(booth, pace, now, style=style, sitters=sitters, artist=artist)
    found = booth.set_up.style(style) if booth.set_up else None
    assert found is not None
    ticket = Ticket(ASKED, 0, "", found, sitters, artist, 0, now, ())
    quotes = quotes_of_tickets(booth, pace, now, [*booth.easels.values(), *booth.queue])
    return _Reading(booth, pace, now, ticket, quote, quotes).explanation()


def explain_past(events: Sequence[Event], ticket: str, line: int | None = None) -> PastQuote:
    """Why a past journal's quote was what it was, knowing only the lines up to `line`.

    line    the seq of a journal's line; left out, the one that ordered the portrait
    Raises  Refused when there is no such ticket or line, or when that ticket had no quote there
    """
    ordered = next((e.seq for e in events if isinstance(e.data, Ordered) and e.data.ticket == ticket), None)
    if ordered is None:
        raise Refused(f"There is no ticket {ticket} in this journal. {_known_tickets(events)}")
    seq = ordered if line is None else line
    if not ordered <= seq <= len(events):
        raise Refused(f"Ticket {ticket} is ordered in line {ordered}: a line from there to {len(events)} was expected.")
    learned = read_on(Learned(), events[:seq])
    told = explain(learned.booth, learned.pace, events[seq - 1].at, ticket)
    return PastQuote(told, ready_times(events).get(ticket))


def _known_tickets(events: Sequence[Event]) -> str:
    ids = [event.data.ticket for event in events if isinstance(event.data, Ordered)]
    return f"It has {ids[0]} to {ids[-1]}." if ids else "It has none."


def past_promises(booth: Booth, now: datetime, most: int = LAST_PROMISES) -> PastPromises:
    """How the last `most` promises that came due by `now` turned out, each by the first time told.

    One that was cancelled before its time, unfinished, binds nobody; one not finished by its time was not kept.
    """
    due, kept, early_s = 0, 0, list[float]()
    for ready_by, ready_at in islice(_came_due(booth, now), most):
        due += 1
        kept += ready_at is not None and ready_at <= ready_by
        if ready_at is not None:
            early_s.append((ready_by - ready_at).total_seconds())
    return PastPromises(due, kept, sum(early_s) / len(early_s) if early_s else None)


def _came_due(booth: Booth, now: datetime) -> Iterator[tuple[datetime, datetime | None]]:
    """(promised, ready or None) of each promise that came due, the youngest order first."""
    for ticket in _youngest_first(booth):
        event = next((event for event in ticket.history if event.kind in ("promised", "finished")), None)
        told = ticket.first_promise if event is not None and event.kind == "promised" else None
        if told is None or told.ready_by > now:
            continue
        is_off = ticket.place == CANCELLED and ticket.over_at is not None and ticket.over_at <= told.ready_by
        if ticket.finished_at is not None or not is_off:
            yield told.ready_by, ticket.finished_at


def _youngest_first(booth: Booth) -> Iterator[Ticket]:
    return (booth.tickets[id] for id in reversed(booth.tickets))


class _Reading:
    """One quote being taken apart. `plain` is the same future without planned breaks."""

    def __init__(
        self, booth: Booth, pace: Pace, now: datetime, ticket: Ticket, quote: Quote, quotes: Mapping[str, Quote]
    ) -> None:
        if quote.artist is None:
            raise Refused(f"Nobody of this booth draws {ticket.style.name}, so there is no time to explain.")
        assert booth.set_up is not None
        self.booth, self.pace, self.now, self.ticket, self.quote, self.quotes = booth, pace, now, ticket, quote, quotes
        self.set_up, self.artist = booth.set_up, quote.artist
        self.today = booth.days[-1].day if booth.days else ""
        self.scenarios = Scenarios(booth, pace, now)
        self.plain = Scenarios(_without_breaks(booth), pace, now)
        self.outlook, self.plain_outlook = self._outlook(self.scenarios), self._outlook(self.plain)

    def _outlook(self, of: Scenarios) -> Outlook:
        """The outlook of the portrait in question."""
        ticket = self.ticket
        return of.outlooks.get(ticket.id) or of.asked(ticket.style, ticket.sitters, ticket.wants_artist, ticket.id)

    def explanation(self) -> Explanation:
        ahead, elsewhere = self._before_it()
        it = self._sketch(self.ticket, self.outlook, self.plain_outlook, self.quote)
        effects = self.scenarios.hands[self.artist].hand.mean
        told = self.ticket.promise
        return Explanation(
            as_of=self.now,
            zone=self.booth.zone,
            today=self.today,
            quote=self.quote,
            confidence=self.set_up.booth.confidence,
            promised_at=told.ready_by if told else None,
            it=it,
            is_asked_for=self.ticket.wants_artist == self.artist,
            ahead=ahead,
            elsewhere=elsewhere,
            turnaround=self._turnaround(),
            stages=self._stages(),
            measured=_measured(self.booth, self.artist, self.ticket.style.id),
            breaks=self._breaks(),
            breaks_cost_s=float(np.median(self.outlook.ready_s) - np.median(self.plain_outlook.ready_s)),
            closing=self._closing(),
            absent=self._absent(it, ahead),
            held_why=self.ticket.why if self.ticket.place == HELD else None,
            held_ahead=self._held_ahead(),
            interruptions=self._interruptions(),
            day=math.expm1(float(effects[DAY])),
            sketch=math.expm1(float(effects[SKETCH])),
            ahead_share=self._ahead_share(),
            past=past_promises(self.booth, self.now),
            correction_s=self._correction_s(),
        )

    def _before_it(self) -> tuple[tuple[Sketch, ...], tuple[Sketch, ...]]:
        """What is drawn before it on the same easel; and on the others, where either could go to the other's."""
        booth, ticket = self.booth, self.ticket
        if ticket.place in ON_EASEL:
            return (), ()
        queue = self._queue_before_it()
        before = [booth.tickets[id] for id in (*booth.easels.values(), *queue)]
        same, others = [], []
        for each in before:
            quote = self.quotes[each.id]
            if each.place == HELD or quote.artist is None:
                continue
            sketch = self._sketch(each, self.scenarios.outlooks[each.id], self.plain.outlooks[each.id], quote)
            if quote.artist == self.artist:
                same.append(sketch)
            elif booth.may_draw(quote.artist, ticket) or (each.id in queue and booth.may_draw(self.artist, each)):
                others.append(sketch)
        return tuple(same), tuple(others)

    def _queue_before_it(self) -> tuple[str, ...]:
        queue, id = self.booth.queue, self.ticket.id
        return queue[: queue.index(id)] if id in queue else queue

    def _sketch(self, ticket: Ticket, outlook: Outlook, plain: Outlook, quote: Quote) -> Sketch:
        assert quote.artist is not None
        is_begun = ticket.place in ON_EASEL
        takes_s = plain.ready_s - (self._opens_in_s() if is_begun else plain.begins_s)
        takes = Span.of(takes_s)
        case = _typical(outlook.ready_s, (quote.median_at - self.now).total_seconds(), takes_s, takes.middle_s)
        rests_s = (outlook.ready_s - outlook.begins_s) - (plain.ready_s - plain.begins_s)
        may = sum(self.booth.may_draw(artist.id, ticket) for artist in self.set_up.artists)
        return Sketch(
            number=ticket.number,
            from_day=self._from_day(ticket),
            style=ticket.style.name,
            sitters=ticket.sitters,
            artist=self._name(quote.artist),
            is_sure=is_begun or may <= 1,
            begins_at=None if is_begun else min(self._in(float(outlook.begins_s[case])), quote.median_at),
            ready_at=quote.median_at,
            takes=takes,
            rests_s=float(rests_s[case]),
            in_hand=self._in_hand(ticket) if is_begun else None,
        )

    def _from_day(self, ticket: Ticket) -> str:
        return "" if ticket.day in ("", self.today) else ticket.day

    def _opens_in_s(self) -> float:
        """How long the booth is still closed: 0 while it is open."""
        hours = self.scenarios.easels.hours.open_s
        return max(hours[0][0], 0.0) if hours and self.booth.day is None else 0.0

    def _in_hand(self, ticket: Ticket) -> InHand:
        pause, stage = pause_in_hand(ticket), ticket.stage_in_hand
        return InHand(
            stage=stage.name if stage else None,
            place=min(ticket.stages_done + 1, len(ticket.style.stages)),
            stages=len(ticket.style.stages),
            ran_s=running(ticket, self.now, self.booth.days) or 0.0,
            is_touch_up=ticket.finished_at is not None,
            paused_why=pause.why if pause else None,
            paused_s=(self.now - pause.began_at).total_seconds() if pause else 0.0,
        )

    def _stages(self) -> tuple[StageTold, ...]:
        ticket, booth = self.ticket, self.booth
        alone = {time.stages[0]: time for time in stage_times(ticket, booth.days) if len(time.stages) == 1}
        found = []
        for place, stage in enumerate(ticket.style.stages):
            time = alone.get(stage.id)
            found.append(
                StageTold(
                    name=stage.name,
                    guessed_s=stage.usual_s * (ticket.sitters if stage.per_sitter else 1),
                    usual_s=usual_stage_s(self.pace, self.artist, ticket, stage, self.scenarios.day_index),
                    is_done=place < ticket.stages_done,
                    took_s=time.total_s if time is not None and time.trusted else None,
                )
            )
        return tuple(found)

    def _turnaround(self) -> Span | None:
        known = self.pace.lags.guessed_by(self.set_up).turnaround
        if known is None:
            return None
        far = Z90 * known.scale
        return Span(math.exp(known.mu), math.exp(known.mu - far), math.exp(known.mu + far))

    def _interruptions(self) -> Interruptions | None:
        lags = self.pace.lags
        if not lags.met:
            return None
        return Interruptions(3600 * lags.met / lags.over_s, math.exp(lags.all_pauses.mu))

    def _breaks(self) -> tuple[BreakAhead, ...]:
        """The breaks of its artist that may come before it is ready."""
        day, found = self.booth.day, []
        for planned in sorted(day.breaks, key=lambda one: one.begins_at) if day else ():
            if planned.artist == self.artist and planned.ends_at > self.now:
                begins_s = (planned.begins_at - self.now).total_seconds()
                share = float(np.mean(self.outlook.ready_s > begins_s))
                found.append(BreakAhead(planned.begins_at, planned.ends_at, share))
        return tuple(each for each in found if each.share > 0)

    def _closing(self) -> Closing | None:
        """How the end of the day comes into it; None where the portrait is begun on this day in every case."""
        day, hours = self.booth.day, self.scenarios.easels.hours.open_s
        if day is None:
            return Closing(None, self._in(hours[0][0]), 1.0) if hours else None
        if self.ticket.place in ON_EASEL or len(hours) < 2:
            return None
        share = float(np.mean(self.outlook.begins_s >= np.float32(hours[1][0])))  # it may draw on after closing
        return Closing(day.closes_at, self._in(hours[1][0]), share) if share else None

    def _absent(self, it: Sketch, ahead: Sequence[Sketch]) -> Absent | None:
        """The artist who is to draw it, where they are not in on an open day."""
        day = self.booth.day
        if day is None or self.artist in self.booth.here_since:
            return None
        on_break = [b.ends_at for b in day.breaks if b.artist == self.artist and b.begins_at <= self.now < b.ends_at]
        first = next((each.begins_at for each in (*ahead, it) if each.begins_at is not None), None)
        return Absent(self._name(self.artist), max(on_break, default=None), first or it.ready_at)

    def _held_ahead(self) -> tuple[HeldAhead, ...]:
        """The held ones in front of it that its artist may draw."""
        booth, ticket = self.booth, self.ticket
        if ticket.place in ON_EASEL:
            return ()
        held = [booth.tickets[id] for id in self._queue_before_it() if booth.tickets[id].place == HELD]
        found = []
        for one in held:
            if booth.may_draw(self.artist, one):
                plain = self.plain.outlooks[one.id]
                found.append(HeldAhead(one.number, self._from_day(one), Span.of(plain.ready_s - plain.begins_s)))
        return tuple(found)

    def _ahead_share(self) -> float:
        """Which share of the spread lies before its beginning, each measured by where eight of ten cases lie."""
        before, own = (
            span.high_s - span.low_s
            for span in (Span.of(self.outlook.begins_s), Span.of(self.outlook.ready_s - self.outlook.begins_s))
        )
        return before**2 / (before**2 + own**2) if before or own else 0.0

    def _correction_s(self) -> float:
        """What the quote has over the bare scenarios, at the level nearest to the promise's."""
        level = min(LEVELS, key=lambda one: abs(one - self.set_up.booth.confidence))
        bare_s = at_level(np.sort(self.outlook.ready_s), level)
        return (self.quote.ready_at_quantiles[level] - self.now).total_seconds() - bare_s

    def _in(self, seconds: float) -> datetime:
        return self.now + timedelta(seconds=seconds)

    def _name(self, artist: str) -> str:
        known = self.set_up.artist(artist)
        return known.name if known else artist


def _typical(ready_s: Seconds, middle_s: float, takes_s: Seconds, usual_s: float) -> int:
    """The scenario that is told as the usual course: ready as near the middle and drawn as near the usual time as any.

    The middles of the parts need not add up to the middle of the whole, least where half of all cases come before a
    break and half after it; the parts of one scenario do. What is told is off by no more than this scenario is.
    """
    return int((np.abs(ready_s - middle_s) + np.abs(takes_s - usual_s)).argmin())


def _without_breaks(booth: Booth) -> Booth:
    if not booth.days:
        return booth
    return replace(booth, days=(*booth.days[:-1], replace(booth.days[-1], breaks=())))


def _measured(booth: Booth, artist: str, style: str) -> int:
    """How many portraits of that style by that artist gave a measured time, among the last READ_BACK."""
    last = islice(_youngest_first(booth), READ_BACK)
    drawn = (ticket for ticket in last if ticket.was_begun and ticket.style.id == style and ticket.stages_done)
    return sum(
        any(time.trusted and time.artist == artist for time in stage_times(ticket, booth.days)) for ticket in drawn
    )
