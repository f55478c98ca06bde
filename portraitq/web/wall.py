"""The Wall: read from six metres by everybody who passes, and without a word about anybody.

What is ready, what is on the easels and how far, who is next, and when a portrait ordered now would be ready. How many
numbers are large depends on how many there are; the oldest step back into a smaller line before any becomes too small
to be read.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from flask import Blueprint, Response, request

from portraitq.core.booth import Booth
from portraitq.core.events import SetUp, Style
from portraitq.core.life import ON_EASEL, READY, TOUCH_UP, TOUCH_UP_REST, WAITING, Ticket
from portraitq.web import said, views
from portraitq.web.here import desk_at
from portraitq.web.last_orders import FAR_OFF, ForToday, for_today, is_near, takes_orders
from portraitq.web.queue import now_of
from portraitq.web.quoted import about, names_a_time, window_of

if TYPE_CHECKING:
    from portraitq.desk import Desk, Standing
    from portraitq.forecast.quotes import Quote

blueprint = Blueprint("wall", __name__)

SIZES = ((2, "two"), (6, "few"), (12, "some"), (20, "many"))  # so many fit beside the easels at 15, 10.5, 7.6, 5.4 vw
MOST_LARGE = SIZES[-1][0]
WAITING_SHOWN = 8
STYLES_SHOWN = 8
DAYS_A_WEEK = 7
CLOSING_SOON = timedelta(minutes=60)
A_NIGHT = timedelta(hours=6)  # a window that is wider than this over midnight has hours in it in which nobody draws
ASK_WHEN = "Ask at the counter when a portrait ordered now is ready:"  # while the clock is wrong


@dataclass(frozen=True)
class WallTicket:
    """One number, its `day` where that is not today.

    `place` is "ready", "easel" or "waiting"; `said` where it is; `about` when it is ready, in words.
    """

    number: int
    day: str
    place: str
    said: str
    stages_done: int
    stages: int
    about: str


@dataclass(frozen=True)
class WallStyle:
    """One style, and when it would be ready if it were ordered now: `lead` is a small word before `window`.

    `today` says in the last hours of the day until when it can be ordered for today, or that it cannot any more.
    """

    style: str
    name: str
    price: str
    lead: str
    window: str
    today: ForToday = FAR_OFF


@dataclass(frozen=True)
class WallView:
    """What the wall shows.

    ready        large numbers, the newest first; `size` says how large ("none", "two", "few", "some", "many")
    also_ready   those that have been ready for longest, for the smaller line
    order_now    the headline over `styles`
    """

    booth: str
    is_open: bool
    hours: str
    size: str
    ready: tuple[WallTicket, ...]
    also_ready: tuple[WallTicket, ...]
    easels: tuple[WallTicket, ...]
    waiting: tuple[WallTicket, ...]
    waiting_more: int
    order_now: str
    styles: tuple[WallStyle, ...]
    more_styles: int


@blueprint.get("/<booth>/wall")
def show(booth: str) -> Response:
    """The wall, for everybody; `?evening=1` is the dark one whatever the screen's own settings are."""
    evening = {"1": "on", "0": "off"}.get(request.args.get("evening", ""), "")
    return views.show_view("wall", desk_at(booth), page="wall.html", evening=evening)


def wall_view(standing: Standing) -> WallView:
    """The wall as the booth stands."""
    booth, now = standing.booth, standing.as_of
    if (set_up := booth.set_up) is None:
        return WallView("", False, "", "none", (), (), (), (), 0, "This booth is not set up yet.", (), 0)
    ready = _ready(booth)
    large, size = _as_many_as_fit(len(ready))
    easels = [ticket for artist in set_up.artists if (ticket := booth.on_easel(artist.id))]
    waiting = [ticket for ticket in booth.waiting() if ticket.place == WAITING]
    styles = [_style(standing, style) for style in set_up.styles if style.id in standing.forecast.order_now]
    if not any(standing.forecast.last_orders.values()):  # the headline says it for all: said again it takes the room
        styles = [replace(style, today=FAR_OFF) for style in styles]  # of those who wait
    return WallView(
        booth=set_up.booth.name,
        is_open=booth.day is not None,
        hours=_hours(booth, now) if standing.tells_time else "Open" if booth.day else "Closed",
        size=size,
        ready=tuple(_ticket(standing, ticket) for ticket in ready[:large]),
        also_ready=tuple(_ticket(standing, ticket) for ticket in ready[large:]),
        easels=tuple(_ticket(standing, ticket) for ticket in easels),
        waiting=tuple(_ticket(standing, ticket) for ticket in waiting[:WAITING_SHOWN]),
        waiting_more=max(0, len(waiting) - WAITING_SHOWN),
        order_now=_order_now(standing, set_up, bool(waiting), len(easels)),
        styles=tuple(styles[:STYLES_SHOWN]),
        more_styles=max(0, len(styles) - STYLES_SHOWN),
    )


def _as_many_as_fit(count: int) -> tuple[int, str]:
    """How many numbers are shown large, and how large."""
    if not count:
        return 0, "none"
    return next(((fit, size) for fit, size in SIZES if count <= fit), SIZES[-1])


def _ready(booth: Booth) -> list[Ticket]:
    """What hangs on the rack, the newest first: whoever comes for an older one has found the booth already."""
    ready = [ticket for ticket in booth.open_tickets() if ticket.place == READY]
    return sorted(ready, key=lambda ticket: max(e.seq for e in ticket.history if e.kind == "finished"), reverse=True)


def _ticket(standing: Standing, ticket: Ticket) -> WallTicket:
    booth, now = standing.booth, standing.as_of
    quote = standing.forecast.tickets.get(ticket.id) if ticket.place != READY and ticket.finished_at is None else None
    place = "ready" if ticket.place == READY else "easel" if ticket.place in ON_EASEL else "waiting"
    return WallTicket(
        number=ticket.number,
        day=now_of(standing).beside(ticket),
        place=place,
        said=_said(ticket),
        stages_done=ticket.stages_done,
        stages=len(ticket.style.stages),
        about=f"about {about(quote, booth.zone, now)}" if standing.tells_time and names_a_time(quote) else "",
    )


def _said(ticket: Ticket) -> str:
    if ticket.place in (TOUCH_UP, TOUCH_UP_REST):
        return "Touch-up"
    if ticket.place in ON_EASEL:
        return ticket.stage_in_hand.name if ticket.stage_in_hand else "Last touch"
    return "Ready" if ticket.place == READY else "Waiting"


def _style(standing: Standing, style: Style) -> WallStyle:
    booth, quote = standing.booth, standing.forecast.order_now[style.id]
    assert booth.set_up is not None
    tells_time = booth.day is not None and standing.tells_time
    lead, window = window_in_words(quote, booth.zone, standing.as_of) if tells_time else ("", "")
    return WallStyle(
        style=style.id,
        name=style.name,
        price=said.money(style.price, booth.set_up.booth.currency),
        lead=lead,
        window=window,
        today=for_today(standing, standing.forecast.last_orders.get(style.id), quote, standing.as_of)
        if tells_time
        else FAR_OFF,
    )


def window_in_words(quote: Quote, zone: ZoneInfo, now: datetime) -> tuple[str, str]:
    """When a portrait ordered now is ready: `about` `15:20–15:35` today, `tomorrow from` `10:15`, or a later day.

    Where the booth's night lies in the window, it may be ready today and may as well not: it is `tomorrow by` `17:15`.
    """
    low, high = (max(now, at) for at in quote.window)
    first, last = (at.astimezone(zone).date() for at in (low, high))
    if first == last == now.astimezone(zone).date():
        return "about", window_of(quote, zone, now)
    if first != last and high - low > A_NIGHT:
        day, word, at = _day_of(quote.promise_at, zone, now), "by", quote.promise_at
    else:
        day, word, at = _day_of(low, zone, now), "from", low - timedelta(seconds=low.timestamp() % said.WINDOW_STEP_S)
    return (f"{day} {word}", said.clock_time(at, zone)) if day else ("", "in more than a week")


def _day_of(at: datetime, zone: ZoneInfo, now: datetime) -> str:
    """The day of `at`, as of `now`; empty where a weekday would not say which."""
    days = (at.astimezone(zone).date() - now.astimezone(zone).date()).days
    return {0: "today", 1: "tomorrow"}.get(days, f"{at.astimezone(zone):%A}" if days < DAYS_A_WEEK else "")


def _hours(booth: Booth, now: datetime) -> str:
    if (day := booth.day) is None:
        return "Closed"
    closes = said.clock_time(day.closes_at, booth.zone, now)
    if day.closes_at <= now:
        return f"Closed for new orders since {closes}"
    return f"Closing at {closes}" if day.closes_at - now <= CLOSING_SOON else f"Open until {closes}"


def _order_now(standing: Standing, set_up: SetUp, somebody_waits: bool, on_easels: int) -> str:
    """The headline over the styles: what somebody who wonders should know first."""
    booth, now = standing.booth, standing.as_of
    if booth.day is None:
        return "We are closed. When we open, we draw:"
    if not standing.tells_time:
        return ASK_WHEN
    today = _ready_today(standing.forecast.order_now.values(), booth.zone, now)
    if not today or not takes_orders(standing, now):
        return "No more portraits are begun today. One ordered now is ready:"
    still = [last for last in standing.forecast.last_orders.values() if last is not None]
    if not still:
        return "Nothing more can be promised before closing. A portrait ordered now is ready:"
    is_free = on_easels < len([artist for artist in set_up.artists if artist.id in booth.here_since])
    if any(is_near(last, now) for last in still):
        nobody = ", and nobody is waiting" if is_free and not somebody_waits else ""
        return f"Last orders for today{nobody}. A portrait ordered now is ready:"
    if is_free and not somebody_waits:
        return "Nobody is waiting: a portrait ordered now is begun at once."
    return "A portrait ordered now is ready:"


def _ready_today(quotes: Collection[Quote], zone: ZoneInfo, now: datetime) -> bool:
    today = now.astimezone(zone).date()
    return any(quote.window[0].astimezone(zone).date() == today for quote in quotes)


def _build(desk: Desk, standing: Standing, arg: str) -> WallView:
    return wall_view(standing)


views.register(views.View("wall", views.ANYBODY, _build, "views/wall.html"))
