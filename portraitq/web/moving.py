"""Moving in the queue: every place a ticket may be moved to, with what that would do to everybody's promise, in words.

And the quiet card of an order that keeps more promises: it is only shown, and the moves are made when somebody says so.
All figures are `forecast.sequence`'s, of the same scenarios as the quotes that stand on the counter.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from flask import Blueprint, Response, current_app, jsonify, make_response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portraitq.core.booth import Booth
from portraitq.core.commands import QUEUE_CHANGED, PutInOrder, read_command
from portraitq.core.errors import Malformed, Refused
from portraitq.core.events import Moved, print_data
from portraitq.core.life import Ticket
from portraitq.core.passed_over import begun_before, in_order
from portraitq.forecast.sequence import (
    EARLIEST_DUE,
    GIVE_UP_FEW,
    Change,
    Effect,
    Suggestion,
    effects_of_moves,
    moves_to,
    suggest,
)
from portraitq.web import here
from portraitq.web.explained import NUMBER_AND_UNIT
from portraitq.web.hand_over import FRESH_S, known
from portraitq.web.here import desk_at
from portraitq.web.order_form import LONGEST_ID, fresh_id
from portraitq.web.problems import wants_document
from portraitq.web.queue import Now, now_of
from portraitq.web.said import minutes
from portraitq.web.staff import staff_only

if TYPE_CHECKING:
    from portraitq.desk import Desk, Standing

blueprint = Blueprint("moving", __name__)

WORTH_SAYING_S = 30.0  # a time that moves by less is the same time
MUCH_ALIKE_S = 120.0  # those who move by as much as that apart are said in one figure
WORTH_SAYING = 0.05  # a chance that moves by less is the same chance
HALF = 0.5
MOST_NAMED = 4  # numbers in one sentence
MOST_PROMISES = 3  # chances in one sentence
BETTER_ORDERS = "portraitq-better-orders"


@dataclass(frozen=True)
class Line:
    """One sentence of what a move does; `warns` where somebody should think twice."""

    said: str
    warns: bool = False


@dataclass(frozen=True)
class Place:
    """A place in the queue: its words, the command that leads there (None where it stands), and what it would do."""

    said: str
    command: dict[str, Any] | None
    lines: tuple[Line, ...] = ()


@dataclass(frozen=True)
class Moving:
    """All places of one ticket, first to last; or in `why_not` why it has none."""

    number: str
    places: tuple[Place, ...] = ()
    why_not: str = ""


@dataclass(frozen=True)
class BetterOrder:
    """The card of a suggestion.

    key           names who is moved: who left that is not asked again, however their best place shifts meanwhile
    queue, order  as the queue stood and as it would stand, to be sent back
    moved         the tickets that are moved for it
    """

    key: str
    moves: tuple[str, ...]
    reasons: tuple[str, ...]
    gain: str
    lines: tuple[Line, ...]
    queue: str
    order: str
    moved: str


@blueprint.get("/<booth>/counter/tickets/<ticket>/move")
@staff_only
def ticket(booth: str, ticket: str) -> Response:
    """What moving a ticket to each place of the queue would do."""
    desk = desk_at(booth)
    known(desk, ticket)
    view = moving(desk.standing(FRESH_S), ticket, desk.house_rules().passed_over_most)
    return _part("views/move.html", booth, "Move in the queue", move=view)


@blueprint.get("/<booth>/counter/better-order")
@staff_only
def better_order(booth: str) -> Response:
    """The card of an order that clearly keeps more promises; nothing where there is none."""
    desk = desk_at(booth)
    card = better_order_card(desk.standing(FRESH_S), _suggested(desk))
    return _part("views/better_order.html", booth, "A better order?", card=card, id=fresh_id())


@blueprint.post("/<booth>/counter/better-order")
@staff_only
def put_in_order(booth: str) -> ResponseReturnValue:
    """Make the moves of a suggestion, all at once, if the queue still stands as it did when it was made."""
    desk, form = desk_at(booth), request.form
    queue, order = (tuple(form.get(name, "").split()) for name in ("queue", "order"))
    if not order or sorted(queue) != sorted(order):
        raise Malformed("order: the tickets of the queue in another order were expected.", "order")
    stands = desk.standing(FRESH_S).booth.queue
    if stands not in (queue, order):
        raise Refused(QUEUE_CHANGED)
    moves = moves_to(stands, order, set(order).difference(form.get("moved", "").split()))
    if moves:
        id = (form.get("id") or fresh_id())[:LONGEST_ID]
        sent = read_command({"id": id, "kind": Moved.kind, "data": print_data(moves[0])}, here.by())
        try:
            desk.carry_out(replace(sent, data=PutInOrder(queue=queue, moves=moves)))
        except Refused:
            if desk.standing(FRESH_S).booth.queue != order:  # else another counter was quicker with the same
                raise
    desk.standing(FRESH_S)
    return jsonify({"done": True}) if wants_document() else redirect(url_for("counter.show", booth=booth), 303)


def _part(template: str, booth: str, title: str, **context: object) -> Response:
    """A part of the counter, or without scripts a page of its own."""
    bare = "sheet" in request.args
    html = render_template(template if bare else "sheet.html", part=template, slug=booth, title=title, **context)
    answer = make_response(html)
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _suggested(desk: Desk) -> Suggestion | None:
    """The suggestion for the booth as it stands, sought once however many tablets ask."""
    orders: _BetterOrders = current_app.extensions.setdefault(BETTER_ORDERS, _BetterOrders())
    return orders.of(desk)


class _BetterOrders:
    """What is suggested at each booth. One search at a time, as it keeps a core busy: taps go on beside it."""

    def __init__(self) -> None:
        self.turn = threading.Lock()
        self.kept: dict[str, tuple[tuple[int, datetime, int], Suggestion | None]] = {}

    def of(self, desk: Desk) -> Suggestion | None:
        most = desk.house_rules().passed_over_most
        with self.turn:
            standing = desk.standing(wait_s=0)
            asked = (standing.seq, standing.as_of, most)
            as_of, shown = self.kept.get(desk.slug, (None, None))
            if as_of != asked:
                shown = suggest(standing.booth, standing.pace, standing.as_of, most, shown)
                self.kept[desk.slug] = asked, shown
            return shown


# The places of one ticket


def moving(standing: Standing, id: str, passed_over_most: int) -> Moving:
    """Every place of `id` in the queue, and what moving it there would do."""
    booth, at = standing.booth, now_of(standing)
    named = numbers(booth, at)
    ticket = booth.tickets.get(id)
    if ticket is None or id not in booth.queue:
        number, place = (_number(ticket, at), ticket.place) if ticket else ("", "not in the queue yet")
        return Moving(number, why_not=f"It is {place}: only what waits can be moved.")
    fair = _Fairness(booth, passed_over_most, named)
    effects = effects_of_moves(booth, standing.pace, standing.as_of, id)
    places = [
        Place(
            _place_said(effect.order, id, named),
            {"kind": Moved.kind, "data": print_data(effect.moves[0])},
            (*lines_of(effect, id, named), *fair.lines(effect.order)),
        )
        for effect in effects.values()
    ]
    stands = booth.queue.index(id)
    places.insert(stands, Place(f"Where it is: {_ordinal(stands + 1)} of {len(booth.queue)}", None))
    return Moving(named[id], tuple(places))


def numbers(booth: Booth, at: Now) -> dict[str, str]:
    """What each ticket of the queue is called: its number, and the day where that is not today's."""
    return {ticket.id: _number(ticket, at) for ticket in booth.waiting()}


def _number(ticket: Ticket, at: Now) -> str:
    day = at.beside(ticket)
    return f"{ticket.number} of {day}" if day else str(ticket.number)


def _place_said(order: Sequence[str], id: str, named: Mapping[str, str]) -> str:
    place = order.index(id)
    if place == len(order) - 1:
        return f"Last, after {named[order[place - 1]]}"
    before = named[order[place + 1]]
    return f"First, before {before}" if place == 0 else f"Before {before}"


def lines_of(effect: Effect, mover: str | None, named: Mapping[str, str]) -> tuple[Line, ...]:
    """What an order does to people, in sentences: who comes sooner and later, and whose promise falls or rises."""
    own = [change for change in effect.changes if change.ticket == mover and _moves(change)]
    others = [change for change in effect.changes if change.ticket != mover and _moves(change)]
    told = [Line(f"{named[change.ticket]} itself {_shift([change])}.") for change in own]
    for group in ([c for c in others if c.later_s > 0], [c for c in others if c.later_s < 0]):
        if group:
            told.append(Line(f"{_named([named[c.ticket] for c in group])} {_shift(group)}."))
    told += _promises(effect.changes, named)
    return tuple(Line(NUMBER_AND_UNIT.sub("\u00a0", line.said), line.warns) for line in told)


def _moves(change: Change) -> bool:
    return abs(change.later_s) >= WORTH_SAYING_S


def _shift(changes: Sequence[Change]) -> str:
    """`later by about 6 min`; `sooner by 6 min to 12 min` where they differ enough to be told apart."""
    least_s, most_s = (pick(abs(change.later_s) for change in changes) for pick in (min, max))
    way = "later" if changes[0].later_s > 0 else "sooner"
    if most_s - least_s <= MUCH_ALIKE_S:
        return f"{way} by about {minutes((least_s + most_s) / 2)}"
    return f"{way} by {minutes(least_s)} to {minutes(most_s)}"


def _promises(changes: Iterable[Change], named: Mapping[str, str]) -> list[Line]:
    """Whose promise falls under half, one sentence each; then what else of the promises changes."""
    falls, others = list[Line](), list[tuple[float, str]]()
    for change in changes:
        before, after = change.before.chance_kept, change.after.chance_kept
        if before is None or after is None:
            continue
        said = f"{share(after)} instead of {share(before)}"
        if after < HALF <= before:
            falls.append(Line(f"The promise of {named[change.ticket]} falls under half: on time {said}.", warns=True))
        elif abs(after - before) >= WORTH_SAYING:
            others.append((abs(after - before), f"{said} for\u00a0{named[change.ticket]}"))
    largest = [said for _, said in sorted(others, key=lambda one: -one[0])[:MOST_PROMISES]]
    more = len(others) - len(largest)
    return [
        *falls,
        *([Line(f"On time: {', '.join(largest)}{f'; {more} more change less' if more else ''}.")] if largest else []),
    ]


def share(chance: float) -> str:
    """A chance for people: `72 %`; never 0 or 100, which scenarios cannot know."""
    percent = round(100 * chance)
    if percent in (0, 100):
        return "over 99 %" if percent else "under 1 %"
    return f"{percent} %"


def _named(numbers: Sequence[str]) -> str:
    """`28`, `28 and 29`, `28, 29, 30 and 3 more`."""
    shown = list(numbers) if len(numbers) <= MOST_NAMED else [*numbers[: MOST_NAMED - 1], ""]
    if len(numbers) > MOST_NAMED:
        shown[-1] = f"{len(numbers) - MOST_NAMED + 1} more"
    *first, last = shown
    return f"{', '.join(first)} and {last}" if first else last


def _ordinal(place: int) -> str:
    ending = "th" if 10 <= place % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(place % 10, "th")
    return f"{place}{ending}"


class _Fairness:
    """Who would be passed over more often than the house rules let suggestions do it."""

    def __init__(self, booth: Booth, most: int, named: Mapping[str, str]) -> None:
        self.booth, self.most, self.named = booth, most, named
        self.begun = begun_before(booth)
        self.now = in_order(booth, booth.queue, self.begun)

    def lines(self, order: Sequence[str]) -> tuple[Line, ...]:
        """The sentence that says so; none where all is within the rule, or no worse than it is."""
        then = in_order(self.booth, order, self.begun)
        beyond = [id for id in order if then[id] > max(self.most, self.now[id])]
        if not beyond:
            return ()
        if len(beyond) == 1:
            count, who = then[beyond[0]], self.named[beyond[0]]
            orders = "1 later order" if count == 1 else f"{count} later orders"
            return (
                Line(f"{who} would have had {orders} put before it; the house rules say at most {self.most}.", True),
            )
        who = _named([self.named[id] for id in beyond])
        return (
            Line(
                f"{who} would have had more later orders put before them than the {self.most} of the house rules.", True
            ),
        )


# The card of a suggestion


def better_order_card(standing: Standing, suggestion: Suggestion | None) -> BetterOrder | None:
    """A suggestion in words; None where there is none, or the queue moved on while it was sought."""
    booth = standing.booth
    if suggestion is None or sorted(suggestion.effect.order) != sorted(booth.queue):
        return None
    effect, named = suggestion.effect, numbers(booth, now_of(standing))
    told = sum(1 for quote in standing.forecast.tickets.values() if quote.chance_kept is not None)
    moves = [_move_said(move, named) for move in effect.moves]
    return BetterOrder(
        key=" ".join(sorted(move.ticket for move in effect.moves)),
        moves=tuple(moves),
        reasons=_reasons(standing, suggestion, named),
        gain=f"Broken promises to expect of {told}: {effect.after.broken:.1f} instead of {effect.before.broken:.1f}.",
        lines=lines_of(effect, None, named),
        queue=" ".join(booth.queue),
        order=" ".join(effect.order),
        moved=" ".join(move.ticket for move in effect.moves),
    )


def _move_said(move: Moved, named: Mapping[str, str]) -> str:
    return f"{named[move.ticket]} before {named[move.before]}" if move.before else f"{named[move.ticket]} to the end"


def _reasons(standing: Standing, suggestion: Suggestion, named: Mapping[str, str]) -> tuple[str, ...]:
    if suggestion.reason == EARLIEST_DUE:
        return ("Whoever was promised the earliest time would come first.",)
    if suggestion.reason == GIVE_UP_FEW:
        return ("What would be late anyhow would wait, so that others are kept.",)
    changes = {change.ticket: change for change in suggestion.effect.changes}
    found = [_reason(standing, changes[m.ticket], named) for m in suggestion.effect.moves if m.ticket in changes]
    return tuple(dict.fromkeys(found))


def _reason(standing: Standing, change: Change, named: Mapping[str, str]) -> str:
    """Why this one is moved."""
    who, before, after = named[change.ticket], change.before.chance_kept, change.after.chance_kept
    if change.later_s < 0:
        promise = standing.booth.tickets[change.ticket].promise
        told = f", promised for {now_of(standing).clock(promise.ready_by)}," if promise else ""
        is_saved = after is not None and after >= HALF
        return f"{who}{told} {'would be in time' if is_saved else 'has a better chance'} further up."
    if after is None or before is None:
        return f"{who} was told no time."
    if before < HALF:
        return f"{who} will probably be late anyhow, and others wait behind it."
    return f"{who} has more time to spare than those behind it."
