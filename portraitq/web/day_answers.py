"""The first screen of the day book: what its owner asks in the evening, answered from the record.

What did I do, where did the hours go, did I keep my word, what should I change, shall I bring another easel? Each
answer is a headline, a sentence and a few figures, each of which leads to the tickets behind it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from portraitq.daybook import charts
from portraitq.daybook.hours import Hours
from portraitq.daybook.measured_guesses import OFF_BY
from portraitq.daybook.stages import StageFigures
from portraitq.web.day_words import (
    MEANS_SAID,
    PART_SAID,
    PAUSES,
    DayWords,
    Figure,
    parts_of,
    percent,
    plural,
    signed_percent,
    together,
)
from portraitq.web.said import minutes

NOTHING = Markup("")
FEW = 20  # with fewer promises than this, luck hides whether the wish was met (binomial: 14–20 of 20 at 85 %)
ENOUGH_TIMES = 5  # with fewer measured times a median says little about a guess
SHOWN_OFF = 3
MOST_ADVICE = 2  # on the first screen; all of it stands below
LONG_WAITED = 0.25  # of a day in which nobody waited for as long as this, another easel would have stood idle
FULL = 0.75  # an artist who draws more than this of an hour hardly stops between portraits


@dataclass(frozen=True)
class Answer:
    """One of the questions of the evening, answered in a headline and a few figures."""

    question: str
    headline: str
    said: str
    figures: tuple[Figure, ...]
    more: str
    more_said: str = "More"
    bar: Markup = NOTHING


@dataclass(frozen=True)
class Advice:
    """One thing that the record suggests, in a sentence, and where to do it."""

    said: str
    address: str


@dataclass(frozen=True)
class Answers:
    """The five answers of one day.

    advice  what is suggested, the clearest first; None where the page is of an earlier day, which suggests nothing
    """

    words: DayWords
    advice: tuple[Advice, ...] | None

    def all(self) -> tuple[Answer, ...]:
        """All five, in the order of the questions."""
        return (self._done(), self._hours(), self._kept(), self._change(), self._easel())

    def _done(self) -> Answer:
        words, figures = self.words, self.words.figures
        takings = figures.takings
        n, left = figures.n("finished"), len(figures.walked_away)
        still_open = figures.day.closed_at is None
        return Answer(
            question="What did I do?",
            headline=f"{n} {plural(n, 'portrait', 'portraits')} finished, {words.amount(takings.net)} came in",
            said="",
            figures=(
                words.counted("Ordered", "ordered"),
                words.counted("Collected", "collected"),
                words.counted("On the rack", "on-rack"),
                words.counted("Not finished yet" if still_open else "Carried over", "carried"),
                words.counted("Cancelled", "cancelled"),
                Figure("Walked away", str(left), "#left" if left else ""),
                *(
                    Figure(MEANS_SAID[one.how], words.amount(one.net), words.behind(f"paid-{one.how}"))
                    for one in takings.means
                    if one.how != "other" or one.taken or one.refunded
                ),
                Figure("Tips in it", words.amount(takings.tipped), words.behind("tipped")),
                Figure("Given back", words.amount(takings.refunded), words.behind("refunded")),
                Figure("A portrait, on average", words.amount(takings.average), words.behind("paid-for")),
                Figure("An hour of drawing", words.amount(figures.per_drawing_hour), words.behind("easels.drawing")),
            ),
            more="#takings",
            more_said="Money",
        )

    def _hours(self) -> Answer:
        question = "Where did the hours go?"
        whole = together(self.words.figures.hours)
        if not whole.total_s:
            return Answer(question, "Nobody was at an easel", "", (), "#hours")
        return Answer(
            question=question,
            headline=f"{percent((whole.drawing_s + whole.touch_up_s) / whole.total_s)} of {minutes(whole.total_s)} "
            "spent drawing",
            said="",
            figures=tuple(
                Figure(name, minutes(part_s), self._part(parts))
                for name, parts, part_s in briefly(whole)
                if part_s >= 30
            ),
            more="#hours",
            more_said="Easels",
            bar=Markup(charts.parts_bar((kind_of(part), part_s) for part, part_s in parts_of(whole))),
        )

    def _part(self, parts: Sequence[str]) -> str:
        """Where a part of the hours leads: to its tickets, or where several are put together to the whole split."""
        return (len(parts) == 1 and self.words.behind(f"easels.{parts[0]}")) or "#hours"

    def _kept(self) -> Answer:
        words, promises = self.words, self.words.figures.promises
        question, flow = "Did I keep my word?", words.figures.flow
        if (kept := promises.kept) is None:
            n = len(promises.words)
            headline = f"{n} given, none due yet" if n else "No promise was given"
            return Answer(question, headline, "", (), "#promises", "Promises")
        early, late = promises.early, promises.late
        return Answer(
            question=question,
            headline=f"{kept.hits} of {kept.n} promises kept",
            said=promises_said(words),
            figures=(
                words.timed("Early by, in the middle", early.median_s if early else None, "promise-kept"),
                words.counted("Finished late", "promise-late"),
                words.timed("Late by, in the middle", late.median_s if late else None, "promise-late"),
                words.counted("Never finished", "promise-unfinished"),
                words.timed("From order to ready", flow.median_s if flow else None, "flow"),
            ),
            more="#promises",
            more_said="Promises",
        )

    def _change(self) -> Answer:
        question = "What should I change?"
        off = sorted(
            (one for one in self.words.figures.stages.stages if is_off(one)),
            key=lambda one: -abs(one.against_guess or 0.0),
        )
        rows = tuple(
            Figure(
                f"{one.style_name}: {one.stage.name}",
                f"{signed_percent(one.against_guess)} (n = {len(one.tickets)})",
                self.words.behind(f"stage-{one.style}.{one.stage.id}"),
            )
            for one in off[:SHOWN_OFF]
        )
        against = "Stages furthest from their guess on this day:" if off else ""
        if self.advice:
            first, *others = self.advice
            more = " ".join(one.said for one in others[: MOST_ADVICE - 1])
            return Answer(question, first.said, more, (), first.address, "See how")
        if off:
            n = len(off)
            headline = f"{n} {plural(n, 'guess is', 'guesses are')} off by more than {percent(OFF_BY)}"
            return Answer(question, headline, against, rows, "#stages", "Stages")
        return Answer(
            question,
            "Nothing stands out",
            "No suggestion has enough behind it yet, and no stage was far from its guess."
            if self.advice is not None
            else "No stage was far from its guess on this day. Suggestions stand on the page of the last day.",
            (),
            "#stages",
            "Stages",
        )

    def _easel(self) -> Answer:
        words, pressed = self.words, self.words.figures.pressure
        left, n = len(words.figures.walked_away), len(words.figures.hours)
        plan, plan_said = f"/{words.slug}/daybook/plan", "Plan"
        question = "Shall I bring a second easel?" if n <= 1 else "Shall I bring another easel?"
        waited, drawn = pressed.waited, pressed.drawn
        if waited is None or drawn is None:
            return Answer(question, "Nobody waited", "", (), plan, plan_said)
        if waited < LONG_WAITED:
            headline = "Hardly: there was seldom anybody waiting"
        elif drawn >= FULL:
            headline = "It may pay: the easels were full while people waited"
        else:
            headline = "Not before the easels draw more while people wait"
        return Answer(
            question=question,
            headline=headline,
            said=f"Somebody waited for {minutes(pressed.waited_s)} of {minutes(pressed.trading_s)}; of the "
            f"time at the easels that could draw for them, {percent(drawn)} was drawn.",
            figures=(
                words.counted("Waited for an easel", "pressed"),
                Figure("Walked away", str(left), "#left" if left else ""),
            ),
            more=plan,
            more_said=plan_said,
        )


def briefly(hours: Hours) -> list[tuple[str, tuple[str, ...], float]]:
    """The hours in as few parts as the first screen has room for: name, the parts in it, seconds."""
    known = dict(parts_of(hours))
    others = tuple(why for why in PAUSES if why != "counter")
    return [
        *((PART_SAID[part], (part,), known[part]) for part in ("drawing", "touch-up", "turnaround")),
        ("At the counter", ("counter",), known["counter"]),
        ("Other pauses", others, sum(known[why] for why in others)),
        *((PART_SAID[part], (part,), known[part]) for part in ("break", "idle")),
    ]


def kind_of(part: str) -> str:
    """How that part of the hours is drawn."""
    return "pause" if part in PAUSES else part


def promises_said(words: DayWords) -> str:
    """The share of promises kept beside the wish, and how much of it is luck; empty where none can be judged."""
    kept = words.figures.promises.kept
    if kept is None:
        return ""
    low, high = kept.interval()
    wish = f", wished for {percent(words.confidence)}" if words.confidence else ""
    thin = " Too few to judge a day by." if kept.n < FEW else ""
    chance = f"By chance alone it may lie between {percent(low)} and {percent(high)}."
    return f"{percent(kept.value)}{wish}. {chance}{thin}"


def is_off(one: StageFigures) -> bool:
    """Whether the guess of a stage is clearly off by what was measured on the day."""
    off = one.against_guess
    return one.measured is not None and one.measured.n >= ENOUGH_TIMES and off is not None and abs(off) >= OFF_BY
