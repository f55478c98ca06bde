"""Where this computer is, as far as it knows."""

from __future__ import annotations

from ipaddress import ip_address
from zoneinfo import ZoneInfo

import pytest

from portraitq import starter
from portraitq.core.booth import Booth, fold
from portraitq.core.commands import Command, decide
from portraitq.core.events import parse_instant
from portraitq.locality import address_for_phones, currency_of, lan_address, zone_here


def test_the_zone_here_is_one_that_clocks_can_be_set_by():
    assert ZoneInfo(zone_here())


# Unicode CLDR, supplemental data: the currency in use in the zone's country.
@pytest.mark.parametrize(
    ("zone", "currency"),
    [
        ("Europe/Lisbon", "EUR"),
        ("Asia/Tokyo", "JPY"),
        ("America/New_York", "USD"),
        ("Etc/UTC", "EUR"),
        ("Nowhere", "EUR"),
    ],
)
def test_the_money_is_that_of_the_zone(zone: str, currency: str):
    assert currency_of(zone) == currency


@pytest.mark.parametrize(
    ("host", "said", "address"),
    [
        ("192.168.4.1", None, "http://192.168.4.1:8750"),
        ("::1", None, "http://[::1]:8750"),
        ("0.0.0.0", "booth.local:8750", "http://booth.local:8750"),
        ("0.0.0.0", "https://quay.example/", "https://quay.example"),
    ],
)
def test_phones_are_told_an_address_that_they_can_open(host: str, said: str | None, address: str):
    assert address_for_phones(host, 8750, said) == address


def test_the_address_in_the_network_is_an_address():
    assert ip_address(lan_address())


@pytest.mark.parametrize(
    "now",
    ["2026-06-06T08:10:11.000Z", "2026-06-06T15:59:00.000Z", "2026-06-06T23:30:00.000Z", "2026-06-06T22:10:00.000Z"],
)
@pytest.mark.parametrize("zone", ["UTC", "Europe/Lisbon", "Asia/Kolkata", "America/New_York"])
def test_a_booth_to_begin_with_takes_an_order_whatever_the_hour(now: str, zone: str):
    at = parse_instant(now)
    booth = Booth()

    for data in (starter.set_up(zone, "JPY"), starter.first_day(at, ZoneInfo(zone))):
        booth = fold(booth, decide(booth, Command("c", data), at))

    assert booth.day is not None
    assert 3600 <= (booth.day.closes_at - at).total_seconds() <= 8.5 * 3600
    assert booth.day.closes_at.astimezone(ZoneInfo(zone)).minute in (0, 30)
    assert booth.set_up is not None
    assert booth.set_up.styles[0].price == 20
