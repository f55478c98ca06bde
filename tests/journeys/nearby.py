"""The booth of `served.py` in threads of this process: the same to a browser, and up at once.

For journeys that are about screens. What is about the service itself (process, log, power) starts a real one.
"""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass, field

from portraitq import passphrase, starter
from portraitq.core.commands import Command
from portraitq.desk import Desks
from portraitq.starter import SLUG
from portraitq.store.store import open_store
from portraitq.web.app import create_app
from tests.journeys.served import Served
from tests.web.conftest import PASSPHRASE, ZONE, Web, serving


@dataclass
class Nearby(Served):
    """A first start's booth, its day open, at `folder`."""

    passphrase: str = PASSPHRASE
    up: ExitStack = field(default_factory=ExitStack)

    def start(self) -> None:
        desks = Desks(open_store(self.folder / "data"))
        self.up.callback(desks.close)
        desk = desks.create(SLUG, starter.set_up(ZONE.key, "EUR"))
        desk.carry_out(Command("first-day", starter.first_day(desks.clock.now(), ZONE)))
        passphrase.set_passphrase(desks.store, PASSPHRASE)
        self.up.enter_context(serving(Web(desks, create_app(desks, address=self.address)), self.port))

    def kill(self) -> None:
        raise AssertionError("only a service with a process of its own can be killed")

    def stop(self) -> None:
        self.up.close()
