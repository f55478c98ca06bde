"""When was each artist at their easel? Out of `artist_in`, `artist_out` and the closing, which sends everybody out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from portraitq.core.events import ArtistIn, ArtistOut, DayClosed, Event, SetUp


@dataclass(frozen=True, slots=True)
class Attendance:
    """`artist` was in from `from_at` to `to_at`, None while they still are."""

    artist: str
    from_at: datetime
    to_at: datetime | None


def attendances(events: Iterable[Event]) -> tuple[Attendance, ...]:
    """Every stay of every artist, in the order in which they came; events of other kinds are passed over."""
    found: list[Attendance] = []
    here: dict[str, int] = {}

    def leaves(artist: str, at: datetime) -> None:
        place = here.pop(artist)
        came = found[place]
        found[place] = Attendance(artist, came.from_at, max(at, came.from_at))

    for event in events:
        at = event.happened_at
        match event.data:
            case ArtistIn(artist=artist) if artist not in here:
                here[artist] = len(found)
                found.append(Attendance(artist, at, None))
            case ArtistOut(artist=artist) if artist in here:
                leaves(artist, at)
            case DayClosed():
                for artist in list(here):
                    leaves(artist, at)
            case SetUp() as set_up:
                for artist in [one for one in here if set_up.artist(one) is None]:
                    leaves(artist, at)
    return tuple(found)
