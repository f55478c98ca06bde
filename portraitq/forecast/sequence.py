"""The order of work: what a move would do to every promise before it is made, and which order keeps more of them.

Everything is read off the scenarios of the live quotes. Chance follows from each ticket's id, so what differs between
two orders is what the order does. A hypothetical order goes through `decide` and `fold` like a real one: there is one
rule for moves, and what stands here is to the bit what the quotes say once the moves are really made.

A held ticket has no time until it is released, and one that nobody draws has none either: neither is judged.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from itertools import islice

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from portraitq.core.booth import Booth, fold
from portraitq.core.commands import Command, decide
from portraitq.core.events import Moved
from portraitq.core.life import HELD, WAITING, Ticket
from portraitq.core.passed_over import begun_before, in_order
from portraitq.forecast.draws import SCENARIOS
from portraitq.forecast.due_dates import earliest_due, fewest_late
from portraitq.forecast.pace import Pace
from portraitq.forecast.quotes import quotes_out_of
from portraitq.forecast.schedule import NEVER_S, Scenarios

WORTH_A_HAND = 0.3  # promises fewer broken, expected: less is not worth disturbing a queue that people were told of
STANDARD_ERRORS = 3.0  # beyond which a gain is no luck of the scenarios
WORTH_A_MOVE = 0.2  # promises, of that: each move is one more change for the artist and for people who wait
MOST_MOVES = (
    4  # in one suggestion; more is not read with a customer at the counter, and the next one goes on from there
)
AS_GOOD = 0.05  # promises: of orders that cost hardly more than the best one, the least late is taken
SHORTLIST = 6  # orders that are tried on the scenarios at each step, of all those looked at roughly
ROUGHLY_BETTER = 0.05  # promises; an order that looks less good than that is not tried

Order = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Stands:
    """How one ticket stands in one order.

    chance_kept   of its promise, 0–1; None where nothing was promised
    median_s      seconds from now until it is ready, half of the scenarios sooner
    tardy_s       expected seconds after its promise; 0 where nothing was promised
    """

    chance_kept: float | None
    median_s: float
    tardy_s: float


@dataclass(frozen=True, slots=True)
class Change:
    """What another order does to one ticket."""

    ticket: str
    before: Stands
    after: Stands

    @property
    def later_s(self) -> float:
        """By how many seconds its median comes later; negative is sooner."""
        return self.after.median_s - self.before.median_s


@dataclass(frozen=True, slots=True)
class Totals:
    """Of all open promises together: how many will be broken, expected, and by how many seconds in all."""

    broken: float
    tardy_s: float


@dataclass(frozen=True, slots=True)
class Effect:
    """What another order does: the tickets whose time it touches, in that order, and all promises together.

    error    standard error of `after.broken - before.broken` that a finite number of scenarios leaves
    """

    order: Order
    moves: tuple[Moved, ...]
    changes: tuple[Change, ...]
    before: Totals
    after: Totals
    error: float

    @property
    def fewer_broken(self) -> float:
        """How many promises fewer will be broken, expected; negative is more."""
        return self.before.broken - self.after.broken


@dataclass(frozen=True, slots=True)
class Suggestion:
    """An order that clearly keeps more promises, and why it was tried: one of the reasons below."""

    effect: Effect
    reason: str


EARLIEST_DUE, GIVE_UP_FEW, FEW_MOVES = "earliest promise first", "give up few to keep many", "a few moves"


def effect_of_move(booth: Booth, pace: Pace, now: datetime, ticket: str, before: str | None) -> Effect:
    """What moving `ticket` before another (None: to the end) would do. Refused where that move may not be made."""
    return Orders(booth, pace, now).of_moves([Moved(ticket=ticket, before=before)])


def effects_of_moves(booth: Booth, pace: Pace, now: datetime, ticket: str) -> Mapping[str | None, Effect]:
    """What each move of `ticket` to another place would do, by the ticket that it is moved before; first place first.

    Refused where it is not in the queue.
    """
    orders = Orders(booth, pace, now)
    if ticket not in booth.queue:
        return {None: orders.of_moves([Moved(ticket=ticket, before=None)])}
    place = booth.queue.index(ticket)
    anchors = [*booth.queue[:place], *booth.queue[place + 2 :], *([None] if place + 1 < len(booth.queue) else [])]
    return {before: orders.of_moves([Moved(ticket=ticket, before=before)]) for before in anchors}


def moves_to(queue: Sequence[str], order: Sequence[str], stay: Collection[str] = ()) -> tuple[Moved, ...]:
    """The fewest moves that bring `queue` into `order`, to be made one after the other.

    Those of a longest run that stands in the right order already stay, and each of the others is moved once; those
    named in `stay` are among the first where that can be.
    """
    place = {id: where for where, id in enumerate(queue)}
    if sorted(place) != sorted(order) or len(place) != len(queue):
        raise ValueError("an order of the same tickets was expected")
    stays = _heaviest_run([place[id] for id in order], [len(order) if id in stay else 1 for id in order])
    moves, behind = list[Moved](), None
    for where in range(len(order) - 1, -1, -1):
        if where not in stays:
            moves.append(Moved(ticket=order[where], before=behind))
        behind = order[where]
    return tuple(moves)


def _heaviest_run(places: Sequence[int], weights: Sequence[int]) -> set[int]:
    """Where in `places` the increasing run that weighs most stands."""
    best: list[int] = []
    came_from: list[int] = []
    for where, place in enumerate(places):
        before = max((k for k in range(where) if places[k] < place), key=lambda k: best[k], default=-1)
        best.append(weights[where] + (best[before] if before >= 0 else 0))
        came_from.append(before)
    found, where = set(), max(range(len(best)), key=lambda k: best[k], default=-1)
    while where >= 0:
        found.add(where)
        where = came_from[where]
    return found


class Orders:
    """The present queue's scenarios, and what other orders would make of them. Build one for each booth and instant."""

    def __init__(self, booth: Booth, pace: Pace, now: datetime, n: int = SCENARIOS) -> None:
        self.booth, self.now = booth, now
        self.scenarios = Scenarios(booth, pace, now, n)
        self.stands = self._stands(self.scenarios, self.scenarios.outlooks)
        self.totals = _totals(self.stands.values())

    def of_moves(self, moves: Iterable[Moved]) -> Effect:
        """What these moves, one after the other, would do. Refused where one of them may not be made."""
        moves, booth = tuple(moves), self.booth
        for move in moves:
            booth = fold(booth, decide(booth, Command("move", move), self.now))
        return self._effect(booth, moves)

    def of_order(self, order: Sequence[str], stay: Collection[str] = ()) -> Effect:
        """What the queue in that order would do; `stay` as in `moves_to`."""
        return self.of_moves(moves_to(self.booth.queue, order, stay))

    def _effect(self, booth: Booth, moves: tuple[Moved, ...]) -> Effect:
        after = self.scenarios.reordered(booth)
        touched = [id for id in booth.queue if self._is_touched(id, after)]
        stands = self._stands(after, touched)
        changes = tuple(Change(id, self.stands[id], stands[id]) for id in touched if id in stands)
        return Effect(
            order=booth.queue,
            moves=moves,
            changes=changes,
            before=self.totals,
            after=_totals({**self.stands, **stands}.values()),
            error=self._error(after, [change.ticket for change in changes]),
        )

    def _is_touched(self, id: str, after: Scenarios) -> bool:
        return not np.array_equal(self.scenarios.outlooks[id].ready_s, after.outlooks[id].ready_s)

    def _stands(self, scenarios: Scenarios, ids: Iterable[str]) -> dict[str, Stands]:
        """How those of `ids` stand that have a time."""
        judged = [id for id in ids if self._is_judged(id)]
        quotes = quotes_out_of(scenarios, judged)
        found = {}
        for id in judged:
            ready_s, due_s = scenarios.outlooks[id].ready_s, self.due_s(id)
            tardy_s = 0.0 if due_s is None else float(np.maximum(ready_s - due_s, 0.0).mean(dtype=np.float64))
            median_s = (quotes[id].median_at - self.now).total_seconds()
            found[id] = Stands(quotes[id].chance_kept, median_s, tardy_s)
        return found

    def _is_judged(self, id: str) -> bool:
        return self.booth.tickets[id].place != HELD and self.scenarios.outlooks[id].artist is not None

    def due_s(self, id: str) -> float | None:
        """When a ticket was promised for, in seconds after now; None where nothing is to be kept."""
        ticket = self.booth.tickets[id]
        told = ticket.promise if ticket.finished_at is None else None
        return (told.ready_by - self.now).total_seconds() if told else None

    def _error(self, after: Scenarios, ids: Iterable[str]) -> float:
        more = np.zeros(after.n)
        for id in ids:
            if (due_s := self.due_s(id)) is not None:
                more += after.outlooks[id].ready_s > np.float64(due_s)
                more -= self.scenarios.outlooks[id].ready_s > np.float64(due_s)
        return float(more.std() / math.sqrt(after.n))


def _totals(stands: Iterable[Stands]) -> Totals:
    told = [one for one in stands if one.chance_kept is not None]
    return Totals(
        broken=math.fsum(1 - one.chance_kept for one in told if one.chance_kept is not None),
        tardy_s=math.fsum(one.tardy_s for one in told),
    )


# A better order


def suggest(
    booth: Booth, pace: Pace, now: datetime, passed_over_most: int, shown: Suggestion | None = None
) -> Suggestion | None:
    """An order that clearly keeps more promises than the present one; None where there is none.

    passed_over_most  how many later orders may be put before one ticket. Who has that many before them already, by
                      hand or by earlier suggestions, gets no more.
    shown             what was suggested a moment ago: it stays while it is hardly worse than another, so that two
                      orders that are as good do not take turns under somebody's eyes.

    Tried are the earliest promise first, Moore and Hodgson's rule for several that would be late, both as far as
    fairness lets them, and every single move, then one more, the likeliest of them on the scenarios. A portrait that
    was begun and put back, or is held, is not moved, and nobody is put before one that was begun.
    """
    if booth.set_up is None or len(booth.queue) < 2:
        return None
    orders = Orders(booth, pace, now)
    if _totals(orders.stands[id] for id in booth.queue if id in orders.stands).broken < WORTH_A_HAND:
        return None  # no order could keep so many more
    search = _Search(orders, passed_over_most)
    good = [one for one in (*search.by_rule(), *search.step_by_step()) if _clearly_helps(one.effect)]
    still = search.once_more(shown) if shown else None
    least = min((_cost(one.effect) for one in good), default=math.inf)
    if (
        still is not None
        and _clearly_helps(still.effect, WORTH_A_HAND - AS_GOOD)
        and _cost(still.effect) <= least + AS_GOOD
    ):
        return still
    if not good:
        return None
    near = [one for one in good if _cost(one.effect) <= least + AS_GOOD]
    return min(near, key=lambda one: one.effect.after.tardy_s)


def _clearly_helps(effect: Effect, least: float = WORTH_A_HAND) -> bool:
    return effect.fewer_broken >= least and effect.fewer_broken > STANDARD_ERRORS * effect.error


def _cost(effect: Effect) -> float:
    """Promises broken, what its moves ask of people counted as well."""
    return effect.after.broken + WORTH_A_MOVE * len(effect.moves)


class _Search:
    """Which orders are worth trying: candidates, judged roughly, and none that is unfair to anybody."""

    def __init__(self, orders: Orders, passed_over_most: int) -> None:
        self.orders, self.booth = orders, orders.booth
        self.queue = self.booth.queue
        self.begun = begun_before(self.booth)
        at_present = in_order(self.booth, self.queue, self.begun)
        self.most = {
            id: at_present[id] if self.booth.tickets[id].was_begun else max(passed_over_most, at_present[id])
            for id in self.queue
        }
        came = np.array([self.booth.tickets[id].history[0].seq for id in self.queue])
        self.was_begun = np.array([self.booth.tickets[id].was_begun for id in self.queue])
        self.is_later = (came[:, None] > came[None, :]) & ~self.was_begun[:, None]  # rows pass columns over
        self.stood_before = np.triu(np.ones((len(came), len(came)), np.bool_), 1)
        self.may_still = np.array([self.most[id] - self.begun[id] for id in self.queue])
        self.movable = [id for id in self.queue if self._may_move(self.booth.tickets[id])]
        self.fixed = set(self.queue) - set(self.movable)

    def _may_move(self, ticket: Ticket) -> bool:
        return (
            ticket.place == WAITING
            and not ticket.was_begun
            and self.orders.scenarios.outlooks[ticket.id].artist is not None
        )

    def by_rule(self) -> Iterator[Suggestion]:
        """What the two rules make of the queue, as far as fairness lets them and in no more moves than are read."""
        for wanted, reason in ((self._by_due_date(), EARLIEST_DUE), (self._fewest_late(), GIVE_UP_FEW)):
            order = self._as_far_as_fair(wanted)
            if order is not None and 0 < len(moves_to(self.queue, order, self.fixed)) <= MOST_MOVES:
                yield Suggestion(self.orders.of_order(order, self.fixed), reason)

    def once_more(self, shown: Suggestion) -> Suggestion | None:
        """The same order as things stand now; None where it is none of this queue, or may be suggested no more."""
        order = shown.effect.order
        if order == self.queue or sorted(order) != sorted(self.queue) or not self._is_fair(order):
            return None
        effect = self.orders.of_order(order, self.fixed)
        is_ours = self.fixed.isdisjoint(move.ticket for move in effect.moves) and len(effect.moves) <= MOST_MOVES
        return Suggestion(effect, shown.reason) if is_ours else None

    def step_by_step(self) -> Iterator[Suggestion]:
        """The best single move, and with it the next best, as long as one more is worth its while."""
        order, cost = self.queue, self.orders.totals.broken
        for step in range(MOST_MOVES):
            effects = [self.orders.of_order(each, self.fixed) for each in self._shortlist(order)]
            effects = [effect for effect in effects if len(effect.moves) <= step + 1]
            best = min(effects, key=_cost, default=None)
            if best is None or _cost(best) >= cost:
                return
            order, cost = best.order, _cost(best)
            yield Suggestion(best, FEW_MOVES)

    def _shortlist(self, order: Order) -> list[Order]:
        """The likeliest of all single moves in `order` that are fair, roughly judged."""
        moved = list(dict.fromkeys(each for each in self._single_moves(order) if each not in (order, self.queue)))
        if not moved:
            return []
        broken = self.rough.broken([order, *moved])
        likely = (
            moved[at] for at in np.argsort(broken[1:], kind="stable") if broken[0] - broken[at + 1] > ROUGHLY_BETTER
        )
        return list(islice(filter(self._is_fair, likely), SHORTLIST))

    def _is_fair(self, order: Order) -> bool:
        """Whether nobody is passed over more than they may be, and nobody new stands before what was begun."""
        place = {id: where for where, id in enumerate(order)}
        at = np.array([place[id] for id in self.queue])
        before = at[:, None] < at[None, :]
        is_passed = (before & self.is_later).sum(axis=0) > self.may_still
        joins = before & ~self.stood_before & self.was_begun
        return not (is_passed.any() or joins.any())

    def _single_moves(self, order: Order) -> Iterator[Order]:
        for id in self.movable:
            others = [other for other in order if other != id]
            for place in range(len(order)):
                yield (*others[:place], id, *others[place:])

    def _due_s(self) -> list[float]:
        due_s = [self.orders.due_s(id) for id in self.movable]
        return [math.inf if due is None else due for due in due_s]

    def _by_due_date(self) -> list[str]:
        return [self.movable[job] for job in earliest_due(self._due_s())]

    def _fewest_late(self) -> list[str]:
        """Moore and Hodgson's order as though all easels were one that is so many times as quick."""
        rough, easels = self.rough, max(1, len(self.rough.free_s))
        takes_s = [(rough.takes_s[id] + rough.turnaround_s) / easels for id in self.movable]
        due_s = [due + rough.turnaround_s / easels for due in self._due_s()]
        in_time, late = fewest_late(takes_s, due_s, float(rough.free_s.mean()))
        return [self.movable[job] for job in (*in_time, *late)]

    def _as_far_as_fair(self, wanted: Sequence[str]) -> Order | None:
        """The movable tickets in the order that is wanted, the others where they stand, nobody passed over too often.

        Who may be passed over no more is taken as soon as somebody later would be put before them.
        """
        tickets, rest, order = self.booth.tickets, list(wanted), list[str]()
        left = {id: self.most[id] - self.begun.get(id, 0) for id in self.queue}
        came = {id: tickets[id].history[0].seq for id in self.queue}
        for id in self.queue:
            if id in self.movable:
                waits = {*rest, *self.queue[len(order) + 1 :]} - set(order)
                fair = (one for one in rest if not self._passes(one, waits, left, came))
                id = next(fair, min(rest, key=lambda one: came[one]))
                rest.remove(id)
                for other in self.queue:
                    left[other] -= other not in order and came[other] < came[id]
            order.append(id)
        return tuple(order) if self._is_fair(tuple(order)) else None

    @staticmethod
    def _passes(id: str, waits: Iterable[str], left: Mapping[str, int], came: Mapping[str, int]) -> bool:
        """Whether `id` would be put before somebody ordered earlier who may be passed over no more."""
        return any(came[other] < came[id] and left[other] <= 0 for other in waits)

    @cached_property
    def rough(self) -> _Rough:
        """The quick judge."""
        return _Rough(self.orders)


class _Rough:
    """How many promises an order breaks, roughly: middle lengths instead of scenarios, for hundreds of orders at once.

    A ticket's ready time in another order is taken to be spread as it is now, and moved by as much as the plain
    schedule of middle lengths moves. Breaks and closing are left out. It only chooses what is tried.
    """

    def __init__(self, orders: Orders) -> None:
        scenarios, booth = orders.scenarios, orders.booth
        self.queue = booth.queue
        self.place = {id: where for where, id in enumerate(self.queue)}
        outlooks = [scenarios.outlooks[id] for id in self.queue]
        self.takes_s = {
            id: float(np.median(outlook.ready_s - outlook.begins_s))
            for id, outlook in zip(self.queue, outlooks, strict=True)
        }
        turnaround = scenarios.known_lengths["turnaround"]
        self.turnaround_s = math.exp(turnaround.mu) if turnaround else 0.0
        self.free_s = np.median(scenarios.free_at_first_s, axis=1)
        self.may = np.array(
            [[booth.may_draw(artist.id, ticket) for artist in scenarios.artists] for ticket in booth.waiting()]
        )
        self.is_drawn = np.array([t.place == WAITING for t in booth.waiting()]) & self.may.any(axis=1)
        self.due_s = np.array([due if (due := orders.due_s(id)) is not None else np.inf for id in self.queue])
        self.center_s = np.array([np.median(np.minimum(one.ready_s, NEVER_S)) for one in outlooks])
        self.spread_s = np.array([max(float(np.std(one.ready_s)), 1.0) for one in outlooks])

    def broken(self, orders: Sequence[Order]) -> NDArray[np.float64]:
        """(orders,) promises broken, expected, in each."""
        at = np.array([[self.place[id] for id in order] for order in orders], np.intp)
        plain_s = self._plain(at)
        present_s = self._plain(np.arange(len(self.queue))[None, :])
        ready_s = self.center_s + plain_s - present_s
        late = ndtr((ready_s - self.due_s) / self.spread_s)
        return np.asarray(np.where(self.is_drawn, late, 0.0).sum(axis=1))

    def _plain(self, at: NDArray[np.intp]) -> NDArray[np.float64]:
        """(orders, tickets) when each ticket is ready, all of middle length; `at` (orders, places) tickets by row."""
        rows = np.arange(len(at))
        free_s = np.tile(self.free_s, (len(at), 1)).astype(np.float64)
        takes_s = np.array([self.takes_s[id] for id in self.queue])
        ready_s = np.zeros(at.shape)
        for place in range(at.shape[1]):
            ticket = at[:, place]
            could_s = np.where(self.may[ticket], free_s, np.inf)
            who = could_s.argmin(axis=1)
            begins_s, drawn = could_s[rows, who], self.is_drawn[ticket]
            ready_s[rows, ticket] = np.where(drawn, begins_s + takes_s[ticket], 0.0)
            free_s[rows, who] = np.where(drawn, ready_s[rows, ticket] + self.turnaround_s, free_s[rows, who])
        return ready_s
