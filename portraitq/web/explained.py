"""Why this time, in words: an explanation as the counter's panel lists it and the command line prints it.

What is worth a line is settled here: a number that would change nothing is left out. The numbers are
`forecast/explain.py`'s.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from portraitq.core.booth import local_day
from portraitq.forecast.explanation import (
    Explanation,
    HeldAhead,
    InHand,
    PastPromises,
    PastQuote,
    Sketch,
    Span,
    StageTold,
)
from portraitq.forecast.promise import LEVELS
from portraitq.web.queue import HOLD_WHY, PAUSE_WHY
from portraitq.web.quoted import window_of
from portraitq.web.said import HOUR_S, MINUTE_S, clock_time, day_beside, day_said, minutes, short_time

NOTABLE = 0.03  # a day or a sketch this much slower or quicker is worth a line
WORTH_A_LINE_S = 30.0
WORTH_SAYING = 0.02  # the share of cases from which on a break or the closing is worth a line
FEW = 5  # portraits measured
MOSTLY = 0.65
NEARLY_ALL, HARDLY_ANY = 0.95, 0.05
NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:h|min|s|%)(?!\w))|(?<=\bh) (?=\d\d min)|(?<=\bmin) (?=\d+ s\b)")
NOTE = "In brackets: from where to where it comes in 8 of 10 cases."


@dataclass(frozen=True)
class Part:
    """One part of an explanation: what it is about, and its sentences."""

    heading: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Explained:
    """An explanation in words; parts that have nothing to say are left out."""

    title: str
    as_of: str
    parts: tuple[Part, ...]
    note: str = NOTE


def explained(told: Explanation) -> Explained:
    """`told` in words."""
    parts = (
        _part("The time", _time(told)),
        _part("Before it", _before(told)),
        _part("Its own drawing", _drawing(told)),
        _part("What else counts", _else(told)),
        _part("How sure", _sure(told)),
        _part("Promises so far", _promises(told.past, told.correction_s)),
    )
    it = told.it
    title = [_number(told, it) if it.number else "A portrait ordered now", it.style, _sitters(it)]
    return Explained(
        title=" · ".join(part for part in title if part),
        as_of=f"As of {clock_time(told.as_of, told.zone)} on {_day(told)}, by the clocks of {told.zone}.",
        parts=tuple(part for part in parts if part.lines),
    )


def afterwards(past: PastQuote) -> Part:
    """What then happened to a portrait of a past journal."""
    told, ready_at = past.explanation, past.ready_at
    if ready_at is None:
        return _part("Afterwards", ["It never became ready."])
    apart_s = (told.quote.promise_at - ready_at).total_seconds()
    against = f"{minutes(abs(apart_s))} {'before' if apart_s >= 0 else 'after'} the promise"
    if abs(apart_s) < MINUTE_S / 2:
        against = "just when promised"
    return _part("Afterwards", [f"It was ready at {_clock(told, ready_at)}, {against}."])


def _part(heading: str, lines: Iterable[str]) -> Part:
    """A part, its numbers and their units kept together by no-break spaces."""
    return Part(heading, tuple(NUMBER_AND_UNIT.sub("\u00a0", line) for line in lines))


def _day(told: Explanation) -> str:
    return day_said(local_day(told.as_of, told.zone))


def _time(told: Explanation) -> Iterable[str]:
    quote = told.quote
    window = window_of(quote, told.zone, told.as_of)  # rounded outward, so it holds a little more than it says
    yield f"Ready about {window}: earlier in at most 2 of 10 cases, later in at most 2 of 10."
    yield f"In half of all cases it is ready by {_clock(told, max(quote.median_at, told.as_of))}."
    promise = "Promise:" if told.promised_at is None else "Promised now it would be"
    yield (
        f"{promise} {_clock(told, quote.promise_at)}, "
        f"chosen so that {round(100 * told.confidence)} of 100 promises are kept."
    )


def _before(told: Explanation) -> Iterable[str]:
    it = told.it
    if it.in_hand:
        return
    if not told.ahead:
        yield f"Nothing: it is the next one for {it.artist}."
    for each in told.ahead:
        yield _in_hand(told, each, each.in_hand) if each.in_hand else _waits(told, each)
    if told.ahead and told.turnaround:
        yield f"Between two portraits {it.artist} needs {_short_took(told.turnaround)}."
    if told.elsewhere:
        artists = _listed(dict.fromkeys(each.artist for each in told.elsewhere))
        which = _listed(_called(told, each) for each in told.elsewhere)
        which = f"Number {which} is" if len(told.elsewhere) == 1 else f"Numbers {which} are"
        yield f"{which} most likely drawn by {artists}. Who is free first takes the next one."


def _in_hand(told: Explanation, each: Sketch, hand: InHand) -> str:
    said = f"{_named(told, each)} is on the easel of {each.artist}: {_stage(hand)}."
    return f"{said} It still needs {_took(each.takes)} and is ready about {_clock(told, each.ready_at)}{_rests(each)}."


def _stage(hand: InHand) -> str:
    ran = short_time(hand.ran_s)
    if hand.stage is None:
        said = f"{'a touch-up' if hand.is_touch_up else 'the last touches'}, {ran} so far"
    else:
        said = f"stage {hand.place} of {hand.stages}, {hand.stage}, drawn for {ran} so far"
    if hand.paused_why is None:
        return said
    return f"{said}; paused for {minutes(hand.paused_s)} by now ({PAUSE_WHY[hand.paused_why]})"


def _waits(told: Explanation, each: Sketch) -> str:
    begins = f"from about {_clock(told, each.begins_at)} " if each.begins_at else ""
    likely = "" if each.is_sure else "most likely "
    return (
        f"{_named(told, each)} takes {_took(each.takes)}, {likely}drawn by {each.artist} "
        f"{begins}to {_clock(told, each.ready_at)}{_rests(each)}."
    )


def _rests(each: Sketch) -> str:
    return ", a break in between" if each.rests_s >= WORTH_A_LINE_S else ""


def _drawing(told: Explanation) -> Iterable[str]:
    it = told.it
    if it.in_hand:
        yield f"It is on the easel of {it.artist}: {_stage(it.in_hand)}. It still needs {_took(it.takes)}."
    elif it.begins_at is not None:
        who = it.artist if it.is_sure else f"Most likely {it.artist}"
        asked = ", who was asked for," if told.is_asked_for else ""
        yield f"{who}{asked} begins it about {_clock(told, it.begins_at)} and needs {_took(it.takes)}."
    if it.in_hand is None or it.in_hand.stage is not None:
        yield from (_of_stage(stage) for stage in told.stages)
        yield _measured(told)


def _of_stage(stage: StageTold) -> str:
    usually = f"usually {short_time(stage.usual_s)}"
    if stage.is_done:
        return f"{stage.name}: done" + (f" in {short_time(stage.took_s)} ({usually})." if stage.took_s else ".")
    off = stage.usual_s / stage.guessed_s - 1
    against = "as guessed" if abs(off) < NOTABLE else f"{_percent(off, 'over', 'under')} the guess"
    return f"{stage.name}: {usually}, {against}."


def _measured(told: Explanation) -> str:
    it, many = told.it, told.measured
    if many:
        return f"Measured from {_count(many, 'portrait')} of this style by {it.artist}."
    moved = any(abs(stage.usual_s / stage.guessed_s - 1) >= NOTABLE for stage in told.stages)
    said = f"From the guesses: no {it.style} by {it.artist} is measured yet"
    return f"{said}, but {it.artist}'s pace in other styles is counted in." if moved else f"{said}."


def _else(told: Explanation) -> Iterable[str]:
    if told.held_why is not None:
        why = "" if told.held_why == "other" else f": {HOLD_WHY[told.held_why]}"
        yield f"It is held{why}. The time is as though it were released now."
    for held in told.held_ahead:
        yield (
            f"{_number(told, held)} is held and passed over. Released before this one is begun, it is drawn first "
            f"and takes {_took(held.takes)}."
        )
    yield from _absence(told)
    breaks = [each for each in told.breaks if each.share >= WORTH_SAYING]
    for each in breaks:
        yield (
            f"The break of {told.it.artist} from {_clock(told, each.begins_at)} to {_clock(told, each.ends_at)} "
            f"comes before it is ready in {_cases(each.share)}."
        )
    if breaks and told.breaks_cost_s >= WORTH_A_LINE_S:
        yield f"Breaks make it {minutes(told.breaks_cost_s)} later."
    if told.closing and told.closing.share >= WORTH_SAYING:
        yield _closing(told, told.closing.closes_at, told.closing.opens_at, told.closing.share)
    if told.interruptions:
        every_s, long_s = HOUR_S / told.interruptions.an_hour, told.interruptions.usual_s
        yield (
            f"Interruptions (the counter, supplies, questions) are counted in: about every {_rounded(every_s)} "
            f"of drawing, {short_time(long_s)} each."
        )


def _absence(told: Explanation) -> Iterable[str]:
    absent = told.absent
    if absent is None:
        return
    if absent.break_until:
        yield f"{absent.artist} is on a break until {_clock(told, absent.break_until)}."
        return
    yield (
        f"{absent.artist} is not in. The time counts on a beginning at about {_clock(told, absent.begins_at)}; "
        "whatever that gets later, this gets later too."
    )


def _closing(told: Explanation, closes_at: datetime | None, opens_at: datetime, share: float) -> str:
    opens = _clock(told, opens_at)
    if closes_at is None:
        return f"The day is not open. The time takes it that the booth opens at {opens}."
    closes = _clock(told, closes_at)
    return f"The booth closes at {closes}. In {_cases(share)} it is not begun by then, but from {opens} on."


def _sure(told: Explanation) -> Iterable[str]:
    quote, it = told.quote, told.it
    if told.promised_at is not None and quote.chance_kept is not None:
        is_over = told.promised_at <= told.as_of
        stands = "that time has passed" if is_over else f"that holds in {_of_100(quote.chance_kept)} cases"
        yield f"The customer was told {_clock(told, told.promised_at)}: {stands}."
    elif told.promised_at is None:
        chance = min(quote.chance_by(quote.promise_at), LEVELS[-1])  # finer it is not kept
        which = f"more than {round(100 * chance)} of 100" if chance == LEVELS[-1] else _of_100(chance)
        yield f"A promise for {_clock(told, quote.promise_at)} would hold in {which} cases."
    if abs(told.day) >= NOTABLE:
        yield f"Today {it.artist} is {_percent(told.day, 'slower', 'quicker')} than usual; that is counted in."
    running = next((each for each in (it, *told.ahead) if each.in_hand), None)
    if running is not None and abs(told.sketch) >= NOTABLE:
        which = "This one" if running is it else _number(told, running)
        yield f"{which} goes {_percent(told.sketch, 'slower', 'quicker')} than its like; that is counted in."
    if told.ahead:
        yield _doubt(told.ahead_share)
    if told.measured < FEW:
        yield "Few portraits of this style are measured yet: with each one the times get surer."


def _doubt(ahead_share: float) -> str:
    if ahead_share >= MOSTLY:
        return "Most of the doubt is about what comes before it."
    if ahead_share <= 1 - MOSTLY:
        return "Most of the doubt is about its own drawing."
    return "The doubt is as much about what comes before it as about its own drawing."


def _promises(past: PastPromises, correction_s: float) -> Iterable[str]:
    if not past.due:
        yield "No promise has come due yet."
        return
    said = f"{past.kept} of the last {past.due} were kept" if past.due > 1 else f"The only one {_was_kept(past)}"
    yield f"{said}.{_early(past.early_s)}"
    if abs(correction_s) >= WORTH_A_LINE_S:
        which = "later" if correction_s > 0 else "earlier"
        yield f"Because of how earlier ones turned out, this promise is {minutes(abs(correction_s))} {which}."


def _was_kept(past: PastPromises) -> str:
    return "was kept" if past.kept else "was not kept"


def _early(early_s: float | None) -> str:
    if early_s is None:
        return ""
    if abs(early_s) < WORTH_A_LINE_S:
        return " On average they were ready just when promised."
    return f" On average they were ready {minutes(abs(early_s))} {'before' if early_s > 0 else 'after'} their time."


# Words


def _clock(told: Explanation, at: datetime) -> str:
    return clock_time(at, told.zone, told.as_of)


def _sitters(sketch: Sketch) -> str:
    return "" if sketch.sitters == 1 else f"{sketch.sitters} sitters"


def _named(told: Explanation, sketch: Sketch) -> str:
    return f"{_number(told, sketch)} ({', '.join(part for part in (sketch.style, _sitters(sketch)) if part)})"


def _number(told: Explanation, of: Sketch | HeldAhead) -> str:
    return f"Number {_called(told, of)}"


def _called(told: Explanation, of: Sketch | HeldAhead) -> str:
    """The number as it is called out, `7`, or `7 of Fri` where it was carried over."""
    return f"{of.number} of {day_beside(of.from_day, told.today)}" if of.from_day else str(of.number)


def _listed(words: Iterable[str]) -> str:
    *others, last = words
    return f"{', '.join(others)} and {last}" if others else last


def _count(many: int, what: str) -> str:
    return f"{many} {what}{'' if many == 1 else 's'}"


def _took(span: Span) -> str:
    """`12 min (8 to 20 min)`."""
    if span.high_s < 2 * MINUTE_S:
        return _short_took(span)
    low, high = minutes(span.low_s), minutes(span.high_s)
    return f"{minutes(span.middle_s)} ({low.removesuffix(' min') if 'h' not in low + high else low} to {high})"


def _short_took(span: Span) -> str:
    """`1 min 10 s (40 s to 2 min)`."""
    return f"{short_time(span.middle_s)} ({short_time(span.low_s)} to {short_time(span.high_s)})"


def _rounded(seconds: float) -> str:
    """A time that is good for nothing finer: `25 min`, `3 h`."""
    if seconds >= 2 * HOUR_S:
        return f"{round(seconds / HOUR_S)} h"
    return minutes(max(round(seconds / (5 * MINUTE_S)), 1) * 5 * MINUTE_S)


def _percent(off: float, more: str, less: str) -> str:
    return f"{round(100 * abs(off))} % {more if off > 0 else less}"


def _cases(share: float) -> str:
    if share >= NEARLY_ALL:
        return "nearly all cases" if share < 1 else "all cases"
    return f"{round(10 * share)} of 10 cases" if share >= HARDLY_ANY else "fewer than 1 of 20 cases"


def _of_100(share: float) -> str:
    if not 0.005 < share < 0.995:
        return "fewer than 1 of 100" if share < 0.5 else "more than 99 of 100"
    return f"{round(100 * share)} of 100"
