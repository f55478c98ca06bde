"""What the day book says of one day: figures in words, ready to print, each with the way to the tickets behind it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from portraitq.core.booth import Booth
from portraitq.core.events import WalkedAway
from portraitq.daybook import charts
from portraitq.daybook.by_hour import HourFigures
from portraitq.daybook.days import Day
from portraitq.daybook.figures import DayFigures, Line
from portraitq.daybook.hours import Hours
from portraitq.daybook.promises import MARGINS
from portraitq.daybook.quantiles import Spread
from portraitq.daybook.stages import Hand, StageFigures
from portraitq.forecast import doubts
from portraitq.forecast.doubts import Judged
from portraitq.web import day_charts
from portraitq.web.charts import Chart, chart
from portraitq.web.day_answers import Advice, Answer, Answers, kind_of, promises_said
from portraitq.web.day_words import (
    MARGIN_SAID,
    MEANS_SAID,
    PART_SAID,
    DayWords,
    Figure,
    clockwork,
    outcome_said,
    parts_of,
    percent,
    plural,
    share_said,
    signed_percent,
    spread_said,
    together,
)
from portraitq.web.said import day_said, minutes


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
    """One stage measured against its guess and the days before; `is_part` is what one of several artists took."""

    stage: str
    is_part: bool
    n: str
    address: str
    measured: str
    between: str
    guessed: str
    guess_between: str
    against: str
    before: str
    before_n: str
    against_before: str
    set_aside: str


@dataclass(frozen=True)
class StyleStages:
    """The stages of one style; `has_past` says that days before are known."""

    style: str
    rows: tuple[StageRow, ...]
    has_past: bool


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
class HourRow:
    """The orders of one hour of the clock."""

    hour: str
    ordered: str
    address: str
    waiting: tuple[str, str, str]
    flow: tuple[str, str, str]


@dataclass(frozen=True)
class ControlRow:
    """One artist at one stage beside the limits: those beyond them lead to their tickets."""

    style: str
    stage: str
    artist: str
    n: str
    address: str
    centre: str
    limits: str
    stands_on: str
    beyond: tuple[Figure, ...]


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
    turnaround: Figure
    promises: tuple[Figure, ...]
    promises_said: str
    margins: tuple[Figure, ...]
    margins_chart: Chart | None
    means: tuple[MeansRow, ...]
    takings: tuple[Figure, ...]
    times: tuple[Figure, ...]
    by_hour: tuple[HourRow, ...]
    by_hour_chart: Chart | None
    styles: tuple[StyleStages, ...]
    control: tuple[ControlRow, ...]
    beyond: tuple[ControlRow, ...]
    control_said: str
    control_charts: tuple[Chart, ...]
    set_aside: tuple[SetAsideRow, ...]
    left: tuple[LeftRow, ...]
    tickets: tuple[TicketRow, ...]
    tickets_title: str
    all_tickets: str


def daybook_view(
    slug: str,
    booth: Booth,
    figures: DayFigures,
    days: Sequence[Day],
    show: str = "",
    advice: tuple[Advice, ...] | None = None,
) -> DayBookView:
    """The day book's page.

    days    to choose from
    show    the figure whose tickets are listed; empty: every ticket
    advice  what the record suggests, the clearest first; None on the page of an earlier day
    """
    return _Page(DayWords(slug, booth, figures)).view(days, show, advice)


@dataclass
class _Page:
    words: DayWords

    def __post_init__(self) -> None:
        self.figures = self.words.figures
        self.behind, self.ticket, self.counted = self.words.behind, self.words.ticket, self.words.counted
        self.clock, self.amount = self.words.clock, self.words.amount

    def view(self, days: Sequence[Day], show: str, advice: tuple[Advice, ...] | None) -> DayBookView:
        day = self.figures.day
        place = [one.day for one in days].index(day.day)
        listed, title = self._listed(show)
        by_hour, margins = day_charts.by_hour(self.words), day_charts.margins(self.words)
        control = tuple(self._control_row(one) for one in day_charts.controlled(self.words))
        easels = {**self.words.artists, **{one.artist: one.artist for one in self.figures.segments}}
        return DayBookView(
            day=day.day,
            day_said=day_said(day.day),
            state=self._state(),
            choices=tuple(DayChoice(one.day, day_said(one.day), one.day == day.day) for one in reversed(days)),
            before=f"?day={days[place - 1].day}" if place else "",
            after=f"?day={days[place + 1].day}" if place + 1 < len(days) else "",
            answers=Answers(self.words, advice).all(),
            patterns=Markup(charts.patterns()),  # made of constants
            timeline=Markup(charts.timeline(self.figures, self.words.zone, easels | self.words.artists, self.ticket)),
            timeline_said=self._timeline_said(),
            hours=tuple(self._hours_rows()),
            turnaround=Figure("", self._turnaround_said(), self.behind("turnaround")),
            promises=self._promise_figures(),
            promises_said=promises_said(self.words),
            margins=tuple(self.counted(MARGIN_SAID[margin], f"promise-{margin}") for margin in MARGINS),
            margins_chart=chart(margins) if margins else None,
            means=self._means(),
            takings=self._takings(),
            times=self._times(),
            by_hour=tuple(self._hour_row(one) for one in self.figures.by_hour),
            by_hour_chart=chart(by_hour) if by_hour else None,
            styles=self._styles(),
            control=control,
            beyond=tuple(one for one in control if one.beyond),
            control_said=_control_said(control),
            control_charts=tuple(chart(one) for one in day_charts.control_charts(self.words)),
            set_aside=self._set_aside(),
            left=self._left(),
            tickets=tuple(self._ticket_row(line) for line in listed),
            tickets_title=title,
            all_tickets=f"?day={day.day}#tickets" if show else "",
        )

    def _listed(self, show: str) -> tuple[list[Line], str]:
        lines = list(self.figures.lines)
        if not show:
            return lines, f"Every ticket of the day ({len(lines)})"
        wanted = set(self.figures.behind.get(show, ()))
        listed = [line for line in lines if line.ticket.id in wanted]
        said = self.words.behind_said(show) or "There is no such figure"
        return listed, f"{said} ({len(listed)})"

    def _state(self) -> str:
        day = self.figures.day
        opened = f"Opened {self.clock(day.opened_at)}"
        if day.closed_at is None:
            return f"{opened}, still open. As it stands at {self.clock(self.figures.until)}."
        again = f", opened {len(day.sessions)} times" if len(day.sessions) > 1 else ""
        return f"{opened}, closed {self.clock(day.closed_at)}{again}."

    # The day and its hours

    def _timeline_said(self) -> str:
        flow = [line for line in self.figures.lines if line.started_at]
        highest = max((n for _, n in self.figures.queue), default=0)
        return (
            f"{len(flow)} {plural(len(flow), 'portrait', 'portraits')} on the easels; "
            f"at most {highest} waited at once. A line across a bar ends a stage, a thin stretch is a pause, "
            "a dashed outline a touch-up. Every bar leads to its ticket below."
        )

    def _hours_rows(self) -> Iterator[HoursRow]:
        rows = self.figures.hours
        if len(rows) > 1:
            yield self._hours_row(together(rows), "All easels together", "easels.")
        for one in rows:
            yield self._hours_row(one, self.words.artist(one.artist), f"easel-{one.artist}.")

    def _hours_row(self, one: Hours, name: str, behind: str) -> HoursRow:
        return HoursRow(
            artist=name,
            total=minutes(one.total_s),
            utilisation=percent(one.utilisation or 0.0),
            parts=tuple(
                Figure(PART_SAID[part], minutes(part_s), self.behind(f"{behind}{part}"), percent(part_s / one.total_s))
                for part, part_s in parts_of(one)
                if part_s >= 0.5
            ),
            bar=Markup(charts.parts_bar((kind_of(part), part_s) for part, part_s in parts_of(one))),
        )

    def _turnaround_said(self) -> str:
        measured, set_up = self.figures.turnarounds, self.words.booth.set_up
        if measured is None or set_up is None:
            return "No turnaround was measured: never did the next portrait wait when one was finished."
        return (
            f"Turnaround between two portraits, where the next one waited already: in the middle "
            f"{clockwork(measured.median_s)}, eight of ten between {clockwork(measured.p10_s)} and "
            f"{clockwork(measured.p90_s)} (n = {measured.n}); guessed {clockwork(set_up.turnaround.usual_s)}."
        )

    def _hour_row(self, one: HourFigures) -> HourRow:
        return HourRow(
            hour=self.words.hour(one.begins_at),
            ordered=str(len(one.tickets)),
            address=self.behind(one.name(self.words.zone)),
            waiting=_three(one.waiting),
            flow=_three(one.flow),
        )

    # Promises and money

    def _promise_figures(self) -> tuple[Figure, ...]:
        promises, last = self.figures.promises, self.figures.promises.kept_by_the_last
        return (
            self.counted("Given", "promised", "the first time that each customer was told"),
            self.counted("Kept", "promise-kept", "ready at that time or before"),
            self.counted("Late", "promise-late", "finished after that time"),
            self.counted("Past, not finished", "promise-unfinished"),
            self.counted("Still to come", "promise-open"),
            self.counted("Cancelled before", "promise-set-aside", "not judged"),
            Figure("Share kept", share_said(promises.kept), self.behind("promise-judged"), "Wilson interval, 95 %"),
            Figure("Early by", spread_said(promises.early), self.behind("promise-kept"), "of those kept"),
            Figure("Late by", spread_said(promises.late), self.behind("promise-late"), "of those finished late"),
            self.counted("Told another time later", "promise-moved"),
            Figure("Kept by the last time told", share_said(last), self.behind("promise-judged")),
        )

    def _means(self) -> tuple[MeansRow, ...]:
        return tuple(
            MeansRow(
                MEANS_SAID[one.how],
                self.amount(one.taken),
                self.amount(one.refunded),
                self.amount(one.net),
                self.behind(f"paid-{one.how}"),
            )
            for one in self.figures.takings.means
        )

    def _takings(self) -> tuple[Figure, ...]:
        takings = self.figures.takings
        paid_for, drawn_s = len(takings.paid_for), self.figures.drawn_s
        return (
            Figure("Together", self.amount(takings.net), self.behind("paid")),
            Figure("Given back", self.amount(takings.refunded), self.behind("refunded"), "taken off already"),
            Figure("Tips", self.amount(takings.tipped), self.behind("tipped"), "paid above the price, in it already"),
            Figure(
                "A portrait, on average",
                self.amount(takings.average),
                self.behind("paid-for"),
                f"of {paid_for} paid for on the day" if paid_for else "",
            ),
            Figure(
                "An hour of drawing",
                self.amount(self.figures.per_drawing_hour),
                self.behind("easels.drawing"),
                f"of {minutes(drawn_s)} drawn" if drawn_s else "",
            ),
            Figure("Still to come", self.amount(takings.to_come), self.behind("to-come"), "due as it stands now"),
            Figure(
                "To be given back",
                self.amount(takings.to_return),
                self.behind("cancelled") if takings.to_return else "",
                "paid for cancelled portraits",
            ),
        )

    # Times

    def _times(self) -> tuple[Figure, ...]:
        carried = self.figures.n("finished") - self.figures.n("flow")
        note = f"{carried} ordered on an earlier day left out" if carried else ""
        return (
            Figure("From order to ready", spread_said(self.figures.flow), self.behind("flow"), note),
            Figure("From order to begun", spread_said(self.figures.waiting), self.behind("waiting")),
        )

    def _styles(self) -> tuple[StyleStages, ...]:
        drew: dict[str, dict[str, None]] = {}
        for one in self.figures.stages.stages:
            drew.setdefault(one.style, {}).update(dict.fromkeys(hand.artist for hand in one.hands))
        found: dict[str, list[StageRow]] = {}
        called: dict[str, str] = {}
        for one in self.figures.stages.stages:
            alone = f", {self.words.artist(next(iter(drew[one.style])))}" if len(drew[one.style]) == 1 else ""
            called[one.style] = one.style_name + alone
            rows = found.setdefault(one.style, [])
            rows.append(self._stage_row(one))
            if len(drew[one.style]) > 1:
                rows.extend(self._hand_row(one, hand) for hand in one.hands)
        return tuple(
            StyleStages(called[style], tuple(rows), any(row.before_n for row in rows)) for style, rows in found.items()
        )

    def _stage_row(self, one: StageFigures) -> StageRow:
        guess = one.stage
        return StageRow(
            stage=guess.name + (" (a sitter)" if guess.per_sitter else ""),
            is_part=False,
            n=str(one.measured.n if one.measured else 0),
            address=self.behind(f"stage-{one.style}.{guess.id}"),
            measured=_middle(one.measured),
            between=_between(one.measured),
            guessed=clockwork(guess.usual_s),
            guess_between=f"{clockwork(guess.quick_s)}–{clockwork(guess.slow_s)}",
            against=signed_percent(one.against_guess),
            before=_middle(one.past),
            before_n=f"n = {one.past.n}" if one.past else "",
            against_before=signed_percent(one.against_past),
            set_aside=str(one.set_aside) if one.set_aside else "",
        )

    def _hand_row(self, one: StageFigures, hand: Hand) -> StageRow:
        measured = hand.measured
        off = measured.median_s / one.stage.usual_s - 1 if measured else None
        off_before = measured.median_s / hand.past.median_s - 1 if measured and hand.past else None
        return StageRow(
            stage=self.words.artist(hand.artist),
            is_part=True,
            n=str(len(hand.times)),
            address=self.behind(f"hand-{one.style}.{one.stage.id}.{hand.artist}"),
            measured=_middle(measured),
            between=_between(measured),
            guessed="",
            guess_between="",
            against=signed_percent(off),
            before=_middle(hand.past),
            before_n=f"n = {hand.past.n}" if hand.past else "",
            against_before=signed_percent(off_before),
            set_aside="",
        )

    def _control_row(self, one: day_charts.Controlled) -> ControlRow:
        judgement, numbers = one.hand.control, {line.ticket.id: line.ticket.number for line in self.figures.lines}
        assert judgement is not None  # `controlled` leaves the others out
        limits = judgement.limits
        return ControlRow(
            style=one.stage.style_name,
            stage=one.stage.stage.name,
            artist=self.words.artist(one.hand.artist),
            n=str(len(one.hand.times)),
            address=self.behind(f"hand-{one.key}"),
            centre=clockwork(limits.centre),
            limits=f"{clockwork(limits.lower)}–{clockwork(limits.upper)}",
            stands_on=f"{limits.n} before this day" if judgement.is_from_before else f"{limits.n} of this day",
            beyond=tuple(
                Figure(f"{numbers[time.ticket]}", clockwork(time.time_s), self.ticket(time.ticket))
                for time in one.hand.beyond
            ),
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
                    address=self.ticket(ticket.id),
                    style=ticket.style.name + sitters,
                    stages=" + ".join(names[id] for id in one.time.stages),
                    artist=self.words.artist(one.time.artist),
                    ended=self.clock(one.time.ended_at),
                    measured=clockwork(one.time.total_s),
                    counts=_counts_said(one),
                    why=_why_said(one),
                )
            )
        return tuple(rows)

    # Who left, and the tickets

    def _left(self) -> tuple[LeftRow, ...]:
        set_up = self.words.booth.set_up
        names = {one.id: one.name for one in set_up.styles} if set_up else {}
        rows = []
        for event in self.figures.walked_away:
            if isinstance(event.data, WalkedAway):
                asked = event.data
                rows.append(
                    LeftRow(
                        at=self.clock(event.happened_at),
                        style=names.get(asked.style, asked.style) if asked.style else "not said",
                        sitters=str(asked.sitters),
                        told=self.clock(asked.ready_by) if asked.ready_by else "not told a time",
                    )
                )
        return tuple(rows)

    def _ticket_row(self, line: Line) -> TicketRow:
        ticket, word = line.ticket, line.word
        sitters = f" × {ticket.sitters}" if ticket.sitters > 1 else ""
        return TicketRow(
            id=ticket.id,
            number=str(ticket.number),
            ordered_on="" if ticket.day == self.figures.day.day else ticket.day,
            style=ticket.style.name + sitters,
            artist=self.words.artist(line.drawn_by) or "–",
            ordered=self.clock(ticket.ordered_at),
            started=self.clock(line.started_at),
            finished=self.clock(line.finished_at),
            collected=self.clock(line.collected_at),
            promise=self.clock(word.first_by) if word else "–",
            outcome=outcome_said(word.outcome, word.early_s) if word else "",
            drawn=minutes(line.drawn_s) if line.started_at else "–",
            paid=self.amount(ticket.paid),
            place=ticket.place,
        )


def _control_said(rows: Sequence[ControlRow]) -> str:
    n, beyond = sum(int(row.n) for row in rows), sum(len(row.beyond) for row in rows)
    odd = f"{beyond} {plural(beyond, 'lies', 'lie')} beyond them" if beyond else "all lie within them"
    return f"Of {n} {plural(n, 'time', 'times')} that have limits to be held against {odd}."


def _three(known: Spread | None) -> tuple[str, str, str]:
    """How many, their middle, and what one of ten takes longer than."""
    return (str(known.n), minutes(known.median_s), minutes(known.p90_s)) if known else ("0", "–", "–")


def _middle(known: Spread | None) -> str:
    return clockwork(known.median_s) if known else "–"


def _between(known: Spread | None) -> str:
    return f"{clockwork(known.p10_s)}–{clockwork(known.p90_s)}" if known and known.n > 1 else ""


def _counts_said(one: Judged) -> str:
    match one.counts_as:
        case doubts.AT_LEAST:
            return f"as at least {clockwork(one.at_least_s)}"
        case doubts.SUM:
            return "as one sum"
    return "not at all"


def _why_said(one: Judged) -> str:
    usual = f" (usual: about {clockwork(one.usual_s)})" if one.usual_s is not None else ""
    why = one.why or ""
    return f"{why[:1].upper()}{why[1:]}{usual}"
