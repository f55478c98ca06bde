"""A market evening that plays itself: customers, artists and their slips, one action after another in time.

It says what happens through `Stall`, the same commands that a person at the booth gives, and looks at nothing but the
booth as it stands. With the same seed and the same stall it plays the same evening. Neither clock nor store is known
here, so that past evenings can be played in a moment and the present one as slowly as the visitor likes.
"""

from __future__ import annotations

import heapq
import math
import random
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Protocol

from portraitq.core.booth import Booth
from portraitq.core.commands import Command, Order
from portraitq.core.errors import Refused
from portraitq.core.events import (
    COUNTER,
    ArtistIn,
    ArtistOut,
    Cancelled,
    Collected,
    Data,
    Finished,
    Held,
    Paid,
    Paused,
    Released,
    Resumed,
    StageDone,
    StageUndone,
    Started,
    Style,
    WalkedAway,
    easel,
)
from portraitq.core.life import (
    CANCELLED,
    COLLECTED,
    DRAWING,
    HELD,
    PAUSED,
    READY,
    TOUCH_UP,
    TOUCH_UP_REST,
    WAITING,
    Ticket,
)
from portraitq.demo.scenario import GUARDIANS, NICKNAMES, NOTES, SET_UP, TRUE_PACE
from portraitq.desk import NewCard

ORDERS_AN_HOUR = 8.5
SPREAD = 0.30  # of the log of a stage's time around its own median
HARD_FACE = 0.12  # a hard face is slow in every stage
PATIENCE_S = (80 * 60, 0.4)  # half of the people would wait this long for a portrait; spread of its log
CHANGES_MIND = 0.04  # of those who ordered
FORGETS, SLIPS, INTERRUPTED = 0.05, 0.03, 0.05  # shares of the stages in which an artist does so
RUSH_MIN = (14, 11, 8, 5, 2)  # minutes before the curtain rises at which a boat lands and somebody orders
STAY_MIN = 14
VISITOR_MIN = 2  # so long an artist leaves alone what somebody else paused, or sent them away from
TOUCH_UP_S = 100
LAST_LOOK = timedelta(hours=1)  # after closing, artists finish what is in hand and go
RACK = tuple(f"{row}{place}" for row in "AB" for place in range(1, 9))


class Stall(Protocol):
    """Where the market's people act: a desk, or a rehearsal of one."""

    def booth(self) -> Booth:
        """The booth as it stands."""

    def ready_by(self, style: str, sitters: int, artist: str | None, at: datetime) -> datetime:
        """What is told to somebody who asks at that moment when such a portrait would be ready."""

    def act(self, command: Command, at: datetime) -> None:
        """Carry out a command at that moment."""

    def order(self, command: Command, card: NewCard, at: datetime) -> str:
        """Take an order with its card and photos; the ticket."""


class Market:
    """One evening in which people come, order, wait, draw and collect."""

    def __init__(
        self, stall: Stall, seed: int, opens_at: datetime, closes_at: datetime, curtain_at: datetime | None = None
    ) -> None:
        self.stall, self.chance, self.closes_at, self.curtain_at = stall, random.Random(seed), closes_at, curtain_at
        self._name, self._count, self._order = f"demo-{seed}-{opens_at:%m%d}", 0, 0
        self._due: list[tuple[datetime, int, Callable[[datetime], object]]] = []
        self._hardness: dict[str, float] = {}
        self._names: list[str] = []
        self._later(opens_at + timedelta(minutes=2), self._somebody_comes)
        for ticket in stall.booth().open_tickets():  # left over from the evening before
            self._later(opens_at + timedelta(minutes=self.chance.uniform(10, 60)), self._comes_for(ticket.id))
        for place, artist in enumerate(SET_UP.artists):
            self._later(opens_at + timedelta(minutes=1 + 4 * place), self._comes_in(artist.id))
        if curtain_at is not None:
            for before_min in RUSH_MIN:
                self._later(curtain_at - timedelta(minutes=before_min), self._somebody_orders)

    def play(self, until: datetime) -> None:
        """Let everything happen that is due up to `until`."""
        while self._due and self._due[0][0] <= until:
            when, _, action = heapq.heappop(self._due)
            action(when)

    @property
    def next_at(self) -> datetime | None:
        """When something happens next, or None when the evening is over."""
        return self._due[0][0] if self._due else None

    # What is said to the stall

    def _later(self, when: datetime, action: Callable[[datetime], object]) -> None:
        self._order += 1
        heapq.heappush(self._due, (when, self._order, action))

    def _id(self) -> str:
        self._count += 1
        return f"{self._name}-{self._count}"

    def _say(self, data: Data, now: datetime, by: str = COUNTER, ago_s: float = 0) -> bool:
        """Say it; False when the booth would not have it, because a visitor of the demo did something meanwhile."""
        try:
            self.stall.act(Command(self._id(), data, by, round(ago_s, 3)), now)
        except Refused:
            return False
        return True

    def _ticket(self, id: str) -> Ticket:
        return self.stall.booth().tickets[id]

    def _spread(self, median: float, sigma: float) -> float:
        return median * math.exp(self.chance.gauss(0, sigma))

    # Customers

    def _somebody_comes(self, now: datetime) -> None:
        wait_s = self.chance.expovariate(ORDERS_AN_HOUR / 3600)
        if now + timedelta(seconds=wait_s) < self.closes_at - timedelta(minutes=20):
            self._later(now + timedelta(seconds=max(wait_s, 40)), self._somebody_comes)
        self._asks(now, self._spread(*PATIENCE_S))

    def _somebody_orders(self, now: datetime) -> None:
        self._asks(now, math.inf)

    def _asks(self, now: datetime, patience_s: float) -> None:
        if self.stall.booth().day is None:
            return
        style = self.chance.choices(SET_UP.styles, weights=(5, 4, 2, 2))[0]
        sitters = 2 if style.id == "colour-pair" else self.chance.choices((1, 2), weights=(8, 1))[0]
        wants = self.chance.choice(self._able(style)) if self.chance.random() < 0.1 else None
        try:
            told = self.stall.ready_by(style.id, sitters, wants, now)
        except Refused:
            return
        if (told - now).total_seconds() > patience_s:
            self._say(WalkedAway(style=style.id, sitters=sitters, ready_by=told), now)
            return
        self._orders(now, style, sitters, wants, told)

    def _able(self, style: Style) -> list[str]:
        return [artist.id for artist in SET_UP.artists if style.id in artist.styles]

    def _orders(self, now: datetime, style: Style, sitters: int, wants: str | None, told: datetime) -> None:
        is_child = style.id != "pet-pencil" and self.chance.random() < 0.2
        card = NewCard(
            name=self._name_of_customer(),
            note=self.chance.choice(NOTES),
            is_child=is_child,
            consent_by=self.chance.choice(GUARDIANS) if is_child else "",
        )
        price = style.price * sitters if style.id != "colour-pair" else style.price
        order = Order(style=style.id, sitters=sitters, artist=wants, price=price, ready_by=told)
        try:
            id = self.stall.order(Command(self._id(), order), card, now)
        except Refused:
            return
        self._hardness[id] = self.chance.gauss(0, HARD_FACE)
        if self.chance.random() < 0.55:
            self._say(Paid(ticket=id, amount=price, how=self.chance.choice(("cash", "card"))), now)
        if self.chance.random() < 0.06:
            self._say(Held(ticket=id, why="photo"), now)
            self._later(now + timedelta(minutes=self.chance.uniform(3, 8)), lambda then: self._photo_is_here(id, then))
        if self.chance.random() < CHANGES_MIND:
            self._later(now + timedelta(minutes=self.chance.uniform(4, 15)), lambda then: self._changes_mind(id, then))
        back_at = told + timedelta(seconds=self.chance.gauss(120, 240))
        self._later(back_at, self._comes_for(id))

    def _name_of_customer(self) -> str:
        """One nickname after the other in an order of the evening's own, so that no two in the queue share one."""
        if not self._names:
            self._names = self.chance.sample(NICKNAMES, len(NICKNAMES))
        return self._names.pop()

    def _comes_for(self, id: str) -> Callable[[datetime], object]:
        return lambda then: self._comes_back(id, then)

    def _photo_is_here(self, id: str, now: datetime) -> None:
        if self._ticket(id).place == HELD:
            self._say(Released(ticket=id), now)

    def _comes_back(self, id: str, now: datetime) -> None:
        ticket = self._ticket(id)
        if ticket.place in (COLLECTED, CANCELLED):
            return
        if self.chance.random() < 0.3 and self._changes_mind(id, now):
            return
        if ticket.place != READY or self._curtain_is_rising(now):
            self._later(now + timedelta(minutes=self.chance.uniform(2, 6)), self._comes_for(id))
            return
        if ticket.due > 0:
            self._say(Paid(ticket=id, amount=ticket.due, how=self.chance.choice(("cash", "card"))), now)
        self._say(Collected(ticket=id), now)

    def _changes_mind(self, id: str, now: datetime) -> bool:
        """Give the order up for its money back, if it is not begun yet; whether that was possible."""
        ticket = self._ticket(id)
        if ticket.place != WAITING or ticket.was_begun:
            return False
        if ticket.paid > 0:
            self._say(Paid(ticket=id, amount=-ticket.paid, how="cash"), now)
        return self._say(Cancelled(ticket=id, why="customer"), now)

    def _curtain_is_rising(self, now: datetime) -> bool:
        """Whether the visitor of the demo is about to come: what is on the rack then stays there to be seen."""
        return self.curtain_at is not None and timedelta(0) < self.curtain_at - now < timedelta(minutes=STAY_MIN)

    # Artists: each has one thing ahead of them at any time, whatever a visitor of the demo does meanwhile

    def _comes_in(self, artist: str) -> Callable[[datetime], object]:
        def come(now: datetime) -> None:
            if artist not in self.stall.booth().here_since:
                self._say(ArtistIn(artist=artist), now, easel(artist))
            self._looks_up(artist, now)

        return come

    def _looks_up(self, artist: str, now: datetime) -> None:
        """What to do now: a break that is due, the portrait at hand, the next one, or another look in a while."""
        booth = self.stall.booth()
        is_away = booth.day is None or artist not in booth.here_since
        if now >= self.closes_at + (timedelta(0) if is_away else LAST_LOOK):
            return
        if booth.day is None or is_away:
            self._later(now + timedelta(minutes=VISITOR_MIN), self._comes_in(artist))
            return
        if at_hand := booth.on_easel(artist):
            rests = at_hand.place in (PAUSED, TOUCH_UP_REST)
            self._later(now + timedelta(minutes=VISITOR_MIN if rests else 0), self._goes_on(artist))
            return
        for planned in booth.day.breaks:
            if planned.artist == artist and planned.begins_at <= now < planned.ends_at:
                self._say(ArtistOut(artist=artist), now, easel(artist))
                self._later(planned.ends_at + timedelta(seconds=self.chance.uniform(0, 90)), self._comes_in(artist))
                return
        if now >= booth.day.closes_at:
            self._say(ArtistOut(artist=artist), now, easel(artist))
            return
        ticket = booth.next_for(artist)
        if ticket and self._say(Started(ticket=ticket.id, artist=artist), now, easel(artist)):
            self._draws(artist, ticket.id, now)
        else:
            self._looks_again(artist, now)

    def _looks_again(self, artist: str, now: datetime) -> None:
        self._later(now + timedelta(seconds=self.chance.uniform(5, 25)), lambda then: self._looks_up(artist, then))

    def _goes_on(self, artist: str) -> Callable[[datetime], object]:
        """Take up what is on the easel, resumed where it rests."""

        def go_on(now: datetime) -> None:
            at_hand = self.stall.booth().on_easel(artist)
            if at_hand is None:
                self._looks_again(artist, now)
                return
            if at_hand.place in (PAUSED, TOUCH_UP_REST):
                self._say(Resumed(ticket=at_hand.id), now, easel(artist))
            self._draws(artist, at_hand.id, now)

        return go_on

    def _draws(self, artist: str, id: str, now: datetime) -> None:
        ticket = self._ticket(id)
        stage = ticket.stage_in_hand
        if stage is None:
            takes_s = self._spread(TOUCH_UP_S, SPREAD)
            self._later(now + timedelta(seconds=takes_s), lambda then: self._racks(artist, id, then))
            return
        median_s = stage.usual_s * (ticket.sitters if stage.per_sitter else 1) * self._pace(artist)
        takes_s = self._spread(median_s * math.exp(self._hardness.get(id, 0.0)), SPREAD)
        done_at = now + timedelta(seconds=takes_s)
        if self.chance.random() < INTERRUPTED:
            self._later(now + timedelta(seconds=takes_s / 2), lambda then: self._is_interrupted(artist, id, then))
        else:
            self._later(done_at, lambda then: self._stage_is_done(artist, id, stage.id, then))

    def _pace(self, artist: str) -> float:
        return TRUE_PACE.get(artist, 1.0)

    def _has_in_hand(self, artist: str, id: str) -> Ticket | None:
        """That ticket, if this artist is drawing it."""
        at_hand = self.stall.booth().on_easel(artist)
        return at_hand if at_hand and at_hand.id == id and at_hand.place in (DRAWING, TOUCH_UP) else None

    def _is_interrupted(self, artist: str, id: str, now: datetime) -> None:
        why = self.chance.choices(("counter", "supplies", "sitter"), weights=(5, 2, 1))[0]
        if self._has_in_hand(artist, id):
            self._say(Paused.model_validate({"ticket": id, "why": why}), now, easel(artist))
        self._later(now + timedelta(seconds=self._spread(75, 0.5)), self._goes_on(artist))

    def _racks(self, artist: str, id: str, now: datetime) -> None:
        if self._has_in_hand(artist, id):
            self._say(Finished(ticket=id, rack=self._free_place()), now, easel(artist))
        ready_at = now + timedelta(seconds=self._spread(SET_UP.turnaround.usual_s, 0.4))
        if self._curtain_is_rising(now) and self.curtain_at:  # whoever comes in finds both at work
            ready_at = min(ready_at, self.curtain_at)
        self._later(ready_at, lambda then: self._looks_up(artist, then))

    def _stage_is_done(self, artist: str, id: str, stage: str, now: datetime) -> None:
        ticket = self._has_in_hand(artist, id)
        if ticket is None or ticket.stage_in_hand is None or ticket.stage_in_hand.id != stage:
            self._looks_again(artist, now)
            return
        if ticket.style.stages[-1].id == stage:
            self._racks(artist, id, now)
            return
        if self.chance.random() < FORGETS and ticket.stages_done < len(ticket.style.stages) - 2:
            self._forgets(artist, id, stage, now)
            return
        self._say(StageDone(ticket=id, stage=stage), now, easel(artist))
        if self.chance.random() < SLIPS:
            self._later(now + timedelta(seconds=4), lambda then: self._takes_back(artist, id, stage, then))
            return
        self._draws(artist, id, now)

    def _takes_back(self, artist: str, id: str, stage: str, now: datetime) -> None:
        self._say(StageUndone(ticket=id, stage=stage), now, easel(artist))
        self._later(now + timedelta(seconds=25), lambda then: self._stage_is_done(artist, id, stage, then))

    def _forgets(self, artist: str, id: str, stage: str, now: datetime) -> None:
        """Draws on without a tap, and catches up with two taps at the next stage's end."""
        ticket = self._ticket(id)
        following = ticket.style.stages[ticket.stages_done + 1]
        times = ticket.sitters if following.per_sitter else 1
        takes_s = self._spread(following.usual_s * times * self._pace(artist), SPREAD)

        def remembers(then: datetime) -> None:
            self._say(StageDone(ticket=id, stage=stage), then, easel(artist))
            self._later(then + timedelta(seconds=1), lambda at: self._stage_is_done(artist, id, following.id, at))

        self._later(now + timedelta(seconds=takes_s), remembers)

    def _free_place(self) -> str | None:
        taken = {ticket.rack for ticket in self.stall.booth().open_tickets() if ticket.place == READY}
        return next((place for place in RACK if place not in taken), None)
