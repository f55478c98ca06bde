"""A day once more: a slider through its journal, beside it the wall and the queue as they were at any minute.

The page itself is made once; each minute is a fragment of it. What is said is `day_replay_view.py`'s, the wall is
rendered by the wall's own view, and the reading of the record happens in `past_days.py`.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from flask import Blueprint, Response, jsonify, make_response, render_template, request
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from portraitq.core.errors import Malformed
from portraitq.daybook.days import Day, days_of
from portraitq.web.day_replay_view import DayView, day_view, minute_view, standing_at
from portraitq.web.here import day_at, desk_at
from portraitq.web.past_days import answered_once, past_day
from portraitq.web.said import day_said
from portraitq.web.staff import owner_only
from portraitq.web.views import render_view

if TYPE_CHECKING:
    from portraitq.desk import Desk, Standing
    from portraitq.forecast.past import PastDay

blueprint = Blueprint("day_replay", __name__)

READ_WITHIN_S = 1.0  # a page that takes longer says that the record is being read
AT_MOST_DIGITS = 6


@blueprint.get("/<booth>/daybook/replay")
@owner_only
def show(booth: str) -> ResponseReturnValue:
    """The day asked for with `?day=`, else the last one, at `?at=HH:MM` or `?minute=`, else when most waited.

    With `?fragment=1` the minute alone as JSON; 202 while the record is still being read.
    """
    desk = desk_at(booth)
    standing = desk.standing()
    days = days_of(standing.booth)
    if not days:
        return render_template("day_replay.html", slug=desk.slug, days=(), day=None)
    day = day_at(days, request.args.get("day") or days[-1].day)
    past = past_day(desk, day.day, READ_WITHIN_S)
    is_fragment = "fragment" in request.args
    if past is None:
        return _reading(desk, days, day, is_fragment)
    standing, now = desk.standing(wait_s=0), desk.clock.now()  # which knows at least what was read
    whole = _whole(desk, standing, past, day, now)
    minute = _minute(whole)
    made = _made(desk, standing, past, whole, minute, now)
    if is_fragment:
        return _uncached(jsonify(made))
    page = render_template(
        "day_replay.html",
        slug=desk.slug,
        days=_choices(days, day),
        day=day.day,
        view=whole,
        minute=made,
        fragment=Markup(made["html"]),  # rendered by our own template just now
    )
    return _uncached(make_response(page))


def _choices(days: tuple[Day, ...], shown: Day) -> list[dict[str, Any]]:
    return [{"day": one.day, "said": day_said(one.day), "is_shown": one == shown} for one in reversed(days)]


def _reading(desk: Desk, days: tuple[Day, ...], day: Day, is_fragment: bool) -> Response:
    if is_fragment:
        answer = jsonify({"reading": day.day})
    else:
        page = render_template(
            "day_replay.html",
            slug=desk.slug,
            days=_choices(days, day),
            day=day.day,
            view=None,
            day_said=day_said(day.day),
            again=request.full_path,
        )
        answer = make_response(page)
    answer.status_code = 202
    return _uncached(answer)


def _whole(desk: Desk, standing: Standing, past: PastDay, day: Day, now: datetime) -> DayView:
    key = ("day", standing.seq, past.seq, day.day, _when(day, now))
    view: DayView = answered_once(desk, key, lambda: day_view(desk.slug, past, day, standing.booth, now))
    return view


def _when(day: Day, now: datetime) -> int:
    """Which minute it is, as long as the day's own picture changes with it."""
    return int(now.timestamp() // 60) if day.closed_at is None else 0


def _minute(whole: DayView) -> int:
    own, typed = whole.minutes, request.args.get("minute", "")
    if typed:
        if not (typed.isascii() and typed.isdigit() and len(typed) <= AT_MOST_DIGITS):
            raise Malformed(f"minute: a whole number of minutes was expected, not {typed[:20]!r}.", "minute")
        return min(int(typed), own.last)
    if clock := request.args.get("at", ""):
        return own.of_clock(clock)
    return own.last if whole.is_open else whole.longest


def _made(desk: Desk, standing: Standing, past: PastDay, whole: DayView, minute: int, now: datetime) -> dict[str, Any]:
    """One minute as it goes out, made once for each state of the journal."""

    def made() -> dict[str, Any]:
        then = standing_at(desk.slug, past, whole.minutes.at(minute))
        view = minute_view(whole, past, then, standing.booth, minute, now)
        wall = render_view("wall", desk, standing=then)
        html = render_template("views/replay_minute.html", view=view, wall=Markup(wall.html))  # our own template's
        return {
            "minute": minute,
            "clock": view.clock,
            "said": view.said,
            "address": view.address,
            "html": html,
        }

    is_still_to_come = int(now.timestamp() // 60)  # what has not happened yet is judged by the present minute
    key = ("minute", standing.seq, past.seq, whole.day, minute, is_still_to_come if whole.is_open else 0)
    found: dict[str, Any] = answered_once(desk, key, made)
    return found


def _uncached(answer: Response) -> Response:
    answer.headers["Cache-Control"] = "no-store"
    return answer
