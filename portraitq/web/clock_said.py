"""What the booth's people are told of a clock that is wrong, in words that say what to do; and the hand that sets it.

The line stands on every page of theirs. On the Counter and the Easel it comes and goes with the pushes: the fragment
carries it, and `static/js/clock.js` shows it on top. A board without internet has no other way to the right time than
a tablet's clock, so while the time is lost anybody of the booth may say that theirs is right.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from babel.dates import format_date
from flask import Blueprint, jsonify, request
from flask.typing import ResponseReturnValue

from portraitq.clock_watch import AHEAD, BEHIND, BY_HAND, Doubt
from portraitq.core.errors import Malformed, Refused
from portraitq.core.events import parse_instant, print_instant
from portraitq.web.here import desk_at, desks
from portraitq.web.said import LOCALE, clock_time, minutes
from portraitq.web.staff import staff_only

if TYPE_CHECKING:
    from portraitq.desk import Desk, Standing

blueprint = Blueprint("clock", __name__)
log = logging.getLogger(__name__)

DAY_S = 86_400
TO_DO = "Set it, or connect it to the internet for a minute."
UNTIL_THEN = "Until then no times are told or promised; taps are kept and measured."
NO_DAY = "Nobody knows which day it is, for this computer's clock is wrong."
TO_RESTART = "until the clock is set right or portraitq is started anew"


@dataclass(frozen=True)
class ClockSaid:
    """The line about the clock; `can_be_said` offers to go by the clock of the device it is read on."""

    said: str
    can_be_said: bool
    slug: str
    zone: str


def clock_said(standing: Standing) -> ClockSaid | None:
    """The line of a booth as it stands; None while nothing is wrong."""
    return said_of(standing.clock, standing.booth.zone, standing.slug)


def said_of(wrong: Doubt | None, zone: ZoneInfo, slug: str) -> ClockSaid | None:
    """The line of what is wrong with the clock of the booth `slug`; None where nothing is."""
    if wrong is None:
        return None
    can_be_said = not wrong.tells_time and wrong.why != AHEAD
    return ClockSaid(_sentences(wrong, zone), can_be_said, slug, zone.key)


def here_said(slug: str) -> ClockSaid | None:
    """The line for a page: of the booth that it is about, or with "" of the first one that has one."""
    known = desks().slugs()
    found = (said_of((at := desks().at(one)).clock_doubt(), at.standing(wait_s=0).booth.zone, one)
             for one in known if slug in ("", one))  # fmt: skip
    return next((line for line in found if line is not None), None)


def need_a_day(desk: Desk) -> None:
    """Refused while nobody knows which day it is: numbers, closing time and day book would be another day's."""
    wrong = desk.clock_doubt()
    if wrong is not None and not wrong.tells_time and wrong.why != AHEAD:
        raise Refused(f"{NO_DAY} {TO_DO} Or say by a tablet what time it is, on top of this page. Then open the day.")


def _sentences(wrong: Doubt, zone: ZoneInfo) -> str:
    shown = f"it shows {_date_and_time(wrong.system_at, zone)}"
    if wrong.why == AHEAD:
        return _ahead(wrong)
    if wrong.why == BY_HAND:
        return f"This computer's clock is wrong: {shown}. The booth goes by what was said here, {TO_RESTART}."
    if wrong.tells_time:
        return f"This computer's clock was set wrong: {shown}. The booth goes on by the right time, {TO_RESTART}."
    if wrong.why == BEHIND and wrong.last_at is not None:
        shown += f", but something was tapped here at {_date_and_time(wrong.last_at, zone)} already"
    return f"This computer's clock is wrong: {shown}. {TO_DO} {UNTIL_THEN}"


def _ahead(wrong: Doubt) -> str:
    ahead_s = wrong.ahead_s
    by = minutes(ahead_s) if ahead_s < DAY_S else f"{round(ahead_s / DAY_S)} days" if ahead_s > 1.5 * DAY_S else "a day"
    told = "" if wrong.tells_time else ", so no times are told or promised"
    latest = ", at the latest overnight" if ahead_s < DAY_S / 2 else ""
    way = f"They come right once nobody draws and nothing was tapped for as long{latest}."
    if ahead_s >= DAY_S:
        way += " Sooner: put back a back-up from before (portraitq restore)."
    return (
        f"This computer's clock was set back: times here run {by} ahead of it{told}. {way} "
        "If the clock is wrong now, set it right."
    )


def _date_and_time(at: datetime, zone: ZoneInfo) -> str:
    return f"{format_date(at.astimezone(zone).date(), 'd MMMM y', locale=LOCALE)}, {clock_time(at, zone)}"


@blueprint.post("/<booth>/clock")
@staff_only
def set_clock(booth: str) -> ResponseReturnValue:
    """Somebody says what time it is, by their device; followed only while the time is lost."""
    sent = request.get_json(silent=True)
    try:
        at = parse_instant(sent.get("at") if isinstance(sent, dict) else None)
    except ValueError as odd:
        raise Malformed(f"at: {odd}.", "at") from odd
    desk = desk_at(booth)
    if not desk.set_clock(at):
        now = print_instant(desk.clock.now())
        raise Refused(f"The time here is {now}, which is right or later than what was sent: nothing was changed.")
    log.warning("The time was said by hand: %s.", print_instant(at))
    return jsonify({"at": print_instant(at)})
