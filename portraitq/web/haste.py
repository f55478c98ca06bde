"""How fast strangers may ask: as fast as a full hall does, and no laptop keeps the booth busy with asking.

An address may ask as often as a whole hall behind one router (`HALL`). What all strangers may ask together (`ALL`) is
what leaves the booth time for its own work; where that is used up, an address gets no more than one phone needs
(`PHONE`), so that a stranger with many addresses does not keep others from their tickets. Who is over is told 429 and
when to come back (RFC 6585 §4, RFC 9110 §10.2.3) before anything was looked up, and told so `HOLD_S` late: a program
that asks again as soon as it is answered would otherwise only be busier. The booth's own people are never told so,
whichever address they share; nor is a proxy on this machine, which speaks for many.

How many requests are in hand at once is `crowd.py`'s; how long each may take to come is `slow_clients.py`'s.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from flask import Flask

from portraitq.locality import MANY_BEHIND
from portraitq.web.crowd import told_when
from portraitq.web.staff import is_from_staff
from portraitq.web.wrong_guesses import guesser_at

HOLD_S = 1.0
MOST_HELD = 300  # so many connections `serve.py` keeps open that need no thread, until they are held here
MOST_ADDRESSES = 4096
AGAIN_S = 10
TOO_FAST = "More is asked from here than the booth can answer. Nothing is lost: look again in a moment."

Wsgi = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]


@dataclass(frozen=True)
class Pace:
    """So many requests without a rest, and so many a second for ever."""

    at_once: int
    per_s: float


HALL = Pace(1000, 80.0)  # all come back after the router was off; 1 200 that ask every 15 s for want of a live line
ALL = Pace(2000, 160.0)  # two such halls
PHONE = Pace(60, 2.0)  # three pages with all that belongs to them


class Spent:
    """What each of many has asked of its pace. `now_s` is a monotonic clock's, and never goes back."""

    def __init__(self, pace: Pace) -> None:
        self._pace = pace
        self._over_at_s: OrderedDict[str, float] = OrderedDict()  # who is not here has asked nothing lately

    def has_left(self, who: str, now_s: float) -> bool:
        """Whether one request more is within the pace."""
        gone = self._over_at_s.get(who, now_s)
        return (gone - now_s) * self._pace.per_s <= self._pace.at_once - 1 + 1e-6

    def count(self, who: str, now_s: float) -> None:
        """One request more; beyond the pace nothing is owed."""
        over_at_s = max(self._over_at_s.pop(who, now_s), now_s) + 1 / self._pace.per_s
        self._over_at_s[who] = min(over_at_s, now_s + self._pace.at_once / self._pace.per_s)
        while len(self._over_at_s) > MOST_ADDRESSES:
            self._over_at_s.popitem(last=False)  # who asked longest ago


class Askers:
    """Who asks how fast. `seconds` is a monotonic clock; any number of threads may use it."""

    def __init__(self, seconds: Callable[[], float]) -> None:
        self._seconds = seconds
        self._as_hall, self._as_phone, self._all = Spent(HALL), Spent(PHONE), Spent(ALL)
        self._lock = threading.Lock()

    def may_ask(self, who: str) -> bool:
        """Whether `who` may ask now; if so, it is counted."""
        with self._lock:
            now_s = self._seconds()
            may = self._as_hall.has_left(who, now_s) and (
                self._all.has_left("", now_s) or self._as_phone.has_left(who, now_s)
            )
            if may:
                self._as_hall.count(who, now_s)
                self._as_phone.count(who, now_s)
                self._all.count("", now_s)
            return may


class Gate:
    """Stands before everything else and looks at nothing but the address, until that has asked too much."""

    def __init__(self, app: Flask, inside: Wsgi, askers: Askers, rest: Callable[[float], None] = time.sleep) -> None:
        self._app, self._inside, self._askers, self._rest = app, inside, askers, rest
        self._places = threading.BoundedSemaphore(MOST_HELD)

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Let in, or say when to come back."""
        if self._may_ask(str(environ.get("REMOTE_ADDR", ""))) or is_from_staff(self._app, environ):
            return self._inside(environ, start_response)
        self._hold()
        return told_when(environ, start_response, "429 Too Many Requests", TOO_FAST, AGAIN_S)

    def count(self, address: str) -> None:
        """Something came from there that was no request; whoever sends many waits for the answers as others do."""
        if not self._may_ask(address):
            self._hold()

    def _may_ask(self, address: str) -> bool:
        return address in MANY_BEHIND or self._askers.may_ask(guesser_at(address))

    def _hold(self) -> None:
        if self._places.acquire(blocking=False):
            try:
                self._rest(HOLD_S)
            finally:
                self._places.release()


def install(app: Flask) -> None:
    """Stand before `app`. To be installed last."""
    app.extensions["portraitq-haste"] = gate = Gate(app, app.wsgi_app, Askers(time.monotonic))
    app.wsgi_app = gate  # type: ignore[method-assign]
