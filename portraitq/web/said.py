"""How times, money and days are said to people: clock times in the booth's zone, never a count-down.

The digits of a currency are `currency.py`'s; only its symbol and where it stands come from CLDR, through Babel.
"""

from __future__ import annotations

import math
import re
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from zoneinfo import ZoneInfo

from babel.dates import format_date
from babel.numbers import format_currency, get_currency_symbol

from portraitq.core.errors import Malformed
from portraitq.currency import digits_of

LOCALE = "en"
MOST_CENTS = 10**12  # as in the journal
LONGEST_TYPED = 60  # characters of an amount; TYPED takes the square of them as steps
# one number, its currency before or behind it; a point right behind a letter ("Rs.20") is the abbreviation's
TYPED = re.compile(r"(?P<before>\D*?)(?P<number>(?:(?<![^\W\d_])[.,])?\d[\d.,\s'’]*)\D*")
IN_THOUSANDS = re.compile(r"\d{1,3}([.,])\d{3}(?:\1\d{3})*")
WINDOW_STEP_S = 300  # nobody at a fair reads a finer clock than five minutes
MINUTE_S = 60
HOUR_S = 3600
DAYS_A_WEEK = 7  # from then on a weekday names another day


def clock_time(at: datetime, zone: ZoneInfo, now: datetime | None = None) -> str:
    """`at` as clocks in `zone` show it; with `now`, the weekday goes before a time on another day.

    >>> clock_time(datetime(2026, 6, 6, 14, 20, tzinfo=UTC), ZoneInfo("Europe/Lisbon"))
    '15:20'
    """
    local = at.astimezone(zone)
    said = f"{local.hour:02}:{local.minute:02}"  # strftime takes five times as long, and a push says hundreds
    if now is None or now.astimezone(zone).date() == local.date():
        return said
    return f"{format_date(local.date(), 'EEE', locale=LOCALE)} {said}"


def window(low: datetime, high: datetime, zone: ZoneInfo, now: datetime | None = None) -> str:
    """From when to when, rounded outward to five minutes: `15:20–15:35`; one time where both are the same."""
    first_at, last_at = _floor(low), _ceil(high)
    first = clock_time(first_at, zone, now)
    if first_at == last_at:
        return first
    same_day = first_at.astimezone(zone).date() == last_at.astimezone(zone).date()
    return f"{first}–{clock_time(last_at, zone, None if same_day else now)}"


def _floor(at: datetime) -> datetime:
    seconds = at.timestamp()
    return datetime.fromtimestamp(seconds // WINDOW_STEP_S * WINDOW_STEP_S, UTC)


def _ceil(at: datetime) -> datetime:
    floor = _floor(at)
    return floor if floor == at else floor + timedelta(seconds=WINDOW_STEP_S)


def minutes(seconds: float) -> str:
    """A duration for people: `12 min`, `1 h 05 min`, `under 1 min`."""
    if 0 <= seconds < MINUTE_S / 2:
        return "under 1 min"
    whole = math.floor(seconds / MINUTE_S + 0.5)
    hours, rest = divmod(abs(whole), HOUR_S // MINUTE_S)
    said = f"{hours} h {rest:02d} min" if hours else f"{rest} min"
    return f"−{said}" if whole < 0 else said


def short_time(seconds: float) -> str:
    """A duration of which the seconds matter, to ten of them: `40 s`, `1 min 50 s`; from ten minutes on `minutes`.

    >>> short_time(38), short_time(110), short_time(119), short_time(1500)
    ('40 s', '1 min 50 s', '2 min', '25 min')
    """
    tens = math.floor(seconds / 10 + 0.5) * 10
    whole, rest = divmod(tens, MINUTE_S)
    if whole >= 10:
        return minutes(seconds)
    said = [f"{whole} min"] * bool(whole) + [f"{rest} s"] * bool(rest)
    return " ".join(said) or "a few seconds"


def day_said(day: str) -> str:
    """A day of the journal for people.

    >>> day_said("2026-06-06")
    'Saturday 6 June 2026'
    """
    return str(format_date(date.fromisoformat(day), "EEEE d MMMM y", locale=LOCALE))


def day_beside(day: str, present: str) -> str:
    """What stands beside a number of `day` so that it is not taken for the same one of `present`; empty on that day.

    >>> day_beside("2026-06-05", "2026-06-06"), day_beside("2026-05-30", "2026-06-06")
    ('Fri', '30 May')
    """
    then, now = date.fromisoformat(day), date.fromisoformat(present)
    if then == now:
        return ""
    is_near = abs((now - then).days) < DAYS_A_WEEK
    return str(format_date(then, "EEE" if is_near else "d MMM", locale=LOCALE))


@lru_cache(maxsize=32)
def _pattern(currency: str) -> str:
    """How Babel is to write it: a letter before the digits is kept apart from them."""
    digits = digits_of(currency)
    apart = "\u00a0" if get_currency_symbol(currency, LOCALE)[-1:].isalpha() else ""
    return f"¤{apart}#,##0" + ("." + "0" * digits if digits else "")


@lru_cache(maxsize=1024)  # the same few prices stand on every phone of a hall
def money(cents: int, currency: str) -> str:
    """An amount in minor units for people.

    >>> money(1800, "EUR"), money(1800, "JPY"), money(-250, "EUR")
    ('€18.00', '¥1,800', '-€2.50')
    """
    amount = Decimal(cents).scaleb(-digits_of(currency))
    return str(format_currency(amount, currency, _pattern(currency), locale=LOCALE, currency_digits=False))


def plain_amount(cents: int, currency: str) -> str:
    """An amount as it stands in a form's field or a table's cell: digits and a point alone."""
    return f"{Decimal(cents).scaleb(-digits_of(currency)):f}"


def read_money(text: str, currency: str, field: str = "amount") -> int:
    """An amount that somebody typed (`18`, `18,5`, `€ 1 200`, `1.200,00`) in minor units; Malformed names `field`."""
    digits = digits_of(currency)
    if len(text) > LONGEST_TYPED:
        raise Malformed(f"{field}: an amount such as {plain_amount(1850, currency)} was expected.", field)
    found = TYPED.fullmatch(text.replace("−", "-").strip())
    try:
        amount = Decimal(_with_a_point(re.sub(r"[\s'’]", "", found["number"]), digits) if found else "")
    except InvalidOperation as odd:
        raise Malformed(f"{field}: an amount such as {plain_amount(1850, currency)} was expected.", field) from odd
    cents = amount.scaleb(digits)
    if -int(amount.as_tuple().exponent) > digits:
        raise Malformed(f"{field}: {currency} has {digits} digits after the point; {text[:20]!r} has more.", field)
    if cents > MOST_CENTS:
        raise Malformed(f"{field}: {money(MOST_CENTS, currency)} at most was expected.", field)
    return -int(cents) if found and "-" in found["before"] else int(cents)


def _with_a_point(typed: str, digits: int) -> str:
    """`typed` with a point before its decimals and nothing between its thousands; empty where it is no number.

    A comma before three last digits is between thousands, unless the currency has three decimals.
    """
    marks = re.sub(r"\d", "", typed)
    is_whole = marks == "," and digits != 3 and re.search(r"\d,\d{3}$", typed)
    has_decimals = marks and marks.count(marks[-1]) == 1 and not is_whole
    whole, _, part = typed.rpartition(marks[-1]) if has_decimals else (typed, "", "")
    if re.search("[.,]", whole) and not IN_THOUSANDS.fullmatch(whole):
        return ""
    return re.sub("[.,]", "", whole) + (f".{part}" if part else "")
