"""Which ticket a code is, wherever one comes in: on the ticket's page, over the API, over a live line.

A code that is none, one that never was and one whose booth is gone get the same answer after the same work. Whoever
sends many of them is told to wait (OWASP ASVS 5.0, 6.6.3 for codes of less than 64 bits; ours have 64.8). A right code
is answered whatever came before it: phones behind one router have one address, and no customer waits because somebody
beside them plays. That leaves a guesser the speed of this computer: a thousand a second against a thousand tickets
find one in 2^64.8 / 10^6 s, a million years.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, cast

from flask import current_app, request

from portraitq.ticket.codes import CODE_SYMBOLS, normalise
from portraitq.web.here import desks
from portraitq.web.problems import NotThere, TooOften
from portraitq.web.staff import is_staff
from portraitq.web.wrong_guesses import WrongGuesses, guesser_at

if TYPE_CHECKING:
    from flask import Flask

    from portraitq.desk import Desk

NO_SUCH = "There is no ticket of that code. Read it from the slip once more, or ask at the booth."
NO_CODE = "-" * CODE_SYMBOLS  # is looked up in place of what cannot be one
FREE_GUESSES = 20  # a slip read aloud in a noisy hall, a few times over
LONGEST_WAIT_S = 60
IN_ALL_PER_HOUR = 1000


def ticket_of(typed: str) -> tuple[Desk, str, str]:
    """The desk, the ticket's id and the code in its stored form.

    Raises NotThere when there is none, TooOften when this address, or all together, sent too many that were none.
    """
    code = normalise(typed)
    found = desks().by_code(code or NO_CODE)
    if found is not None and code is not None:
        return found[0], found[1], code
    if not is_staff():
        _count_one()
    raise NotThere(NO_SUCH)


def _count_one() -> None:
    guesses = cast("WrongGuesses", current_app.extensions["portraitq-code-guesses"])
    who = guesser_at(request.remote_addr)
    if wait_s := guesses.take(who):
        raise TooOften(f"Too many codes came in that are no ticket's. Wait {wait_s} s, then try again.", wait_s)


def install(app: Flask) -> None:
    """Count the codes that are none, for `app`."""
    app.extensions["portraitq-code-guesses"] = WrongGuesses(
        time.monotonic, FREE_GUESSES, LONGEST_WAIT_S, IN_ALL_PER_HOUR
    )
