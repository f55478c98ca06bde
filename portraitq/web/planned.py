"""A plan's answer in words, tables and charts, for the page and for the shell.

Ranges are those of eight days of ten everywhere; what is only the error of the simulation is said to be that.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from portraitq.core.events import SetUp
from portraitq.currency import digits_of
from portraitq.daybook.plots import Axis, Band, Bars, Level, Line, Plot, Points, Table
from portraitq.forecast.arrivals import hours_of
from portraitq.forecast.patience import Patience, leaves
from portraitq.forecast.plan import DAY_S, ONE_MORE, Plan
from portraitq.forecast.plan_answer import Alternative, Answer
from portraitq.forecast.plan_figures import Figure, Figures, Hour, difference, still_pays
from portraitq.web.said import minutes, money

MINUS = "−\u2060"  # that no line ends behind it
RANGE_Z = 1.2815515655446004  # eight of ten of a normal lie within so many spreads
FEW_DAYS, FEW_ORDERS = 5, 40  # a record shorter than that leaves much to the guesses
NO_PROMISE = (
    "A plan is no promise: it says what such days bring if people come as written down here and you draw as you have."
)
LEFT_OUT = (
    "Left out: photos that are waited for, cancellations, touch-ups, somebody who comes late, and work from the day "
    "before. What would be told on such a day is reckoned a little more coarsely than a live quote."
)


@dataclass(frozen=True)
class Row:
    """One figure: its name, what is expected, the range of eight days of ten."""

    name: str
    value: str
    span: str


@dataclass(frozen=True)
class Beside:
    """One figure of two plans, and what the other one brings more."""

    name: str
    this: str
    other: str
    more: str


@dataclass(frozen=True)
class Change:
    """One alternative: what would be different, and what that would bring, in a sentence."""

    title: str
    said: str


@dataclass(frozen=True)
class PlanSaid:
    """The whole answer. `learned` says what it rests on; `last_orders` are (style, safe, usual)."""

    headline: str
    said: str
    changes: tuple[Change, ...]
    rows: tuple[Row, ...]
    busy: tuple[Row, ...]
    styles: tuple[Row, ...]
    last_orders: tuple[tuple[str, str, str], ...]
    last_orders_said: str
    learned: tuple[str, ...]
    cautions: tuple[str, ...]
    plots: tuple[Plot, ...]


def plan_said(answer: Answer) -> PlanSaid:
    """The answer ready to print."""
    figures, plan, set_up = answer.figures, answer.plan, answer.set_up
    currency = set_up.booth.currency
    finished, takings = figures.of("finished"), figures.of("takings")
    return PlanSaid(
        headline=f"About {_portraits(finished.mean)} ({_whole_span(finished)}) and "
        f"{_about(takings.mean, currency)} ({_money_span(takings, currency)}) on such a day",
        said=f"In brackets is what eight days of ten bring. {answer.days:,} days were played, from {clock(plan, 0)} to "
        f"{_closing(plan)} with {_named([artist.name for artist in set_up.artists])}.",
        changes=tuple(_change(each, answer) for each in answer.alternatives),
        rows=_rows(figures, plan, currency),
        busy=_busy(figures, set_up),
        styles=tuple(
            Row(style.name, _number(found.mean), _whole_span(found))
            for style in set_up.styles
            if (found := figures.finished_of.get(style.id)) is not None
        ),
        last_orders=_last_orders(figures, plan, set_up),
        last_orders_said="Up to the first time a portrait of one sitter can be promised before closing on nine days of "
        "ten, up to the second on every other day. Afterwards say that it is for the next day.",
        learned=_learned(plan),
        cautions=_cautions(plan, set_up),
        plots=_plots(answer),
    )


def clock(plan: Plan, seconds: float) -> str:
    """A moment of the planned day as clocks show it."""
    return clock_of(plan.opens_min, seconds)


def _closing(plan: Plan) -> str:
    """When the planned day closes; a day that goes past midnight says so."""
    closes_s = 60 * plan.opens_min + plan.lasts_s
    if closes_s == DAY_S:
        return "24:00"
    return clock(plan, plan.lasts_s) + (" of the next day" if closes_s > DAY_S else "")


def clock_of(opens_min: int, seconds: float) -> str:
    """So many seconds after an opening in minutes after midnight, to the minute.

    >>> clock_of(600, 5430.0)
    '11:30'
    """
    at = opens_min + int(seconds // 60)
    return f"{at // 60 % 24:02}:{at % 60:02}"


# Alternatives


def _change(each: Alternative, answer: Answer) -> Change:
    set_up, currency = answer.set_up, answer.set_up.booth.currency
    finished, takings = each.change["finished"], each.change["takings"]
    brings = f"{_portraits_more(finished)} and {_money_more(takings, currency)} on such a day."
    if each.kind == "easel":
        return Change("One more easel", f"{_whose_easel(each, answer)} would bring {brings}")
    if each.kind == "style":
        name = _style(set_up, each.what)
        return Change(
            f"Without {name}", f"Leaving out {name}, which takes longest, would bring {brings} Who wanted it leaves."
        )
    return Change(*_at_another_price(each, answer))


def _whose_easel(each: Alternative, answer: Answer) -> str:
    if each.what != ONE_MORE:
        return "Another artist of your set-up"
    return f"One more easel, drawn on as {answer.set_up.called(each.plan.like or '')} draws,"


def _at_another_price(each: Alternative, answer: Answer) -> tuple[str, str]:
    new, set_up = answer.new_price, answer.set_up
    style = set_up.style(each.what)
    assert new is not None
    assert style is not None
    currency = set_up.booth.currency
    old = answer.plan.price_of(style)
    takings = each.change["takings"]
    stay = "everybody still orders it" if new.keep >= 1 else f"{_share(new.keep)} of them still order it"
    said = (
        f"At {_exact(new.price, currency)} instead of {_exact(old, currency)}, {style.name} would bring "
        f"{_money_more(takings, currency)} if {stay}."
    )
    if new.price > old:
        least = _share(still_pays(old, new.price))
        said += f" It pays as long as more than {least} of them do; how many would is not in the record."
    return f"{style.name} at {_exact(new.price, currency)}", said


def _portraits_more(figure: Figure) -> str:
    if abs(figure.mean) < 0.5:
        return f"hardly a portrait more or fewer ({_whole_span(figure)})"
    size, span = abs(figure.mean), (figure if figure.mean > 0 else _turned(figure))
    return f"about {_number(size)} {'more' if figure.mean > 0 else 'fewer'} {_plural(size)} ({_whole_span(span)})"


def _money_more(figure: Figure, currency: str) -> str:
    size, span = abs(figure.mean), (figure if figure.mean >= 0 else _turned(figure))
    return f"{_about(size, currency)} {'more' if figure.mean >= 0 else 'less'} ({_money_span(span, currency)})"


def _turned(figure: Figure) -> Figure:
    return Figure(-figure.mean, -figure.high, -figure.low, figure.error)


# Figures


def _rows(figures: Figures, plan: Plan, currency: str) -> tuple[Row, ...]:
    def people(name: str, figure: str) -> Row:
        found = figures.of(figure)
        return Row(name, _number(found.mean), _whole_span(found))

    takings, over = figures.of("takings"), figures.of("overtime")
    rows = [
        people("People who ask", "asked"),
        people("Who order", "ordered"),
        people("Who leave", "left"),
        people("Portraits finished", "finished"),
        Row("Takings", _about(takings.mean, currency), _money_span(takings, currency)),
    ]
    if figures.told_s is not None:
        low, middle, high = figures.told_s
        rows.append(Row("Wait told", minutes(middle), f"{_span(low, high, minutes)} for eight of ten people"))
    if (kept := figures.kept) is not None:
        name = f"Promises kept (wished {_share(plan.confidence)})"
        rows.append(Row(name, _share(kept.mean), _span(kept.low, kept.high, _share)))
    rows.append(Row("Drawing on after closing", minutes(over.mean), _span(over.low, over.high, minutes)))
    rows.append(people("Carried over to the next day", "carried"))
    return tuple(rows)


def _busy(figures: Figures, set_up: SetUp) -> tuple[Row, ...]:
    found = []
    for artist in set_up.artists:
        drawing, turning = figures.drawing[artist.id], figures.turning[artist.id]
        if drawing is not None:
            span = _span(drawing.low, drawing.high, _share)
            also = f", and {_share(turning.mean)} turnaround" if turning else ""
            found.append(Row(artist.name, _share(drawing.mean), span + also))
    return tuple(found)


def _last_orders(figures: Figures, plan: Plan, set_up: SetUp) -> tuple[tuple[str, str, str], ...]:
    def at(seconds: float | None) -> str:
        return "never surely" if seconds is None else clock(plan, seconds)

    return tuple((_style(set_up, each.style), at(each.safe_s), at(each.usual_s)) for each in figures.last_orders)


def table(answer: Answer) -> str:
    """The answer as text for a terminal: figures first, then alternatives, last orders and what it rests on."""
    said = plan_said(answer)

    def rows(heading: str, of: Sequence[Row]) -> list[str]:
        wide = max((len(row.name) for row in of), default=0)
        return ["", heading, *(f"  {row.name:<{wide}}  {row.value:>8}   {row.span}" for row in of)]

    lines = [f"{said.headline}.", said.said]
    lines += rows("On such a day (mean, eight days of ten)", said.rows)
    lines += rows("Finished of each style", said.styles)
    lines += rows("Drawing, of the hours that each is there", said.busy)
    lines += rows("Last orders (on nine days of ten, on every other day)", [Row(*each) for each in said.last_orders])
    lines += ["", "What else", *(f"  {each.said}" for each in said.changes)]
    lines += ["", "What it rests on", *(f"  {each}" for each in (*said.learned, *said.cautions))]
    return "\n".join(lines).replace("\u00a0", " ").replace("\u2060", "")


def two_plans(this: Answer, other: Answer) -> tuple[Beside, ...]:
    """Two plans side by side, day by day with the same people and luck; none where they were not played alike."""
    if (this.days, this.seed) != (other.days, other.seed):
        return ()
    currency = this.set_up.booth.currency
    change = difference(this.figures, other.figures)

    def row(name: str, figure: str, said: Callable[[float], str]) -> Beside:
        mine, theirs, more = this.figures.of(figure), other.figures.of(figure), change[figure]
        low, high = said(more.low), said(more.high)
        return Beside(name, said(mine.mean), said(theirs.mean), f"{_signed(more.mean, said)} ({low} to {high})")

    return (
        row("People who ask", "asked", _number),
        row("Who leave", "left", _number),
        row("Portraits finished", "finished", _number),
        row("Takings", "takings", lambda cents: _about(cents, currency)),
        row("Drawing on after closing", "overtime", minutes),
        row("Carried over to the next day", "carried", _number),
    )


def _signed(value: float, said: Callable[[float], str]) -> str:
    text = said(value)
    return f"+{text}" if value > 0 and text != said(0) else text


# What it rests on


def _learned(plan: Plan) -> tuple[str, ...]:
    asked, wishes, patience = plan.asked, plan.wishes, plan.patience
    people = "How many ask: as typed"
    if asked.days:
        people = f"How many ask: from {_days(asked.days)} of the record, on which {asked.asked:,} asked at these hours"
    people += f", times {asked.factor:g}." if asked.factor != 1 else "."
    mix = "as typed" if wishes.mix.is_given else f"from {wishes.asked:,} orders and questions of the record"
    return (
        people,
        f"What they ask for: {mix}.",
        patience_said(patience),
        "How long portraits take: what your live quotes know.",
    )


def patience_said(patience: Patience) -> str:
    """How long people wait, in a sentence."""
    if math.isinf(patience.half_s):
        return "How long they wait: as long as it takes, as typed."
    if not patience.asked and patience.covariance[0][0] == 0:
        return f"How long they wait: half of them leave at {minutes(patience.half_s)}, as typed."
    low, high = patience.half_between(RANGE_Z)
    return (
        f"How long they wait: half of them would leave at {minutes(patience.half_s)} ({_span(low, high, minutes)}), "
        f"from {patience.asked:,} who heard a time, of whom {patience.left:,} left."
    )


def _cautions(plan: Plan, set_up: SetUp) -> tuple[str, ...]:
    found = []
    rested = {who for who, _, _ in plan.breaks}
    without = [artist.name for artist in set_up.artists if artist.id not in rested and artist.id != ONE_MORE]
    if without and plan.lasts_s > 4 * 3600:
        found.append(
            f"No break is planned for {_named(without)}. Nobody draws well for "
            f"{minutes(plan.lasts_s)} on end: put the breaks in, or the plan says too much."
        )
    if plan.asked.days and (plan.asked.days < FEW_DAYS or plan.wishes.asked < FEW_ORDERS):
        found.append(
            "The record is young: much of this still leans on guesses, and the ranges are wide for that reason."
        )
    if plan.asked.unseen:
        found.append(
            f"On the days of the record the booth was not open {_hours_named(plan)}: as many people are expected then "
            "as in the hours that it knows. Type how many ask, if you know better."
        )
    return (*found, NO_PROMISE, LEFT_OUT)


def _hours_named(plan: Plan) -> str:
    """The hours of which the record knows nothing, those that follow each other as one."""
    edges = hours_of(plan.lasts_s)
    found: list[tuple[int, int]] = []
    for hour in plan.asked.unseen:
        if found and found[-1][1] == hour:
            found[-1] = (found[-1][0], hour + 1)
        else:
            found.append((hour, hour + 1))

    def at(edge: int) -> str:
        return _closing(plan) if edge == len(edges) - 1 else clock(plan, edges[edge])

    return _named([f"from {at(begins)} to {at(ends)}" for begins, ends in found])


# Charts


def _plots(answer: Answer) -> tuple[Plot, ...]:
    plan, figures = answer.plan, answer.figures
    hours = [hour for hour in figures.hours if hour.n]
    found = [_people_plot(plan, figures.hours, answer.days)]
    if hours:
        found += [_wait_plot(plan, hours), _kept_plot(plan, hours)]
    if 0 < plan.patience.half_s < math.inf:
        found.append(_patience_plot(plan.patience))
    return tuple(found)


def _people_plot(plan: Plan, hours: Sequence[Hour], days: int) -> Plot:
    at = tuple(clock(plan, hour.from_s) for hour in hours)
    asked, ordered = tuple(hour.asked for hour in hours), tuple(hour.ordered for hour in hours)
    busiest = max(hours, key=lambda hour: hour.asked)
    return Plot(
        name="people",
        title="Who asks and who orders",
        said=f"Most ask from {clock(plan, busiest.from_s)} on: {busiest.asked:.1f} in that hour, of whom "
        f"{busiest.left:.1f} leave. Bars are means of {days:,} simulated days, lines what eight of ten bring.",
        x=Axis("Hour", "category"),
        y=Axis("People in the hour"),
        parts=(
            Bars(at, asked, "ask", *_lows_and_highs([hour.asked_span for hour in hours])),
            Bars(at, ordered, "order", *_lows_and_highs([hour.ordered_span for hour in hours])),
        ),
        table=Table(
            ("Hour", "Ask", "eight days of ten", "Order", "eight days of ten"),
            tuple(
                (
                    clock(plan, hour.from_s),
                    f"{hour.asked:.1f}",
                    _span(*hour.asked_span, _number),
                    f"{hour.ordered:.1f}",
                    _span(*hour.ordered_span, _number),
                )
                for hour in hours
            ),
        ),
    )


def _lows_and_highs(spans: Sequence[tuple[float, float]]) -> tuple[tuple[float, ...], tuple[float, ...]]:
    return tuple(low for low, _ in spans), tuple(high for _, high in spans)


def _wait_plot(plan: Plan, hours: Sequence[Hour]) -> Plot:
    heard = [hour for hour in hours if hour.told_s and hour.ready_s]
    told = [hour.told_s for hour in heard if hour.told_s]
    ready = [hour.ready_s for hour in heard if hour.ready_s]
    at = tuple(clock(plan, hour.from_s) for hour in heard)
    longest = max(range(len(heard)), key=lambda row: told[row][1])
    return Plot(
        name="waits",
        title="What people are told to wait, and what they wait",
        said=f"Who asks from {at[longest]} on is told to wait longest: {minutes(told[longest][1])} in the middle. "
        "Points are the middle, lines what eight of ten people meet; "
        f"{sum(hour.n for hour in heard):,} simulated orders.",
        x=Axis("Hour of asking", "category"),
        y=Axis("Wait", "minutes"),
        parts=(_points(at, told, "told"), _points(at, ready, "waited, of those who ordered")),
        table=Table(
            ("Hour", "Told: middle", "eight of ten", "Waited: middle", "eight of ten"),
            tuple(
                (hour, minutes(a[1]), _span(a[0], a[2], minutes), minutes(b[1]), _span(b[0], b[2], minutes))
                for hour, a, b in zip(at, told, ready, strict=True)
            ),
        ),
    )


def _points(at: tuple[str, ...], of: Sequence[tuple[float, float, float]], name: str) -> Points:
    """Points in the middle of (low, middle, high)."""
    return Points(
        at, tuple(m for _, m, _ in of), name, tuple(low for low, _, _ in of), tuple(high for _, _, high in of)
    )


def _kept_plot(plan: Plan, hours: Sequence[Hour]) -> Plot:
    kept = [(hour, hour.kept) for hour in hours if hour.kept]
    at = tuple(clock(plan, hour.from_s) for hour, _ in kept)
    least, (share, _, _) = min(kept, key=lambda one: one[1][0])
    return Plot(
        name="kept",
        title="Promises kept",
        said=f"Fewest are kept of those told from {clock(plan, least.from_s)} on: {_share(share)}. Lines are the 95 % "
        f"interval that {sum(hour.n for hour, _ in kept):,} simulated orders leave.",
        x=Axis("Hour of asking", "category"),
        y=Axis("Share kept", "share"),
        parts=(
            _points(at, [(low, middle, high) for _, (middle, low, high) in kept], "kept"),
            Level(plan.confidence, f"wished {_share(plan.confidence)}"),
        ),
        table=Table(
            ("Hour", "Kept", "95 % interval", "Simulated orders"),
            tuple(
                (clock(plan, hour.from_s), _share(middle), _span(low, high, _share), f"{hour.n:,}")
                for hour, (middle, low, high) in kept
            ),
        ),
    )


def _patience_plot(patience: Patience) -> Plot:
    last_min = math.ceil(2.5 * patience.half_s / 1800) * 30
    waits = tuple(60.0 * each for each in range(0, last_min + 1, max(last_min // 60, 1)))
    low, high = patience.half_between(RANGE_Z)
    middle = tuple(float(leaves(wait, patience.half_s, patience.sharpness)) for wait in waits)  # type: ignore[arg-type]
    least = tuple(float(leaves(wait, high, patience.sharpness)) for wait in waits)  # type: ignore[arg-type]
    most = tuple(float(leaves(wait, low, patience.sharpness)) for wait in waits)  # type: ignore[arg-type]
    marks = [row for row, wait in enumerate(waits) if wait % 1800 == 0] or list(range(0, len(waits), 5))
    parts: tuple[Line | Band, ...] = (Line(waits, middle, "leave"),)
    if low < high:
        parts = (Band(waits, least, most, "as it may be, eight of ten"), *parts)
    return Plot(
        name="patience",
        title="Who leaves when told to wait so long",
        said=patience_said(patience),
        x=Axis("Wait told", "minutes"),
        y=Axis("Share who leave", "share"),
        parts=parts,
        table=Table(
            ("Wait told", "Leave", "Range"),
            tuple((minutes(waits[r]), _share(middle[r]), _span(least[r], most[r], _share)) for r in marks),
        ),
    )


# Words


def _portraits(mean: float) -> str:
    return f"{_number(mean)} {_plural(mean)}"


def _plural(n: float) -> str:
    return "portrait" if round(n) == 1 else "portraits"


def _number(value: float) -> str:
    whole = round(value) + 0
    return f"{MINUS}{-whole:,}" if whole < 0 else f"{whole:,}"


def _whole_span(figure: Figure) -> str:
    return f"{_number(figure.low)} to {_number(figure.high)}"


def _span(low: float, high: float, said: Callable[[float], str]) -> str:
    return f"{said(low)} to {said(high)}"


def _share(value: float) -> str:
    return f"{100 * value:.0f} %"


def _about(cents: float, currency: str) -> str:
    """An amount to the whole unit: nobody knows a plan's cents."""
    digits = digits_of(currency)
    whole = round(cents / 10**digits) * 10**digits
    return money(whole, currency).removesuffix("." + "0" * digits).replace("-", MINUS)


def _exact(cents: int, currency: str) -> str:
    return money(cents, currency).removesuffix("." + "0" * digits_of(currency))


def _money_span(figure: Figure, currency: str) -> str:
    return f"{_about(figure.low, currency)} to {_about(figure.high, currency)}"


def _days(n: int) -> str:
    return "1 day" if n == 1 else f"{n} days"


def _named(names: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1]))) if names else "nobody"


def _style(set_up: SetUp, id: str) -> str:
    found = set_up.style(id)
    return found.name if found else id
