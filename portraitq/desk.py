"""The desk: the one place where a command is decided, written down, folded, re-quoted and published.

A command is answered as soon as it is on disk. The re-quote runs in a thread of the desk's own: as many taps as come
while one runs are answered by the next one together, and nobody waits for it. While a day is open the quotes are also
refreshed every `REFRESH_S`, because time going by changes them. The same thread tidies up once a minute.
"""

from __future__ import annotations

import logging
import secrets
import threading
from collections import deque
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection

from portraitq import consent, erasing, house_rules, memory
from portraitq.back_ups import BackUps
from portraitq.clock import Clock, Jump
from portraitq.clock_watch import Doubt, doubt
from portraitq.core import clock_set
from portraitq.core.booth import Booth, fold, import_lines
from portraitq.core.commands import Command, Order, asked_for, decide
from portraitq.core.errors import Malformed, Refused
from portraitq.core.events import SYSTEM, DayClosed, Erased, Event, Ordered, Promised, SetUp, print_instant
from portraitq.core.life import Ticket
from portraitq.forecast.learning import QUOTED_BACK, Learned, read_on
from portraitq.forecast.pace import Pace
from portraitq.forecast.quotes import Forecast, Offer, Quote, forecast, offers, quote_order
from portraitq.forecast.slip_watch import NO_SLIPS, Slips, watch
from portraitq.house_rules import HouseRules
from portraitq.store import cards, journal, photos
from portraitq.store.cards import Card
from portraitq.store.photos import PhotoRef, Picture
from portraitq.store.store import Store, StoreError
from portraitq.ticket.codes import new_code

log = logging.getLogger(__name__)

REFRESH_S = 20.0
SHORTEST_REFRESH_S = 1.0  # however fast the demo's clock runs
TIDY_EVERY = timedelta(minutes=1)
TRIES = 20  # how often a command is decided afresh when other writers of the same journal were quicker
PHOTO_GONE = "This photo is here no more: it was deleted, or it waited too long for its order. Take it again."
TOLD_MARGIN = 0.05  # a promise told a moment ago stands while its chance is at most this much under the booth's wish


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a command did: its events, the last of them `seq`; `is_repeat` when it had been carried out before."""

    seq: int
    events: tuple[Event, ...]
    is_repeat: bool


@dataclass(frozen=True, slots=True)
class NewCard:
    """What is known of the person who orders; everything may be left empty."""

    name: str = ""
    contact: str = ""
    note: str = ""
    is_child: bool = False
    consent_by: str = ""


@dataclass(frozen=True, slots=True)
class OrderTaken:
    """An order on disk: its ticket, what leads the customer to it, and what was promised."""

    outcome: Outcome
    ticket: str
    number: int
    code: str
    ready_by: datetime | None
    later_than_told: bool


@dataclass(frozen=True, slots=True)
class Standing:
    """The booth and its quotes at one moment, with the promises that slip: what every screen is made from."""

    slug: str
    booth: Booth
    forecast: Forecast
    pace: Pace
    as_of: datetime
    slips: Slips = field(default_factory=lambda: NO_SLIPS)
    clock: Doubt | None = None

    @property
    def seq(self) -> int:
        """The journal's last line that this knows."""
        return self.booth.seq

    @property
    def tells_time(self) -> bool:
        """Whether clock times told now are fit to be told; not while the computer's clock has left the booth none."""
        return self.clock is None or self.clock.tells_time


class NoSuchBooth(LookupError):
    """There is no booth of that name in the store."""


class NoSuchTicket(LookupError):
    """There is no ticket of that id at the booth."""


class Desk:
    """One booth's desk. Any number of threads may use it."""

    def __init__(self, slug: str, store: Store, clock: Clock, heard: Callable[[Desk, Standing], None]) -> None:
        self.slug, self.store, self.clock, self._heard = slug, store, clock.of_its_own(), heard
        self._turn = threading.Lock()  # one command at a time is decided
        self._news = threading.Condition()
        self._closed, self._asked = False, False
        self._by_code = dict[str, str]()
        with store.reading() as connection:
            events = list(journal.events(connection, slug))
        self._unread = deque[Event]()  # lines folded into the booth that the next re-quote learns from
        self._learned = read_on(Learned(), events, quoted_back=QUOTED_BACK)
        self._booth = self._learned.booth
        self._ran_before = self._booth.seq  # clocks that run since then are left alone by the first jump of the clock
        self._standing = self._requoted(None)
        self._tidied_at: datetime | None = None
        self._untidy = ""
        self._thread = threading.Thread(target=self._keep_quoting, name=f"quotes of {slug}", daemon=True)
        self._thread.start()

    def carry_out(self, command: Command) -> Outcome:
        """Decide `command` and write down what it does. Closing the day also erases what is known of those served.

        Raises Refused with its reason, and StoreError when it could not be written; either way nothing has changed.
        """
        if isinstance(command.data, Order):
            return self.take_order(command, NewCard(), ()).outcome
        outcome = self._written(command, self._erase_what_was_asked)
        if isinstance(command.data, DayClosed):
            self._tidy_or_tell()
        if isinstance(command.data, Erased):
            self._scrub_or_tell()
        return outcome

    def take_order(self, command: Command, card: NewCard, pictures: Sequence[Picture | str]) -> OrderTaken:
        """An order, its card and its photos in one transaction; `command.data` is an `Order`.

        A photo is a picture that came with the order, or the id of a loose one that came before it. One that is gone
        meanwhile raises Malformed, field "photo." and its place, and nothing is taken. So does a child's card on which
        nobody agreed, field "consent_by".
        The promise told with it stands while it is still nearly as sure as the booth wants its promises; otherwise,
        or where none was told, the present quote's promise is given.
        """
        if not isinstance(command.data, Order):
            raise TypeError(f"an Order was expected, not {command.kind}")
        order = command.data
        consent.need(card.is_child, card.consent_by)

        def with_promise(booth: Booth, now: datetime) -> Command:
            return Command(command.id, self._promised(booth, order, now), command.by, command.ago_s)

        def beside(connection: Connection, events: Sequence[Event]) -> None:
            ticket = _ordered(events).ticket
            cards.put(connection, self.slug, ticket, _card(new_code(), card))
            for place, picture in enumerate(pictures):
                if not isinstance(picture, str):
                    photos.add(connection, self.slug, ticket, picture)
                elif photos.claim(connection, self.slug, ticket, [picture]):
                    raise Malformed(PHOTO_GONE, f"photo.{place}")

        outcome = self._written(command, beside, with_promise)
        ordered = _ordered(outcome.events)
        ready_by = next((event.data.ready_by for event in outcome.events if isinstance(event.data, Promised)), None)
        with self.store.reading() as connection:
            kept = cards.of_ticket(connection, self.slug, ordered.ticket)
        later = bool(order.ready_by and ready_by and ready_by > order.ready_by)
        return OrderTaken(outcome, ordered.ticket, ordered.number, kept.code if kept else "", ready_by, later)

    def quote(self, style: str, sitters: int, artist: str | None = None) -> Quote:
        """When such a portrait, ordered now, would be ready.

        Raises Refused when the booth does not draw it, Malformed when nothing can be called so.
        """
        booth, now = self._booth, self._now()
        decide(booth, asked_for(style, sitters, artist), now)
        return quote_order(booth, self._standing.pace, now, style=style, sitters=sitters, artist=artist)

    def offers(self, sitters: int, artist: str | None = None) -> Mapping[str, Offer | Refused]:
        """What is offered of every style to somebody who asks now, or why the booth would not draw it.

        Raises Malformed when there cannot be so many sitters or such an artist.
        """
        booth, now = self._booth, self._now()
        drawn = offers(booth, self._standing.pace, now, sitters=sitters, artist=artist)
        return {
            style.id: drawn[style.id] if (no := self._refuses(booth, style.id, sitters, artist, now)) is None else no
            for style in (booth.set_up.styles if booth.set_up else ())
        }

    def standing(self, wait_s: float = 0.5) -> Standing:
        """How the booth stands after the last command, its re-quote waited for up to `wait_s`."""
        with self._news:
            self._news.wait_for(lambda: self._standing.seq >= self._booth.seq or self._closed, timeout=wait_s)
            return self._standing

    def refresh(self) -> None:
        """Re-quote soon, with what other processes wrote."""
        with self._news:
            self._asked = True
            self._news.notify_all()

    def ticket(self, id: str) -> Ticket:
        """The ticket of that id as it stands; NoSuchTicket when there is none."""
        try:
            return self._booth.tickets[id]
        except KeyError:
            raise NoSuchTicket(f"There is no ticket {id} at this booth.") from None

    def ticket_of_code(self, code: str) -> str | None:
        """The ticket here that a code, in its normal form, stands for. What a code stands for never changes."""
        if code not in self._by_code:
            with self.store.reading() as connection:
                found = cards.by_code(connection, code)
            if found is None or found[0] != self.slug:
                return None
            self._by_code[code] = found[1]
        return self._by_code[code]

    def cards(self, tickets: Collection[str]) -> dict[str, Card]:
        """The cards of those tickets."""
        with self.store.reading() as connection:
            return cards.of_booth(connection, self.slug, tickets)

    def photo_refs(self, tickets: Collection[str]) -> dict[str, list[PhotoRef]]:
        """The photos of those tickets, without their pictures."""
        with self.store.reading() as connection:
            return photos.of_tickets(connection, self.slug, tickets)

    def add_photo(self, ticket: str, picture: Picture, *, id: str = "", instead_of: str = "") -> str:
        """Keep one more photo of a ticket that is not finished yet, or a loose one where `ticket` is `LOOSE`; its id.

        id           made by the sender: the same photo sent twice is kept once
        instead_of   the photo whose place it takes; that one is deleted for good
        Raises Refused once the portrait is finished, Malformed where nobody agreed to the photo of a child.
        """
        if ticket != photos.LOOSE:
            self._may_have_photos(self.ticket(ticket))
            if card := self.cards([ticket]).get(ticket):
                consent.need(card.is_child, card.consent_by)
        with self.store.writing() as connection:
            if id and photos.ref(connection, self.slug, id):
                return id
            came_at = print_instant(self._now())
            id = photos.add(connection, self.slug, ticket, picture, id=id, instead_of=instead_of, came_at=came_at)
        if instead_of:
            self._scrub_or_tell()
        if ticket != photos.LOOSE:
            self._changed_beside()
        return id

    def mark_faces(self, id: str, faces: str) -> bool:
        """Say where the faces are on a photo, as `photo.face.print_faces` prints them; whether the photo is there."""
        with self.store.writing() as connection:
            found = photos.mark_faces(connection, self.slug, id, faces)
        self._changed_beside()
        return found

    def remove_photo(self, ticket: str, id: str) -> bool:
        """Delete one photo of a ticket, or a loose one where `ticket` is `LOOSE`, for good; whether there was one."""
        with self.store.writing() as connection:
            found = photos.remove(connection, self.slug, ticket, id)
        self._scrub_or_tell()
        if ticket != photos.LOOSE:
            self._changed_beside()
        return found

    def change_card(self, ticket: str, **fields: Any) -> None:
        """Set some of a card's fields: name, contact, note, is_child, consent_by.

        Raises Malformed, field "consent_by", and changes nothing where a child would sit on nobody's word.
        """
        self.ticket(ticket)
        with self.store.writing() as connection:
            cards.change(connection, self.slug, ticket, **fields)
            if {"is_child", "consent_by"} & set(fields) and (card := cards.of_ticket(connection, self.slug, ticket)):
                consent.need(card.is_child, card.consent_by)
        self.store.is_scrubbed = False  # what stood there before goes from the log with the next round
        self._changed_beside()

    def house_rules(self) -> HouseRules:
        """The booth's own rules beside its journal."""
        with self.store.reading() as connection:
            return house_rules.of(connection, self.slug)

    def change_house_rules(self, rules: HouseRules) -> None:
        """Write the booth's own rules; the screens follow at once, and so does what is to be erased by them."""
        with self.store.writing() as connection:
            house_rules.put(connection, self.slug, rules)
        self._changed_beside()
        self._tidy_or_tell()

    def tidy(self) -> list[str]:
        """Erase what is due by the booth's rule, and loose photos whose order was never finished; the tickets erased.

        Runs by itself, at the start and once a minute. Doing it twice, or on two servers at once, changes nothing.
        Raises Refused or StoreError where it could not; what is left is due the next time.
        """
        now = self._now()
        loose_for = erasing.LOOSE * max(1.0, self.clock.speed)
        too_old = (print_instant(now - loose_for), print_instant(now + loose_for))
        booth = self._booth  # before what is kept: a ticket erased meanwhile elsewhere gets the id that it got there
        with self.store.reading() as connection:
            rules, kept = house_rules.of(connection, self.slug), cards.personal(connection, self.slug)
            loose = photos.has_loose(connection, self.slug, *too_old)
        due = erasing.due(booth, kept, rules.keep_h, now, rules.uncollected_days)
        for id in due:
            self._written(_erasing(booth.tickets[id]), self._erase_what_was_asked)
        if loose:
            with self.store.writing() as connection:
                photos.remove_loose(connection, self.slug, *too_old)
        if due or loose or not self.store.is_scrubbed:
            self._scrub()
        return due

    def clock_doubt(self) -> Doubt | None:
        """What is wrong with the clock now; None where nothing is."""
        self._now()
        return doubt(self.clock.reading(), self._booth.last_at)

    def set_clock(self, at: datetime) -> bool:
        """Somebody says that it is `at`, for the computer's clock does not know; whether the booth goes by it now."""
        if not self.clock.set_on(at):
            return False
        with self._turn:
            self._minding_the_clock()
        self.refresh()
        return True

    def close(self) -> None:
        """Stop re-quoting; what was acknowledged is on disk already."""
        with self._news:
            self._closed = True
            self._news.notify_all()
        self._thread.join(timeout=5)

    # How a command is written

    def _written(
        self,
        command: Command,
        beside: Callable[[Connection, Sequence[Event]], None],
        complete: Callable[[Booth, datetime], Command] | None = None,
    ) -> Outcome:
        """Decide and append, with what `beside` writes in the same transaction; `complete` adds what is left out."""
        with self._turn:
            for _ in range(TRIES):
                with self.store.reading() as connection:
                    if done := journal.of_command(connection, self.slug, command.id):
                        return Outcome(done[-1].seq, tuple(done), is_repeat=True)
                now = self._minding_the_clock()
                events = decide(self._booth, complete(self._booth, now) if complete else command, now)
                after = fold(self._booth, events)
                try:
                    with self.store.writing() as connection:
                        journal.append(connection, self.slug, events)
                        beside(connection, events)
                except journal.OvertakenError:
                    self._catch_up()
                    continue
                self._stands(after, events)
                break
            else:
                raise Refused("Others write to this booth faster than this command can be placed. Try again.")
        self._wake()
        return Outcome(events[-1].seq, tuple(events), is_repeat=False)

    def _refuses(self, booth: Booth, style: str, sitters: int, artist: str | None, now: datetime) -> Refused | None:
        try:
            decide(booth, asked_for(style, sitters, artist), now)
        except Refused as no:
            return no
        return None

    def _may_have_photos(self, ticket: Ticket) -> None:
        if ticket.is_erased or ticket.finished_at is not None or ticket.over_at is not None:
            raise Refused(f"Number {ticket.number} is {ticket.place}: a photo is added while it is still to be drawn.")

    def _promised(self, booth: Booth, order: Order, now: datetime) -> Order:
        untold = order.model_copy(update={"ready_by": None})  # a time that has passed meanwhile was told all the same
        decide(booth, Command("quote", untold), now)  # an order that cannot be taken is refused before it is quoted
        if (wrong := self.clock_doubt()) is not None and not wrong.tells_time:
            return untold  # by a clock that is wrong nothing can be promised
        quote = quote_order(
            booth, self._standing.pace, now, style=order.style, sitters=order.sitters, artist=order.artist
        )
        assert booth.set_up is not None
        wish = booth.set_up.booth.confidence - TOLD_MARGIN
        if order.ready_by is not None and quote.chance_by(order.ready_by) >= wish:
            return order
        return order.model_copy(update={"ready_by": quote.promise_at})

    def _erase_what_was_asked(self, connection: Connection, events: Sequence[Event]) -> None:
        for event in events:
            if isinstance(event.data, Erased):
                cards.erase(connection, self.slug, event.data.ticket)

    def _tidy_or_tell(self) -> None:
        """Tidy up after what is done already and must not fail with it; what is left is done by the next round."""
        self._tidied_at = self.clock.now()
        try:
            self.tidy()
            self._untidy = ""
        except (StoreError, Refused) as no:
            if str(no) != self._untidy:  # said once, not each minute
                log.error("What is due at %s could not be erased; each round tries again: %s", self.slug, no)
            self._untidy = str(no)

    def _now(self) -> datetime:
        """Now; where the clock is behind the journal's last line (a board without one of its own), on from there."""
        last_at = self._booth.last_at
        return self.clock.not_before(last_at) if last_at is not None else self.clock.now()

    def _minding_the_clock(self) -> datetime:
        """Now, once what the system's clock did meanwhile is in order; the caller holds the turn.

        Set on, that is taken out of every clock that runs. Set back, the booth's time is right again as soon as nothing
        that is written down or measured keeps it from going back.
        """
        self._now()
        for jump in self.clock.jumps():
            self._catch_up()  # clocks that another server started run by this one's time too
            self._take_out(jump)
        if not clock_set.runs(self._booth):
            self.clock.fall_back(self._booth.last_at)
        return self._now()

    def _take_out(self, jump: Jump) -> None:
        for _ in range(TRIES):
            events = clock_set.taken_out(self._booth, jump.from_at, jump.to_at, after=self._ran_before)
            after = fold(self._booth, events)
            try:
                if events:
                    with self.store.writing() as connection:
                        journal.append(connection, self.slug, events)
            except journal.OvertakenError:
                self._catch_up()
                continue
            self._stands(after, events)
            break
        else:
            log.error("The clock was set on, and others write too fast to take that out of what is measured.")
        self._ran_before = 0
        self.clock.forget(jump)

    def _catch_up(self) -> None:
        """Fold what other processes appended; the caller holds the turn."""
        with self.store.reading() as connection:
            new = list(journal.events(connection, self.slug, after=self._booth.seq))
        self._stands(fold(self._booth, new), new)
        if any(isinstance(event.data, Erased) for event in new):
            self.store.is_scrubbed = False  # who erased it there may not have got at the log while we read

    def _stands(self, booth: Booth, events: Sequence[Event]) -> None:
        """The booth stands so after these events; the caller holds the turn."""
        self._booth = booth
        self._unread.extend(events)

    # How it is re-quoted and published

    def _wake(self) -> None:
        with self._news:
            self._news.notify_all()

    def _changed_beside(self) -> None:
        """A card or photo changed: the screens show it although the journal stands still."""
        self._heard(self, self._standing)

    def _requoted(self, before: Standing | None) -> Standing:
        new = list(self._unread)
        self._learned = read_on(self._learned, new)
        for _ in new:
            self._unread.popleft()
        booth, pace, now = self._learned.booth, self._learned.pace, self._now()
        quotes, wrong = forecast(booth, pace, now), doubt(self.clock.reading(), booth.last_at)
        is_told = wrong is None or wrong.tells_time
        slips = watch(before.slips if before else NO_SLIPS, booth, quotes) if is_told else NO_SLIPS
        return Standing(self.slug, booth, quotes, pace, now, slips, wrong)

    def _keep_quoting(self) -> None:
        while True:
            self._tidy_now_and_then()
            with self._news:
                tapped = self._news.wait_for(
                    lambda: self._closed or self._asked or self._booth.seq > self._standing.seq,
                    timeout=max(REFRESH_S / self.clock.speed, SHORTEST_REFRESH_S),
                )
                if self._closed:
                    return
                also_others, self._asked = self._asked or not tapped, False
            try:
                if also_others:
                    self._catch_up_if_it_answers()
                self._mind_the_clock_or_tell()
                if tapped or self._booth.day or self._booth.seq > self._standing.seq or self._is_clock_news():
                    self._renew()
            except Exception:
                log.exception("%s could not be re-quoted; the last quotes stand until the next try.", self.slug)
                with self._news:
                    self._news.wait_for(lambda: self._closed, timeout=1.0)

    def _mind_the_clock_or_tell(self) -> None:
        try:
            with self._turn:
                self._minding_the_clock()
        except StoreError as no:
            log.error("The clock was set on, which is taken out of what is measured by the next round: %s", no)

    def _is_clock_news(self) -> bool:
        """Whether screens are to say something of the clock, or to stop saying it; also while the booth is closed."""
        return self._standing.clock is not None or self.clock_doubt() is not None

    def _catch_up_if_it_answers(self) -> None:
        try:
            with self._turn:
                self._catch_up()
        except StoreError as no:  # the store has logged it; what is known here is quoted and shown all the same
            log.info("What others wrote at %s could not be read: %s", self.slug, no)

    def _scrub(self) -> None:
        """Leave nothing of what was erased in any file of the store."""
        with self.store.writing() as connection:
            cards.rewrite(connection)
        self.store.scrub()

    def _scrub_or_tell(self) -> None:
        self.store.is_scrubbed = False
        try:
            self._scrub()
        except StoreError as no:
            log.error("What was erased still stands in the database's log; the next round tries again: %s", no)

    def _tidy_now_and_then(self) -> None:
        if self._tidied_at is not None and timedelta(0) <= self.clock.now() - self._tidied_at < TIDY_EVERY:
            return
        memory.give_back()
        try:
            self._tidy_or_tell()
        except Exception:  # quotes go on whatever happens here
            log.exception("Tidying up at %s went wrong; the next round tries again.", self.slug)

    def _renew(self) -> None:
        standing = self._requoted(self._standing)
        with self._news:
            self._standing = standing
            self._news.notify_all()
        self._heard(self, standing)


class Desks:
    """Every booth of one store."""

    def __init__(self, store: Store, clock: Clock | None = None) -> None:
        self.store, self.clock = store, clock or Clock()
        self._lock = threading.RLock()
        self._ears: list[Callable[[Desk, Standing], None]] = []
        self._desks: dict[str, Desk] = {}
        self.back_ups = BackUps(store, self._latest, self._booths)
        with store.reading() as connection:
            slugs = journal.booths(connection)
        for slug in slugs:
            self._open(slug)

    def slugs(self) -> list[str]:
        """The booths' names in addresses, sorted."""
        return sorted(self._desks)

    def at(self, slug: str) -> Desk:
        """The desk of that booth; NoSuchBooth when there is none."""
        try:
            return self._desks[slug]
        except KeyError:
            raise NoSuchBooth(f"There is no booth {slug!r} here.") from None

    def create(self, slug: str, set_up: SetUp) -> Desk:
        """A new booth with its first set-up; Refused when that name is taken."""
        with self._lock:
            self._is_new(slug)
            events = decide(Booth(), Command(f"set-up-{secrets.token_hex(8)}", set_up, SYSTEM), self.clock.now())
            with self.store.writing() as connection:
                journal.append(connection, slug, events)
            return self._open(slug)

    def import_journal(self, slug: str, lines: Iterable[str]) -> Desk:
        """A booth out of a journal file; RefusedLine or Refused, and nothing taken, when it is not to be had."""
        with self._lock:
            self._is_new(slug)
            _, events = import_lines(lines)
            if not events:
                raise Refused("The journal is empty: there is nothing to import.")
            with self.store.writing() as connection:
                journal.append(connection, slug, events)
                for ticket in (event.data.ticket for event in events if isinstance(event.data, Ordered)):
                    cards.put(connection, slug, ticket, Card(code=new_code()))
            return self._open(slug)

    def by_code(self, code: str) -> tuple[Desk, str] | None:
        """The desk and the ticket that a ticket's code, in its normal form, stands for."""
        with self.store.reading() as connection:
            found = cards.by_code(connection, code)
        return (self.at(found[0]), found[1]) if found and found[0] in self._desks else None

    def listen(self, heard: Callable[[Desk, Standing], None]) -> None:
        """Call `heard` after every re-quote of any booth, in that booth's quoting thread."""
        self._ears.append(heard)

    def close(self) -> None:
        """Stop every desk and let go of the store."""
        self.back_ups.close()
        for desk in self._desks.values():
            desk.close()
        self.store.close()

    def _open(self, slug: str) -> Desk:
        desk = self._desks[slug] = Desk(slug, self.store, self.clock, self._publish)
        return desk

    def _booths(self) -> list[Booth]:
        return [desk.standing(wait_s=0).booth for desk in list(self._desks.values())]

    def _latest(self) -> datetime:
        """The time now, and no earlier than any journal's last line."""
        return max([self.clock.now(), *(booth.last_at for booth in self._booths() if booth.last_at)])

    def _publish(self, desk: Desk, standing: Standing) -> None:
        for heard in list(self._ears):
            heard(desk, standing)

    def _is_new(self, slug: str) -> None:
        if slug in self._desks:
            raise Refused(f"There is a booth {slug!r} already: choose another name.")


def _ordered(events: Sequence[Event]) -> Ordered:
    for event in events:
        if isinstance(event.data, Ordered):
            return event.data
    raise Refused("This id belongs to a command that was no order: send the order with an id of its own.")


def _erasing(ticket: Ticket) -> Command:
    """Erases a ticket. Two servers that find it due at once make the same id, and it is written once."""
    place_in_its_life = len(ticket.history)
    return Command(f"erase-{ticket.id}-{place_in_its_life}", Erased(ticket=ticket.id), SYSTEM)


def _card(code: str, new: NewCard) -> Card:
    return Card(code, new.name, new.contact, new.note, new.is_child, new.consent_by)
