"""The day book: the page of one day, its tables as CSV, the journal to take home. What it says: `daybook_view.py`."""

from __future__ import annotations

import threading
from datetime import datetime
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from flask import Blueprint, Response, render_template, request
from flask.typing import ResponseReturnValue

from portraitq.core.errors import Malformed
from portraitq.core.events import Event, parse_line
from portraitq.currency import digits_of
from portraitq.daybook import export
from portraitq.daybook.attendance import Attendance, attendances
from portraitq.daybook.days import Day, days_of
from portraitq.daybook.figures import DayFigures, of_day
from portraitq.store import journal
from portraitq.web.close import count_of
from portraitq.web.day_answers import Advice
from portraitq.web.daybook_view import daybook_view
from portraitq.web.days_before import past_of, tickets_by_day
from portraitq.web.here import day_at, desk_at
from portraitq.web.staff import owner_only
from portraitq.web.suggestions import suggestions_of

if TYPE_CHECKING:
    from portraitq.desk import Desk, Standing

blueprint = Blueprint("daybook", __name__)

FORMS = {"point": export.DECIMAL_POINT, "comma": export.DECIMAL_COMMA}

_ABOUT_ATTENDANCE = tuple(f'"kind":"{kind}"' for kind in ("set_up", "day_closed", "artist_in", "artist_out"))
_LOOKING = threading.Lock()
_looked_up: WeakKeyDictionary[Desk, tuple[int, list[Event]]] = WeakKeyDictionary()


@blueprint.get("/<booth>/daybook")
@owner_only
def show(booth: str) -> ResponseReturnValue:
    """The day asked for with `?day=`, else the last one; `?show=` names the figure whose tickets are listed."""
    desk = desk_at(booth)
    standing = desk.standing()
    days = days_of(standing.booth)
    if not days:
        return render_template("daybook.html", view=None, slug=desk.slug, set_up=standing.booth.set_up)
    day = day_at(days, request.args.get("day") or days[-1].day)
    now = desk.clock.now()
    figures = figures_of(desk, standing, day, now)
    suggested = suggestions_of(desk, figures, now, request.args.get("did", ""))
    advice = tuple(Advice(one.title, "#suggestions") for one in suggested.shown) if suggested else ()
    return render_template(
        "daybook.html",
        view=daybook_view(
            desk.slug,
            standing.booth,
            figures,
            days,
            request.args.get("show", ""),
            advice if day.day == days[-1].day else None,
        ),
        slug=desk.slug,
        set_up=standing.booth.set_up,
        suggestions=suggested,
        cash_count=count_of(desk, day, figures.takings),
    )


@blueprint.get("/<booth>/daybook/<day>/<any(tickets, stages, payments):table>.csv")
@owner_only
def table(booth: str, day: str, table: str) -> ResponseReturnValue:
    """One table of one day as CSV; with `?decimal=comma` for spreadsheets that write 18,50."""
    desk = desk_at(booth)
    standing = desk.standing()
    told = standing.booth
    figures = figures_of(desk, standing, day_at(days_of(told), day), desk.clock.now())
    digits = digits_of(told.set_up.booth.currency if told.set_up else "")
    if (decimal := request.args.get("decimal", "point")) not in FORMS:
        raise Malformed(f"decimal: point or comma was expected, not {decimal[:20]!r}.", "decimal")
    form = FORMS[decimal]
    written = {
        "tickets": lambda: export.tickets_csv(figures, told, digits, form),
        "stages": lambda: export.stages_csv(figures, told, form),
        "payments": lambda: export.payments_csv(figures, told, digits, form),
    }[table]()
    return _file(written, f"{desk.slug}-{day}-{table}.csv", "text/csv; charset=utf-8; header=present")


@blueprint.get("/<booth>/daybook/journal.jsonl")
@owner_only
def whole_journal(booth: str) -> ResponseReturnValue:
    """The whole journal as `portraitq export` writes it."""
    desk = desk_at(booth)
    with desk.store.reading() as connection:
        lines = journal.lines(connection, desk.slug)
    return _file("".join(f"{line}\n" for line in lines), f"{desk.slug}.jsonl", "application/jsonl; charset=utf-8")


def figures_of(desk: Desk, standing: Standing, day: Day, now: datetime) -> DayFigures:
    """The figures of `day` beside the days before it, as they stand at `now`."""
    return of_day(
        standing.booth,
        day,
        attended(desk),
        now,
        standing.pace,
        tickets_by_day(desk, standing),
        past_of(desk, standing, day),
    )


def attended(desk: Desk) -> tuple[Attendance, ...]:
    """Who was in when, at all times; of the journal only the lines are read that were not read before."""
    with _LOOKING:
        last_seq, events = _looked_up.get(desk, (0, []))
        with desk.store.reading() as connection:
            new = journal.lines(connection, desk.slug, after=last_seq)
        found = [parse_line(line) for line in new if any(kind in line for kind in _ABOUT_ATTENDANCE)]
        events = [*events, *found]
        _looked_up[desk] = (last_seq + len(new), events)
    return attendances(events)


def _file(text: str, name: str, mimetype: str) -> Response:
    answer = Response(text.encode("utf-8"), content_type=mimetype)
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    answer.headers["Cache-Control"] = "no-store"
    return answer
