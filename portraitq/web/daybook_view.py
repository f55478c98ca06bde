"""What the day book says of one day: figures in words, ready to print, each with the way to the tickets behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from markupsafe import Markup

from portraitq.core.booth import Booth
from portraitq.core.events import WalkedAway
from portraitq.daybook import charts
from portraitq.daybook.days import Day
from portraitq.daybook.figures import DayFigures, Line
from portraitq.daybook.hours import Hours
from portraitq.daybook.promises import KEPT, LATE, OPEN, SET_ASIDE, UNFINISHED
from portraitq.daybook.quantiles import Spread
from portraitq.daybook.shares import Share
from portraitq.daybook.stages import StageFigures
from portraitq.forecast import doubts
from portraitq.forecast.doubts import Judged
from portraitq.web.said import clock_time, day_said, minutes, money

NOTHING = Markup("")
FEW = 20  # with fewer promises than this, luck hides whether the wish was met (binomial: 14–20 of 20 at 85 %)
ENOUGH_TIMES = 5  # with fewer measured times a median says little about a guess
OFF_BY = 0.15  # a guess that is off by less than this is a good guess
MEANS_SAID = {"cash": "Cash", "card": "Card", "other": "Other"}
WHY_SAID = {
    "counter": "Pause: at the counter",
    "supplies": "Pause: supplies",
    "sitter": "Pause: sitter",
    "other": "Pause: something else",
}
OUTCOME_SAID = {
    KEPT: "kept",
    LATE: "late",
    UNFINISHED: "past, not finished",
    OPEN: "still to come",
    SET_ASIDE: "cancelled before",
}
BEHIND_SAID = {
    "ordered": "Ordered on the day",
    "finished": "Finished on the day",
    "collected": "Collected on the day",
    "cancelled": "Cancelled on the day",
    "carried": "Not finished at the end of the day",
    "on-rack": "On the rack at the end of the day",
    "promised": "Promises given",
    "promise-judged": "Promises that can be judged",
    "promise-kept": "Promises kept",
    "promise-late": "Promises not kept: finished late",
    "promise-unfinished": "Promises not kept: not finished",
    "promise-open": "Promises still to come",
    "promise-set-aside": "Promises of portraits cancelled before",
    "promise-moved": "Told another time later",
    "paid": "Money changed hands",
    "paid-cash": "Paid in cash",
    "paid-card": "Paid by card",
    "paid-other": "Paid in another way",
    "refunded": "Money given back",
    "to-come": "Still to be paid",
    "set-aside": "Measured times set aside",
    "flow": "Ordered and finished on the day",
    "waiting": "Ordered and begun on the day",
}


@dataclass(frozen=True)
class Figure:
    """One figure: what it is, its value, and `address` of the tickets behind it (empty where there are none)."""

    name: str
    value: str
    address: str = ""
    note: str = ""


@dataclass(frozen=True)
class Answer:
    """One of the questions of the evening, answered in a headline and a few figures."""

    question: str
    headline: str
    said: str
    figures: tuple[Figure, ...]
    more: str
    bar: Markup = NOTHING


@dataclass(frozen=True)
class HoursRow:
    """One artist's hours in words, and as a bar."""

    artist: str
    total: str
    utilisation: str
    parts: tuple[Figure, ...]
    bar: Markup


@dataclass(frozen=True)
class MeansRow:
    """One means of payment."""

    name: str
    taken: str
    refunded: str
    net: str
    address: str


@dataclass(frozen=True)
class StageRow:
    """One stage measured against its guess."""

    stage: str
    n: str
    address: str
    measured: str
    between: str
    guessed: str
    guess_between: str
    against: str
    set_aside: str


@dataclass(frozen=True)
class StyleStages:
    """The stages of one style."""

    style: str
    rows: tuple[StageRow, ...]


@dataclass(frozen=True)
class SetAsideRow:
    """One measured time that is left out: what it is of, when its clock was stopped, what counts of it, and why."""

    number: str
    address: str
    style: str
    stages: str
    artist: str
    ended: str
    measured: str
    counts: str
    why: str


@dataclass(frozen=True)
class TicketRow:
    """One ticket in the table behind the figures."""

    id: str
    number: str
    ordered_on: str
    style: str
    artist: str
    ordered: str
    started: str
    finished: str
    collected: str
    promise: str
    outcome: str
    drawn: str
    paid: str
    place: str


@dataclass(frozen=True)
class LeftRow:
    """Somebody who asked and left."""

    at: str
    style: str
    sitters: str
    told: str


@dataclass(frozen=True)
class DayChoice:
    """A day to choose."""

    day: str
    said: str
    is_shown: bool


@dataclass(frozen=True)
class DayBookView:
    """The page of one day."""

    day: str
    day_said: str
    state: str
    choices: tuple[DayChoice, ...]
    before: str
    after: str
    answers: tuple[Answer, ...]
    patterns: Markup
    timeline: Markup
    timeline_said: str
    hours: tuple[HoursRow, ...]
    turnaround: str
    promises: tuple[Figure, ...]
    promises_said: str
    means: tuple[MeansRow, ...]
    takings: tuple[Figure, ...]
    times: tuple[Figure, ...]
    styles: tuple[StyleStages, ...]
    set_aside: tuple[SetAsideRow, ...]
    left: tuple[LeftRow, ...]
    tickets: tuple[TicketRow, ...]
    tickets_title: str
    all_tickets: str


def daybook_view(slug: str, booth: Booth, figures: DayFigures, days: Sequence[Day], show: str = "") -> DayBookView:
    """The day book's page: `days` to choose from, `show` the figure whose tickets are listed (empty: every ticket)."""
    return _Page(slug, booth, figures).view(days, show)


@dataclass
class _Page:
    slug: str
    booth: Booth
    figures: DayFigures

    def __post_init__(self) -> None:
        set_up = self.booth.set_up
        self.zone: ZoneInfo = self.booth.zone
        self.currency = set_up.booth.currency if set_up else "XXX"
        self.confidence = set_up.booth.confidence if set_up else None
        self.artists = {one.id: one.name for one in set_up.artists} if set_up else {}
        self.easels = {**self.artists, **{one.artist: one.artist for one in self.figures.segments}} | self.artists

    def view(self, days: Sequence[Day], show: str) -> DayBookView:
        place = [day.day for day in days].index(self.figures.day.day)
        listed, title = self._listed(show)
        return DayBookView(
            day=self.figures.day.day,
            day_said=day_said(self.figures.day.day),
            state=self._state(),
            choices=tuple(
                DayChoice(one.day, day_said(one.day), one.day == self.figures.day.day) for one in reversed(days)
            ),
            before=f"?day={days[place - 1].day}" if place else "",
            after=f"?day={days[place + 1].day}" if place + 1 < len(days) else "",
            answers=(self._drawn(), self._hours_answer(), self._kept(), self._money(), self._took()),
            patterns=Markup(charts.patterns()),  # made of constants
            timeline=Markup(charts.timeline(self.figures, self.zone, self.easels, self._ticket)),
            timeline_said=self._timeline_said(),
            hours=tuple(self._hours_row(one) for one in self.figures.hours),
            turnaround=self._turnaround_said(),
            promises=self._promise_figures(),
            promises_said=self._promises_said(),
            means=self._means(),
            takings=self._takings(),
            times=self._times(),
            styles=self._styles(),
            set_aside=self._set_aside(),
            left=self._left(),
            tickets=tuple(self._ticket_row(line) for line in listed),
            tickets_title=title,
            all_tickets=f"?day={self.figures.day.day}#tickets" if show else "",
        )

    # Where a figure leads

    def _behind(self, figure: str) -> str:
        return f"?day={self.figures.day.day}&show={figure}#tickets" if self.figures.n(figure) else ""

    def _ticket(self, id: str) -> str:
        return f"?day={self.figures.day.day}#ticket-{id}"

    def _counted(self, name: str, figure: str, note: str = "") -> Figure:
        return Figure(name, str(self.figures.n(figure)), self._behind(figure), note)

    def _listed(self, show: str) -> tuple[list[Line], str]:
        lines = list(self.figures.lines)
        if not show:
            return lines, f"Every ticket of the day ({len(lines)})"
        wanted = set(self.figures.behind.get(show, ()))
        listed = [line for line in lines if line.ticket.id in wanted]
        said = BEHIND_SAID.get(show) or self._stage_said(show) or "There is no such figure"
        return listed, f"{said} ({len(listed)})"

    def _stage_said(self, show: str) -> str:
        return next(
            (
                f"Measured times: {one.style_name}, {one.stage.name}"
                for one in self.figures.stages.stages
                if f"stage-{one.style}.{one.stage.id}" == show
            ),
            "",
        )

    # The answers

    def _state(self) -> str:
        day = self.figures.day
        opened = f"Opened {self._clock(day.opened_at)}"
        if day.closed_at is None:
            return f"{opened}, still open. As it stands at {self._clock(self.figures.until)}."
        again = f", opened {len(day.sessions)} times" if len(day.sessions) > 1 else ""
        return f"{opened}, closed {self._clock(day.closed_at)}{again}."

    def _drawn(self) -> Answer:
        n = self.figures.n("finished")
        left = len(self.figures.walked_away)
        return Answer(
            question="What was drawn?",
            headline=f"{n} {_plural(n, 'portrait', 'portraits')} finished",
            said="",
            figures=(
                self._counted("Ordered", "ordered"),
                self._counted("Collected", "collected"),
                self._counted("On the rack", "on-rack"),
                self._counted("Not finished yet" if self.figures.day.closed_at is None else "Carried over", "carried"),
                self._counted("Cancelled", "cancelled"),
                Figure("Walked away", str(left), "#left" if left else ""),
            ),
            more="#tickets",
        )

    def _hours_answer(self) -> Answer:
        rows = self.figures.hours
        total_s = sum(one.total_s for one in rows)
        drawn_s = sum(one.drawing_s + one.touch_up_s for one in rows)
        if not total_s:
            return Answer("Where did the hours go?", "Nobody was at an easel", "", (), "#hours")
        return Answer(
            question="Where did the hours go?",
            headline=f"{_percent(drawn_s / total_s)} of {minutes(total_s)} spent drawing",
            said="",
            figures=tuple(
                Figure(name, minutes(part_s), "#hours")
                for _, name, part_s in _parts(_together(rows), briefly=True)
                if part_s >= 30
            ),
            more="#hours",
            bar=self._bar(_together(rows)),
        )

    def _kept(self) -> Answer:
        promises = self.figures.promises
        if (kept := promises.kept) is None:
            n = len(promises.words)
            return Answer(
                "Were the promises kept?",
                f"{n} given, none due yet" if n else "No promise was given",
                "",
                (),
                "#promises",
            )
        early, late = promises.median_early_s, promises.worst_late_s
        return Answer(
            question="Were the promises kept?",
            headline=f"{kept.hits} of {kept.n} promises kept",
            said=self._promises_said(),
            figures=(
                Figure(
                    "Kept, in the middle early by",
                    minutes(early) if early is not None else "–",
                    self._behind("promise-kept"),
                ),
                Figure("Late", str(self.figures.n("promise-late")), self._behind("promise-late")),
                Figure("Latest, late by", minutes(late) if late is not None else "–", self._behind("promise-late")),
            ),
            more="#promises",
        )

    def _money(self) -> Answer:
        takings = self.figures.takings
        average = takings.average
        return Answer(
            question="What came in?",
            headline=self._amount(takings.net),
            said="",
            figures=(
                *(
                    Figure(MEANS_SAID[one.how], self._amount(one.net), self._behind(f"paid-{one.how}"))
                    for one in takings.means
                    if one.how != "other" or one.taken or one.refunded
                ),
                Figure("Given back", self._amount(takings.refunded), self._behind("refunded")),
                Figure(
                    "A portrait, on average",
                    self._amount(average) if average is not None else "–",
                    self._behind("paid"),
                ),
            ),
            more="#takings",
        )

    def _took(self) -> Answer:
        flow, waiting = self.figures.flow, self.figures.waiting
        off = sorted(
            (one for one in self.figures.stages.stages if _is_off(one)),
            key=lambda one: -abs(one.against_guess or 0.0),
        )
        return Answer(
            question="How long did it take?",
            headline=f"{minutes(flow.median_s)} from order to ready" if flow else "Nothing was finished",
            said=" ".join(
                [
                    *(["In the middle: half of the portraits took longer."] if flow else []),
                    *(["Stages furthest from their guess:"] if off else []),
                ]
            ),
            figures=(
                *(
                    Figure(
                        f"{one.style_name}: {one.stage.name}",
                        _signed_percent(one.against_guess or 0.0),
                        self._behind(f"stage-{one.style}.{one.stage.id}"),
                    )
                    for one in off[:3]
                ),
                Figure("Waiting until begun", minutes(waiting.median_s) if waiting else "–", self._behind("waiting")),
            ),
            more="#stages",
        )

    # The details

    def _timeline_said(self) -> str:
        flow = [line for line in self.figures.lines if line.started_at]
        highest = max((n for _, n in self.figures.queue), default=0)
        return (
            f"{len(flow)} {_plural(len(flow), 'portrait', 'portraits')} on the easels; "
            f"at most {highest} waited at once. A line across a bar ends a stage, a thin stretch is a pause, "
            "a dashed outline a touch-up. Every bar leads to its ticket below."
        )

    def _hours_row(self, one: Hours) -> HoursRow:
        return HoursRow(
            artist=self.artists.get(one.artist, one.artist),
            total=minutes(one.total_s),
            utilisation=_percent(one.utilisation or 0.0),
            parts=tuple(
                Figure(name, minutes(part_s), note=_percent(part_s / one.total_s))
                for _, name, part_s in _parts(one)
                if part_s >= 0.5
            ),
            bar=self._bar(one),
        )

    def _bar(self, hours: Hours) -> Markup:
        return Markup(charts.parts_bar((kind, part_s) for kind, _, part_s in _parts(hours)))

    def _turnaround_said(self) -> str:
        measured, set_up = self.figures.turnarounds, self.booth.set_up
        if measured is None or set_up is None:
            return "No turnaround was measured: never did the next portrait wait when one was finished."
        return (
            f"Turnaround between two portraits, where the next one waited already: in the middle "
            f"{_clockwork(measured.median_s)}, eight of ten between {_clockwork(measured.p10_s)} and "
            f"{_clockwork(measured.p90_s)} (n = {measured.n}); guessed {_clockwork(set_up.turnaround.usual_s)}."
        )

    def _promises_said(self) -> str:
        kept = self.figures.promises.kept
        if kept is None:
            return ""
        low, high = kept.interval()
        wish = f", wished for {_percent(self.confidence)}" if self.confidence else ""
        thin = " Too few to judge a day by." if kept.n < FEW else ""
        chance = f"By chance alone it may lie between {_percent(low)} and {_percent(high)}."
        return f"{_percent(kept.value)}{wish}. {chance}{thin}"

    def _promise_figures(self) -> tuple[Figure, ...]:
        promises = self.figures.promises
        early, late, last = promises.median_early_s, promises.worst_late_s, promises.kept_by_the_last
        return (
            self._counted("Given", "promised", "the first time that each customer was told"),
            self._counted("Kept", "promise-kept", "ready at that time or before"),
            self._counted("Late", "promise-late", "finished after that time"),
            self._counted("Past, not finished", "promise-unfinished"),
            self._counted("Still to come", "promise-open"),
            self._counted("Cancelled before", "promise-set-aside", "not judged"),
            Figure("Share kept", _share_said(promises.kept), self._behind("promise-judged"), "Wilson interval, 95 %"),
            Figure(
                "Early, in the middle",
                minutes(early) if early is not None else "–",
                self._behind("promise-kept"),
                "of those kept",
            ),
            Figure("Latest", f"late by {minutes(late)}" if late is not None else "–", self._behind("promise-late")),
            self._counted("Told another time later", "promise-moved"),
            Figure("Kept by the last time told", _share_said(last), self._behind("promise-judged")),
        )

    def _means(self) -> tuple[MeansRow, ...]:
        return tuple(
            MeansRow(
                MEANS_SAID[one.how],
                self._amount(one.taken),
                self._amount(one.refunded),
                self._amount(one.net),
                self._behind(f"paid-{one.how}"),
            )
            for one in self.figures.takings.means
        )

    def _takings(self) -> tuple[Figure, ...]:
        takings = self.figures.takings
        paid_for = len(takings.paid_for)
        return (
            Figure("Together", self._amount(takings.net), self._behind("paid")),
            Figure(
                "A portrait, on average",
                self._amount(takings.average) if takings.average is not None else "–",
                self._behind("paid"),
                f"of {paid_for} paid for on the day" if paid_for else "",
            ),
            Figure("Still to come", self._amount(takings.to_come), self._behind("to-come"), "due as it stands now"),
            Figure(
                "To be given back",
                self._amount(takings.to_return),
                self._behind("cancelled") if takings.to_return else "",
                "paid for cancelled portraits",
            ),
        )

    def _times(self) -> tuple[Figure, ...]:
        carried = self.figures.n("finished") - self.figures.n("flow")
        note = f"{carried} ordered on an earlier day left out" if carried else ""
        return (
            Figure("From order to ready", _spread_said(self.figures.flow), self._behind("flow"), note),
            Figure("From order to begun", _spread_said(self.figures.waiting), self._behind("waiting")),
        )

    def _styles(self) -> tuple[StyleStages, ...]:
        found: dict[str, list[StageRow]] = {}
        for one in self.figures.stages.stages:
            found.setdefault(one.style_name, []).append(self._stage_row(one))
        return tuple(StyleStages(style, tuple(rows)) for style, rows in found.items())

    def _stage_row(self, one: StageFigures) -> StageRow:
        measured, guess, off = one.measured, one.stage, one.against_guess
        return StageRow(
            stage=guess.name + (" (a sitter)" if guess.per_sitter else ""),
            n=str(measured.n if measured else 0),
            address=self._behind(f"stage-{one.style}.{guess.id}"),
            measured=_clockwork(measured.median_s) if measured else "–",
            between=f"{_clockwork(measured.p10_s)}–{_clockwork(measured.p90_s)}"
            if measured and measured.n > 1
            else "–",
            guessed=_clockwork(guess.usual_s),
            guess_between=f"{_clockwork(guess.quick_s)}–{_clockwork(guess.slow_s)}",
            against=_signed_percent(off) if off is not None else "–",
            set_aside=str(one.set_aside) if one.set_aside else "",
        )

    def _set_aside(self) -> tuple[SetAsideRow, ...]:
        tickets = {line.ticket.id: line.ticket for line in self.figures.lines}
        rows = []
        for one in self.figures.stages.set_aside:
            ticket = tickets[one.time.ticket]
            names = {stage.id: stage.name for stage in ticket.style.stages}
            sitters = f" × {ticket.sitters}" if ticket.sitters > 1 else ""
            rows.append(
                SetAsideRow(
                    number=str(ticket.number),
                    address=self._ticket(ticket.id),
                    style=ticket.style.name + sitters,
                    stages=" + ".join(names[id] for id in one.time.stages),
                    artist=self.artists.get(one.time.artist, one.time.artist),
                    ended=self._clock(one.time.ended_at),
                    measured=_clockwork(one.time.total_s),
                    counts=_counts_said(one),
                    why=_why_said(one),
                )
            )
        return tuple(rows)

    def _left(self) -> tuple[LeftRow, ...]:
        names = {one.id: one.name for one in self.booth.set_up.styles} if self.booth.set_up else {}
        rows = []
        for event in self.figures.walked_away:
            if isinstance(event.data, WalkedAway):
                asked = event.data
                rows.append(
                    LeftRow(
                        at=self._clock(event.happened_at),
                        style=names.get(asked.style, asked.style) if asked.style else "not said",
                        sitters=str(asked.sitters),
                        told=self._clock(asked.ready_by) if asked.ready_by else "not told a time",
                    )
                )
        return tuple(rows)

    def _ticket_row(self, line: Line) -> TicketRow:
        ticket, word = line.ticket, line.word
        artist = self.artists.get(line.drawn_by, line.drawn_by)
        sitters = f" × {ticket.sitters}" if ticket.sitters > 1 else ""
        return TicketRow(
            id=ticket.id,
            number=str(ticket.number),
            ordered_on="" if ticket.day == self.figures.day.day else ticket.day,
            style=ticket.style.name + sitters,
            artist=artist or "–",
            ordered=self._clock(ticket.ordered_at),
            started=self._clock(line.started_at),
            finished=self._clock(line.finished_at),
            collected=self._clock(line.collected_at),
            promise=self._clock(word.first_by) if word else "–",
            outcome=_outcome_said(word.outcome, word.early_s) if word else "",
            drawn=minutes(line.drawn_s) if line.started_at else "–",
            paid=self._amount(ticket.paid),
            place=ticket.place,
        )

    # How it is said

    def _clock(self, at: datetime | None) -> str:
        return clock_time(at, self.zone, self.figures.day.opened_at) if at is not None else "–"

    def _amount(self, cents: int) -> str:
        return money(cents, self.currency)


def _together(rows: Sequence[Hours]) -> Hours:
    """The hours of all artists as if of one."""
    whys = {why for one in rows for why in one.paused_s}
    return Hours(
        artist="",
        total_s=sum(one.total_s for one in rows),
        drawing_s=sum(one.drawing_s for one in rows),
        touch_up_s=sum(one.touch_up_s for one in rows),
        paused_s={why: sum(one.paused_s.get(why, 0.0) for one in rows) for why in whys},
        break_s=sum(one.break_s for one in rows),
        turnaround_s=sum(one.turnaround_s for one in rows),
        idle_s=sum(one.idle_s for one in rows),
    )


def _parts(hours: Hours, briefly: bool = False) -> list[tuple[str, str, float]]:
    """The parts of the hours in their order: kind for the bar, name, seconds."""
    pauses = [("pause", WHY_SAID[why], hours.paused_s.get(why, 0.0)) for why in WHY_SAID]
    if briefly:
        pauses = [("pause", "Paused", sum(hours.paused_s.values()))]
    return [
        ("drawing", "Drawing", hours.drawing_s),
        ("touch-up", "Touch-ups", hours.touch_up_s),
        ("turnaround", "Turnaround", hours.turnaround_s),
        *pauses,
        ("break", "Breaks", hours.break_s),
        ("idle", "Nothing on the easel", hours.idle_s),
    ]


def _is_off(one: StageFigures) -> bool:
    off = one.against_guess
    return one.measured is not None and one.measured.n >= ENOUGH_TIMES and off is not None and abs(off) >= OFF_BY


def _counts_said(one: Judged) -> str:
    match one.counts_as:
        case doubts.AT_LEAST:
            return f"as at least {_clockwork(one.at_least_s)}"
        case doubts.SUM:
            return "as one sum"
    return "not at all"


def _why_said(one: Judged) -> str:
    usual = f" (usual: about {_clockwork(one.usual_s)})" if one.usual_s is not None else ""
    why = one.why or ""
    return f"{why[:1].upper()}{why[1:]}{usual}"


def _outcome_said(outcome: str, early_s: float | None) -> str:
    if outcome == KEPT and early_s is not None:
        return f"kept, {minutes(early_s)} early"
    if outcome == LATE and early_s is not None:
        return f"late by {minutes(-early_s)}"
    return OUTCOME_SAID[outcome]


def _spread_said(spread: Spread | None) -> str:
    if spread is None:
        return "–"
    if spread.n == 1:
        return f"{minutes(spread.median_s)} (n = 1)"
    middle = f"in the middle {minutes(spread.median_s)}"
    return f"{middle}, one of ten over {minutes(spread.p90_s)}, longest {minutes(spread.longest_s)} (n = {spread.n})"


def _share_said(share: Share | None) -> str:
    if share is None:
        return "–"
    low, high = share.interval()
    return f"{_percent(share.value)} (n = {share.n}, {_percent(low)} to {_percent(high)})"


def _percent(share: float) -> str:
    return f"{100 * share:.0f}\u00a0%"


def _signed_percent(share: float) -> str:
    whole = round(100 * share)
    return f"{'+' if whole > 0 else '−' if whole < 0 else '±'}{abs(whole)}\u00a0%"


def _clockwork(seconds: float) -> str:
    """Minutes and seconds: `3:49`, `1:02:10`."""
    whole = int(seconds + 0.5)
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"


def _plural(n: int, one: str, many: str) -> str:
    return one if n == 1 else many
