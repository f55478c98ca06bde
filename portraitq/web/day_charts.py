"""What the day book charts of one day: times by the hour of the order, how early and late, stages in their limits."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from portraitq.daybook.plots import Axis, Bars, Level, Line, Plot, Points, Table
from portraitq.daybook.promises import MARGINS
from portraitq.daybook.quantiles import Spread
from portraitq.daybook.shares import Share
from portraitq.daybook.stages import Hand, StageFigures
from portraitq.web.day_words import DayWords, clockwork, plural

NO_TABLE = Table((), ())  # its numbers stand in a table of the page, where each opens its tickets
MOST_CONTROL = 4  # charts; the table names all
ENOUGH_TO_SEE = 8  # points; of fewer the table says as much as a picture
NOWHERE = Spread(0, math.nan, math.nan, math.nan, math.nan)


@dataclass(frozen=True)
class Controlled:
    """One artist at one stage whose times have limits."""

    stage: StageFigures
    hand: Hand

    @property
    def key(self) -> str:
        """As in the figures behind it."""
        return f"{self.stage.style}.{self.stage.stage.id}.{self.hand.artist}"


def by_hour(words: DayWords) -> Plot | None:
    """Waiting and flow times by the hour of the order; None on a day without any."""
    hours = words.figures.by_hour
    if not any(one.waiting or one.flow for one in hours):
        return None
    names = tuple(words.clock(one.begins_at) for one in hours)
    waited, took = (
        sum(one.n for one in known if one) for known in zip(*((o.waiting, o.flow) for o in hours), strict=True)
    )
    return Plot(
        name="by-hour",
        title="Waiting, and from order to ready, by the hour of the order",
        said=f"Of {words.figures.n('ordered')} orders {waited} were begun and {took} finished on the day. Bars are "
        "medians; the line on each reaches from the quickest tenth to the slowest tenth of that hour.",
        x=Axis("Ordered in the hour from", "category"),
        y=Axis("Minutes", "minutes"),
        parts=tuple(
            Bars(
                names,
                tuple(one.median_s for one in of),
                name,
                tuple(one.p10_s for one in of),
                tuple(one.p90_s for one in of),
            )
            for name, of in (
                ("Until begun", [one.waiting or NOWHERE for one in hours]),
                ("Until ready", [one.flow or NOWHERE for one in hours]),
            )
        ),
        table=NO_TABLE,
    )


def margins(words: DayWords) -> Plot | None:
    """How early and how late the promised portraits were finished; None where none was."""
    promises = words.figures.promises
    counts = [len(promises.within(margin)) for margin in MARGINS]
    if not (n := sum(counts)):
        return None
    shares = [Share(count, n) for count in counts]
    early = sum(count for margin, count in zip(MARGINS, counts, strict=True) if margin.startswith("early"))
    return Plot(
        name="margins",
        title="How early, how late",
        said=f"{early} of {n} promised portraits that were finished came in time. Bars are shares of the {n}, each "
        "with its 95 % interval (Wilson).",
        x=Axis("Finished", "category"),
        y=Axis("Share", "share"),
        parts=(
            Bars(
                ("late > 15", "late 5–15", "late ≤ 5", "early ≤ 5", "early 5–15", "early > 15"),
                tuple(one.value for one in shares),
                "Share of the finished",
                tuple(one.interval()[0] for one in shares),
                tuple(one.interval()[1] for one in shares),
            ),
        ),
        table=NO_TABLE,
    )


def controlled(words: DayWords) -> list[Controlled]:
    """Every artist and stage whose times have limits: those with odd times first, then those with most times."""
    found = [Controlled(one, hand) for one in words.figures.stages.stages for hand in one.hands if hand.control]
    return sorted(found, key=lambda one: (-len(one.hand.beyond), -len(one.hand.times)))


def control_charts(words: DayWords) -> Iterator[Plot]:
    """The individuals charts of the day, MOST_CONTROL at most."""
    seen = [one for one in controlled(words) if len(one.hand.times) >= ENOUGH_TO_SEE]
    for place, one in enumerate(seen[:MOST_CONTROL], start=1):
        yield _control_chart(words, one, f"control-{place}")


def _control_chart(words: DayWords, one: Controlled, name: str) -> Plot:
    judgement = one.hand.control
    assert judgement is not None  # `controlled` leaves the others out
    limits, times = judgement.limits, one.hand.times
    numbers = {line.ticket.id: line.ticket.number for line in words.figures.lines}
    places = tuple(float(place) for place in range(1, len(times) + 1))
    odd = set(judgement.beyond)
    within = [place for place in range(len(times)) if place not in odd]
    whose = f"{one.stage.style_name}, {one.stage.stage.name}: {words.artist(one.hand.artist)}"
    stands_on = (
        f"limits from the {limits.n} times before this day"
        if judgement.is_from_before
        else f"limits from the {limits.n} times of this day itself"
    )
    beyond = f"{len(odd)} {plural(len(odd), 'lies', 'lie')} beyond them" if odd else "all lie within them"
    return Plot(
        name=name,
        title=whose,
        said=f"n = {len(times)}; {stands_on}: {clockwork(limits.lower)} to {clockwork(limits.upper)}; {beyond}.",
        x=Axis("Portraits of the day, in order"),
        y=Axis("Minutes a sitter" if one.stage.stage.per_sitter else "Minutes", "minutes"),
        parts=(
            Line(places, tuple(time.time_s for time in times), "In order"),
            *_points("Within", within, one.hand),
            *_points("Beyond the limits", sorted(odd), one.hand),
            Level(limits.upper, f"upper limit {clockwork(limits.upper)}"),
            Level(limits.centre, f"centre {clockwork(limits.centre)}"),
            Level(limits.lower, f"lower limit {clockwork(limits.lower)}"),
        ),
        table=Table(
            ("Number", "Tapped", "Took", "Beside the limits"),
            tuple(
                (
                    str(numbers[time.ticket]),
                    words.clock(time.ended_at),
                    clockwork(time.time_s),
                    "beyond" if place in odd else "within",
                )
                for place, time in enumerate(times)
            ),
        ),
    )


def _points(name: str, places: list[int], hand: Hand) -> Iterator[Points]:
    if places:
        yield Points(
            tuple(float(place + 1) for place in places), tuple(hand.times[place].time_s for place in places), name
        )
