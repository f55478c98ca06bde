"""How long did people wait, and how long did it take in all, by the hour in which they ordered?

Hours are those on the booth's clock. Where a night of October has one of them twice, they are two. An order counts to
the hour in which it was taken; of those that were not begun or finished on the day only the number is known, so
beside each hour's figures stands how many were ordered in it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from portraitq.daybook.quantiles import Spread, spread

HOUR = timedelta(hours=1)
MOST_HOURS = 36  # a day that was never closed for weeks is told by the hours in which somebody ordered


@dataclass(frozen=True, slots=True)
class Taken:
    """One order of the day; None where it was not begun, or not finished, on the day."""

    ticket: str
    at: datetime
    waiting_s: float | None
    flow_s: float | None


@dataclass(frozen=True, slots=True)
class HourFigures:
    """The orders of one hour of the clock, which began at `begins_at`."""

    begins_at: datetime
    tickets: tuple[str, ...]
    waiting: Spread | None
    flow: Spread | None

    def name(self, zone: ZoneInfo) -> str:
        """What the figure is called by whoever asks for its tickets: `hour-06T14`, `b` behind a second one."""
        local = self.begins_at.astimezone(zone)
        return f"hour-{local:%dT%H}{'b' if local.fold else ''}"


def by_hour(orders: Iterable[Taken], zone: ZoneInfo) -> tuple[HourFigures, ...]:
    """The hours from the first order to the last, those without an order as well."""
    found: dict[datetime, list[Taken]] = {}
    for one in orders:
        found.setdefault(_hour_of(one.at, zone), []).append(one)
    return tuple(
        HourFigures(
            begins_at=begins_at,
            tickets=tuple(one.ticket for one in found.get(begins_at, ())),
            waiting=_spread(found.get(begins_at, ()), lambda one: one.waiting_s),
            flow=_spread(found.get(begins_at, ()), lambda one: one.flow_s),
        )
        for begins_at in _hours(sorted(found), zone)
    )


def _hour_of(at: datetime, zone: ZoneInfo) -> datetime:
    return at.astimezone(zone).replace(minute=0, second=0, microsecond=0).astimezone(UTC)


def _hours(known: Sequence[datetime], zone: ZoneInfo) -> list[datetime]:
    if not known or known[-1] - known[0] > MOST_HOURS * HOUR:
        return list(known)
    n = int((known[-1] - known[0]) / HOUR) + 1
    between = {_hour_of(known[0] + hour * HOUR, zone) for hour in range(n)}
    return sorted(between.union(known))


def _spread(orders: Iterable[Taken], of: Callable[[Taken], float | None]) -> Spread | None:
    return spread(value for one in orders if (value := of(one)) is not None)
