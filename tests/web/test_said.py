"""How times, money and days are said. Sources stand beside the tables."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portraitq.core.errors import Malformed
from portraitq.currency import digits_of
from portraitq.web.said import clock_time, day_said, minutes, money, plain_amount, read_money, window

LISBON = ZoneInfo("Europe/Lisbon")


# ISO 4217, list one (maintenance agency SIX); CLDR says 0 digits for IQD and MGA, which is not what is owed.
@pytest.mark.parametrize(
    ("digits", "codes"),
    [
        (0, "JPY KRW CLP ISK VND"),
        (2, "EUR USD GBP CHF HUF MGA MRU"),
        (3, "KWD BHD TND IQD JOD OMR LYD"),
        (4, "CLF UYW"),
    ],
)
def test_minor_units_are_those_of_iso_4217(digits: int, codes: str):
    assert {code: digits_of(code) for code in codes.split()} == dict.fromkeys(codes.split(), digits)


@pytest.mark.parametrize(
    ("cents", "currency", "said"),
    [
        (1800, "EUR", "€18.00"),
        (1800, "JPY", "¥1,800"),
        (123456, "KWD", "KWD\u00a0123.456"),
        (1500, "IQD", "IQD\u00a01.500"),
        (-250, "EUR", "-€2.50"),
        (0, "USD", "$0.00"),
        (10**12, "EUR", "€10,000,000,000.00"),
        (150, "XQX", "XQX\u00a01.50"),
    ],
)
def test_money_is_said_with_all_its_digits(cents: int, currency: str, said: str):
    assert money(cents, currency) == said


@pytest.mark.parametrize(
    ("typed", "currency", "cents"),
    [
        ("18", "EUR", 1800),
        ("18.5", "EUR", 1850),
        ("18,50", "EUR", 1850),
        ("€ 1 200,00", "EUR", 120000),
        ("1,200.00", "EUR", 120000),
        ("−2.50", "EUR", -250),
        ("1800", "JPY", 1800),
        ("1.234", "KWD", 1234),
        ("1,234", "KWD", 1234),
        ("2,000", "JPY", 2000),
        ("¥2,000", "JPY", 2000),
        ("1,000", "EUR", 100000),
        ("1.000,50", "EUR", 100050),
        ("1,234,567.89", "EUR", 123456789),
        ("1 200 kr.", "SEK", 120000),
        ("Rs.20", "INR", 2000),
        (".50", "EUR", 50),
        ("20,-", "EUR", 2000),
        ("-€2.50", "EUR", -250),
    ],
)
def test_money_is_read_as_people_type_it(typed: str, currency: str, cents: int):
    assert read_money(typed, currency) == cents


@pytest.mark.parametrize(
    ("typed", "currency"),
    [
        *(
            (typed, "EUR")
            for typed in ("", "free", "18.005", "1.000", "1.2.3", "12,34,567", "1e5", "2 for 20", "10-20")
        ),
        *((typed, "EUR") for typed in ("NaN", "9" * 30, "0" * 100)),
        ("1.5", "JPY"),
    ],
)
def test_what_is_no_amount_is_refused_and_names_its_field(typed: str, currency: str):
    with pytest.raises(Malformed) as no:
        read_money(typed, currency, "price")

    assert no.value.field == "price"


def test_an_amount_that_is_too_large_is_told_the_most():
    with pytest.raises(Malformed, match=r"^price: €10,000,000,000.00 at most was expected\.$"):
        read_money("99999999999", "EUR", "price")


@given(st.integers(-(10**12), 10**12), st.sampled_from(["EUR", "JPY", "KWD", "INR", "CHF"]))
def test_an_amount_as_it_is_said_reads_back_as_itself(cents: int, currency: str):
    assert read_money(money(cents, currency), currency) == cents


@given(st.integers(-(10**12), 10**12), st.sampled_from(["EUR", "JPY", "KWD", "CLF"]))
def test_an_amount_in_a_field_reads_back_as_itself(cents: int, currency: str):
    assert read_money(plain_amount(cents, currency), currency) == cents


# IANA tz database, Europe/Lisbon 2026: +0 → +1 on 29 March at 01:00 UTC, back on 25 October at 01:00 UTC.
@pytest.mark.parametrize(
    ("at", "said"),
    [
        ("2026-03-29T00:59:00", "00:59"),
        ("2026-03-29T01:00:00", "02:00"),
        ("2026-10-25T00:30:00", "01:30"),
        ("2026-10-25T01:30:00", "01:30"),
        ("2026-06-05T23:00:00", "00:00"),
    ],
)
def test_clock_times_follow_the_clocks_of_the_booth(at: str, said: str):
    assert clock_time(datetime.fromisoformat(at).replace(tzinfo=UTC), LISBON) == said


def test_a_time_on_another_day_says_which():
    now = datetime(2026, 6, 6, 20, 0, tzinfo=UTC)

    assert clock_time(now + timedelta(hours=1), LISBON, now) == "22:00"
    assert clock_time(now + timedelta(hours=14), LISBON, now) == "Sun 11:00"


def test_a_window_is_rounded_outward_to_five_minutes():
    low, high = datetime(2026, 6, 6, 14, 23, 20, tzinfo=UTC), datetime(2026, 6, 6, 14, 31, tzinfo=UTC)

    assert window(low, high, LISBON) == "15:20–15:35"


def test_a_window_of_one_time_is_said_once():
    at = datetime(2026, 6, 6, 14, 20, tzinfo=UTC)

    assert window(at, at, LISBON) == "15:20"


@given(
    st.integers(1_767_225_600, 1_798_761_600).map(lambda s: datetime.fromtimestamp(s, UTC)),
    st.integers(0, 6 * 3600),
    st.sampled_from(["Europe/Lisbon", "Asia/Kolkata", "Australia/Lord_Howe", "Pacific/Chatham", "UTC"]),
)
def test_a_window_never_says_less_than_the_quote(low: datetime, wide_s: int, zone: str):
    high = low + timedelta(seconds=wide_s)

    first, last = (window(low, high, ZoneInfo(zone)).split("–") * 2)[:2]

    assert int(first[-2:]) % 5 == int(last[-2:]) % 5 == 0
    assert first[-5:] <= clock_time(low, ZoneInfo(zone)) or first[-5:] >= "23:00"


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0, "under 1 min"),
        (29, "under 1 min"),
        (31, "1 min"),
        (720, "12 min"),
        (3600, "1 h 00 min"),
        (3900, "1 h 05 min"),
        (-120, "−2 min"),
    ],
)
def test_durations_are_said_in_minutes(seconds: float, said: str):
    assert minutes(seconds) == said


def test_a_day_is_said_with_its_weekday():
    """ISO 8601: 2026-06-06 is W23-6, a Saturday."""
    assert day_said("2026-06-06") == "Saturday 6 June 2026"
