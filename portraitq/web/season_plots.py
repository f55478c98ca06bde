"""The charts of the season's page: the same figures as its sentences, each with n, intervals and its table."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from portraitq.currency import digits_of
from portraitq.daybook import bands as waits
from portraitq.daybook.best_hours import HoursOfDay
from portraitq.daybook.differences import Mean, mean_of
from portraitq.daybook.earnings import StyleEarns
from portraitq.daybook.lost import Lost
from portraitq.daybook.pace_trend import ArtistPace
from portraitq.daybook.plots import Axis, Band, Bars, Line, Part, Plot, Points, Table
from portraitq.daybook.said_and_kept import AS_SAID, LESS, MORE, OPEN, Ahead, Level
from portraitq.daybook.season import Season
from portraitq.daybook.shares import Share
from portraitq.daybook.trend import ENOUGH_DAYS, Trend
from portraitq.web.said import HOUR_S, minutes, money
from portraitq.web.season_said import (
    band_said,
    between,
    change,
    mean_said,
    n_of,
    number,
    percent,
    share_said,
    short_day,
    small,
    trend_said,
)

MOST_DAYS = 35  # shown one by one; of a longer range each week is one point
VERDICT_SAID = {
    AS_SAID: "as said",
    LESS: "kept less often than said",
    MORE: "kept more often than said",
    OPEN: "too few to tell",
}


@dataclass(frozen=True, slots=True)
class _Dot:
    """One day, or one week, on a chart: `at` is its middle in days after the first."""

    name: str
    at: float
    mean: Mean


def throughput(season: Season) -> Plot:
    """Portraits finished a day, with the line through the days."""
    days, counts = [one.day for one in season.days], [float(len(one.portraits)) for one in season.days]
    dots = _dots(days, season.ordinals, counts)
    trend = season.trend
    return Plot(
        name="throughput",
        title="Portraits finished a day",
        said=trend_said(trend, "the number finished a day", "grows by", "shrinks by", small, len(days))
        + (f" On average {mean_said(season.a_day, number)} a day." if season.a_day else ""),
        x=Axis(_by(days), "category"),
        y=Axis("Portraits a day"),
        parts=(_points(dots, "finished", lambda y: y), *_line(trend, dots, lambda y: y)),
        table=Table(
            (_by(days), "n of days", "Finished a day (95 % interval)"),
            tuple((one.name, str(one.mean.n), _dot_said(one, number)) for one in dots),
        ),
    )


def pace(found: ArtistPace, name: str, place: int) -> Plot:
    """One artist's pace against their guesses, day by day; `place` makes the chart's name."""
    days = [one.day for one in found.days]
    dots = (
        [_Dot(short_day(one.day, _years(days)), one.at, one.log_pace) for one in found.days]
        if len(days) <= MOST_DAYS
        else _dots(days, [one.at for one in found.days], [one.log_pace.value for one in found.days])
    )
    is_by_week = len(days) > MOST_DAYS
    trend = found.trend
    return Plot(
        name=f"pace-{place}",
        title=f"{name}: measured time against the guess",
        said=pace_said(found),
        x=Axis(_by(days), "category"),
        y=Axis("Longer than guessed", "share"),
        parts=(
            _points(dots, "a day’s mean" if not is_by_week else "a week’s mean", change),
            *_line(trend, dots, change),
        ),
        table=Table(
            (_by(days), "n of days" if is_by_week else "n of portraits", "Against the guess (95 % interval)"),
            tuple((one.name, str(one.mean.n), _dot_said(one, lambda log: percent(change(log)))) for one in dots),
        ),
    )


def pace_said(found: ArtistPace) -> str:
    """The sentence about an artist's pace: where it is, whether it moves, and what was left out."""
    if found.usual is None:
        return f"No portrait of which every stage was measured well{_left_out(found)}."
    usual = change(found.usual.value)
    longer = "longer" if usual >= 0 else "shorter"
    interval = found.usual.interval
    where = (
        f"Portraits took {percent(abs(usual))} {longer} than guessed "
        f"({between((change(interval[0]), change(interval[1])), percent)}"
        if interval
        else f"Portraits took {percent(abs(usual))} {longer} than guessed (too few days for an interval"
    )
    n = f"n = {n_of(len(found.logs), 'portrait', 'portraits')} on {n_of(len(found.days), 'day', 'days')})"
    moves = trend_said(found.trend, "the time for the same work", "grows by", "shrinks by", a_week, len(found.days))
    return f"{where}, {n}. {moves}{_left_out(found, ' Left out: ', '.')}"


def a_week(log: float) -> str:
    """By how much the time for the same work changes, of a log a week."""
    return f"{change(log) * 100:.1f} %".replace("-", "−")


def _left_out(found: ArtistPace, before: str = " (left out: ", after: str = ")") -> str:
    out = [n_of(found.unknown, "portrait", "portraits") + " with a stage that is not known well"] * bool(found.unknown)
    out += [n_of(found.ran_on, "portrait", "portraits") + " whose clock ran on"] * bool(found.ran_on)
    return f"{before}{', '.join(out)}{after}" if out else ""


def levels(found: Sequence[Level]) -> Plot:
    """Kept against said, by the confidence that was said."""
    xs = tuple(percent(one.said) for one in found)
    return Plot(
        name="levels",
        title="Promises kept, by how sure they were said to be",
        said=" ".join(
            f"Said {percent(one.said)}: {share_said(one.kept)}, {VERDICT_SAID[one.verdict]}." for one in found
        ),
        x=Axis("Said", "category"),
        y=Axis("Kept", "share"),
        parts=(_shares(xs, [one.kept for one in found], "kept"), Line(xs, tuple(one.said for one in found), "as said")),
        table=Table(
            ("Said", "Kept", "n", "95 % interval", "Reading"),
            tuple((percent(one.said), *_share_cells(one.kept), VERDICT_SAID[one.verdict]) for one in found),
        ),
    )


def ahead(found: Sequence[Ahead]) -> Plot:
    """Kept against said, by how far ahead was promised."""
    xs = tuple(_short_band(one.band) for one in found)
    n = sum(one.kept.n for one in found)
    off = " ".join(said for verdict in (LESS, MORE) if (said := _kept_so(found, verdict)))
    return Plot(
        name="ahead",
        title="Promises kept, by how far ahead they were given",
        said=f"n = {n_of(n, 'promise', 'promises')} that can be judged. "
        + (off or "No band is kept clearly more or less often than said."),
        x=Axis("Promised within, minutes", "category"),
        y=Axis("Kept", "share"),
        parts=(_shares(xs, [one.kept for one in found], "kept"), Line(xs, tuple(one.said for one in found), "as said")),
        table=Table(
            ("Promised within", "Kept", "n", "95 % interval", "Said", "Reading"),
            tuple(
                (band_said(one.band), *_share_cells(one.kept), percent(one.said), VERDICT_SAID[one.verdict])
                for one in found
            ),
        ),
    )


def _kept_so(found: Sequence[Ahead], verdict: str) -> str:
    """The bands of which that is read, in a sentence; empty where there are none."""
    bands = [band_said(one.band) for one in found if one.verdict == verdict]
    return f"{VERDICT_SAID[verdict].capitalize()} where promised {', '.join(bands)} ahead." if bands else ""


def left(found: Lost, said: str) -> Plot:
    """Who left, by the time they were told."""
    xs = tuple(_short_band(one.band) for one in found.bands)
    rows = [(band_said(one.band), *_share_cells(one.left)) for one in found.bands]
    rows += [("told no time", *_share_cells(found.untold))] if found.untold else []
    return Plot(
        name="left",
        title="Who left, by the wait they were told",
        said=said,
        x=Axis("Told to wait, minutes", "category"),
        y=Axis("Left", "share"),
        parts=(_shares(xs, [one.left for one in found.bands], "left"),),
        table=Table(("Told to wait", "Left", "n asked", "95 % interval"), tuple(rows)),
    )


def hours(found: HoursOfDay, currency: str, said: str) -> Plot:
    """Takings per hour open, by the hour of the day; an hour that was seldom open stands in the table alone."""
    those = [one for one in found.hours if one.is_known]
    xs = tuple(f"{one.hour:02d}" for one in those)
    major = 10.0 ** -digits_of(currency)
    bounds = [one.taken.interval or (one.taken.value, one.taken.value) for one in those]
    return Plot(
        name="hours",
        title="Takings an hour, by the hour of the day",
        said=said,
        x=Axis("Hour of the day, from", "category"),
        y=Axis(f"{currency} an hour open"),
        parts=(
            Bars(
                xs,
                tuple(one.taken.value * major for one in those),
                "taken an hour",
                tuple(max(low, 0.0) * major for low, _ in bounds),
                tuple(high * major for _, high in bounds),
            ),
        ),
        table=Table(
            ("Hour", "n of days", "Hours open", "Taken an hour (95 % interval)", "Finished an hour (95 % interval)"),
            tuple(
                (
                    hour_said(one.hour),
                    str(one.days),
                    number(one.open_h),
                    mean_said(one.taken, lambda cents: money(round(cents), currency)),
                    mean_said(one.finished, number),
                )
                for one in found.hours
            ),
        ),
    )


def hour_said(hour: int) -> str:
    """An hour of the clock: `10:00–11:00`."""
    return f"{hour:02d}:00–{(hour + 1) % 24:02d}:00"


def styles(found: Sequence[StyleEarns], names: Sequence[str], currency: str, said: str) -> Plot:
    """What each style earns an hour on the easel."""
    major = 10.0 ** -digits_of(currency)
    bounds = [one.per_hour.interval or (one.per_hour.value, one.per_hour.value) for one in found]
    return Plot(
        name="styles",
        title="Earned for an hour on the easel",
        said=said,
        x=Axis("Style", "category"),
        y=Axis(f"{currency} an easel hour"),
        parts=(
            Bars(
                tuple(names),
                tuple(one.per_hour.value * major for one in found),
                "earned an easel hour",
                tuple(low * major for low, _ in bounds),
                tuple(high * major for _, high in bounds),
            ),
        ),
        table=Table(
            ("Style", "n", "Left out", "On the easel, each", "Paid, together", "An easel hour (95 % interval)", "Days"),
            tuple(
                (
                    name,
                    f"{one.n:,}",
                    str(one.left_out),
                    minutes(round(one.easel_h_each * HOUR_S, 3)),  # hours are no whole seconds in binary
                    money(one.earned, currency),
                    mean_said(one.per_hour, lambda cents: money(round(cents), currency)),
                    str(one.per_hour.n),
                )
                for one, name in zip(found, names, strict=True)
            ),
        ),
    )


# Parts


def _by(days: Sequence[str]) -> str:
    return "Day" if len(days) <= MOST_DAYS else "Week from"


def _years(days: Sequence[str]) -> bool:
    """Whether the year must stand beside a day, for there are two of them."""
    return bool(days) and days[0][:4] != days[-1][:4]


def _dots(days: Sequence[str], at: Sequence[float], values: Sequence[float]) -> list[_Dot]:
    """One a day, or one a week (from Monday) where the days are many."""
    if len(days) <= MOST_DAYS:
        return [
            _Dot(short_day(day, _years(days)), place, Mean(1, value, 0.0, None))
            for day, place, value in zip(days, at, values, strict=True)
        ]
    weeks: dict[date, list[tuple[float, float]]] = {}
    for day, place, value in zip(days, at, values, strict=True):
        on = date.fromisoformat(day)
        weeks.setdefault(on - timedelta(days=on.weekday()), []).append((place, value))
    dots = []
    for monday, those in weeks.items():
        mean = mean_of([value for _, value in those])
        assert mean is not None
        middle = sum(place for place, _ in those) / len(those)
        dots.append(_Dot(short_day(monday.isoformat(), _years(days)), middle, mean))
    return dots


def _dot_said(dot: _Dot, said: Callable[[float], str]) -> str:
    return mean_said(dot.mean, said) if dot.mean.interval else said(dot.mean.value)


def _points(dots: Sequence[_Dot], name: str, shown: Callable[[float], float]) -> Points:
    bounds = [dot.mean.interval or (dot.mean.value, dot.mean.value) for dot in dots]
    return Points(
        tuple(dot.name for dot in dots),
        tuple(shown(dot.mean.value) for dot in dots),
        name,
        tuple(shown(low) for low, _ in bounds),
        tuple(shown(high) for _, high in bounds),
    )


def _line(trend: Trend | None, dots: Sequence[_Dot], shown: Callable[[float], float]) -> tuple[Part, ...]:
    """The line through the days and its band; none where the days are too few."""
    if trend is None or trend.n < ENOUGH_DAYS or not dots:
        return ()
    xs = tuple(dot.name for dot in dots)
    bands = [trend.band(dot.at) for dot in dots]
    return (
        Line(xs, tuple(shown(trend.at(dot.at)) for dot in dots), "line through them"),
        Band(
            xs,
            tuple(shown(low) for low, _ in bands),
            tuple(shown(high) for _, high in bands),
            "95 % interval of the line",
        ),
    )


def _short_band(band: waits.Band) -> str:
    """A band under an axis of minutes."""
    return f"over {band.over_min}" if band.to_min is None else f"{band.over_min}–{band.to_min}"


def _shares(xs: tuple[str, ...], shares: Sequence[Share], name: str) -> Points:
    bounds = [one.interval() for one in shares]
    return Points(
        xs,
        tuple(one.value for one in shares),
        name,
        tuple(low for low, _ in bounds),
        tuple(high for _, high in bounds),
    )


def _share_cells(share: Share) -> tuple[str, str, str]:
    return percent(share.value), f"{share.n:,}", between(share.interval(), percent)
