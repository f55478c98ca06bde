"""A promise as a calendar file: the alarm that rings when the booth's network is far away.

RFC 5545. The same ticket keeps its UID, so that a file made later, with a higher `sequence`, replaces the entry.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from icalendar import Alarm, Calendar, Event

from portraitq import __version__

ALARM_BEFORE_S = 600  # time to walk back across the market
ENTRY_S = 900  # how long the entry looks in a calendar; the portrait waits longer


def calendar_file(
    *, code: str, number: int, booth: str, ready_by: datetime, address: str, now: datetime, sequence: int = 0
) -> bytes:
    """The `.ics` for the promise that portrait `number` is ready by `ready_by`.

    code       the ticket's code; makes the entry's UID
    booth      the booth's name as customers read it
    ready_by   aware; what the customer was told, or the honest time where that will probably not hold
    address    of the ticket page
    now        aware; when the file is made
    sequence   higher in each file of this ticket that may say another time than the one before
    Returns    bytes with CRLF line ends, UTF-8, text/calendar
    Raises     ValueError when an instant does not know its zone
    """
    if ready_by.tzinfo is None or now.tzinfo is None:
        raise ValueError("ready_by and now must know their zone")
    starts_at = ready_by.astimezone(UTC).replace(microsecond=0)
    summary = f"Portrait ready: number {number} at {booth}"

    event = Event()
    event.add("uid", f"{code}@portraitq")
    event.add("dtstamp", now.astimezone(UTC).replace(microsecond=0))
    event.add("sequence", sequence)
    event.add("dtstart", starts_at)
    event.add("dtend", starts_at + timedelta(seconds=ENTRY_S))
    event.add("summary", summary)
    event.add("description", f"Number {number} should be ready by then.\nHow it stands now: {address}")
    event.add("location", booth)
    event.add("url", address)
    event.add("transp", "TRANSPARENT")

    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", summary)
    alarm.add("trigger", timedelta(seconds=-ALARM_BEFORE_S))
    event.add_component(alarm)

    calendar = Calendar()
    calendar.add("prodid", f"-//portraitq//portraitq {__version__}//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add_component(event)
    return bytes(calendar.to_ical())
