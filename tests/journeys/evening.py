"""*Quayside Portraits* in the last hours of its day, in this process: it closes at 23:00 by Lisbon's clocks."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, time
from pathlib import Path

from portraitq import passphrase
from portraitq.clock import Clock
from portraitq.core.commands import Command
from portraitq.core.events import ArtistIn, SetUp
from portraitq.demo import scenario
from portraitq.desk import Desks
from portraitq.store.store import open_store
from portraitq.web.app import create_app
from tests.web.conftest import PASSPHRASE, Web

A_SATURDAY = date(2026, 6, 6)


@contextmanager
def an_evening(
    folder: Path, local: time, waiting: tuple[str, ...] = (), ready: int = 0, set_up: SetUp = scenario.SET_UP
) -> Iterator[Web]:
    """The booth `quay` at that clock time, both artists in: so many on the rack, and these styles in the queue."""
    desks = Desks(open_store(folder), Clock(start_at=scenario.at(A_SATURDAY, time(17, 0))))
    desk = desks.create("quay", set_up)
    web = Web(desks, create_app(desks, address="http://192.168.4.1:8750"))
    passphrase.set_passphrase(desks.store, PASSPHRASE)
    desk.carry_out(Command("day", scenario.opening(A_SATURDAY)))
    for who in ("mira", "teo"):
        desk.carry_out(Command(f"in-{who}", ArtistIn(artist=who), f"easel:{who}"))
    for _ in range(ready):
        ticket = web.order("ink-head")
        web.do("started", ticket=ticket, artist="mira")
        for stage in desk.ticket(ticket).style.stages[:-1]:
            web.do("stage_done", ticket=ticket, stage=stage.id)
        web.do("finished", ticket=ticket, rack=None)
    desk.clock.skip_to(scenario.at(A_SATURDAY, local))
    for style in waiting:
        web.order(style)
    web.do("walked_away", style=None, sitters=1, ready_by=None)  # so that it is quoted anew
    desk.standing(wait_s=30)
    yield web
    web.app.extensions["portraitq-live"].close()
    desks.close()
