"""The page that plans a day: a form that the record has filled in, a run in a thread of its own, its answer.

A booth plans one day at a time; how far it is can be asked, and it can be stopped. Answers are kept in memory, the last
KEPT of each booth, and found again by what went into them, so that going back or asking the same costs nothing.
"""

from __future__ import annotations

import hashlib
import logging
import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portraitq.core.booth import Booth
from portraitq.core.errors import Malformed, Refused
from portraitq.forecast.pace import Pace
from portraitq.forecast.plan_answer import Answer, answer
from portraitq.web.charts import Chart, chart
from portraitq.web.here import desk_at
from portraitq.web.plan_form import RECORD, TYPED, WEEKDAYS, Typed, prefilled, read_plan, traded_days
from portraitq.web.planned import Beside, PlanSaid, plan_said, two_plans
from portraitq.web.problems import INSIDE, NotThere
from portraitq.web.said import day_said
from portraitq.web.staff import owner_only

if TYPE_CHECKING:
    from portraitq.desk import Desk

KEPT = 8  # answers of each booth
BUSY = "Another plan of this booth is being played. Wait until it is done, or stop it; nothing was begun."
RUNNING, DONE, STOPPED, FAILED = "running", "done", "stopped", "failed"
log = logging.getLogger(__name__)

blueprint = Blueprint("plan", __name__)


class Stopped(Exception):
    """Somebody asked for the run to end."""


@dataclass
class Run:
    """One plan on its way, or its answer. `form` is what was typed; `name` tells it from the booth's other plans."""

    id: str
    name: str
    form: Mapping[str, str]
    state: str = RUNNING
    done: int = 0
    answer: Answer | None = None
    stop: threading.Event = field(default_factory=threading.Event)

    def told(self, done: int, of: int) -> None:
        """Progress of the simulation; raises Stopped once somebody wants that."""
        if self.stop.is_set():
            raise Stopped
        self.done = 100 * done // of


class Runs:
    """All runs of one booth. Any number of threads may use it."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: OrderedDict[str, Run] = OrderedDict()
        self._count = 0

    def found(self, id: str) -> Run | None:
        """The run of that id, if it is still kept."""
        with self._lock:
            return self._kept.get(id)

    def answered(self) -> list[Run]:
        """Those that have an answer, the youngest first."""
        with self._lock:
            return [run for run in reversed(self._kept.values()) if run.state == DONE]

    def running(self) -> Run | None:
        """The one that is on its way."""
        with self._lock:
            return next((run for run in self._kept.values() if run.state == RUNNING), None)

    def begin(self, booth: Booth, pace: Pace, typed: Typed, form: Mapping[str, str]) -> Run:
        """The run of this plan: the one that is there already, or a new one in a thread of its own; Refused if busy."""
        id = hashlib.sha256(repr((typed, booth.seq)).encode()).hexdigest()[:16]
        with self._lock:
            there = self._kept.get(id)
            if there is not None and there.state in (RUNNING, DONE):
                self._kept.move_to_end(id)
                return there
            if any(run.state == RUNNING for run in self._kept.values()):
                raise Refused(BUSY)
            self._count += 1
            run = self._kept[id] = Run(id, f"Plan {self._count}", dict(form))
            self._kept.move_to_end(id)
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        threading.Thread(target=_play, args=(run, booth, pace, typed), name=f"plan {id}", daemon=True).start()
        return run


def _play(run: Run, booth: Booth, pace: Pace, typed: Typed) -> None:
    try:
        run.answer = answer(booth, pace, typed.plan, typed.days, typed.seed, typed.new_price, run.told)
        run.state = DONE
    except Stopped:
        run.state = STOPPED
    except Exception:
        log.exception("a plan went wrong inside")
        run.state = FAILED


_MAKING = threading.Lock()
_runs: WeakKeyDictionary[Desk, Runs] = WeakKeyDictionary()


def runs_of(desk: Desk) -> Runs:
    """The runs of that booth."""
    with _MAKING:
        return _runs.setdefault(desk, Runs())


@dataclass(frozen=True)
class Choice:
    """One entry of a list to choose from."""

    value: str
    said: str
    is_chosen: bool


@dataclass(frozen=True)
class ArtistField:
    """An artist who may be there, and their break."""

    id: str
    name: str
    is_in: bool
    begins: str
    ends: str
    error: str


@dataclass(frozen=True)
class StyleField:
    """A style that may be on offer: its share in % and its price."""

    id: str
    name: str
    is_on: bool
    mix: str
    price: str
    mix_error: str
    price_error: str


@dataclass(frozen=True)
class PlanForm:
    """The form as it stands; `values` are its plain fields, `errors` sentences by field."""

    values: Mapping[str, str]
    errors: Mapping[str, str]
    asked: tuple[Choice, ...]
    patience: tuple[Choice, ...]
    artists: tuple[ArtistField, ...]
    styles: tuple[StyleField, ...]
    new_styles: tuple[Choice, ...]
    currency: str


@dataclass(frozen=True)
class RunView:
    """How far a run is."""

    id: str
    name: str
    state: str
    done: int
    said: str


@dataclass(frozen=True)
class PlanView:
    """The whole page; `beside` compares with another plan, `others` are those to compare with."""

    form: PlanForm | None
    run: RunView | None
    answer: PlanSaid | None
    charts: tuple[Chart, ...]
    others: tuple[Choice, ...]
    other_name: str
    beside: tuple[Beside, ...]
    beside_said: str
    refusal: str


@blueprint.get("/<booth>/daybook/plan")
@owner_only
def show(booth: str) -> ResponseReturnValue:
    """The form, and the plan of `?run=` where one is named, beside that of `?beside=`."""
    desk = desk_at(booth)
    asked = request.args.get("run")
    run = runs_of(desk).found(asked) if asked else runs_of(desk).running()
    refusal = "That plan is not kept any more. Play it again." if asked and run is None else ""
    return _page(desk, run, refusal=refusal, beside=request.args.get("beside", ""))


@blueprint.post("/<booth>/daybook/plan")
@owner_only
def begin(booth: str) -> ResponseReturnValue:
    """Begin to play a plan."""
    desk = desk_at(booth)
    standing = desk.standing()
    try:
        typed = read_plan(request.form, standing.booth)
        run = runs_of(desk).begin(standing.booth, standing.pace, typed, request.form)
    except Malformed as odd:
        return _page(desk, None, form=request.form, wrong=odd), 422
    except Refused as no:
        return _page(desk, runs_of(desk).running(), form=request.form, refusal=str(no)), 409
    return redirect(url_for("plan.show", booth=desk.slug, run=run.id), 303)


@blueprint.get("/<booth>/daybook/plan/<run>")
@owner_only
def progress(booth: str, run: str) -> ResponseReturnValue:
    """How far a run is, as a fragment of the page."""
    desk = desk_at(booth)
    return render_template("plan_run.html", run=_run_view(_known(desk, run)), slug=desk.slug)


@blueprint.post("/<booth>/daybook/plan/<run>/stop")
@owner_only
def stop(booth: str, run: str) -> ResponseReturnValue:
    """Stop a run; one that is done stays as it is."""
    desk = desk_at(booth)
    _known(desk, run).stop.set()
    return redirect(url_for("plan.show", booth=desk.slug, run=run), 303)


def _known(desk: Desk, id: str) -> Run:
    if found := runs_of(desk).found(id):
        return found
    raise NotThere("That plan is not kept any more. Play it again.")


def _page(
    desk: Desk,
    run: Run | None,
    *,
    form: Mapping[str, str] | None = None,
    wrong: Malformed | None = None,
    refusal: str = "",
    beside: str = "",
) -> str:
    booth = desk.standing().booth
    found = run.answer if run is not None else None
    other = runs_of(desk).found(beside) if beside else None
    fields, about = None, wrong
    try:
        shown = form if form is not None else run.form if run is not None else prefilled(booth)
        fields = _form(booth, shown, wrong)
    except Malformed as nothing:
        about = nothing
    said = plan_said(found) if found else None
    rows = two_plans(found, other.answer) if found and other and other.answer else ()
    view = PlanView(
        form=fields,
        run=_run_view(run) if run is not None else None,
        answer=said,
        charts=tuple(chart(plot) for plot in said.plots) if said else (),
        others=tuple(
            Choice(each.id, _plan_named(each), each.id == beside)
            for each in runs_of(desk).answered()
            if run is not None and each.id != run.id
        ),
        other_name=other.name if other else "",
        beside=rows,
        beside_said=_beside_said(found, other, rows),
        refusal=refusal or (str(about) if about else ""),
    )
    return render_template("plan.html", view=view, slug=desk.slug)


def _plan_named(run: Run) -> str:
    form = run.form
    return f"{run.name}: {form.get('from', '')}–{form.get('to', '')}, × {form.get('times', '1')}"


def _beside_said(this: Answer | None, other: Run | None, rows: tuple[Beside, ...]) -> str:
    if this is None or other is None or other.answer is None:
        return ""
    if not rows:
        return "These two were not played alike: give both as many days and the same seed, then they can be compared."
    return (
        f"Both were played with the same chance on {this.days:,} days, so the difference is surer than either plan; in "
        "brackets is what eight days of ten bring."
    )


def _run_view(run: Run) -> RunView:
    said = {
        RUNNING: f"The day is being played over and over, and so is each alternative: {run.done} % done.",
        DONE: "Done.",
        STOPPED: "Stopped before it was done.",
        FAILED: INSIDE,
    }[run.state]
    return RunView(run.id, run.name, run.state, run.done, said)


def _form(booth: Booth, shown: Mapping[str, str], wrong: Malformed | None) -> PlanForm:
    before, set_up = prefilled(booth), booth.set_up
    assert set_up is not None
    values = {field: shown.get(field, value) for field, value in before.items()}
    errors = {wrong.field: str(wrong).removeprefix(f"{wrong.field}: ")} if wrong else {}
    days = traded_days(booth)
    weekdays = sorted({day.opened_at.astimezone(booth.zone).weekday() for day in days})
    asked = [(RECORD, f"As in the record ({len(days)} {'day' if len(days) == 1 else 'days'})")] if days else []
    asked += [(WEEKDAYS[each], f"As on a {WEEKDAYS[each].capitalize()}") for each in weekdays]
    asked += [(day.day, f"As on {day_said(day.day)}") for day in reversed(days)]
    asked.append((TYPED, "As typed below, hour by hour"))
    patience = (
        ("learned", "As the record shows"),
        ("half", "Half of them leave at the minutes below"),
        ("endless", "They wait as long as it takes"),
    )
    return PlanForm(
        values=values,
        errors=errors,
        asked=tuple(Choice(value, said, value == values["asked"]) for value, said in dict(asked).items()),
        patience=tuple(Choice(value, said, value == values["patience"]) for value, said in patience),
        artists=tuple(
            ArtistField(
                each.id,
                each.name,
                f"in-{each.id}" in shown,
                shown.get(f"from-{each.id}", ""),
                shown.get(f"to-{each.id}", ""),
                errors.get(f"from-{each.id}", "") or errors.get(f"to-{each.id}", ""),
            )
            for each in set_up.artists
        ),
        styles=tuple(
            StyleField(
                each.id,
                each.name,
                f"on-{each.id}" in shown,
                shown.get(f"mix-{each.id}", ""),
                shown.get(f"price-{each.id}", ""),
                errors.get(f"mix-{each.id}", ""),
                errors.get(f"price-{each.id}", ""),
            )
            for each in set_up.styles
        ),
        new_styles=tuple(Choice(each.id, each.name, each.id == values.get("new-style")) for each in set_up.styles),
        currency=set_up.booth.currency,
    )
