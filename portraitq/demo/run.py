"""The demo: two evenings behind it, the third in full swing, and going on by itself.

The past is rehearsed in memory by the same market, the same rules and the same forecast as the live booth, and written
down in one go. Photos are drawn by the program, saved as a phone would, and taken in like any other.
"""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from portraitq.clock import Clock
from portraitq.core.booth import Booth, fold
from portraitq.core.commands import Command, Order, decide
from portraitq.core.errors import Refused
from portraitq.core.events import SYSTEM, DayClosed, Erased, Event, Ordered
from portraitq.core.life import Ticket
from portraitq.demo.faces import as_phone_jpeg, scene
from portraitq.demo.market import Market
from portraitq.demo.scenario import CLOSES, CURTAIN_UP, OPENS, SET_UP, SLUG, ZONE, at, opening
from portraitq.desk import Desk, Desks, NewCard
from portraitq.forecast.learning import Learned, read_on
from portraitq.forecast.quotes import quote_order
from portraitq.photo.face import print_faces
from portraitq.photo.intake import Photo, take_in
from portraitq.store import cards, journal, photos
from portraitq.store.cards import Card
from portraitq.store.photos import LOOSE
from portraitq.store.store import Store
from portraitq.ticket.codes import new_code

log = logging.getLogger(__name__)

PASSPHRASE = "paper boats at dusk"  # easy to type; there is nothing in the demo to be kept from anybody
BOOTH_NAME = SET_UP.booth.name
EVENINGS_BEFORE = 2
SEED = 10  # an evening with one promise at risk when the visitor comes
FACE_PX = (600, 800)  # no screen shows it larger, and a dozen are drawn before the first screen comes up
PACKED_UP = timedelta(minutes=3)
TICK_S = 0.4  # how often the live market looks whether something is due
EVENING_ENDS = timedelta(minutes=15), timedelta(minutes=50)  # after closing: when the easels are empty, or anyway
CLOSED_BY_VISITOR = timedelta(minutes=15)  # so long the booth stays closed to be looked at


@dataclass
class Rehearsal:
    """A stall in memory, for evenings that are over."""

    learned: Learned = field(default_factory=Learned)
    events: list[Event] = field(default_factory=list)
    cards: dict[str, NewCard] = field(default_factory=dict)

    @property
    def standing(self) -> Booth:
        """The booth as it stands."""
        return self.learned.booth

    def booth(self) -> Booth:
        """The same, as a live stall is asked."""
        return self.standing

    def ready_by(self, style: str, sitters: int, artist: str | None, at: datetime) -> datetime:
        """The promise that the forecast makes."""
        booth, pace = self.standing, self.learned.pace
        return quote_order(booth, pace, at, style=style, sitters=sitters, artist=artist).promise_at

    def act(self, command: Command, at: datetime) -> None:
        """Decide the command then and there."""
        events = decide(self.standing, command, at)
        self.learned = read_on(self.learned, events)
        self.events += events

    def order(self, command: Command, card: NewCard, at: datetime) -> str:
        """Take the order; its card waits until everything is written."""
        self.act(command, at)
        ticket = next(event.data.ticket for event in self.events[-2:] if isinstance(event.data, Ordered))
        self.cards[ticket] = card
        return ticket


class LiveStall:
    """The demo's desk as its people use it."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def booth(self) -> Booth:
        """The booth as it stands."""
        return self.desk.standing(wait_s=1.0).booth

    def ready_by(self, style: str, sitters: int, artist: str | None, at: datetime) -> datetime:
        """The promise that the forecast makes now; `at` is now, give or take a tick."""
        return self.desk.quote(style, sitters, artist).promise_at

    def act(self, command: Command, at: datetime) -> None:
        """Send the command; `at` is now, give or take a tick."""
        self.desk.carry_out(command)

    def order(self, command: Command, card: NewCard, at: datetime) -> str:
        """Take the order with a freshly drawn photo."""
        assert isinstance(command.data, Order)
        drawn = reference_photos(command.data.style, command.data.sitters, card.is_child, seed=hash_of(command.id))
        return self.desk.take_order(command, card, [self._sent(photo, faces) for photo, faces in drawn]).ticket

    def _sent(self, photo: Photo, faces: str) -> str:
        """A photo that came before its order, its faces marked, as the counter sends one; its id."""
        id = self.desk.add_photo(LOOSE, photo)
        self.desk.mark_faces(id, faces)
        return id


def hash_of(text: str) -> int:
    """A number that is the same for the same text in every run."""
    return int.from_bytes(text.encode()[-6:], "big") % 1_000_003


def reference_photos(style: str, sitters: int, is_child: bool, seed: int) -> list[tuple[Photo, str]]:
    """What a phone would send for such an order, taken in as any upload is, each with its faces as they are marked."""
    drawn = scene(seed, sitters=sitters, size_px=FACE_PX, pet=style == "pet-pencil", child=is_child)
    return [(take_in(as_phone_jpeg(drawn.image, orientation=6)), print_faces(drawn.heads))]


def curtain_up(today: date) -> datetime:
    """The moment at which the visitor of the demo comes to the quay."""
    return at(today, CURTAIN_UP)


def prepare(store: Store, today: date, *, seed: int = SEED, evenings: int = EVENINGS_BEFORE) -> Market:
    """Write the demo's past into an empty store and return the evening that goes on; give it a `LiveStall` then."""
    market, stall = rehearse(today, seed, evenings)
    write(store, stall)
    return market


def rehearse(today: date, seed: int, evenings: int = EVENINGS_BEFORE) -> tuple[Market, Rehearsal]:
    """So many evenings before, and this one up to the moment at which the visitor comes."""
    stall = Rehearsal()
    first = today - timedelta(days=evenings)
    stall.act(Command("demo-set-up", SET_UP, SYSTEM), at(first, OPENS) - timedelta(hours=1))
    for before in range(evenings):
        day = first + timedelta(days=before)
        open_evening(stall, day, seed + before).play(at(day, CLOSES) + EVENING_ENDS[1])
        assert stall.standing.last_at is not None
        close_evening(stall, day, max(at(day, CLOSES), stall.standing.last_at) + PACKED_UP)
    market = open_evening(stall, today, seed + evenings, curtain_up(today))
    market.play(curtain_up(today))
    return market, stall


def open_evening(stall: Rehearsal | LiveStall, day: date, seed: int, curtain_at: datetime | None = None) -> Market:
    """Open that day on the quay and let its market begin; `curtain_at` is when the visitor of the demo comes."""
    stall.act(Command(f"demo-open-{day}", opening(day)), at(day, OPENS))
    return Market(stall, seed, at(day, OPENS), at(day, CLOSES), curtain_at)


def close_evening(stall: Rehearsal | LiveStall, day: date, now: datetime) -> None:
    """Close the day if it is open, and erase what is known of the people whose portraits are over."""
    if stall.booth().day is not None:
        stall.act(Command(f"demo-close-{day}", DayClosed()), now)
    for ticket in list(stall.booth().tickets.values()):
        if ticket.over_at is not None and not ticket.is_erased:
            stall.act(Command(f"demo-erase-{day}-{ticket.id}", Erased(ticket=ticket.id), SYSTEM), now)


def write(store: Store, stall: Rehearsal) -> None:
    """Keep everything that was rehearsed, in one transaction."""
    tickets = list(stall.booth().tickets.values())
    still_open = [ticket for ticket in tickets if ticket.over_at is None]
    with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
        drawn = pool.map(lambda ticket: _photos_of(ticket, stall.cards[ticket.id]), still_open)
        pictures = dict(zip((ticket.id for ticket in still_open), drawn, strict=True))
    with store.writing() as connection:
        journal.append(connection, SLUG, stall.events)
        for ticket in tickets:
            known = NewCard() if ticket.is_erased else stall.cards[ticket.id]
            card = Card(
                new_code(), known.name, known.contact, known.note, known.is_child, known.consent_by, ticket.is_erased
            )
            cards.put(connection, SLUG, ticket.id, card)
            for picture, faces in pictures.get(ticket.id, ()):
                photos.add(connection, SLUG, ticket.id, picture, faces=faces)


def _photos_of(ticket: Ticket, card: NewCard) -> Sequence[tuple[Photo, str]]:
    return reference_photos(ticket.style.id, ticket.sitters, card.is_child, seed=hash_of(ticket.id))


def keep_trading(desks: Desks, market: Market, stopped: threading.Event) -> None:
    """Let the market go on at the desk's own speed until `stopped`; a new evening follows when one is over."""
    desk = desks.at(SLUG)
    stall = market.stall = LiveStall(desk)
    while not stopped.wait(TICK_S / min(desk.clock.speed, 4.0)):
        now = desk.clock.now()
        try:
            market.play(now)
            if is_over(stall.booth(), market, now):
                market = next_evening(stall, market, now)
        except Refused as reason:
            log.info("The demo went another way: %s", reason)
        except Exception:
            log.exception("The demo's market stumbled; it goes on.")


def is_over(booth: Booth, market: Market, now: datetime) -> bool:
    """Whether the evening is: the market has closed and the easels are empty, or a visitor closed it a while ago."""
    early, late = EVENING_ENDS
    if booth.day is None:
        closed_at = booth.days[-1].closed_at if booth.days else None
        return closed_at is None or now >= closed_at + CLOSED_BY_VISITOR
    return now >= market.closes_at + (late if booth.easels else early)


def next_evening(stall: LiveStall, market: Market, now: datetime) -> Market:
    """Close the evening, let the night go by, and open the next one."""
    day = market.closes_at.astimezone(ZONE).date()
    close_evening(stall, day, now)
    tomorrow = day + timedelta(days=1)
    stall.desk.clock.skip_to(at(tomorrow, OPENS))
    return open_evening(stall, tomorrow, hash_of(f"{tomorrow}"))


def ticket_to_show(store: Store) -> str:
    """The code of a ticket worth looking at: the first in the queue."""
    with store.reading() as connection:
        booth = fold(Booth(), journal.events(connection, SLUG))
        shown = (booth.waiting() or booth.open_tickets())[0].id
        return cards.of_booth(connection, SLUG, [shown])[shown].code


def screens(code: str) -> list[tuple[str, str]]:
    """What a visitor may open: each screen in words and its path; `code` is the ticket that is shown."""
    easels = [(f"{artist.name}'s easel", f"/{SLUG}/easel/{artist.id}") for artist in SET_UP.artists]
    return [
        ("Wall", f"/{SLUG}/wall"),
        ("One customer's ticket", f"/t/{code}"),
        ("Counter", f"/{SLUG}/counter"),
        *easels,
        ("Day book", f"/{SLUG}/daybook"),
        ("Set-up", f"/{SLUG}/set-up"),
    ]


def clock(today: date, speed: float) -> Clock:
    """The demo's own clock: the evening begins again for every visitor, and runs as fast as they like."""
    return Clock(start_at=curtain_up(today), speed=speed)
