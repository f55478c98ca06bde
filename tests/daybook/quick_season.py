"""A season made up quickly: two artists, so many days and portraits a day, all times and choices out of the seed."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from portraitq.core.booth import Booth, fold
from portraitq.core.events import (
    ArtistIn,
    Collected,
    Data,
    DayClosed,
    DayOpened,
    Event,
    Finished,
    Ordered,
    Paid,
    Paused,
    Promised,
    Resumed,
    StageDone,
    Started,
    WalkedAway,
    print_line,
)
from tests.builders import CHALK, INK_HEAD, a_set_up

FIRST_DAY = datetime(2026, 4, 1, 9, 0, tzinfo=UTC)
STYLES = {one["id"]: one for one in (INK_HEAD, CHALK)}
TOLD_MIN = (10, 25, 40, 55, 80, 110, 150)


@dataclass
class ASeason:
    """Days one after the other; `slower_a_day` is by how much of the guess a1 gets slower from day to day."""

    seed: int = 1
    slower_a_day: float = 0.0
    events: list[Event] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.chance, self.at = random.Random(self.seed), FIRST_DAY - timedelta(hours=1)
        self.say(a_set_up())

    def say(self, *data: Data, by: str = "counter") -> None:
        """One command at the present instant."""
        first = len(self.events) + 1
        for place, one in enumerate(data, start=first):
            self.events.append(Event(place, f"c{first}", self.at, by, one))

    def day(self, place: int, portraits: int) -> None:
        """One whole day of about that many portraits, at two easels in turns."""
        opens_at = self.at = FIRST_DAY + timedelta(days=place)
        self.say(DayOpened(day=opens_at.date().isoformat(), closes_at=opens_at + timedelta(hours=9), breaks=()))
        for artist in ("a1", "a2"):
            self.say(ArtistIn(artist=artist))
        for number in range(1, portraits + self.chance.choice((-1, 0, 0, 1)) + 1):
            self._portrait(f"D{place}-{number}", number, "a1" if number % 2 else "a2", place)
        self.at = max(self.at, opens_at + timedelta(hours=9))
        self.say(DayClosed())

    def _portrait(self, id: str, number: int, artist: str, place: int) -> None:
        style = STYLES["chalk-half" if artist == "a1" and self.chance.random() < 0.3 else "ink-head"]
        told_min = self.chance.choice(TOLD_MIN)
        promise = self.at + timedelta(minutes=told_min)
        if self.chance.random() < told_min / 300:
            self.say(WalkedAway(style=style["id"], sitters=1, ready_by=promise))
        self.say(
            Ordered(ticket=id, number=number, style=style["id"], sitters=1, artist=None, price=style["price"]),
            Promised(ticket=id, ready_by=promise, confidence=0.85),
        )
        self.say(Started(ticket=id, artist=artist), by=f"easel:{artist}")
        slower = (1 + self.slower_a_day) ** place if artist == "a1" else 1.0
        for stage in style["stages"]:
            self.at += timedelta(seconds=round(stage["usual_s"] * slower * self.chance.lognormvariate(0, 0.2)))
            if stage is not style["stages"][-1]:
                self.say(StageDone(ticket=id, stage=stage["id"]), by=f"easel:{artist}")
                if self.chance.random() < 0.1:
                    self.say(Paused(ticket=id, why="counter"), by=f"easel:{artist}")
                    self.at += timedelta(seconds=90)
                    self.say(Resumed(ticket=id), by=f"easel:{artist}")
        done = StageDone(ticket=id, stage=style["stages"][-1]["id"])
        self.say(done, Finished(ticket=id, rack=None), by=f"easel:{artist}")
        self.at += timedelta(seconds=60)
        self.say(Paid(ticket=id, amount=style["price"], how="cash"))
        self.say(Collected(ticket=id))

    @property
    def booth(self) -> Booth:
        """What it folds to."""
        return fold(Booth(), self.events)

    @property
    def lines(self) -> list[str]:
        """The journal."""
        return [print_line(event) for event in self.events]


def a_season(days: int, portraits: int = 4, seed: int = 1, slower_a_day: float = 0.0) -> ASeason:
    """That many days in a row with about that many portraits each."""
    season = ASeason(seed, slower_a_day)
    for place in range(days):
        season.day(place, portraits)
    return season
