"""Opening and closing a day at the counter: what is proposed, what came in, what carries over."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from portraitq.core.booth import Booth, local_day
from portraitq.core.commands import Command, read_command
from portraitq.core.errors import Malformed
from portraitq.core.events import ArtistIn, Collected, easel, print_instant
from portraitq.core.life import IN_QUEUE, ON_EASEL, READY, Ticket
from portraitq.daybook.days import day_named
from portraitq.daybook.takings import takings_of
from portraitq.starter import first_day
from portraitq.web.order_form import fresh_id
from portraitq.web.said import clock_time, day_said, money

LONGEST_DAY = timedelta(hours=24)
LONGEST_NIGHT = timedelta(hours=18)  # tomorrow's closing time that is further away is today's, which has passed
LONGEST_ID = 26  # ids of the artists' commands are made from it
CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)", re.ASCII)


@dataclass(frozen=True)
class DayForm:
    """What stands in the form before anybody has typed: `artists` are (id, name)."""

    id: str
    today: str
    closes: str
    artists: tuple[tuple[str, str], ...]
    carried: str


@dataclass(frozen=True)
class DayEnd:
    """What closing the day would leave: `carries` in sentences, `paid` as money."""

    day: str
    closes: str
    carries: tuple[str, ...]
    drawn: int
    collected: int
    paid: str


def day_form(booth: Booth, now: datetime) -> DayForm:
    """A day that could be opened now: it closes when the last one did, everybody comes in."""
    artists = tuple((artist.id, artist.name) for artist in booth.set_up.artists) if booth.set_up else ()
    left = len(booth.open_ids)
    carried = f"{left} {'portrait carries' if left == 1 else 'portraits carry'} over from before." if left else ""
    return DayForm(
        id=fresh_id(),
        today=day_said(local_day(now, booth.zone)),
        closes=_usual_closing(booth, now),
        artists=artists,
        carried=carried,
    )


def _usual_closing(booth: Booth, now: datetime) -> str:
    if booth.days:
        last = clock_time(booth.days[-1].closes_at, booth.zone)
        if timedelta(hours=1) < next_at(last, booth.zone, now) - now < timedelta(hours=16):
            return last
    return clock_time(first_day(now, booth.zone).closes_at, booth.zone)


def next_at(clock: str, zone: ZoneInfo, after: datetime) -> datetime:
    """The next instant after `after` at which clocks in `zone` show `clock`, such as `18:30`."""
    found = CLOCK.fullmatch(clock.strip())
    if found is None:
        raise ValueError(f"a time such as 18:30 was expected, not {clock[:20]!r}")
    local = after.astimezone(zone)
    wanted = local.replace(hour=int(found[1]), minute=int(found[2]), second=0, microsecond=0)
    while (at := wanted.astimezone(after.tzinfo)) <= after:
        wanted = (wanted.replace(tzinfo=None) + timedelta(days=1)).replace(tzinfo=zone)
    return at


def read_day(form: Mapping[str, str], booth: Booth, now: datetime, by: str) -> list[Command]:
    """The commands that open the day and bring the artists in; Malformed names the field."""
    id = (form.get("id") or fresh_id())[:LONGEST_ID]
    closes_at = _clock(form, "closes", booth.zone, now)
    if closes_at - now > LONGEST_NIGHT and local_day(closes_at, booth.zone) != local_day(now, booth.zone):
        said = clock_time(closes_at, booth.zone)
        raise Malformed(
            f"closes: {said} has passed today, and tomorrow's is too far away: choose a later time.", "closes"
        )
    breaks = []
    artists = [artist.id for artist in booth.set_up.artists] if booth.set_up else []
    for artist in artists:
        begins, ends = form.get(f"from-{artist}", "").strip(), form.get(f"to-{artist}", "").strip()
        if not begins and not ends:
            continue
        begins_at = _clock(form, f"from-{artist}", booth.zone, now)
        ends_at = _clock(form, f"to-{artist}", booth.zone, begins_at)
        if ends_at - begins_at > LONGEST_DAY / 2:
            raise Malformed("A break must end after it begins.", f"to-{artist}")
        breaks.append({"artist": artist, "from": print_instant(begins_at), "to": print_instant(ends_at)})
    data = {"day": local_day(now, booth.zone), "closes_at": print_instant(closes_at), "breaks": breaks}
    opened = read_command({"id": id, "kind": "day_opened", "data": data}, by)
    come = [
        Command(f"{id}-in-{place}", ArtistIn(artist=artist), easel(artist))
        for place, artist in enumerate(artists)
        if f"in-{artist}" in form
    ]
    return [opened, *come]


def _clock(form: Mapping[str, str], field: str, zone: ZoneInfo, after: datetime) -> datetime:
    try:
        return next_at(form.get(field, ""), zone, after)
    except ValueError as odd:
        raise Malformed(f"{field}: {odd}.", field) from odd


def day_end(booth: Booth) -> DayEnd | None:
    """What closing the day that is open would leave, counted as the day book does; None when none is open."""
    day = booth.day
    if day is None or booth.set_up is None:
        return None
    today = day_named(booth, day.day)
    assert today is not None
    open_tickets = booth.open_tickets()
    waiting = sum(ticket.place in IN_QUEUE for ticket in open_tickets)
    at_easel = [ticket for ticket in open_tickets if ticket.place in ON_EASEL]
    ready = sum(ticket.place == READY for ticket in open_tickets)
    carries = []
    if waiting:
        carries.append(f"{waiting} waiting {'portrait carries' if waiting == 1 else 'portraits carry'} over, in order.")
    for ticket in at_easel:
        carries.append(f"Number {ticket.number} is still on an easel and stays there.")
    if ready:
        carries.append(f"{ready} ready {'portrait stays' if ready == 1 else 'portraits stay'} on the rack.")
    return DayEnd(
        day=day_said(day.day),
        closes=clock_time(day.closes_at, booth.zone),
        carries=tuple(carries),
        drawn=sum(today.holds(ticket.finished_at) for ticket in booth.tickets.values()),
        collected=sum(today.holds(_first_collected_at(ticket)) for ticket in booth.tickets.values()),
        paid=money(takings_of(today, booth.tickets.values()).net, booth.set_up.booth.currency),
    )


def _first_collected_at(ticket: Ticket) -> datetime | None:
    return next((event.happened_at for event in ticket.history if isinstance(event.data, Collected)), None)
