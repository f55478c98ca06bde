"""*Quayside Portraits* in the last hours of its day, in this process: it closes at 23:00 by Lisbon's clocks."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, time, timedelta
from pathlib import Path

from portraitq import passphrase
from portraitq.clock import Clock
from portraitq.core.events import SetUp
from portraitq.demo import scenario
from portraitq.desk import Desks
from portraitq.store.store import open_store
from portraitq.web.app import create_app
from tests.builders import Told, a_journal
from tests.web.conftest import PASSPHRASE, Web

A_SATURDAY = date(2026, 6, 6)


def drawn_so_far(set_up: SetUp, ready: int) -> Told:
    """A day that is open, both artists in, and so many ink heads on the rack, ten minutes each."""
    told = a_journal().says(set_up, at=scenario.at(A_SATURDAY, time(16, 0)))
    told = told.says(scenario.opening(A_SATURDAY), at=scenario.at(A_SATURDAY, time(17, 0))).artist_in("mira", "teo")
    for number in range(1, ready + 1):
        id, hand = f"T{number}", "mira" if number % 2 else "teo"
        at = scenario.at(A_SATURDAY, time(17, 5)) + timedelta(minutes=11 * number)
        told = told.ordered(id, at=at).started(id, hand, at=at)
        for stage in range(len(told.ticket(id).style.stages)):
            told = told.stage_done(id, at=at + timedelta(minutes=2 * (stage + 1)))
        told = told.finished(id, at=at + timedelta(minutes=10))
    return told


@contextmanager
def an_evening(
    folder: Path, local: time, waiting: tuple[str, ...] = (), ready: int = 0, set_up: SetUp = scenario.SET_UP
) -> Iterator[Web]:
    """The booth `quay` at that clock time: so many numbers on the rack, and these styles in the queue."""
    desks = Desks(open_store(folder), Clock(start_at=scenario.at(A_SATURDAY, local)))
    desks.import_journal("quay", drawn_so_far(set_up, ready).lines)
    web = Web(desks, create_app(desks, address="http://192.168.4.1:8750"))
    passphrase.set_passphrase(desks.store, PASSPHRASE)
    for style in waiting:
        web.order(style)
    web.desk.standing(wait_s=30)
    yield web
    web.app.extensions["portraitq-live"].close()
    desks.close()
