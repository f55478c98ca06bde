"""A booth to begin with: a set-up that can take an order at once, and the hours of its first day.

Everything in it is a guess to be edited under Set-up. Pure: now and the zone come in as arguments.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from portraitq.core.booth import local_day
from portraitq.core.events import (
    Artist,
    BoothSettings,
    DayOpened,
    SetUp,
    Stage,
    Style,
    ThreeGuesses,
    to_the_millisecond,
)
from portraitq.currency import digits_of

SLUG = "booth"
FIRST_DAY_H = 8  # a fair's usual day, to be changed when it is another
STEP_S = 1800  # fairs close on the hour or the half hour


def set_up(zone: str, currency: str) -> SetUp:
    """Two easels and three styles. Stage times are an artist's guesses for faces drawn from a photo, in seconds."""
    pencil = Style(
        id="pencil-head",
        name="Pencil head study",
        price=_price(20, currency),
        stages=(
            _stage("layout", "Layout", 60, 110, 200),
            _stage("likeness", "Likeness", 240, 400, 680),
            _stage("shading", "Shading and signature", 120, 210, 360, per_sitter=False),
        ),
    )
    chalk = Style(
        id="chalk-half",
        name="Chalk half-length",
        price=_price(35, currency),
        stages=(
            _stage("layout", "Layout", 90, 150, 270),
            _stage("likeness", "Likeness", 300, 500, 850),
            _stage("clothes", "Clothes and hands", 180, 300, 520),
            _stage("colour", "Colour and fixing", 240, 400, 660, per_sitter=False),
        ),
    )
    watercolour = Style(
        id="watercolour",
        name="Watercolour head",
        price=_price(45, currency),
        stages=(
            _stage("drawing", "Drawing", 240, 400, 680),
            _stage("washes", "First washes", 240, 360, 600, per_sitter=False),
            _stage("drying", "Drying and darks", 300, 480, 780, per_sitter=False),
        ),
    )
    styles = (pencil, chalk, watercolour)
    names = tuple(style.id for style in styles)
    return SetUp(
        booth=BoothSettings(name="Our booth", zone=zone, currency=currency, confidence=0.85, round_to_s=300),
        styles=styles,
        artists=(
            Artist(id="a1", name="First easel", styles=names),
            Artist(id="a2", name="Second easel", styles=names[:2]),
        ),
        turnaround=ThreeGuesses(quick_s=60, usual_s=120, slow_s=240),
    )


def first_day(now: datetime, zone: ZoneInfo) -> DayOpened:
    """The day of `now`, closing `FIRST_DAY_H` later rounded to the half hour, by midnight unless it is late already."""
    now = to_the_millisecond(now)
    closes_at = _to_the_step(now + timedelta(hours=FIRST_DAY_H), zone)
    midnight = (now.astimezone(zone) + timedelta(days=1)).replace(hour=0, minute=0, second=0, microsecond=0)
    if closes_at > midnight and midnight - now > timedelta(hours=1):
        closes_at = midnight
    return DayOpened(day=local_day(now, zone), closes_at=to_the_millisecond(closes_at), breaks=())


def _to_the_step(at: datetime, zone: ZoneInfo) -> datetime:
    local = at.astimezone(zone)
    past_s = (local.minute * 60 + local.second + local.microsecond / 1e6) % STEP_S
    down = local - timedelta(seconds=past_s)
    return down if past_s < STEP_S / 2 else down + timedelta(seconds=STEP_S)


def _stage(id: str, name: str, quick_s: int, usual_s: int, slow_s: int, *, per_sitter: bool = True) -> Stage:
    return Stage(id=id, name=name, quick_s=quick_s, usual_s=usual_s, slow_s=slow_s, per_sitter=per_sitter)


def _price(whole: int, currency: str) -> int:
    return int(whole * 10 ** digits_of(currency))
