"""A day that has not happened: the booth's own pace, people as the record knows them, hour by hour to closing.

Each simulated day draws anew what is not known (each artist's pace and day, how many ask, what for, how patient they
are) and what is chance; so intervals hold both. The pace is the live forecast's own, and so are its easels and rules.
Two plans of the same seed meet the same people, the same days and the same hands wherever they have them in common
(common random numbers), so that their difference is known far better than either.

Left out: photos that are waited for, cancellations, touch-ups, artists who come late, and what carried over before.
Somebody who asks for a style that is not on offer, or that nobody there draws, leaves.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

import numpy as np
from scipy.special import ndtri

from portraitq.core.booth import Booth, TradingDay, local_day
from portraitq.core.events import Artist, Break, SetUp, Style
from portraitq.core.tickets import Tickets
from portraitq.forecast.arrivals import Expected, Floats, hours_of
from portraitq.forecast.closing import DRAWS_ON_S
from portraitq.forecast.draws import normals
from portraitq.forecast.easels import Easels, Hours, Seconds, Work
from portraitq.forecast.hand import MIDDAY_H
from portraitq.forecast.pace import Pace
from portraitq.forecast.patience import Patience, leaves
from portraitq.forecast.planned_days import Asks, Flags, Played, Progress, Rows, play
from portraitq.forecast.planned_quotes import Teller, Typical, shares_of_stages
from portraitq.forecast.schedule import Scenarios
from portraitq.forecast.wishes import Wishes

DAYS = 1000
MOST_DAYS = 5000
MOST_PLAYED = 600_000  # people, on all days together: a minute or two; ten times that would take half an hour
MANY_EASELS = 4  # up to so many cost no more; every customer is told a time by asking each easel, forty take ten times
MOST_ASKED = 600  # people a day: more than any booth of a few easels can even answer
DAY_S = 86_400.0
LAST_ORDERS_EVERY_S = 900.0
ONE_MORE = "one-more"  # the id of an easel that the booth does not have yet


@dataclass(frozen=True, slots=True)
class Plan:
    """What is planned.

    opens_min, lasts_s   opening, in minutes after midnight on the booth's clock, and how long until closing
    asked, wishes, patience   who comes, what for, and how long they wait
    artists    who is there, ids of the set-up, and ONE_MORE for an easel drawn on as `like` draws
    offered    styles on offer; prices: what each costs where it is not the set-up's price
    breaks     (artist, begins, ends), seconds after the opening
    confidence the share of promises to keep
    keep       style -> the share of those who would order it that still do at its price
    """

    opens_min: int
    lasts_s: float
    asked: Expected
    wishes: Wishes
    patience: Patience
    artists: tuple[str, ...]
    offered: tuple[str, ...]
    confidence: float
    breaks: tuple[tuple[str, float, float], ...] = ()
    prices: Mapping[str, int] = field(default_factory=dict)
    keep: Mapping[str, float] = field(default_factory=dict)
    like: str | None = None

    def price_of(self, style: Style) -> int:
        """What that style costs on the day, in minor units."""
        return self.prices.get(style.id, style.price)

    def open_to_breaks_s(self, artist: str) -> float:
        """The part of the opening hours in which that artist may draw."""
        return self.lasts_s - sum(
            max(min(ends_s, self.lasts_s) - max(begins_s, 0.0), 0.0)
            for who, begins_s, ends_s in self.breaks
            if who == artist
        )


@dataclass(frozen=True, slots=True)
class Simulated:
    """The days of a plan as they were played; `styles` and `sitters` are of each kind in `played.asks.kind`.

    set_up is that of the day: with the artists who are there.
    last_orders  style -> (n,) seconds after the opening up to which it could be promised before closing, NaN never
    """

    plan: Plan
    set_up: SetUp
    played: Played
    styles: tuple[str, ...]
    sitters: tuple[int, ...]
    last_orders: Mapping[str, Seconds]

    @property
    def days(self) -> int:
        """How many days were played."""
        return len(self.played.asks.at_s.T)


def planned_booth(booth: Booth, plan: Plan) -> tuple[Booth, datetime]:
    """`booth` on the morning of the plan: its record kept, nothing carried over, who is planned in; and the opening."""
    set_up = booth.set_up
    if set_up is None:
        raise ValueError("a booth without a set-up has nothing to plan")
    artists = [artist for artist in set_up.artists if artist.id in plan.artists]
    if ONE_MORE in plan.artists:
        model = set_up.artist(plan.like or "")
        styles = model.styles if model else tuple(style.id for style in set_up.styles)
        artists.append(Artist(id=ONE_MORE, name="One more easel", styles=styles))
    opened_at = _opening(booth, plan)
    at = {artist.id: opened_at for artist in artists}

    def after(seconds: float) -> datetime:
        return opened_at + timedelta(seconds=seconds)

    breaks = tuple(
        Break(artist=who, begins_at=after(begins_s), ends_at=after(ends_s))
        for who, begins_s, ends_s in plan.breaks
        if who in at
    )
    day = TradingDay(local_day(opened_at, booth.zone), opened_at, after(plan.lasts_s), breaks)
    planned = replace(
        booth,
        set_up=set_up.model_copy(update={"artists": tuple(artists)}),
        days=(*booth.days, day),
        queue=(),
        easels={},
        here_since=at,
        free_since=at,
        open_ids={},
        tickets=Tickets(),
    )
    return planned, opened_at


def _opening(booth: Booth, plan: Plan) -> datetime:
    """On the day after the last one of the record; a booth without one opens on any."""
    last = booth.days[-1].opened_at if booth.days else datetime(2026, 6, 5, tzinfo=booth.zone)
    midnight = last.astimezone(booth.zone).replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=None)
    return (midnight + timedelta(days=1, minutes=plan.opens_min)).replace(tzinfo=booth.zone).astimezone(UTC)


def with_one_more(pace: Pace, like: str | None) -> Pace:
    """`pace` where ONE_MORE draws as `like` does; by the guesses alone where there is nobody like that."""
    if like is None:
        return pace
    minds = tuple(
        replace(
            mind,
            hands={**mind.hands, ONE_MORE: mind.hands[like]},
            credit={**mind.credit, ONE_MORE: mind.credit.get(like, 0.0)},
        )
        if like in mind.hands
        else mind
        for mind in pace.minds
    )
    return replace(pace, minds=minds)


def simulate(
    booth: Booth, pace: Pace, plan: Plan, days: int = DAYS, seed: int = 0, progress: Progress | None = None
) -> Simulated:
    """Play `days` days of `plan` with what `pace` knows; the same seed gives the same days.

    progress  called with how many of how many steps are done; what it raises ends the simulation
    """
    if not 1 <= days <= MOST_DAYS:
        raise ValueError(f"1 to {MOST_DAYS} days can be simulated, not {days}")
    if plan.asked.total > MOST_ASKED:
        raise ValueError(f"at most {MOST_ASKED} people a day can be planned for, not {plan.asked.total:.0f}")
    if plan.asked.total * days > MOST_PLAYED:
        raise ValueError(f"at most {MOST_PLAYED} people can be played, not {plan.asked.total:.0f} on {days} days")
    planned, now = planned_booth(booth, plan)
    assert planned.set_up is not None
    set_up, chance = planned.set_up, _Chance(seed, days)
    pace = with_one_more(pace, plan.like) if ONE_MORE in plan.artists else pace
    combos = _combos(set_up, plan)
    hands = LearnedHands(Scenarios(planned, pace, now, days), plan, combos, seed)
    asks = _asks(plan, set_up, combos, chance)
    half_s, sharpness = plan.patience.draw(chance.patience())
    open_s = ((-math.inf, plan.lasts_s), (DAY_S, DAY_S + plan.lasts_s), (2 * DAY_S, math.inf))
    late_s: Seconds | float = 0.0
    if draws_on := pace.closing.draws_on:
        late_s = np.where(chance.of_day("closing") < draws_on, DRAWS_ON_S, 0.0)
    breaks_s = [
        sorted((begins_s, ends_s) for who, begins_s, ends_s in plan.breaks if who == artist.id)
        for artist in set_up.artists
    ]
    teller = Teller(
        hands.typical(),
        plan.confidence,
        float(set_up.booth.round_to_s),
        60.0 * plan.opens_min,
        breaks_s,
        open_s,
        late_s,
    )
    steps = asks.at_s.shape[0] + len(_probes(plan))
    told = (lambda done, of: progress(done, steps)) if progress else None

    keep = np.array([plan.keep.get(combo.style.id, 1.0) for combo in combos])

    def stays(k: int, wait_s: Seconds) -> Flags:
        waits, pays = chance.next_row("leaves"), chance.next_row("price")
        return np.asarray((waits >= leaves(wait_s, half_s, sharpness)) & (pays < keep[asks.kind[k]]))

    easels = Easels(np.zeros((len(set_up.artists), days)), breaks_s, Hours(open_s, late_s))
    played = play(asks, hands, easels, teller.tell, stays, told)
    last = _last_orders(plan, set_up, combos, played, teller, progress, steps)
    return Simulated(plan, set_up, played, tuple(c.style.id for c in combos), tuple(c.sitters for c in combos), last)


@dataclass(frozen=True, slots=True)
class Combo:
    """A style and how many sit: what a portrait's time depends on beside who draws it."""

    style: Style
    sitters: int
    is_offered: bool


def _combos(set_up: SetUp, plan: Plan) -> list[Combo]:
    return [
        Combo(style, sitters, style.id in plan.offered)
        for style in set_up.styles
        for sitters in range(1, len(plan.wishes.sitters[style.id].weights) + 1)
    ]


class LearnedHands:
    """The booth's own hands, (n,) at a time, out of the scenarios that live quotes are made from.

    The seed decides which of the scenarios of the pace falls on which day, and what chance each portrait meets.
    """

    def __init__(self, scenarios: Scenarios, plan: Plan, combos: list[Combo], seed: int) -> None:
        self.scenarios, self.seed, n = scenarios, seed, scenarios.n
        self.stages = max(len(combo.style.stages) for combo in combos)
        self.order = np.random.Generator(np.random.SFC64([seed, 17])).permutation(n)
        shape = (self.stages, len(combos), len(scenarios.artists), n)
        self.mu, self.sigma = np.full(shape, -np.inf, np.float32), np.zeros(shape, np.float32)
        self.may = np.zeros(shape[1:3], np.bool_)
        for row, combo in enumerate(combos):
            first = self.stages - len(combo.style.stages)  # what it has fewer are stages of no time before its first
            for column, artist in enumerate(scenarios.artists):
                if combo.style.id in artist.styles:
                    self.may[row, column] = combo.is_offered
                    mu, sigma = scenarios.hands[artist.id].of_sitters(combo.style, combo.sitters)
                    self.mu[first:, row, column] = mu[:, self.order]
                    self.sigma[first:, row, column] = sigma[:, self.order]
        self.turnaround, self.idle = self._world("turnaround"), self._world("idle")

    def _world(self, name: str) -> tuple[Seconds, Seconds] | None:
        known = self.scenarios.known_lengths[name]
        if known is None:
            return None
        chance = normals(f"length {name}", 2, self.scenarios.n)
        mu, sigma = known.world(chance[0], chance[1])
        return mu[self.order], sigma[self.order]

    def work(self, k: int, kind: Rows, who: Rows, begins_s: Seconds) -> Work:
        """How long the k-th customer's portrait takes: stages, the sketch's own effect, the hour, interruptions."""
        scenarios, name = self.scenarios, f"plan {self.seed}: {k}"
        days = np.arange(scenarios.n)
        chance = normals(name, 1 + self.stages, scenarios.n)
        hours = np.clip(begins_s / 3600, 0.0, 2 * MIDDAY_H) - MIDDAY_H
        logs = self.mu[:, kind, who, days] + self.sigma[:, kind, who, days] * chance[1:]
        logs += scenarios.sketch_sd[who] * chance[0] + scenarios.tires[who] * hours
        return scenarios.with_pauses(name, np.exp(logs))

    def turnaround_s(self, k: int) -> Seconds | float:
        """Between two portraits."""
        return self._length(self.turnaround, f"plan {self.seed}: turnaround {k}")

    def idle_s(self, k: int) -> Seconds | float:
        """Until an idle artist begins."""
        return self._length(self.idle, f"plan {self.seed}: idle {k}")

    def _length(self, world: tuple[Seconds, Seconds] | None, name: str) -> Seconds | float:
        return np.exp(world[0] + world[1] * normals(name, 1, self.scenarios.n)[0]) if world else 0.0

    def typical(self) -> Typical:
        """What the booth itself expects of these hands before the day."""
        kinds, artists, n = self.mu.shape[1:]
        log_s, own, shared = np.zeros((kinds, artists)), np.ones((kinds, artists)), np.zeros((kinds, artists))
        parts = np.zeros((self.stages, kinds))
        whole = np.zeros(n, np.intp)
        for kind in range(kinds):
            for artist in range(artists):
                if not np.isfinite(self.mu[-1, kind, artist, 0]):
                    continue
                work = self.work(-1, whole + kind, whole + artist, np.full(n, 3600 * MIDDAY_H))
                assert work.stages_s is not None
                sure = np.log(np.exp(self.mu[:, kind, artist] + self.sigma[:, kind, artist] ** 2 / 2).sum(axis=0))
                log_s[kind, artist], total = np.log(work.total_s).mean(), np.log(work.total_s).var()
                shared[kind, artist] = min(float(sure.var()), 0.95 * float(total))
                own[kind, artist] = math.sqrt(max(float(total) - shared[kind, artist], 1e-8))
                parts[:, kind] = shares_of_stages(work.stages_s)
        drawn = self.may.sum(axis=0)
        of_artist = np.sqrt((shared * self.may).sum(axis=0) / np.maximum(drawn, 1))
        return Typical(
            log_s=log_s,
            own=own,
            shared=of_artist,
            tiring=np.asarray(self.scenarios.tires, np.float64),
            parts=parts,
            may=self.may,
            turnaround_s=float(np.mean(self.turnaround_s(-1))),
            idle_s=float(np.mean(self.idle_s(-1))),
        )


class _Chance:
    """Chance of the people who come, a stream for each thing: what one plan draws more of moves nothing of another."""

    STREAMS = (
        "hours",
        "day",
        "gaps",
        "style",
        "mix",
        "sitters",
        "sitters mix",
        "artist",
        "leaves",
        "patience",
        "closing",
        "price",
    )

    def __init__(self, seed: int, n: int) -> None:
        self.seed, self.n = seed, n
        self.open: dict[str, np.random.Generator] = {}

    def stream(self, name: str) -> np.random.Generator:
        """A stream from its beginning on."""
        return np.random.Generator(np.random.SFC64([self.seed, self.STREAMS.index(name)]))

    def rows(self, name: str, rows: int) -> Floats:
        """(rows, n) uniforms strictly between 0 and 1; asked for more rows, the first ones stay the same."""
        return np.asarray(np.clip(self.stream(name).random((rows, self.n)), 1e-12, 1 - 1e-12))

    def of_day(self, name: str) -> Floats:
        """(n,) uniforms, one a day: each in a stratum of its own."""
        draw = self.stream(name)
        return np.asarray((draw.permutation(self.n) + draw.random(self.n)) / self.n).clip(1e-12, 1 - 1e-12)

    def patience(self) -> Floats:
        """(2, n) standard normals."""
        return np.asarray(ndtri(self.rows("patience", 2)))

    def next_row(self, name: str) -> Floats:
        """(n,) uniforms of the next customers, asked for one after the other."""
        return np.asarray(self.open.setdefault(name, self.stream(name)).random(self.n))


def _asks(plan: Plan, set_up: SetUp, combos: list[Combo], chance: _Chance) -> Asks:
    """Who asks when for what: a Poisson process with each day's own rates, by its cumulated rate turned around."""
    n = chance.n
    edges = np.array(hours_of(plan.lasts_s))
    people = plan.asked.draw(chance.rows("hours", len(edges) - 1), chance.of_day("day"))
    until = np.concatenate([np.zeros((1, n)), np.cumsum(people, axis=0)])
    most = float(until[-1].max())
    customers = int(most + 6 * math.sqrt(most) + 8)
    ahead = np.cumsum(-np.log(chance.rows("gaps", customers)), axis=0)
    comes = ahead < until[-1]
    customers = int(comes.any(axis=1).sum())
    ahead, comes = ahead[:customers], comes[:customers]
    at_s = np.empty_like(ahead)
    for day in range(n):
        rising = until[:, day] + 1e-9 * np.arange(len(edges))  # hours without anybody must not stand still
        at_s[:, day] = np.interp(ahead[:, day], rising, edges)
    kind, artist = _what_for(plan, set_up, combos, customers, chance)
    return Asks(at_s, comes, kind, artist)


def _what_for(plan: Plan, set_up: SetUp, combos: list[Combo], customers: int, chance: _Chance) -> tuple[Rows, Rows]:
    """(k, n) each: the row of the combo asked for, and that of the artist asked of, -1 where of none who is there."""
    n, wishes = chance.n, plan.wishes
    styles = [style.id for style in set_up.styles]
    style = _chosen(wishes.mix.draw(chance.rows("mix", len(styles))), chance.rows("style", customers))
    kind, artist = np.zeros((customers, n), np.intp), np.full((customers, n), -1, np.intp)
    sat, wanted = chance.rows("sitters", customers), chance.rows("artist", customers)
    most = max(len(wishes.sitters[id].weights) for id in styles)
    counts = chance.rows("sitters mix", most * len(styles)).reshape(len(styles), most, n)
    rows = {(combo.style.id, combo.sitters): row for row, combo in enumerate(combos)}
    there = {each.id: row for row, each in enumerate(set_up.artists)}
    for place, id in enumerate(styles):
        mix = wishes.sitters[id]
        here = style == place
        sitters = _chosen(mix.draw(counts[place, : len(mix.weights)]), sat)
        kind[here] = rows[id, 1] + sitters[here]  # combos of a style stand in the order of their sitters
        edge = 0.0
        for who, share in wishes.artists[id].items():
            asked = here & (wanted >= edge) & (wanted < edge + share)
            edge += share
            draws = who in there and id in set_up.artists[there[who]].styles
            artist[asked] = there[who] if draws else -1
    return kind, artist


def _chosen(shares: Floats, chance: Floats) -> Rows:
    """(k, n) which of the choices, whose shares are (choices, n), each uniform of (k, n) falls on."""
    edges = np.cumsum(shares, axis=0)[:-1]
    found = np.zeros(chance.shape, np.intp)
    for edge in edges:
        found += chance >= edge
    return found


def _probes(plan: Plan) -> Floats:
    """When it is asked whether a style could still be promised before closing."""
    return np.arange(0.0, plan.lasts_s, LAST_ORDERS_EVERY_S)


def _last_orders(
    plan: Plan,
    set_up: SetUp,
    combos: list[Combo],
    played: Played,
    teller: Teller,
    progress: Progress | None,
    steps: int,
) -> dict[str, Seconds]:
    """Style -> (n,) the last moment at which one more of one sitter could be promised before closing; NaN never."""
    n = played.asks.at_s.shape[1]
    drawn = {
        combo.style.id: row for row, combo in enumerate(combos) if combo.sitters == 1 and teller.typical.may[row].any()
    }
    last = {id: np.full(n, np.nan) for id in drawn}
    nobody = np.full(n, -1, np.intp)
    for step, probe_s in enumerate(_probes(plan)):
        at_s = np.full(n, probe_s)
        so_far = int((played.asks.at_s <= probe_s).any(axis=1).sum())
        expected = teller.queue(_before(played, at_s), so_far, at_s)
        for id, row in drawn.items():
            told_s = teller.promised(expected, at_s, np.full(n, row, np.intp), nobody, so_far)
            last[id] = np.where(told_s <= plan.lasts_s, probe_s, last[id])
        if progress is not None:
            progress(played.asks.at_s.shape[0] + step + 1, steps)
    return last


def _before(played: Played, at_s: Seconds) -> Played:
    """`played` with only those who had asked by then."""
    return replace(played, taken=played.taken & (played.asks.at_s <= at_s))


__all__ = ["DAYS", "ONE_MORE", "Combo", "LearnedHands", "Plan", "Simulated", "planned_booth", "simulate"]
