"""Last orders in words: until when a style can be promised for today, and what else is possible where it cannot.

Said of a style from two hours before its last order on; never a count-down, and nothing while the booth is closed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from portraitq.core.errors import Refused
from portraitq.web.quoted import TOLD_STEP_S, window_of
from portraitq.web.said import DAYS_A_WEEK, clock_time, window

if TYPE_CHECKING:
    from portraitq.desk import Standing
    from portraitq.forecast.quotes import Offer, Quote

SAID_AHEAD = timedelta(hours=2)
MOST_OTHERS = 3  # more are not listened to
UNTIL, AT_ONCE, NOT_SURELY, NOT_BEFORE = (
    "order until about",
    "order at once",
    "not surely before closing",
    "not before closing",
)


@dataclass(frozen=True)
class ForToday:
    """`order until about` `17:10`, or words alone; both are empty where nothing is said."""

    said: str
    until: str = ""


FAR_OFF = ForToday("")


def is_near(last: datetime | None, now: datetime) -> bool:
    """Whether a last order is so near that it is said; one that is past is."""
    return last is None or last - now <= SAID_AHEAD


def takes_orders(standing: Standing, now: datetime) -> bool:
    """Whether the booth is open and its closing still to come."""
    return standing.booth.day is not None and now < standing.booth.day.closes_at


def for_today(standing: Standing, last: datetime | None, quote: Quote, now: datetime) -> ForToday:
    """Until when it can be promised for today, or that it cannot; empty while that is far off, or the booth closed."""
    if not takes_orders(standing, now) or not is_near(last, now):
        return FAR_OFF
    if last is None:
        return ForToday(NOT_SURELY if _may_be_today(standing, quote) else NOT_BEFORE)
    told = _told(last)
    return ForToday(UNTIL, clock_time(told, standing.booth.zone)) if told > now else ForToday(AT_ONCE)


def instead(standing: Standing, style: str, offered: Mapping[str, Offer | Refused], now: datetime) -> str:
    """That a style chosen now is not for today, when it will be ready, and what is possible still; else empty."""
    booth, offer = standing.booth, offered[style]
    if isinstance(offer, Refused) or booth.day is None or offer.last_order is not None:
        return ""
    ready = f"ready {ready_in_words(standing, offer.quote, now)}."
    if not takes_orders(standing, now):
        return f"Closing was at {clock_time(booth.day.closes_at, booth.zone)}: {ready}"
    closing, still = _closing(standing), _still_today(standing, style, offered)
    may_be = _may_be_today(standing, offer.quote)
    said = f"Not surely before {closing}." if may_be else f"Not before {closing}: {ready}"
    return said + (f" Still today: {', '.join(still)}." if still else "")


def ready_in_words(standing: Standing, quote: Quote, now: datetime) -> str:
    """`about 17:40–18:05`, `tomorrow about 10:20–10:40`, `Monday about …`, or `in more than a week`."""
    zone = standing.booth.zone
    low, high = (max(now, at) for at in quote.window)
    days = (low.astimezone(zone).date() - now.astimezone(zone).date()).days
    if days >= DAYS_A_WEEK:
        return "in more than a week"
    if not days or low.astimezone(zone).date() != high.astimezone(zone).date():
        return f"about {window_of(quote, zone, now)}"
    day = "tomorrow" if days == 1 else f"{low.astimezone(zone):%A}"
    return f"{day} about {window(low, high, zone)}"


def _still_today(standing: Standing, style: str, offered: Mapping[str, Offer | Refused]) -> list[str]:
    """What can be promised for today in place of `style`, the nearest to it first."""
    assert standing.booth.set_up is not None
    zone, found, asked = standing.booth.zone, list[tuple[str, datetime]](), offered[style]
    if not isinstance(asked, Refused):
        if asked.of_anybody:
            found.append(("drawn by whoever is free first", asked.of_anybody))
        if asked.fewer:
            found.append(("1 sitter" if asked.fewer[0] == 1 else f"{asked.fewer[0]} sitters", asked.fewer[1]))
    for other in standing.booth.set_up.styles:
        offer = offered.get(other.id)
        if other.id != style and offer is not None and not isinstance(offer, Refused) and offer.last_order:
            found.append((other.name, offer.last_order))
    return [f"{name} (until {clock_time(_told(last), zone)})" for name, last in found[:MOST_OTHERS]]


def _closing(standing: Standing) -> str:
    day, until = standing.booth.day, standing.forecast.today_until
    if day is None or until is None or until <= day.closes_at:
        return "closing"
    return f"{clock_time(until, standing.booth.zone)}, as late as you draw on after closing"


def _may_be_today(standing: Standing, quote: Quote) -> bool:
    """Whether it may well be ready by the end of today, though not as surely as is promised here."""
    until = standing.forecast.today_until
    return until is not None and quote.window[0] <= until


def _told(last: datetime) -> datetime:
    """The last order to the five minutes before it."""
    return last - timedelta(seconds=last.timestamp() % TOLD_STEP_S)
