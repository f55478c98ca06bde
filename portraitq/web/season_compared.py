"""Two sides of a season beside each other, in words: both values, how far apart, and whether luck explains it."""

from __future__ import annotations

from dataclasses import dataclass

from portraitq.daybook.differences import ENOUGH_FOR_A_MEAN, Difference, Mean
from portraitq.daybook.season import Season
from portraitq.daybook.shares import Share
from portraitq.daybook.side_by_side import COUNT, MONEY, PACE, SHARE, Compared, side_by_side
from portraitq.web.said import money
from portraitq.web.season_said import change, n_of, number, percent

COMPARED_SAID = {
    "finished": "Portraits finished a day",
    "taken": "Takings a day",
    "earned": "Paid for what was finished on a day",
    "an-hour": "Portraits an hour at the easel",
    "drawing": "Of the hours at the easel, spent drawing",
    "pace": "Measured time against the guess",
    "kept": "Promises kept",
    "left": "Of those who asked, left",
}
CLEARLY = (
    "“More than luck” means that the 95 % interval leaves out no difference; of several figures one does that once in "
    "a while by luck alone."
)
ONE_DAY = (
    "A day has no scatter of days to hold a difference against: figures a day stand there without an interval, and "
    "pace is compared portrait by portrait."
)


@dataclass(frozen=True)
class ComparedRow:
    """One figure of both sides."""

    name: str
    first: str
    second: str
    difference: str
    reading: str


@dataclass(frozen=True)
class Comparison:
    """Two sides beside each other."""

    first: str
    second: str
    said: str
    rows: tuple[ComparedRow, ...]


def comparison(names: tuple[str, str], first: Season, second: Season, currency: str) -> Comparison:
    """`first` and `second`, called by their `names`."""
    rows = tuple(_row(one, currency) for one in side_by_side(first, second))
    return Comparison(*names, _resting_on(first, second), rows)


def _resting_on(first: Season, second: Season) -> str:
    n, m = len(first.days), len(second.days)
    said = [f"n = {n_of(n, 'day', 'days')} and {n_of(m, 'day', 'days')}."]
    if not n or not m:
        said.append("One side has no day of trading: choose other days.")
    elif min(n, m) < ENOUGH_FOR_A_MEAN:
        said.append(ONE_DAY)
    both = {one.day for one in first.days} & {one.day for one in second.days}
    if both and first.artist == second.artist:
        said.append(f"{n_of(len(both), 'day is', 'days are')} on both sides, which makes them look more alike.")
    return " ".join([*said, CLEARLY])


def _row(one: Compared, currency: str) -> ComparedRow:
    return ComparedRow(
        name=COMPARED_SAID[one.name],
        first=_side(one.kind, one.first, currency),
        second=_side(one.kind, one.second, currency),
        difference=_apart(one.kind, one.difference, currency) if one.difference else "–",
        reading=_reading(one.difference),
    )


def _reading(difference: Difference | None) -> str:
    if difference is None:
        return "nothing to compare"
    if difference.interval is None:
        return "too few to tell"
    return "more than luck" if difference.is_clear else "may be luck"


def _side(kind: str, side: Mean | Share | None, currency: str) -> str:
    if side is None:
        return "–"
    if isinstance(side, Share):
        return f"{percent(side.value)} ({side.hits:,} of {side.n:,})"
    said = _valued(kind, side.value, currency)
    return said if kind != PACE or said.startswith("−") else f"+{said}"


def _apart(kind: str, difference: Difference, currency: str) -> str:
    """A difference with its sign; of shares in points, of pace as a share of the second's."""

    def said(value: float) -> str:
        text = _valued(kind, value, currency)
        return (text if text.startswith("−") else f"+{text}").removesuffix(" %")

    unit = {SHARE: " points", PACE: " %"}.get(kind, "")
    interval = difference.interval
    between = f" ({said(interval[0])} to {said(interval[1])}{unit})" if interval else ""
    return f"{said(difference.value)}{unit}{between}"


def _valued(kind: str, value: float, currency: str) -> str:
    if kind == MONEY:
        return money(round(value), currency).replace("-", "−")
    if kind == PACE:
        return percent(change(value))
    if kind == SHARE:
        return percent(value)
    return number(value) if kind == COUNT else f"{value:.2f}".replace("-", "−")
