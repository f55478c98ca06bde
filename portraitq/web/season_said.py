"""How figures over several days are said: with their interval, with n, and never more than they bear."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import date

from babel.dates import format_date

from portraitq.daybook.bands import Band
from portraitq.daybook.differences import Mean
from portraitq.daybook.ratios import Ratio
from portraitq.daybook.shares import Share
from portraitq.daybook.trend import ENOUGH_DAYS, Trend
from portraitq.web.said import LOCALE

HOUR_MIN = 60


def short_day(day: str, with_year: bool = True) -> str:
    """A day of the journal in a few letters.

    >>> short_day("2026-06-06"), short_day("2026-06-06", with_year=False)
    ('6 Jun 2026', '6 Jun')
    """
    return str(format_date(date.fromisoformat(day), "d MMM y" if with_year else "d MMM", locale=LOCALE))


def days_said(first: str, last: str) -> str:
    """From which day to which.

    >>> days_said("2026-06-06", "2026-06-06"), days_said("2026-06-06", "2026-10-17")
    ('6 Jun 2026', '6 Jun – 17 Oct 2026')
    """
    if first == last:
        return short_day(first)
    return f"{short_day(first, with_year=first[:4] != last[:4])} – {short_day(last)}"


def n_of(n: int, one: str, several: str) -> str:
    """So many of them.

    >>> n_of(1, "day", "days"), n_of(4000, "portrait", "portraits")
    ('1 day', '4,000 portraits')
    """
    return f"{n:,} {one if n == 1 else several}"


def number(value: float) -> str:
    """A count that need not be whole, to a tenth below a hundred.

    >>> number(2.04), number(20.0), number(312.4), number(-1.25)
    ('2.0', '20.0', '312', '−1.2')
    """
    return f"{value:,.0f}".replace("-", "−") if abs(value) >= 99.95 else f"{value:.1f}".replace("-", "−")


def small(value: float) -> str:
    """A count that is often under one, to a hundredth there.

    >>> small(0.034), small(-0.001), small(-2.04)
    ('0.03', '0.00', '−2.0')
    """
    said = f"{value:.1f}" if abs(value) >= 0.995 else f"{value:.2f}"
    return said.removeprefix("-") if not float(said) else said.replace("-", "−")


def percent(value: float) -> str:
    """A share for people.

    >>> percent(0.874), percent(-0.03)
    ('87 %', '−3 %')
    """
    return f"{value * 100:.0f} %".replace("-0 %", "0 %").replace("-", "−")


def change(log: float) -> float:
    """The share by which a log of a ratio is above one.

    >>> round(change(math.log(1.12)), 6)
    0.12
    """
    return math.expm1(log)


def between(interval: tuple[float, float] | None, said: Callable[[float], str]) -> str:
    """An interval as `18.2–21.8`, or that there are too few.

    >>> between((18.24, 21.81), number), between((-0.1, 0.2), percent), between(None, number)
    ('18.2–21.8', '−10 % to 20 %', 'too few for an interval')
    """
    if interval is None:
        return "too few for an interval"
    low, high = (said(bound) for bound in interval)
    if "−" in low or "-" in low:
        return f"{low} to {high}"
    return f"{low.removesuffix(' %') if high.endswith(' %') else low}–{high}"


def mean_said(mean: Mean | Ratio | None, said: Callable[[float], str]) -> str:
    """A mean and its interval in brackets.

    >>> mean_said(Mean(9, 20.04, 1.0, (18.24, 21.81)), number)
    '20.0 (18.2–21.8)'
    """
    if mean is None:
        return "–"
    return f"{said(mean.value)} ({between(mean.interval, said)})"


def share_said(share: Share | None) -> str:
    """A share, its interval and what it is of.

    >>> share_said(Share(34, 40))
    '85 % (71–93 %, 34 of 40)'
    """
    if share is None:
        return "–"
    return f"{percent(share.value)} ({between(share.interval(), percent)}, {share.hits:,} of {share.n:,})"


def band_said(band: Band) -> str:
    """A band of waits.

    >>> [band_said(one) for one in (Band(0, 15), Band(15, 30), Band(45, 60), Band(60, 90), Band(120, None))]
    ['up to 15 min', '15–30 min', '45 min–1 h', '1 h–1½ h', 'over 2 h']
    """
    if band.to_min is None:
        return f"over {_wait(band.over_min)}"
    if not band.over_min:
        return f"up to {_wait(band.to_min)}"
    if band.to_min < HOUR_MIN:
        return f"{band.over_min}–{band.to_min} min"
    return f"{_wait(band.over_min)}–{_wait(band.to_min)}"


def _wait(minutes: int) -> str:
    hours, rest = divmod(minutes, HOUR_MIN)
    if not hours:
        return f"{minutes} min"
    return f"{hours}½ h" if rest else f"{hours} h"


def trend_said(trend: Trend | None, of: str, more: str, less: str, said: Callable[[float], str], days: int) -> str:
    """A sentence about a trend, per week; `said` prints the change of a week.

    of          what it is of, as the beginning of the sentence
    more, less  "grows by", "shrinks by"
    """
    if trend is None or trend.n < ENOUGH_DAYS:
        return f"{n_of(days, 'day', 'days')}: too few to tell a trend ({ENOUGH_DAYS} are needed)."
    low, high = (bound * 7 for bound in trend.interval)
    if not trend.is_clear:
        by = between((low, high), said)
        return f"No clear trend: {of} changes by {by} a week, which may be luck (n = {n_of(trend.n, 'day', 'days')})."
    slope = trend.slope * 7
    sides = sorted((abs(low), abs(high)))
    by = between((sides[0], sides[1]), said)
    return (
        f"{of[0].upper()}{of[1:]} {more if slope > 0 else less} {said(abs(slope))} a week ({by}, n = {trend.n} days)."
    )
