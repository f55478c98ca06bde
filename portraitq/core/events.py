"""The journal's kinds: what a line may say, how it is read and how it is printed.

One class a kind, `KINDS` lists them. This file judges a line by itself; whether it fits the lines before it is
`booth.py`'s to say. Numbers keep the form they came in (60 stays 60, 60.0 stays 60.0) so that a file that was
exported, imported and exported again is byte-identical.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Annotated, Any, ClassVar, Literal, Self, TypeVar
from zoneinfo import ZoneInfo

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    ValidationError,
    WithJsonSchema,
    model_validator,
)

from portraitq.core.errors import Malformed, RefusedLine

INSTANT_FORM = "2026-06-06T09:00:00.000Z"
_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", re.ASCII)
M = TypeVar("M", bound=BaseModel)
_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_TOP_KEYS = ("seq", "id", "at", "by", "kind", "data", "ago_s")
LONGEST_S = 366 * 86_400  # no guess, and no tap's age, is longer than a year


def parse_instant(text: object) -> datetime:
    """An instant in the journal's own form, RFC 3339 UTC with milliseconds and `Z`; ValueError on any other."""
    if isinstance(text, datetime):
        if text.utcoffset() != timedelta(0):
            raise ValueError(f"an instant in UTC was expected, not {text!r}")
        return text
    if not isinstance(text, str) or not _INSTANT.fullmatch(text):
        raise ValueError(f"an instant like {INSTANT_FORM} was expected, not {text!r}")
    return datetime.fromisoformat(text)


def print_instant(at: datetime) -> str:
    """`at` in the journal's form; ValueError when it does not know its zone.

    >>> print_instant(datetime(2026, 6, 6, 9, 0, 0, 1999, tzinfo=UTC))
    '2026-06-06T09:00:00.001Z'
    """
    if at.tzinfo is None:
        raise ValueError(f"an instant must know its zone: {at!r}")
    return at.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="milliseconds") + "Z"


def to_the_millisecond(at: datetime) -> datetime:
    """`at` in UTC with what is finer than a millisecond cut off, as the journal keeps it."""
    at = at.astimezone(UTC)
    return at.replace(microsecond=at.microsecond // 1000 * 1000)


def _a_day(text: str) -> str:
    if not _DAY.fullmatch(text):
        raise ValueError(f"a day like 2026-06-06 was expected, not {text!r}")
    date.fromisoformat(text)
    return text


def _a_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as unknown:
        raise ValueError(f"a time zone such as Europe/Lisbon was expected, not {name!r}") from unknown
    return name


Instant = Annotated[
    datetime,
    BeforeValidator(parse_instant),
    PlainSerializer(print_instant),
    WithJsonSchema({"type": "string", "format": "date-time", "pattern": rf"^{_INSTANT.pattern}$"}),
]
Day = Annotated[str, AfterValidator(_a_day), WithJsonSchema({"type": "string", "format": "date"})]
Zone = Annotated[str, Field(max_length=64), AfterValidator(_a_zone)]
Id = Annotated[str, Field(pattern=r"^[a-z0-9-]{1,32}$")]
TicketId = Annotated[str, Field(pattern=r"^[A-Za-z0-9-]{1,32}$")]
CommandId = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
Name = Annotated[str, Field(min_length=1, max_length=80)]
Sitters = Annotated[int, Field(ge=1, le=12)]
Cents = Annotated[int, Field(ge=0, le=10**12)]
Number = Annotated[int | float, Field(gt=0, le=LONGEST_S, allow_inf_nan=False)]
Ago = Annotated[int | float, Field(gt=0, le=LONGEST_S, allow_inf_nan=False)]
PauseWhy = Literal["counter", "break", "supplies", "sitter", "other"]
HoldWhy = Literal["photo", "customer", "other"]
CancelWhy = Literal["customer", "booth", "no_show"]
PaidHow = Literal["cash", "card", "other"]


class Strict(BaseModel):
    """A form that takes nothing but what it names, and never changes."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, ser_json_inf_nan="strings")


class Data(Strict):
    """The fields of one kind of event."""

    kind: ClassVar[str]


class OfTicket(Data):
    """The fields of an event that happens to one ticket."""

    ticket: TicketId


class ThreeGuesses(Strict):
    """Of ten goes one is quicker than `quick_s`, half are quicker than `usual_s`, one is slower than `slow_s`."""

    quick_s: Number
    usual_s: Number
    slow_s: Number

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if not self.quick_s <= self.usual_s <= self.slow_s:
            raise ValueError(
                f"quick, usual and slow must not fall: {self.quick_s}, {self.usual_s}, {self.slow_s} seconds"
            )
        return self


class Stage(Strict):
    """One stage of a style; `per_sitter` when it is done once for each sitter, its guesses being for one."""

    id: Id
    name: Name
    quick_s: Number
    usual_s: Number
    slow_s: Number
    per_sitter: bool

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        ThreeGuesses(quick_s=self.quick_s, usual_s=self.usual_s, slow_s=self.slow_s)
        return self


class Style(Strict):
    """A style that the booth draws, its price in minor units and its stages in their order."""

    id: Id
    name: Name
    price: Cents
    stages: Annotated[tuple[Stage, ...], Field(min_length=1, max_length=40, strict=False)]


class Artist(Strict):
    """An artist and the styles they draw."""

    id: Id
    name: Name
    styles: Annotated[tuple[Id, ...], Field(strict=False)]


class BoothSettings(Strict):
    """The booth's name, zone, currency (ISO 4217), wanted share of kept promises, and rounding of promises."""

    name: Name
    zone: Zone
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")]
    confidence: Annotated[int | float, Field(ge=0.5, le=0.99)]
    round_to_s: Annotated[int | float, Field(gt=0, le=86_400, allow_inf_nan=False)]


class Break(Strict):
    """A planned break of one artist."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, populate_by_name=True)

    artist: Id
    begins_at: Annotated[Instant, Field(alias="from")]
    ends_at: Annotated[Instant, Field(alias="to")]

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if not self.begins_at < self.ends_at:
            raise ValueError(f"a break must end after it begins, not at {print_instant(self.ends_at)}")
        return self


def _twice(ids: Iterable[str]) -> str | None:
    seen: set[str] = set()
    for one in ids:
        if one in seen:
            return one
        seen.add(one)
    return None


class SetUp(Data):
    """The whole set-up, replacing the last one."""

    kind = "set_up"
    booth: BoothSettings
    styles: Annotated[tuple[Style, ...], Field(strict=False, max_length=200)]
    artists: Annotated[tuple[Artist, ...], Field(strict=False, max_length=100)]
    turnaround: ThreeGuesses

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if again := _twice(style.id for style in self.styles):
            raise ValueError(f"the style {again!r} stands there twice")
        if again := _twice(artist.id for artist in self.artists):
            raise ValueError(f"the artist {again!r} stands there twice")
        known = {style.id for style in self.styles}
        for style in self.styles:
            if again := _twice(stage.id for stage in style.stages):
                raise ValueError(f"the style {style.id!r} has the stage {again!r} twice")
        for artist in self.artists:
            for style_id in artist.styles:
                if style_id not in known:
                    raise ValueError(f"the artist {artist.id!r} draws {style_id!r}, which is no style here")
        return self

    def style(self, id: str) -> Style | None:
        """The style of that id, or None."""
        return next((style for style in self.styles if style.id == id), None)

    def artist(self, id: str) -> Artist | None:
        """The artist of that id, or None."""
        return next((artist for artist in self.artists if artist.id == id), None)


class DayOpened(Data):
    """Trading starts."""

    kind = "day_opened"
    day: Day
    closes_at: Instant
    breaks: Annotated[tuple[Break, ...], Field(strict=False, max_length=500)]


class DayClosed(Data):
    """Trading ends; what is open carries over."""

    kind = "day_closed"


class ArtistIn(Data):
    """An artist is at the easel from now on."""

    kind = "artist_in"
    artist: Id


class ArtistOut(Data):
    """An artist is gone until the next `artist_in`."""

    kind = "artist_out"
    artist: Id


class Ordered(OfTicket):
    """A portrait joins the end of the queue."""

    kind = "ordered"
    number: Annotated[int, Field(ge=1)]
    style: Id
    sitters: Sitters
    artist: Id | None
    price: Cents


class Promised(OfTicket):
    """What the customer was told; a later one replaces it."""

    kind = "promised"
    ready_by: Instant
    confidence: Annotated[int | float, Field(gt=0, lt=1)]


class WalkedAway(Data):
    """Somebody asked, heard the time, and left."""

    kind = "walked_away"
    style: Id | None
    sitters: Sitters
    ready_by: Instant | None


class Started(OfTicket):
    """The artist takes it to the easel; its first stage not yet done begins."""

    kind = "started"
    artist: Id


class StageDone(OfTicket):
    """That stage ends; the next begins."""

    kind = "stage_done"
    stage: Id


class StageUndone(OfTicket):
    """The last `stage_done` was a slip."""

    kind = "stage_undone"
    stage: Id


class Paused(OfTicket):
    """The pencil is down; the stage's clock stops."""

    kind = "paused"
    why: PauseWhy


class Resumed(OfTicket):
    """The clock runs on."""

    kind = "resumed"


class PutBack(OfTicket):
    """Off the easel, back to the head of the queue; its measured stages stand."""

    kind = "put_back"


class Held(OfTicket):
    """Stays in its place but is passed over."""

    kind = "held"
    why: HoldWhy


class Released(OfTicket):
    """No longer held."""

    kind = "released"


class Moved(OfTicket):
    """Another place in the queue: before a waiting ticket, or at the end."""

    kind = "moved"
    before: TicketId | None


class Finished(OfTicket):
    """The portrait is done and racked."""

    kind = "finished"
    rack: Annotated[str, Field(min_length=1, max_length=32)] | None


class Collected(OfTicket):
    """Handed over."""

    kind = "collected"


class TouchedUp(OfTicket):
    """Back to the easel after it was finished, for one unnamed stage."""

    kind = "touched_up"
    artist: Id


class Cancelled(OfTicket):
    """Will not be drawn, or not be collected."""

    kind = "cancelled"
    why: CancelWhy


class Paid(OfTicket):
    """Money in, in minor units; negative for a refund."""

    kind = "paid"
    amount: Annotated[int, Field(ge=-(10**12), le=10**12)]
    how: PaidHow


class Erased(OfTicket):
    """Its personal data were deleted."""

    kind = "erased"


KINDS: dict[str, type[Data]] = {
    data.kind: data
    for data in (
        SetUp,
        DayOpened,
        DayClosed,
        ArtistIn,
        ArtistOut,
        Ordered,
        Promised,
        WalkedAway,
        Started,
        StageDone,
        StageUndone,
        Paused,
        Resumed,
        PutBack,
        Held,
        Released,
        Moved,
        Finished,
        Collected,
        TouchedUp,
        Cancelled,
        Paid,
        Erased,
    )
}
COUNTER = "counter"
SYSTEM = "system"


def easel(artist: str) -> str:
    """How the journal names the easel of `artist` as the device that said so."""
    return f"easel:{artist}"


By = Annotated[str, Field(pattern=r"^(counter|system|easel:[a-z0-9-]{1,32})$")]


@dataclass(frozen=True, slots=True)
class Event:
    """One line of the journal."""

    seq: int
    id: str
    at: datetime
    by: str
    data: Data
    ago_s: int | float = 0

    @property
    def kind(self) -> str:
        """The event's kind, as the journal spells it."""
        return self.data.kind

    @property
    def happened_at(self) -> datetime:
        """When it really happened: `ago_s` before it was written down."""
        return self.at - timedelta(seconds=self.ago_s) if self.ago_s else self.at


class _Head(Strict):
    seq: Annotated[int, Field(ge=1)]
    id: CommandId
    at: Instant
    by: By
    kind: str
    data: dict[str, Any]
    ago_s: Ago | None = None


def read_data(kind: str, data: object) -> Data:
    """The fields of one event from plain JSON values; Malformed, naming the field, when they have not its form."""
    if kind not in KINDS:
        raise Malformed(f"kind: {kind!r} is not a kind of the journal (expected one of {', '.join(KINDS)})", "kind")
    return validated(KINDS[kind], data, "data")


def validated(model: type[M], value: object, where: str = "") -> M:
    """`value` as `model`; Malformed, naming the dotted field under `where`, when it has not its form."""
    try:
        return model.model_validate(value)
    except ValidationError as wrong:
        first = wrong.errors(include_url=False)[0]
        field = ".".join(str(part) for part in (where, *first["loc"]) if part != "")
        raise Malformed(f"{field or 'the whole'}: {_said(first)}", field) from wrong


def _said(error: Any) -> str:
    """One of pydantic's errors as a sentence that also says what came."""
    kind, came = error["type"], error["input"]
    if kind == "missing":
        return "is missing"
    if kind == "extra_forbidden":
        return "is not a field here"
    said = str(error["msg"]).removeprefix("Value error, ")
    if kind == "value_error":
        return said
    shown = repr(came) if isinstance(came, str | int | float | bool | None) else type(came).__name__
    return f"{said[:1].lower()}{said[1:]}, not {shown[:80]}"


def to_json(value: object) -> str:
    """`value` as compact JSON, UTF-8 as it is, as the journal writes it."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def print_data(data: Data) -> dict[str, Any]:
    """The fields of one event as plain JSON values, in the journal's order."""
    return data.model_dump(mode="json", by_alias=True)


def print_line(event: Event) -> str:
    """`event` as one line of a journal file, without the line break."""
    line: dict[str, Any] = {
        "seq": event.seq,
        "id": event.id,
        "at": print_instant(event.at),
        "by": event.by,
        "kind": event.kind,
        "data": print_data(event.data),
    }
    if event.ago_s:
        line["ago_s"] = event.ago_s
    return to_json(line)


def _no_key_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError(f"the key {_twice(key for key, _ in pairs)!r} stands there twice")
    return found


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is not a number of JSON")


def parse_line(text: str) -> Event:
    """One line of a journal file; Malformed with a sentence when it has not the journal's form."""
    try:
        raw = json.loads(text, object_pairs_hook=_no_key_twice, parse_constant=_no_constant)
    except (ValueError, RecursionError) as wrong:
        raise Malformed(f"not a line of JSON: {wrong}") from wrong
    if not isinstance(raw, dict):
        raise Malformed(f"a JSON object with {', '.join(_TOP_KEYS[:-1])} was expected, not {type(raw).__name__}")
    head = validated(_Head, raw)
    if "ago_s" in raw and head.ago_s is None:
        raise Malformed("ago_s: a number above 0 was expected; leave it out where it is 0", "ago_s")
    return Event(head.seq, head.id, head.at, head.by, read_data(head.kind, head.data), head.ago_s or 0)


def parse_lines(lines: Iterable[str]) -> Iterator[Event]:
    """The events of a journal file in order; RefusedLine names the first line that is malformed.

    A blank line is refused like any other that is not an event; `seq` and the rest of the story are `fold`'s to judge.
    """
    for at_line, text in enumerate(lines, start=1):
        try:
            yield parse_line(text)
        except Malformed as wrong:
            raise RefusedLine(at_line, str(wrong)) from wrong
