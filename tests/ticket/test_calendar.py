from datetime import UTC, datetime, timedelta, timezone

import icalendar
import pytest

from portraitq.ticket.calendar import calendar_file

READY_BY = datetime(2026, 6, 6, 9, 20, tzinfo=UTC)
NOW = datetime(2026, 6, 6, 9, 4, 10, 250_000, tzinfo=UTC)
ADDRESS = "http://192.168.4.1:8750/t/00000000000011"


def a_file(**changes):
    said = {"code": "00000000000011", "number": 17, "booth": "Quayside Portraits", "ready_by": READY_BY}
    return calendar_file(**{**said, "address": ADDRESS, "now": NOW, **changes})


def lines(file):
    return file.decode().split("\r\n")


def test_the_entry_says_when_what_and_where():  # RFC 5545 §3.6
    event = icalendar.Calendar.from_ical(a_file()).walk("VEVENT")[0]

    assert event.decoded("dtstart") == READY_BY
    assert event.decoded("dtend") > READY_BY
    assert event["summary"] == "Portrait ready: number 17 at Quayside Portraits"
    assert event["url"] == ADDRESS
    assert ADDRESS in event["description"]


def test_the_lines_that_calendars_need_are_there():  # RFC 5545 §3.6
    written = lines(a_file())

    assert {"BEGIN:VCALENDAR", "VERSION:2.0", "BEGIN:VEVENT", "BEGIN:VALARM"} <= set(written)
    assert {"DTSTART:20260606T092000Z", "DTSTAMP:20260606T090410Z", "UID:00000000000011@portraitq"} <= set(written)
    assert {"ACTION:DISPLAY", "TRIGGER:-PT10M"} <= set(written)
    assert any(line.startswith("PRODID:") for line in written)


def test_lines_end_in_crlf_and_hold_at_most_75_octets():  # RFC 5545 §3.1
    file = a_file(booth="Quayside Portraits " + "é" * 200)

    assert file.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in file.replace(b"\r\n", b"")
    assert max(len(line) for line in file.split(b"\r\n")) <= 75


def test_a_fold_never_cuts_a_letter():  # RFC 5545 §3.1
    file = a_file(booth="é" * 200)

    assert all(line.decode("utf-8") is not None for line in file.split(b"\r\n"))
    assert file.replace(b"\r\n ", b"").count("é".encode()) == 3 * 200


def test_signs_with_a_meaning_are_escaped_and_come_back():  # RFC 5545 §3.3.11
    booth = "Quayside Portraits; pier 2, row C\\4: left"

    file = a_file(booth=booth).replace(b"\r\n ", b"")

    assert rb"LOCATION:Quayside Portraits\; pier 2\, row C\\4: left" in file
    assert icalendar.Calendar.from_ical(file).walk("VEVENT")[0]["location"] == booth


def test_a_booths_name_cannot_add_lines_of_its_own():
    written = lines(a_file(booth="Quay\r\nATTACH:http://elsewhere.example/x"))

    assert not any(line.startswith("ATTACH") for line in written)


def test_a_later_promise_replaces_the_entry():
    first, later = (icalendar.Calendar.from_ical(a_file(sequence=n)).walk("VEVENT")[0] for n in (0, 1))

    assert first["uid"] == later["uid"]
    assert (first["sequence"], later["sequence"]) == (0, 1)


def test_a_promise_in_another_zone_is_written_in_utc():
    lisbon_summer = timezone(timedelta(hours=1))

    written = lines(a_file(ready_by=datetime(2026, 6, 6, 10, 20, tzinfo=lisbon_summer)))

    assert "DTSTART:20260606T092000Z" in written


@pytest.mark.parametrize("which", ["ready_by", "now"])
def test_an_instant_without_a_zone_is_refused(which):
    with pytest.raises(ValueError, match="zone"):
        a_file(**{which: datetime(2026, 6, 6, 9, 20)})  # noqa: DTZ001 the naive instant is the point
