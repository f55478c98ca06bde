"""The demo as it is served: its past in a store, and a market that goes on by itself from evening to evening."""

import threading
import time
from datetime import date, timedelta
from datetime import time as clock_time

import pytest

from portraitq.clock import Clock
from portraitq.core.booth import Booth, fold
from portraitq.core.commands import Command
from portraitq.core.events import DayClosed, print_line
from portraitq.demo import run
from portraitq.demo.scenario import CLOSES, SET_UP, SLUG, at
from portraitq.desk import Desks
from portraitq.photo.face import read_faces
from portraitq.store import cards, journal, photos
from portraitq.store.health import look_through
from portraitq.store.store import open_store

TODAY = date(2026, 6, 6)


@pytest.fixture
def prepared(tmp_path, monkeypatch):
    """A store in which the curtain is just up, and its market; one evening only, and small photos."""
    monkeypatch.setattr(run, "FACE_PX", (90, 120))
    store = open_store(tmp_path)
    return store, run.prepare(store, TODAY, evenings=0)


@pytest.fixture
def live(prepared):
    """The demo's desks on a clock that runs as fast as the demo lets it."""
    store, market = prepared
    desks = Desks(store, run.clock(TODAY, 200))
    yield desks, market
    desks.close()


def eventually(holds, within_s=30.0):
    """Whether it comes true; looked at often."""
    end_s = time.monotonic() + within_s
    while not (now_holds := holds()) and time.monotonic() < end_s:
        time.sleep(0.05)
    return now_holds


def test_every_open_ticket_has_a_card_a_code_and_a_photo(prepared):
    store, _ = prepared

    with store.reading() as conn:
        booth = fold(Booth(), journal.events(conn, SLUG))
        open_ids = list(booth.open_ids)
        known = cards.of_booth(conn, SLUG, open_ids)
        seen = photos.of_tickets(conn, SLUG, open_ids)

    assert len(open_ids) > 5
    assert all(known[id].code and known[id].name for id in open_ids)
    assert all(len(seen[id]) == 1 for id in open_ids)
    for id in open_ids:
        assert len(read_faces(seen[id][0].faces)) == booth.tickets[id].sitters


def test_the_store_is_whole_and_its_journal_is_that_of_the_rehearsal(prepared):
    store, _ = prepared
    _, stall = run.rehearse(TODAY, run.SEED, evenings=0)

    with store.reading() as conn:
        lines, found = journal.lines(conn, SLUG), list(look_through(conn))

    assert [fault for one in found for fault in one.faults] == []
    assert lines == [print_line(event) for event in stall.events]


def test_the_ticket_to_show_leads_to_one_that_waits(live):
    desks, _ = live

    desk, id = desks.by_code(run.ticket_to_show(desks.store))

    assert desk.slug == SLUG
    assert desk.ticket(id).place == "waiting"


def test_the_market_goes_on_and_takes_orders_with_photos(live):
    desks, market = live
    desk, stopped = desks.at(SLUG), threading.Event()
    before = set(desk.standing().booth.tickets)
    thread = threading.Thread(target=run.keep_trading, args=(desks, market, stopped))

    thread.start()
    goes_on = eventually(lambda: len(desk.standing().booth.tickets) >= len(before) + 2)
    stopped.set()
    thread.join()

    new = set(desk.standing().booth.tickets) - before
    assert goes_on
    assert all(desk.photo_refs(new).values())


@pytest.mark.parametrize("by_visitor", [False, True])
def test_when_the_evening_is_over_a_new_one_begins(live, by_visitor):
    desks, market = live
    desk, stopped, tomorrow = desks.at(SLUG), threading.Event(), TODAY + timedelta(days=1)
    if by_visitor:
        desk.carry_out(Command("closed by a visitor", DayClosed()))
    else:
        desks.clock.skip_to(at(TODAY, clock_time(23, 55)))
    thread = threading.Thread(target=run.keep_trading, args=(desks, market, stopped))

    thread.start()
    begun = eventually(
        lambda: (
            (booth := desk.standing().booth).day is not None
            and booth.day.day == tomorrow.isoformat()
            and len(booth.here_since) == len(SET_UP.artists)
            and any(ticket.day == tomorrow.isoformat() for ticket in booth.tickets.values())
        )
    )
    stopped.set()
    thread.join()

    booth = desk.standing().booth
    closed_at = booth.days[-2].closed_at
    over = [ticket for ticket in booth.tickets.values() if ticket.over_at and ticket.over_at < closed_at]
    assert begun
    assert over
    assert all(ticket.is_erased for ticket in over)


def test_an_evening_is_over_soon_after_closing_once_nobody_draws():
    _, stall = run.rehearse(TODAY, 1, evenings=0)
    market = run.Market(stall, 1, at(TODAY, run.OPENS), at(TODAY, CLOSES))
    minutes = timedelta(minutes=1)

    busy = [run.is_over(stall.standing, market, market.closes_at + after * minutes) for after in (-1, 20, 51)]

    assert busy == [False, False, True]


def test_the_screens_that_a_visitor_is_told_of_begin_with_the_wall():
    told = dict(run.screens("CODE"))

    assert next(iter(told.values())) == f"/{SLUG}/wall"
    assert "/t/CODE" in told.values()
    assert {f"/{SLUG}/easel/{artist.id}" for artist in SET_UP.artists} <= set(told.values())


def test_the_demos_clock_begins_when_the_curtain_rises():
    clock = run.clock(TODAY, 6)

    assert isinstance(clock, Clock)
    assert timedelta(0) <= clock.now() - run.curtain_up(TODAY) < timedelta(minutes=1)
