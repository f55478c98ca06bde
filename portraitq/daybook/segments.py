"""What a portrait's time on an easel was spent on, stretch by stretch: each stage, each pause, each touch-up.

The same clock as `core/timing.py` reads, but kept as stretches with a beginning and an end, so that a day can be drawn
and its hours added up. How far a stage's time can be trusted is `timing`'s to say.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime

from portraitq.core.events import Event, Paused, StageDone, Started, TouchedUp
from portraitq.core.life import Ticket

STAGE, PAUSE, TOUCH_UP = "stage", "pause", "touch-up"


@dataclass(frozen=True, slots=True)
class Segment:
    """One stretch on the easel of `artist`.

    name    of a stage its id, empty between the last stage and `finished`; of a pause its reason; of a touch-up empty
    to_at   None while it lasts
    begins  whether the portrait was taken to the easel at its beginning
    """

    ticket: str
    artist: str
    kind: str
    name: str
    from_at: datetime
    to_at: datetime | None
    begins: bool = False


def segments(ticket: Ticket) -> tuple[Segment, ...]:
    """Every stretch of `ticket` on an easel, in order. A stage taken back goes on as if the tap had not been said."""
    reading = _Reading(ticket)
    for event in ticket.history:
        reading.read(event)
    return reading.segments()


@dataclass(slots=True)
class _Reading:
    ticket: Ticket
    found: list[tuple[int, Segment]] = field(default_factory=list)  # with the stage it counts to, by place
    stage: int = 0
    artist: str = ""
    is_touch_up: bool = False
    last_at: datetime | None = None

    def read(self, event: Event) -> None:
        at = max(event.happened_at, self.last_at or event.happened_at)
        if event.kind not in ("promised", "paid", "erased"):
            self.last_at = at
        match event.data:
            case Started(artist=artist) | TouchedUp(artist=artist):
                self.artist, self.is_touch_up = artist, isinstance(event.data, TouchedUp)
                self._begin(at, begins=True)
            case StageDone():
                self._end(at)
                self.stage += 1
                self._begin(at)
            case Paused(why=why):
                self._end(at)
                self.found.append((self.stage, Segment(self.ticket.id, self.artist, PAUSE, why, at, None)))
            case _ if event.kind == "resumed":
                self._end(at)
                self._begin(at)
            case _ if event.kind == "stage_undone":
                self.stage -= 1
                self.found = [(min(stage, self.stage), segment) for stage, segment in self.found]
            case _ if event.kind in ("put_back", "finished", "cancelled"):
                self._end(at)

    def _begin(self, at: datetime, begins: bool = False) -> None:
        kind = TOUCH_UP if self.is_touch_up else STAGE
        self.found.append((self.stage, Segment(self.ticket.id, self.artist, kind, "", at, None, begins)))

    def _end(self, at: datetime) -> None:
        if self.found and self.found[-1][1].to_at is None:
            stage, segment = self.found[-1]
            self.found[-1] = (stage, replace(segment, to_at=at))

    def segments(self) -> tuple[Segment, ...]:
        stages = [stage.id for stage in self.ticket.style.stages]
        named = (
            replace(segment, name=stages[stage] if stage < len(stages) else "") if segment.kind == STAGE else segment
            for stage, segment in self.found
        )
        return tuple(segment for segment in named if segment.begins or segment.to_at != segment.from_at)
