"""Two days, two ranges or two artists beside each other: what differs, and by more than luck?

Means a day are compared by Welch's interval with days as draws, shares by Newcombe's. Two single days have no scatter
of days to hold a difference against, so between them only shares have an interval, and pace, of which each portrait is
a draw then. Eight figures that are looked at together differ "clearly" once in a while by luck alone; the page says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from portraitq.daybook.differences import ENOUGH_FOR_A_MEAN, Difference, Mean, mean_of, of_means, of_shares
from portraitq.daybook.lost import lost
from portraitq.daybook.pace_trend import pace_of_artist
from portraitq.daybook.season import Season, SeasonDay, artists_of
from portraitq.daybook.shares import Share

HOUR_S = 3600
COUNT, MONEY, SHARE, PACE, NUMBER = "count", "money", "share", "pace", "number"


@dataclass(frozen=True, slots=True)
class Compared:
    """One figure of both; `kind` says how its value is to be read (PACE is a log of measured to guessed)."""

    name: str
    kind: str
    first: Mean | Share | None
    second: Mean | Share | None
    difference: Difference | None


def side_by_side(first: Season, second: Season) -> tuple[Compared, ...]:
    """The figures of `first` and `second`, in the order in which they are read."""
    of_artists = bool(first.artist or second.artist)
    found = [
        _means("finished", COUNT, first, second, lambda day: len(day.portraits)),
        _means("earned" if of_artists else "taken", MONEY, first, second, _earned if of_artists else _taken),
        _means("an-hour", NUMBER, first, second, _an_hour),
        _means("drawing", SHARE, first, second, _drawing),
        _pace(first, second),
        _shares("kept", first.kept, second.kept),
    ]
    if not of_artists:
        found.append(_shares("left", lost(first).everybody, lost(second).everybody))
    return tuple(found)


def _means(name: str, kind: str, first: Season, second: Season, of: Callable[[SeasonDay], float | None]) -> Compared:
    means = [mean_of([value for day in one.days if (value := of(day)) is not None]) for one in (first, second)]
    return Compared(name, kind, means[0], means[1], of_means(means[0], means[1]))


def _shares(name: str, first: Share | None, second: Share | None) -> Compared:
    return Compared(name, SHARE, first, second, of_shares(first, second))


def _pace(first: Season, second: Season) -> Compared:
    by_portrait = min(len(first.days), len(second.days)) < ENOUGH_FOR_A_MEAN
    means = [_pace_of(one, by_portrait) for one in (first, second)]
    return Compared("pace", PACE, means[0], means[1], of_means(means[0], means[1]))


def _pace_of(season: Season, by_portrait: bool) -> Mean | None:
    """The log of measured to guessed, over portraits, or over the days of each artist."""
    artists = [season.artist] if season.artist else artists_of([one.whole for one in season.days])
    paces = [pace_of_artist(season, artist) for artist in artists]
    if by_portrait:
        return mean_of([log for one in paces for log in one.logs])
    return mean_of([day.log_pace.value for one in paces for day in one.days])


def _earned(day: SeasonDay) -> float:
    return day.earned


def _taken(day: SeasonDay) -> float:
    return day.whole.taken


def _an_hour(day: SeasonDay) -> float | None:
    """Portraits finished per hour that an artist was at their easel."""
    at_easel_s = sum(one.total_s for one in day.artists)
    return len(day.portraits) * HOUR_S / at_easel_s if at_easel_s else None


def _drawing(day: SeasonDay) -> float | None:
    at_easel_s = sum(one.total_s for one in day.artists)
    return sum(one.drawing_s for one in day.artists) / at_easel_s if at_easel_s else None
