"""What the page of a season says: six answers, two of a kind beside each other, the charts, and the way to each day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from portraitq.core.booth import Booth
from portraitq.daybook.best_hours import HoursOfDay, hours_of_day
from portraitq.daybook.day_summary import DaySummary
from portraitq.daybook.differences import Mean
from portraitq.daybook.earnings import StyleEarns, earnings
from portraitq.daybook.lost import ENOUGH_ASKED, Lost, lost
from portraitq.daybook.pace_trend import ArtistPace, pace_of_artist
from portraitq.daybook.said_and_kept import LESS, MORE, OPEN, by_band, by_level, verdict
from portraitq.daybook.season import Season, artists_of, season_of
from portraitq.daybook.trend import ENOUGH_DAYS
from portraitq.web import season_plots as plots
from portraitq.web.charts import Chart, chart
from portraitq.web.said import day_said, money
from portraitq.web.season_compared import Comparison, comparison
from portraitq.web.season_said import (
    between,
    change,
    days_said,
    mean_said,
    n_of,
    number,
    percent,
    share_said,
    small,
    trend_said,
)

LONGER_MIN = 60  # "told over an hour": where the answer about those who left is split
NOTHING, A_DAY, A_RANGE, AN_ARTIST = "", "day", "range", "artist"

MEANINGS = {
    "portraits": (
        "Counted on the day of the first “finished”. The line is fitted by least squares, each day counted "
        "once; weekdays, weather and fairs are not taken out of it."
    ),
    "pace": (
        "Each portrait’s measured time over the guesses of its set-up then, whatever its style; a day’s mean "
        "is on a log scale, so that half and double even out. A change of the guesses moves it too."
    ),
    "promises": (
        "By the first time that the customer was told. Wilson’s 95 % interval; under 20 promises nothing is "
        "read into a share."
    ),
    "left": (
        "Left / (left + ordered), by the first time told. It shows what was seen; it does not say that the "
        "wait alone made them leave. Only those who were written down as walking away are counted."
    ),
    "hours": (
        "Over the days on which the booth was open in that hour; one that was open on fewer than 3 days, or for "
        "less than an hour in all, stands in the table alone. Money counts when it changed hands, which is "
        "often after the hour that earned it."
    ),
    "styles": (
        "What was paid and not given back, over the time on the easel: drawing, pauses that are no breaks, "
        "touch-ups, and an equal share of the artist’s turnarounds that day. Portraits whose clock is not "
        "known are left out. The interval takes each day as one draw."
    ),
}


@dataclass(frozen=True)
class Picked:
    """What somebody asked for: days from `first` to `last`, of `artist` (empty: everybody), beside what.

    beside        NOTHING, A_DAY, A_RANGE or AN_ARTIST
    other_first, other_last, other_artist  the other side, as far as it differs
    """

    first: str
    last: str
    artist: str = ""
    beside: str = NOTHING
    other_first: str = ""
    other_last: str = ""
    other_artist: str = ""


@dataclass(frozen=True)
class Choice:
    """One entry of a list to choose from."""

    value: str
    said: str
    is_chosen: bool


@dataclass(frozen=True)
class Shortcut:
    """A range that is often asked for."""

    said: str
    address: str


@dataclass(frozen=True)
class SeasonAnswer:
    """One question, its answer in a headline, and the sentences behind it."""

    question: str
    headline: str
    said: tuple[str, ...]
    more: str


@dataclass(frozen=True)
class Section:
    """Some charts under one heading, and what they mean."""

    name: str
    title: str
    charts: tuple[Chart, ...]
    meaning: str


@dataclass(frozen=True)
class DayRow:
    """One day, with the way to its own page; or all days together, and then `day` is empty."""

    day: str
    said: str
    finished: str
    taken: str
    kept: str
    left: str
    hours: str


@dataclass(frozen=True)
class SeasonView:
    """The page. `picked` fills its form; `earliest` and `latest` are the days that may be asked for."""

    title: str
    state: str
    picked: Picked
    earliest: str
    latest: str
    artists: tuple[Choice, ...]
    others: tuple[Choice, ...]
    besides: tuple[Choice, ...]
    shortcuts: tuple[Shortcut, ...]
    comparison: Comparison | None
    answers: tuple[SeasonAnswer, ...]
    sections: tuple[Section, ...]
    rows: tuple[DayRow, ...]
    together: DayRow | None
    is_of_artist: bool


def season_view(
    booth: Booth,
    picked: Picked,
    days: Sequence[DaySummary],
    others: Sequence[DaySummary],
    closed: Sequence[str],
    shortcuts: Sequence[Shortcut] = (),
    is_open_left_out: bool = False,
) -> SeasonView:
    """The page of `days`; `others` are those of the other side of a comparison, `closed` all days there are."""
    return _Page(booth, picked, tuple(days), tuple(others)).view(closed, tuple(shortcuts), is_open_left_out)


@dataclass
class _Page:
    booth: Booth
    picked: Picked
    days: tuple[DaySummary, ...]
    others: tuple[DaySummary, ...]

    def __post_init__(self) -> None:
        set_up = self.booth.set_up
        self.currency = set_up.booth.currency if set_up else "XXX"
        self.confidence = set_up.booth.confidence if set_up else 0.85
        self.season = season_of(self.days, self.picked.artist)
        every = artists_of([*self.days, *self.others])
        self.artists = (
            list(dict.fromkeys([*(one.id for one in set_up.artists if one.id in every), *every])) if set_up else []
        )

    def view(self, closed: Sequence[str], shortcuts: tuple[Shortcut, ...], is_open_left_out: bool) -> SeasonView:
        picked, whole = self.picked, not self.picked.artist
        left, hours, styles = lost(self.season), hours_of_day(self.season), earnings(self.season)
        paces = [pace_of_artist(self.season, one) for one in ([picked.artist] if picked.artist else self.artists)]
        answers = [self._drawn(), self._pace(paces), self._kept()]
        if whole:
            answers += [self._left(left), self._hours(hours)]
        answers.append(self._styles(styles))
        return SeasonView(
            title=days_said(picked.first, picked.last),
            state=self._state(is_open_left_out),
            picked=picked,
            earliest=closed[0],
            latest=closed[-1],
            artists=(Choice("", "Everybody", whole), *self._artist_choices(picked.artist)),
            others=tuple(self._artist_choices(picked.other_artist)),
            besides=tuple(
                Choice(value, said, value == picked.beside)
                for value, said in (
                    (NOTHING, "nothing else"),
                    (A_DAY, "one day beside another"),
                    (A_RANGE, "another range of days"),
                    (AN_ARTIST, "another artist"),
                )
            ),
            shortcuts=shortcuts,
            comparison=self._comparison(),
            answers=tuple(answers),
            sections=tuple(self._sections(paces, left, hours, styles)),
            rows=tuple(
                self._row(one.day, day_said(one.day), season_of([one.whole], picked.artist))
                for one in reversed(self.season.days)
            ),
            together=self._row("", "Together", self.season) if len(self.season.days) > 1 else None,
            is_of_artist=not whole,
        )

    # Names

    def _artist(self, id: str) -> str:
        return self.booth.set_up.called(id) if self.booth.set_up else id

    def _style(self, id: str) -> str:
        style = self.booth.set_up.style(id) if self.booth.set_up else None
        return style.name if style else id

    def _money(self, cents: float) -> str:
        return money(round(cents), self.currency)

    def _artist_choices(self, chosen: str) -> list[Choice]:
        known = [one.id for one in self.booth.set_up.artists] if self.booth.set_up else []
        return [Choice(one, self._artist(one), one == chosen) for one in dict.fromkeys([*known, *self.artists])]

    # Answers

    def _state(self, is_open_left_out: bool) -> str:
        n = len(self.season.days)
        whose = f" with {self._artist(self.picked.artist)} at the easel" if self.picked.artist else " of trading"
        said = f"{n_of(n, 'day', 'days')}{whose}."
        return said + (" The day that is still open is not counted." if is_open_left_out else "")

    def _drawn(self) -> SeasonAnswer:
        season = self.season
        said = [
            self._taken(),
            trend_said(season.trend, "the number finished a day", "grows by", "shrinks by", small, len(season.days)),
        ]
        if not self.picked.artist and season.in_hand is not None:
            said.append(f"While open, {number(season.in_hand)} were ordered and not yet ready, on average.")
        a_day = season.a_day
        return SeasonAnswer(
            "How much is drawn?",
            f"{number(a_day.value)} portraits a day" if a_day else "No day",
            (f"{n_of(season.finished, 'portrait', 'portraits')} in all; {_interval_of(a_day)}.", *said),
            "#portraits",
        )

    def _taken(self) -> str:
        came = "was paid for these" if self.picked.artist else "came in"
        a_day = f", {mean_said(self.season.taken_a_day, self._money)} a day" if len(self.season.days) > 1 else ""
        return f"{self._money(self.season.taken)} {came}{a_day}."

    def _pace(self, paces: Sequence[ArtistPace]) -> SeasonAnswer:
        known = [one for one in paces if one.usual is not None]
        moving = [one for one in known if one.trend is not None and one.trend.is_clear]
        if not known:
            headline = "No time was measured"
        elif moving:
            headline = "; ".join(
                f"{self._artist(one.artist)} gets {'slower' if one.trend and one.trend.slope > 0 else 'quicker'}"
                for one in moving
            )
        elif all(len(one.days) < ENOUGH_DAYS for one in known):
            headline = "Too few days to tell"
        else:
            headline = "No clear change"
        said = [f"{self._artist(one.artist)}: {self._against_guess(one)}" for one in known]
        return SeasonAnswer("Does the pace change?", headline, tuple(said), "#pace")

    def _against_guess(self, found: ArtistPace) -> str:
        assert found.usual is not None
        usual, n = change(found.usual.value), n_of(len(found.logs), "portrait", "portraits")
        longer = "longer" if usual > 0 else "shorter"
        where = f"{percent(abs(usual))} {longer} than guessed" if round(abs(usual), 2) else "as guessed"
        moves = ""
        if found.trend is not None and found.trend.is_clear:
            more = "more" if found.trend.slope > 0 else "less"
            moves = f", {plots.a_week(abs(found.trend.slope) * 7)} {more} each week"
        return f"{where}{moves} (n = {n})."

    def _kept(self) -> SeasonAnswer:
        kept = self.season.kept
        if kept is None:
            return SeasonAnswer("Was the word kept?", "No promise came due", (), "#promises")
        levels = by_level(self.season)
        read = {LESS: "less often than said", MORE: "more often than said", OPEN: "too few to tell"}
        said = [
            f"Said {percent(one.said)}: {read.get(verdict(one.kept, one.said), 'kept as said')}, n = {one.kept.n:,}."
            for one in levels
        ]
        return SeasonAnswer(
            "Was the word kept?",
            f"{percent(kept.value)} of promises kept",
            (f"{share_said(kept)}.", *said),
            "#promises",
        )

    def _left(self, found: Lost) -> SeasonAnswer:
        if found.everybody is None:
            return SeasonAnswer("Who leaves?", "Nobody asked", (), "#left")
        return SeasonAnswer(
            "Who leaves?",
            f"{percent(found.everybody.value)} of those who asked",
            (f"{share_said(found.everybody)}.", self._left_said(found)),
            "#left",
        )

    def _left_said(self, found: Lost) -> str:
        beyond, within, more = found.beyond(LONGER_MIN), found.within(LONGER_MIN), found.told_longer(LONGER_MIN)
        if beyond is None or within is None or more is None:
            n = f"{beyond.n if beyond else 0} and {within.n if within else 0}"
            return (
                f"Told over an hour, or less: {n}, too few to hold against each other ({ENOUGH_ASKED} each are needed)."
            )
        both = f"Told over an hour {share_said(beyond)} left, told less {share_said(within)}"
        if more.is_clear:
            return f"{both}: {'more' if more.value > 0 else 'fewer'} than luck explains."
        return f"{both}: the difference may be luck."

    def _hours(self, found: HoursOfDay) -> SeasonAnswer:
        best, worst = found.best, found.worst
        if best is None or worst is None:
            return SeasonAnswer(
                "Which hours pay?", "Too few days to tell", ("An hour counts once it was open on 3 days.",), "#hours"
            )
        return SeasonAnswer(
            "Which hours pay?",
            f"{plots.hour_said(best.hour)} most" if found.are_told_apart else "No hour stands out",
            (self._hours_said(found),),
            "#hours",
        )

    def _hours_said(self, found: HoursOfDay) -> str:
        best, worst = found.best, found.worst
        if best is None or worst is None:
            return "Each hour needs 3 days on which it was open before it is held against another."
        pair = " and ".join(
            f"{plots.hour_said(one.hour)} {mean_said(one.taken, self._money)}, n = {n_of(one.days, 'day', 'days')}"
            for one in (best, worst)
        )
        apart = "" if found.are_told_apart else " Their intervals meet: the order may be luck."
        after = (
            f" While closed: {n_of(found.finished_after, 'portrait', 'portraits')} finished, "
            f"{self._money(found.taken_after)} taken."
            if found.finished_after or found.taken_after
            else ""
        )
        return f"The most and the least taken an hour open: {pair}.{apart}{after}"

    def _styles(self, found: Sequence[StyleEarns]) -> SeasonAnswer:
        if not found:
            return SeasonAnswer("What does each style earn?", "No portrait was measured well", (), "#styles")
        best = found[0]
        headline = f"{self._money(best.per_hour.value)} an easel hour"
        if len(found) > 1:
            headline = f"{self._style(best.style)}: {headline}"
        return SeasonAnswer(
            "What does each style earn?", headline, tuple(self._style_said(one) for one in found), "#styles"
        )

    def _style_said(self, one: StyleEarns) -> str:
        n = n_of(one.n, "portrait", "portraits")
        return f"{self._style(one.style)}: {mean_said(one.per_hour, self._money)}, n = {n}."

    def _styles_said(self, found: Sequence[StyleEarns]) -> str:
        said = " ".join(self._style_said(one) for one in found)
        known = [one.per_hour.interval for one in found]
        if len(found) < 2 or any(one is None for one in known):
            return said
        first, second = known[0], known[1]
        assert first is not None
        assert second is not None
        apart = first[0] > second[1]
        return f"{said} {'The first earns more than luck explains.' if apart else 'The first two may be alike.'}"

    def _comparison(self) -> Comparison | None:
        picked = self.picked
        if picked.beside == NOTHING:
            return None
        if picked.beside == AN_ARTIST:
            other = season_of(self.days, picked.other_artist)
            names = (self._artist(picked.artist), self._artist(picked.other_artist))
        else:
            other = season_of(self.others, picked.artist)
            names = (days_said(picked.first, picked.last), days_said(picked.other_first, picked.other_last))
        return comparison(names, self.season, other, self.currency)

    # Charts

    def _sections(
        self, paces: Sequence[ArtistPace], left: Lost, hours: HoursOfDay, styles: Sequence[StyleEarns]
    ) -> list[Section]:
        levels, bands = by_level(self.season), by_band(self.season)
        found = [
            Section(
                "portraits",
                "Portraits",
                (chart(plots.throughput(self.season)),) if self.season.days else (),
                MEANINGS["portraits"],
            ),
            Section(
                "pace",
                "Pace",
                tuple(
                    chart(plots.pace(one, self._artist(one.artist), place))
                    for place, one in enumerate(paces)
                    if one.days
                ),
                MEANINGS["pace"],
            ),
            Section(
                "promises",
                "Promises, said and kept",
                tuple(
                    chart(one)
                    for one in (
                        plots.levels(levels) if len(levels) > 1 else None,
                        plots.ahead(bands) if bands else None,
                    )
                    if one
                ),
                MEANINGS["promises"],
            ),
        ]
        if not self.picked.artist:
            found += [
                Section(
                    "left",
                    "Who left",
                    (chart(plots.left(left, f"n = {left.everybody.n:,} who asked. {self._left_said(left)}")),)
                    if left.everybody
                    else (),
                    MEANINGS["left"],
                ),
                Section(
                    "hours",
                    "Hours",
                    (chart(plots.hours(hours, self.currency, self._hours_said(hours))),) if hours.hours else (),
                    MEANINGS["hours"],
                ),
            ]
        names = [self._style(one.style) for one in styles]
        found.append(
            Section(
                "styles",
                "Styles",
                (chart(plots.styles(styles, names, self.currency, self._styles_said(styles))),) if styles else (),
                MEANINGS["styles"],
            )
        )
        return found

    def _row(self, day: str, said: str, season: Season) -> DayRow:
        """The row of one day, or of all of them together."""
        everybody, kept = lost(season).everybody, season.kept
        artists = [one for day in season.days for one in day.artists]
        at_easel_s = sum(one.total_s for one in artists)
        drawing_s = sum(one.drawing_s for one in artists)
        return DayRow(
            day=day,
            said=said,
            finished=f"{season.finished:,}",
            taken=self._money(season.taken),
            kept=f"{kept.hits:,} of {kept.n:,}" if kept else "–",
            left=f"{everybody.hits:,} of {everybody.n:,}" if everybody else "–",
            hours=percent(drawing_s / at_easel_s) if at_easel_s else "–",
        )


def _interval_of(mean: Mean | None) -> str:
    if mean is None or mean.interval is None:
        return "too few days for an interval"
    return f"95 % interval of the mean {between(mean.interval, number)}"
