"""How the figures of one day are said, and where each leads: the words that every part of the day book shares."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from portraitq.core.booth import Booth
from portraitq.daybook.figures import DayFigures
from portraitq.daybook.hours import Hours
from portraitq.daybook.promises import KEPT, LATE, OPEN, SET_ASIDE, UNFINISHED
from portraitq.daybook.quantiles import Spread
from portraitq.daybook.shares import Share
from portraitq.web.said import clock_time, minutes, money

MEANS_SAID = {"cash": "Cash", "card": "Card", "other": "Other"}
PART_SAID = {
    "drawing": "Drawing",
    "touch-up": "Touch-ups",
    "turnaround": "Turnaround",
    "counter": "Paused: at the counter",
    "supplies": "Paused: supplies",
    "sitter": "Paused: sitter",
    "other": "Paused: something else",
    "break": "Breaks",
    "idle": "Nothing on the easel",
}
PAUSES = ("counter", "supplies", "sitter", "other")
OUTCOME_SAID = {
    KEPT: "kept",
    LATE: "late",
    UNFINISHED: "past, not finished",
    OPEN: "still to come",
    SET_ASIDE: "cancelled before",
}
MARGIN_SAID = {
    "late-far": "Late by more than 15 min",
    "late-middle": "Late by 5 to 15 min",
    "late-near": "Late by up to 5 min",
    "early-near": "On time, up to 5 min early",
    "early-middle": "Early by 5 to 15 min",
    "early-far": "Early by more than 15 min",
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
    **{f"promise-{margin}": said for margin, said in MARGIN_SAID.items()},
    "paid": "Money changed hands",
    "paid-for": "Paid for on the day",
    "paid-cash": "Paid in cash",
    "paid-card": "Paid by card",
    "paid-other": "Paid in another way",
    "refunded": "Money given back",
    "tipped": "Tips that came or were given back",
    "to-come": "Still to be paid",
    "set-aside": "Measured times set aside",
    "flow": "Ordered and finished on the day",
    "waiting": "Ordered and begun on the day",
    "turnaround": "Waited already when the artist was free for them",
    "pressed": "Waited while the booth was open",
    **{f"easels.{part}": f"On all easels: {said}" for part, said in PART_SAID.items()},
}


@dataclass(frozen=True)
class Figure:
    """One figure: what it is, its value, and `address` of the tickets behind it (empty where there are none)."""

    name: str
    value: str
    address: str = ""
    note: str = ""


@dataclass
class DayWords:
    """One day of one booth, to be put into words."""

    slug: str
    booth: Booth
    figures: DayFigures

    def __post_init__(self) -> None:
        set_up = self.booth.set_up
        self.zone: ZoneInfo = self.booth.zone
        self.currency = set_up.booth.currency if set_up else "XXX"
        self.confidence = set_up.booth.confidence if set_up else None
        self.artists = {one.id: one.name for one in set_up.artists} if set_up else {}
        self._amounts: dict[int, str] = {}  # a price list has few

    # Where a figure leads

    def behind(self, figure: str) -> str:
        """The address of the tickets behind `figure`; empty where there are none."""
        return f"?day={self.figures.day.day}&show={figure}#tickets" if self.figures.n(figure) else ""

    def ticket(self, id: str) -> str:
        """The address of one ticket in the day's table."""
        return f"?day={self.figures.day.day}#ticket-{id}"

    def counted(self, name: str, figure: str, note: str = "") -> Figure:
        """How many tickets stand behind `figure`."""
        return Figure(name, str(self.figures.n(figure)), self.behind(figure), note)

    def timed(self, name: str, time_s: float | None, figure: str, note: str = "") -> Figure:
        """A time in minutes; a dash where there is none."""
        return Figure(name, minutes(time_s) if time_s is not None else "–", self.behind(figure), note)

    def behind_said(self, figure: str) -> str:
        """What the tickets behind `figure` have in common; empty where there is no such figure."""
        return BEHIND_SAID.get(figure) or self._named().get(figure, "")

    def _named(self) -> dict[str, str]:
        """The figures that bear the name of a stage, an artist or an hour."""
        figures = self.figures
        return {
            **{
                f"stage-{one.style}.{one.stage.id}": f"Measured times: {one.style_name}, {one.stage.name}"
                for one in figures.stages.stages
            },
            **{
                f"hand-{one.style}.{one.stage.id}.{hand.artist}": f"Measured times: {one.style_name}, "
                f"{one.stage.name}, {self.artist(hand.artist)}"
                for one in figures.stages.stages
                for hand in one.hands
            },
            **{
                f"easel-{one.artist}.{part}": f"{self.artist(one.artist)}: {PART_SAID[part]}"
                for one in figures.hours
                for part in one.tickets
            },
            **{one.name(self.zone): f"Ordered {self.hour(one.begins_at)}" for one in figures.by_hour},
        }

    # How it is said

    def clock(self, at: datetime | None) -> str:
        """A clock time, with its weekday where that is another day's; a dash where there is none."""
        return clock_time(at, self.zone, self.figures.day.opened_at) if at is not None else "–"

    def hour(self, begins_at: datetime) -> str:
        """An hour of the clock."""
        return f"{self.clock(begins_at)}–{clock_time(begins_at + timedelta(hours=1), self.zone)}"

    def amount(self, cents: int | None) -> str:
        """An amount of money; a dash where there is none."""
        if cents is None:
            return "–"
        if cents not in self._amounts:
            self._amounts[cents] = money(cents, self.currency)
        return self._amounts[cents]

    def artist(self, id: str) -> str:
        """What people call the artist."""
        return self.artists.get(id, id)


def together(rows: Iterable[Hours]) -> Hours:
    """The hours of all artists as if of one."""
    known = list(rows)
    whys = {why for one in known for why in one.paused_s}
    return Hours(
        artist="",
        total_s=sum(one.total_s for one in known),
        drawing_s=sum(one.drawing_s for one in known),
        touch_up_s=sum(one.touch_up_s for one in known),
        paused_s={why: sum(one.paused_s.get(why, 0.0) for one in known) for why in whys},
        break_s=sum(one.break_s for one in known),
        turnaround_s=sum(one.turnaround_s for one in known),
        idle_s=sum(one.idle_s for one in known),
    )


def parts_of(hours: Hours) -> list[tuple[str, float]]:
    """The parts of the hours in their order: the name as in PART_SAID, and seconds."""
    return [
        ("drawing", hours.drawing_s),
        ("touch-up", hours.touch_up_s),
        ("turnaround", hours.turnaround_s),
        *((why, hours.paused_s.get(why, 0.0)) for why in PAUSES),
        ("break", hours.break_s),
        ("idle", hours.idle_s),
    ]


def outcome_said(outcome: str, early_s: float | None) -> str:
    """What became of a promise."""
    if outcome == KEPT and early_s is not None:
        return f"kept, {minutes(early_s)} early"
    if outcome == LATE and early_s is not None:
        return f"late by {minutes(-early_s)}"
    return OUTCOME_SAID[outcome]


def spread_said(spread: Spread | None) -> str:
    """The middle and the long end of some times."""
    if spread is None:
        return "–"
    if spread.n == 1:
        return f"{minutes(spread.median_s)} (n = 1)"
    middle = f"in the middle {minutes(spread.median_s)}"
    return f"{middle}, one of ten over {minutes(spread.p90_s)}, longest {minutes(spread.longest_s)} (n = {spread.n})"


def share_said(share: Share | None) -> str:
    """A share with what it rests on."""
    if share is None:
        return "–"
    low, high = share.interval()
    return f"{percent(share.value)} (n = {share.n}, {percent(low)} to {percent(high)})"


def percent(share: float) -> str:
    """A share in whole percent."""
    return f"{100 * share:.0f}\u00a0%"


def signed_percent(share: float | None) -> str:
    """How much more or less, in whole percent; a dash where there is nothing to compare."""
    if share is None:
        return "–"
    whole = round(100 * share)
    return f"{'+' if whole > 0 else '−' if whole < 0 else '±'}{abs(whole)}\u00a0%"


def clockwork(seconds: float) -> str:
    """Minutes and seconds: `3:49`, `1:02:10`."""
    whole = int(seconds + 0.5)
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"


def plural(n: int, one: str, many: str) -> str:
    """The word that goes with `n`."""
    return one if n == 1 else many
