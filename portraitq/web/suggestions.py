"""What the record suggests, in words, beside the day book; taking it over, putting it away, and putting it back.

What is taken over goes into the set-up as one `set_up` command whose id begins with TAKEN, so that the journal knows
which set-up came of a suggestion; until the next day is opened it can be put back.
"""

from __future__ import annotations

import math
import secrets
import threading
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from flask import Blueprint, redirect, request, url_for
from flask.typing import ResponseReturnValue

from portraitq import put_away
from portraitq.core.commands import Command
from portraitq.core.errors import Malformed, Refused
from portraitq.core.events import Event, SetUp
from portraitq.daybook import changes
from portraitq.daybook.changes import CONFIDENCE, ROUNDING, TURNAROUND, Change, Values
from portraitq.daybook.days import days_of
from portraitq.daybook.earnings import StyleEarns, earnings
from portraitq.daybook.estimates import Estimate
from portraitq.daybook.figures import DayFigures
from portraitq.daybook.measured_guesses import FEWEST, MeasuredGuess
from portraitq.daybook.other_promises import Outcome
from portraitq.daybook.season import season_of
from portraitq.daybook.shares import Share
from portraitq.daybook.suggestions import (
    FINER,
    LAST_HOURS,
    RECENT_DAYS,
    CounterPauses,
    DrawnThrough,
    EarnsLess,
    NeverDone,
    OtherPromises,
    Suggestion,
    TakeGuesses,
    shown,
    suggestions,
)
from portraitq.kept_days import summaries
from portraitq.store import journal
from portraitq.web import here
from portraitq.web.day_words import percent
from portraitq.web.said import minutes, money
from portraitq.web.staff import owner_only

if TYPE_CHECKING:
    from portraitq.desk import Desk, Standing

TAKEN, PUT_BACK = "suggested-", "put-back-"
MOST_CHANGES = 500
LONGEST_KEY = 80
OVERTAKEN = "overtaken"
NOT_TAKEN = {
    OVERTAKEN: "The set-up was changed since that page was shown, so nothing was taken over. It stands so now.",
    "none": "Nothing was ticked, so nothing was changed.",
}
SAID = {
    "taken": "Taken over. Everything else in the set-up is as it was.",
    "put-back": "Put back as it was.",
    "away": "Put away for this season.",
    "shown": "What was put away is shown again.",
}
blueprint = Blueprint("suggestions", __name__)


@dataclass(frozen=True)
class ChangeRow:
    """One value that would change: `field` is what the form sends for it, `evidence` stands beside it."""

    field: str
    what: str
    old: str
    new: str
    evidence: str = ""


@dataclass(frozen=True)
class SuggestionView:
    """One suggestion: what to do, what speaks for it, and either rows to take over with a button or a link."""

    key: str
    title: str
    evidence: str
    note: str
    rows: tuple[ChangeRow, ...] = ()
    button: str = ""
    link: str = ""
    link_said: str = ""


@dataclass(frozen=True)
class SuggestionsView:
    """All that is shown; `undo` are the rows that were taken over today, the other way round."""

    day: str
    shown: tuple[SuggestionView, ...]
    put_away: int
    undo: tuple[ChangeRow, ...]
    said: str
    refusal: str


def suggestions_of(desk: Desk, figures: DayFigures, now: datetime, did: str = "") -> SuggestionsView | None:
    """What is suggested on the page of that day; None on the page of an earlier day, and where nothing is to be said.

    did  what was done a moment ago, or was not: one of SAID or NOT_TAKEN
    """
    standing = desk.standing()
    booth = standing.booth
    if booth.set_up is None or not booth.days or figures.day.day != booth.days[-1].day:
        return None
    with desk.store.reading() as connection:
        away = put_away.of(connection, desk.slug, [day.day for day in booth.days])
    found = _found(desk, standing, now)
    view = SuggestionsView(
        day=figures.day.day,
        shown=tuple(in_words(desk.slug, booth.set_up, one) for one in shown(found, away)),
        put_away=sum(one.key in away for one in found),
        undo=tuple(_row(booth.set_up, change) for change in _taken_today(desk, booth.set_up, figures)),
        said=SAID.get(did, ""),
        refusal=NOT_TAKEN.get(did, ""),
    )
    return view if view.shown or view.put_away or view.undo or view.said or view.refusal else None


@blueprint.post("/<booth>/daybook/suggestions/take")
@owner_only
def take(booth: str) -> ResponseReturnValue:
    """Take over what was ticked, or say that the set-up says something else by now."""
    return _change(booth, TAKEN, "taken")


@blueprint.post("/<booth>/daybook/suggestions/put-back")
@owner_only
def take_back(booth: str) -> ResponseReturnValue:
    """Put what was taken over back as it was."""
    return _change(booth, PUT_BACK, "put-back")


@blueprint.post("/<booth>/daybook/suggestions/put-away")
@owner_only
def away(booth: str) -> ResponseReturnValue:
    """Show one suggestion no more this season."""
    desk = here.desk_at(booth)
    key, days = request.form.get("key", ""), desk.standing().booth.days
    if not 0 < len(key) <= LONGEST_KEY or not key.isprintable() or not days:
        raise Malformed("key: the name of a suggestion was expected. Load the day book anew.", "key")
    with desk.store.writing() as connection:
        put_away.put(connection, desk.slug, key, days[-1].day)
    return _back(booth, "away")


@blueprint.post("/<booth>/daybook/suggestions/show-again")
@owner_only
def show_again(booth: str) -> ResponseReturnValue:
    """Show again what was put away."""
    desk = here.desk_at(booth)
    with desk.store.writing() as connection:
        put_away.take_out(connection, desk.slug)
    return _back(booth, "shown")


def _change(booth: str, id_begins: str, did: str) -> ResponseReturnValue:
    desk = here.desk_at(booth)
    wanted = [read_change(field) for field in request.form.getlist("change")[:MOST_CHANGES]]
    if not wanted:
        return _back(booth, "none")
    present = _set_up(desk)
    try:
        new = changes.changed(present, wanted)
        if new != present:
            desk.carry_out(Command(f"{id_begins}{secrets.token_hex(8)}", new))
    except Refused:  # somebody else changed the set-up: the page shows how it stands now, with OVERTAKEN
        return _back(booth, OVERTAKEN)
    return _back(booth, did)


def _back(booth: str, did: str) -> ResponseReturnValue:
    return redirect(url_for("daybook.show", booth=booth, did=did, _anchor="suggestions"), 303)


def _set_up(desk: Desk) -> SetUp:
    found = desk.standing(wait_s=5).booth.set_up
    assert found is not None  # a booth begins with its set-up
    return found


# What is reckoned once for each line of the journal

_LOOKING = threading.Lock()
_known: WeakKeyDictionary[Desk, tuple[tuple[int, str], tuple[Suggestion, ...]]] = WeakKeyDictionary()
_set_ups: WeakKeyDictionary[Desk, tuple[SetUp, tuple[Event, ...]]] = WeakKeyDictionary()


def _found(desk: Desk, standing: Standing, now: datetime) -> tuple[Suggestion, ...]:
    """Every suggestion of the record as it stands, reckoned once for each line of the journal."""
    stand = (standing.seq, standing.booth.days[-1].day)
    with _LOOKING:
        known = _known.get(desk)
        if known is None or known[0] != stand:
            earned = _earned_lately(desk, standing, now)
            known = _known[desk] = (stand, suggestions(standing.booth, standing.pace, now, earned))
        return known[1]


def _earned_lately(desk: Desk, standing: Standing, now: datetime) -> tuple[StyleEarns, ...]:
    from portraitq.web.daybook import attended  # which shows what is suggested here

    days = days_of(standing.booth)[-RECENT_DAYS:]
    first, last = days[0].day, days[-1].day
    lately = summaries(desk.store, desk.slug, standing.booth, first, last, lambda: attended(desk), now)
    return earnings(season_of(lately))


def _taken_today(desk: Desk, present: SetUp, figures: DayFigures) -> tuple[Change, ...]:
    """What puts the last set-up back, where it came of a suggestion on this day."""
    with _LOOKING:
        known = _set_ups.get(desk)
        if known is None or known[0] != present:
            with desk.store.reading() as connection:
                beside = journal.of_no_ticket(connection, desk.slug)
            last = [event for event in beside if isinstance(event.data, SetUp)][-2:]
            known = _set_ups[desk] = (present, tuple(last))
    before, after = (known[1][0], known[1][-1]) if len(known[1]) > 1 else (None, None)
    if before is None or after is None or not after.id.startswith(TAKEN) or not figures.day.holds(after.happened_at):
        return ()
    assert isinstance(before.data, SetUp)
    assert isinstance(after.data, SetUp)
    return tuple(change.back for change in changes.between(before.data, after.data)) if after.data == present else ()


# A change in a form's field: WHAT|old,old,old|new,new,new


def print_change(change: Change) -> str:
    """A change as a form sends it.

    >>> print_change(Change("ink-head/layout", (60.0, 100.0, 180.0), (75.0, 120.0, 200.0)))
    'ink-head/layout|60.0,100.0,180.0|75.0,120.0,200.0'
    """
    return "|".join((change.what, *(",".join(map(repr, values)) for values in (change.old, change.new))))


def read_change(field: str) -> Change:
    """A change out of a form; Malformed when it is none."""
    try:
        what, old, new = field.split("|")
        change = Change(what, _values(old), _values(new))
    except ValueError as odd:
        raise Malformed(
            "change: this page was not made here, or is too old. Load the day book anew.", "change"
        ) from odd
    if len(change.old) != len(change.new) or len(change.old) != (1 if what in (CONFIDENCE, ROUNDING) else 3):
        raise Malformed("change: this page was not made here, or is too old. Load the day book anew.", "change")
    return change


def _values(text: str) -> Values:
    values = tuple(float(one) for one in text.split(","))
    if not all(math.isfinite(one) for one in values):
        raise ValueError(text)
    return values


def _row(set_up: SetUp, change: Change, evidence: str = "") -> ChangeRow:
    return ChangeRow(
        field=print_change(change),
        what=_called(set_up, change.what),
        old=_value_said(change.what, change.old),
        new=_value_said(change.what, change.new),
        evidence=evidence,
    )


def _called(set_up: SetUp, what: str) -> str:
    if what in (TURNAROUND, CONFIDENCE, ROUNDING):
        return {TURNAROUND: "Turnaround", CONFIDENCE: "Promises to keep", ROUNDING: "Rounded up to"}[what]
    style_id, _, stage_id = what.partition("/")
    style = set_up.style(style_id)
    stage = next((one for one in style.stages if one.id == stage_id), None) if style else None
    return f"{style.name}: {stage.name}" if style and stage else what


def _value_said(what: str, values: Values) -> str:
    if what == CONFIDENCE:
        return percent(values[0])
    if what == ROUNDING:
        return minutes(values[0])
    return " · ".join(_clock(one) for one in values)


# Words


def in_words(slug: str, set_up: SetUp, one: Suggestion) -> SuggestionView:
    """One suggestion, ready to print."""
    return _Words(slug, set_up).said(one)


@dataclass(frozen=True)
class _Words:
    slug: str
    set_up: SetUp

    def said(self, one: Suggestion) -> SuggestionView:
        match one:
            case TakeGuesses():
                return self._guesses(one)
            case OtherPromises(key=key) if key == FINER:
                return self._rounding(one)
            case OtherPromises():
                return self._confidence(one)
            case NeverDone():
                return self._never_done(one)
            case DrawnThrough():
                return self._drawn_through(one)
            case CounterPauses():
                return self._counter(one)
            case EarnsLess():
                return self._earns(one)

    def _guesses(self, one: TakeGuesses) -> SuggestionView:
        stages = [guess for guess in one.guesses if guess.change.what != TURNAROUND]
        parts = [_n(len(stages), "stage")] * bool(stages) + ["the turnaround"] * (len(stages) < len(one.guesses))
        return SuggestionView(
            key=one.key,
            title=f"Take the measured times as your guesses: {' and '.join(parts)}.",
            evidence=f"Measured on the last {_n(one.days, 'day')} of trading, {FEWEST} times or more each. The "
            "95\u00a0% interval of each median, days that go slow or fast counted in, leaves your guess out.",
            note="Your artists’ quotes have learned these times already; guesses serve whoever draws here for the "
            "first time, and the plan of a day.",
            rows=tuple(_row(self.set_up, guess.change, _median_said(guess)) for guess in one.guesses),
            button="Take these as my guesses",
        )

    def _confidence(self, one: OtherPromises) -> SuggestionView:
        now, then = percent(one.wish), percent(one.other.policy.confidence)
        if one.other.policy.confidence > one.wish:
            title = f"Promise at {then} instead of {now}: fewer promises than you wish are kept."
        elif one.is_free:
            title = f"Promise at {then} instead of {now}: your word would be kept as often as you wish, and earlier."
        else:
            title = (
                f"Promising at {now} instead of {then} makes each promise {_minutes(one.other.earlier_s.value)} later."
            )
        return SuggestionView(
            key=one.key,
            title=title,
            evidence=f"At {then} {_told(one.other)}; at {now}, {_kept(one.present)}.",
            note=f"Read off your last {one.present.kept.n} quotes, at both. When a portrait is ready does not depend "
            "on what was promised." + ("" if one.is_free else " Which is better is for you to say."),
            rows=tuple(_row(self.set_up, change) for change in one.changes),
            button=f"Promise at {then} from now on",
        )

    def _rounding(self, one: OtherPromises) -> SuggestionView:
        now, then = minutes(one.present.policy.round_to_s), minutes(one.other.policy.round_to_s)
        return SuggestionView(
            key=one.key,
            title=f"Round promises up to {then} instead of {now}: your wish would be kept all the same.",
            evidence=f"Rounded to {then} {_told(one.other)}; to {now}, {_kept(one.present)}.",
            note=f"Read off your last {one.present.kept.n} quotes, rounded both ways.",
            rows=tuple(_row(self.set_up, change) for change in one.changes),
            button=f"Round to {then} from now on",
        )

    def _never_done(self, one: NeverDone) -> SuggestionView:
        hours = _n(int(LAST_HOURS.total_seconds() // 3600), "hour")
        return SuggestionView(
            key=one.key,
            title=f"{one.style.name} is not done before closing when it is ordered in the last {hours}.",
            evidence=f"Of {_n(one.missed.n, 'such order')} on {_n(one.days, 'day')}, {one.missed.hits} "
            f"{'was' if one.missed.hits == 1 else 'were'} not done at closing ({_share(one.missed)}); "
            f"{one.carried} carried over.",
            note="From then on offer it for the next day, or a style with less to draw.",
            link=f"/{self.slug}/set-up#styles",
            link_said="The styles in Set-up",
        )

    def _drawn_through(self, one: DrawnThrough) -> SuggestionView:
        return SuggestionView(
            key=one.key,
            title=f"{self.set_up.called(one.artist)} draws through the planned breaks: take them, or do not plan them.",
            evidence=f"{one.drawn.hits} of {_n(one.drawn.n, 'planned break')} were drawn through for more than half "
            f"({_share(one.drawn)}).",
            note="Quotes count on a planned break, so customers wait for a rest that nobody takes.",
            link=f"/{self.slug}/counter",
            link_said="Breaks are planned when a day is opened, at the Counter",
        )

    def _counter(self, one: CounterPauses) -> SuggestionView:
        portraits = math.floor(one.portraits + 0.5)
        room = f", room for about {_n(portraits, 'portrait')} more" if portraits else ""
        return SuggestionView(
            key=one.key,
            title=f"Somebody at the counter would free {minutes(one.a_day_s.value)} a day at the easels{room}.",
            evidence=f"{_n(one.pauses, 'pause')} for the counter on {_n(one.a_day_s.n, 'day')}: "
            f"{minutes(one.a_day_s.value)} a day ({_between(one.a_day_s)}), "
            f"{percent(one.of_drawing)} of the time drawn.",
            note="Interrupted work also takes a while to be found again; that is not counted here.",
            link=f"/{self.slug}/daybook/plan",
            link_said="Plan a day with it",
        )

    def _earns(self, one: EarnsLess) -> SuggestionView:
        return SuggestionView(
            key=one.key,
            title=f"{one.style.name} brings {self._money(one.own.value)} an hour at the easel, each of your other "
            f"styles {self._money(one.least.value)} or more.",
            evidence=f"{_n(one.portraits, 'portrait')}, {self._rate(one.own)}; against {self._rate(one.least)}.",
            note="What was paid, over the hours that it kept an easel busy. Whether that is as it should be is for you "
            "to say.",
            link=f"/{self.slug}/set-up#styles",
            link_said="The prices in Set-up",
        )

    def _money(self, cents: float) -> str:
        return money(math.floor(cents + 0.5), self.set_up.booth.currency)

    def _rate(self, rate: Estimate) -> str:
        return f"{self._money(rate.low)} to {self._money(rate.high)} (95\u00a0%, {_n(rate.n, 'day')})"


def _told(other: Outcome) -> str:
    """What a policy would have done: `your promises would have been 4 min earlier (95 %: …) and 81 % kept (n = …)`."""
    by_s = other.earlier_s
    way, low, high = ("earlier", by_s.low, by_s.high) if by_s.value >= 0 else ("later", -by_s.high, -by_s.low)
    said = f"{_minutes(abs(by_s.value))} {way} (95\u00a0%: {_halves(low):g} to {_minutes(high)})"
    return f"your promises would have been {said} and {_kept(other)}"


def _kept(one: Outcome) -> str:
    return f"{percent(one.kept.value)} kept (n\u00a0=\u00a0{one.kept.n}, 95\u00a0%: {_interval(one.kept)})"


def _median_said(guess: MeasuredGuess) -> str:
    median = guess.median_s
    between = f"95\u00a0%: {_clock(median.low)} to {_clock(median.high)}"
    return f"usual, {between}; n\u00a0=\u00a0{median.n} on {_n(guess.days, 'day')}"


def _share(of: Share) -> str:
    return f"{percent(of.value)}, 95\u00a0%: {_interval(of)}"


def _interval(of: Share) -> str:
    low, high = of.interval()
    return f"{100 * low:.0f} to {percent(high)}"


def _between(time_s: Estimate) -> str:
    return f"95\u00a0%: {minutes(max(time_s.low, 0.0))} to {minutes(time_s.high)}"


def _minutes(seconds: float) -> str:
    """Minutes to the half, for what is a matter of a few of them."""
    return f"{_halves(seconds):g} min"


def _halves(seconds: float) -> float:
    return math.floor(seconds / 30 + 0.5) / 2


def _clock(seconds: float) -> str:
    whole = math.floor(seconds + 0.5)
    return f"{whole // 60}:{whole % 60:02d}"


def _n(n: int, of_what: str) -> str:
    return f"{n} {of_what}{'' if n == 1 else 's'}"
