"""Days of trading with portraits whose stages take what a test says: the record that suggestions are read from."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from tests.builders import Told, instant

FIRST = date(2026, 5, 2)
AS_GUESSED = (100.0, 380.0, 110.0)  # the usual times of an ink head


def name_of(index: int) -> str:
    """The `index`-th Saturday."""
    return (FIRST + timedelta(days=7 * index)).isoformat()


def opened(told: Told, index: int, closes: str = "18:00", **breaks: tuple[str, str]) -> Told:
    """The next Saturday opened at nine with everybody in."""
    told = told.day_opened(name_of(index), closes=closes, **breaks)
    return told.artist_in("a1", "a2", at=told.booth.last_at)


def drawn(
    told: Told,
    id: str,
    stages_s: Sequence[float] = AS_GUESSED,
    at: datetime | None = None,
    *,
    style: str = "ink-head",
    turnaround_s: float = 70.0,
    price: int = 1800,
) -> Told:
    """One portrait that was ordered while another was drawn: begun a turnaround after the line before, and paid."""
    begins_at = at or told.at(told.booth.last_at) + timedelta(seconds=turnaround_s)
    told = told.ordered(id, style=style, price=price, at=told.booth.last_at).started(id, "a1", at=begins_at)
    done_at = begins_at
    for seconds in stages_s:
        done_at += timedelta(seconds=seconds)
        told = told.stage_done(id, at=done_at)
    return told.finished(id, at=done_at).paid(id, price, at=done_at)


def season(days: int, a_day: int, stages_s: Sequence[float] = AS_GUESSED, told: Told | None = None) -> Told:
    """So many closed Saturdays with so many ink heads each, every stage always as long as that."""
    told = told or Told().set_up(at=instant("08:00", name_of(0)))
    for index in range(days):
        told = opened(told, index)
        for number in range(a_day):
            told = drawn(told, f"D{index}N{number}", stages_s)
        told = told.day_closed(at=instant("18:05", name_of(index)))
    return told
