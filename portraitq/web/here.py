"""What this request is about: the desks of this program, the booth in the address, the device that speaks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, cast

from flask import current_app, request

from portraitq.core.commands import read_by
from portraitq.core.events import COUNTER
from portraitq.web.problems import NotThere

if TYPE_CHECKING:
    from portraitq.daybook.days import Day
    from portraitq.desk import Desk, Desks

BY_HEADER = "X-Portraitq-By"


def desks() -> Desks:
    """All booths of this program."""
    return cast("Desks", current_app.extensions["portraitq"])


def desk_at(slug: str) -> Desk:
    """The desk of the booth that the address names; NotThere (404) when there is none."""
    try:
        return desks().at(slug)
    except LookupError as unknown:
        known = ", ".join(desks().slugs()) or "none yet"
        raise NotThere(f"There is no booth {slug[:40]!r} here (there is: {known}).") from unknown


def day_at(days: Sequence[Day], name: str) -> Day:
    """The day of trading that the address names; NotThere (404) when there is none of that date."""
    if day := next((one for one in days if one.day == name), None):
        return day
    known = f"{days[0].day} to {days[-1].day}" if days else "none yet"
    raise NotThere(f"The booth did not trade on {name[:20]!r} (its days: {known}).")


def address() -> str:
    """What phones call this program, such as `http://192.168.4.1:8750`, without a slash at its end."""
    return str(current_app.config["PORTRAITQ_ADDRESS"])


def by() -> str:
    """Which device says so, as the journal names it: from its header, else the counter; Malformed if it is none."""
    return read_by(request.headers.get(BY_HEADER, COUNTER))
