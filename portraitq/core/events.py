"""The journal's kinds: what a line may say, how it is read and how it is printed.

One class a kind, `KINDS` lists them. This file judges a line by itself; whether it fits the lines before it is
`booth.py`'s to say. Numbers keep the form they came in (60 stays 60, 60.0 stays 60.0) so that a file that was
exported, imported and exported again is byte-identical.
"""

from __future__ import annotations

import json
import math
import re
from calendar import monthrange
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
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
# Years 1900 to 2999, so that neither a day's end nor an age taken off runs out of the calendar; hours to 23, because
# some Pythons read 24:00 as the next day and would print another line than they read.
_DAY = re.compile(r"(19|2\d)\d\d-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])", re.ASCII)
_INSTANT = re.compile(rf"{_DAY.pattern}T([01]\d|2[0-3]):[0-5]\d:[0-5]\d\.\d{{3}}Z", re.ASCII)
ID_FORM = r"^[a-z0-9-]{1,32}$"
TICKET_FORM = r"^[A-Za-z0-9-]{1,32}$"
COMMAND_FORM = r"^[A-Za-z0-9_-]{1,64}$"
CURRENCY_FORM = r"^[A-Z]{3}$"
BY_FORM = r"^(counter|system|easel:[a-z0-9-]{1,32})$"
M = TypeVar("M", bound=BaseModel)
_TOP_KEYS = ("seq", "id", "at", "by", "kind", "data", "ago_s")
LONGEST_SHOWN = 80  # characters of a wrong value that a sentence repeats
LONGEST_S = 366 * 86_400  # no guess, and no tap's age, is longer than a year


def parse_instant(text: object) -> datetime:
    """An instant in the journal's own form, RFC 3339 UTC with milliseconds and `Z`; ValueError on any other."""
    if isinstance(text, datetime):
        if text.utcoffset() != timedelta(0):
            raise ValueError(f"an instant in UTC was expected, not {text.isoformat()}")
        return text
    if isinstance(text, str) and _INSTANT.fullmatch(text) and _is_in_the_calendar(text):
        return datetime.fromisoformat(text)
    raise ValueError(f"an instant like {INSTANT_FORM} was expected, not {shown(text)}")


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


def shown(value: object) -> str:
    """`value` as a sentence about it shows it: as JSON spells it, shortened; an object or a list is only named.

    >>> print(shown("Bé\\ud800"), shown(None), shown([1, 2]))
    "Bé\\ud800" null a list
    """
    if isinstance(value, Mapping):
        return "an object"
    if isinstance(value, list | tuple):
        return "a list"
    if not isinstance(value, str | int | float | None):
        return "something else"
    return _shortened(_in_utf8(json.dumps(value, ensure_ascii=False)))


def _shortened(text: str) -> str:
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"


def _is_in_the_calendar(text: str) -> bool:
    """Whether the day that `text` begins with exists: 30 February has the form, but the calendar has it not."""
    return text[8:10] <= "28" or int(text[8:10]) <= monthrange(int(text[:4]), int(text[5:7]))[1]


def _a_day(text: str) -> str:
    if _DAY.fullmatch(text) and _is_in_the_calendar(text):
        return text
    raise ValueError(f"a day like 2026-06-06 was expected, not {shown(text)}")


def _a_zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as unknown:
        raise ValueError(f"a time zone such as Europe/Lisbon was expected, not {shown(name)}") from unknown
    return name


def _a_number(value: object) -> object:
    """`value` if it is a number of JSON: true is none, and neither are NaN and the infinite ones."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"a number was expected, not {shown(value)}")
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError(f"a finite number was expected, not {shown(value)}")
    return value


Instant = Annotated[
    datetime,
    BeforeValidator(parse_instant),
    PlainSerializer(print_instant),
    WithJsonSchema({"type": "string", "format": "date-time", "pattern": rf"^{_INSTANT.pattern}$"}),
]
Day = Annotated[str, AfterValidator(_a_day), WithJsonSchema({"type": "string", "format": "date"})]
Zone = Annotated[str, Field(max_length=64), AfterValidator(_a_zone)]
Id = Annotated[str, Field(pattern=ID_FORM)]
TicketId = Annotated[str, Field(pattern=TICKET_FORM)]
CommandId = Annotated[str, Field(pattern=COMMAND_FORM)]
Name = Annotated[str, Field(min_length=1, max_length=80)]
Sitters = Annotated[int, Field(ge=1, le=12)]
Cents = Annotated[int, Field(ge=0, le=10**12)]
AnyNumber = Annotated[int | float, BeforeValidator(_a_number)]
Number = Annotated[AnyNumber, Field(gt=0, le=LONGEST_S)]
Ago = Annotated[AnyNumber, Field(gt=0, le=LONGEST_S)]
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
    currency: Annotated[str, Field(pattern=CURRENCY_FORM)]
    confidence: Annotated[AnyNumber, Field(ge=0.5, le=0.99)]
    round_to_s: Annotated[AnyNumber, Field(gt=0, le=86_400)]


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
            raise ValueError(f"the style {shown(again)} stands there twice")
        if again := _twice(artist.id for artist in self.artists):
            raise ValueError(f"the artist {shown(again)} stands there twice")
        known = {style.id for style in self.styles}
        for style in self.styles:
            if again := _twice(stage.id for stage in style.stages):
                raise ValueError(f"the style {shown(style.id)} has the stage {shown(again)} twice")
        for artist in self.artists:
            for style_id in artist.styles:
                if style_id not in known:
                    raise ValueError(f"the artist {shown(artist.id)} draws {shown(style_id)}, which is no style here")
        return self

    def style(self, id: str) -> Style | None:
        """The style of that id, or None."""
        return next((style for style in self.styles if style.id == id), None)

    def artist(self, id: str) -> Artist | None:
        """The artist of that id, or None."""
        return next((artist for artist in self.artists if artist.id == id), None)

    def called(self, artist: str) -> str:
        """What people call the artist of that id; the id where there is none."""
        found = self.artist(artist)
        return found.name if found else artist


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
    confidence: Annotated[AnyNumber, Field(gt=0, lt=1)]


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


By = Annotated[str, Field(pattern=BY_FORM)]


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
        raise Malformed(f"kind: {shown(kind)} is no kind of the journal, which are {', '.join(KINDS)}.", "kind")
    return validated(KINDS[kind], data, "data")


def validated(model: type[M], value: object, where: str = "") -> M:
    """`value` as `model`; Malformed, naming the dotted field under `where`, when it has not its form."""
    try:
        return model.model_validate(value, by_alias=True, by_name=False)
    except ValidationError as wrong:
        first = wrong.errors(include_url=False)[0]
        field = _shortened(_in_utf8(".".join(str(part) for part in (where, *first["loc"]) if part != "")))
        said = _said(first)
        raise Malformed(f"{field}: {said}" if field else f"{said[:1].upper()}{said[1:]}", field) from wrong


_SAID = {
    "missing": "this field is missing.",
    "extra_forbidden": "there is no such field here.",
    "int_type": "a whole number was expected, not {came}.",
    "bool_type": "true or false was expected, not {came}.",
    "string_type": "text was expected, not {came}.",
    "string_unicode": "text was expected, not half a character: {came}.",
    "string_too_short": "at least {min_length} character was expected, not {came}.",
    "string_too_long": "at most {max_length} characters were expected, not {came}.",
    "greater_than": "a number above {gt} was expected, not {came}.",
    "greater_than_equal": "a number from {ge} on was expected, not {came}.",
    "less_than": "a number below {lt} was expected, not {came}.",
    "less_than_equal": "a number up to {le} was expected, not {came}.",
    "literal_error": "{expected} was expected, not {came}.",
    "tuple_type": "a list was expected, not {came}.",
    "too_short": "at least {min_length} in the list was expected, not {actual_length}.",
    "too_long": "at most {max_length} in the list were expected, not more.",
    "model_type": "an object was expected, not {came}.",
    "dict_type": "an object was expected, not {came}.",
}
_FORMS = {
    ID_FORM: "1 to 32 of a–z, 0–9 and -",
    TICKET_FORM: "1 to 32 of A–Z, a–z, 0–9 and -",
    COMMAND_FORM: "1 to 64 of A–Z, a–z, 0–9, - and _",
    CURRENCY_FORM: "a currency such as EUR",
    BY_FORM: "counter, system or easel:ARTIST",
}


def _said(error: Any) -> str:
    """One of pydantic's errors in a plain sentence that says what was expected and what came."""
    kind, came, about = error["type"], shown(error["input"]), error.get("ctx", {})
    if kind == "value_error":
        return f"{about['error']}."
    if kind == "string_pattern_mismatch":
        return f"{_FORMS[about['pattern']]} was expected, not {came}."
    if kind == "literal_error":
        about = {"expected": about["expected"].replace("'", '"')}
    if kind in _SAID:
        return _SAID[kind].format(came=came, **about)
    return f"{error['msg']}, not {came}."


def _in_utf8(text: str) -> str:
    """`text` with half characters spelled out, so that it can be shown and sent."""
    return text.encode("utf-8", "backslashreplace").decode()


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
        raise Malformed(f"The key {shown(_twice(key for key, _ in pairs))} stands there twice.")
    return found


def _no_constant(name: str) -> Any:
    raise Malformed(f"{name} is no number that JSON knows.")


_DECODER = json.JSONDecoder(object_pairs_hook=_no_key_twice, parse_constant=_no_constant)


def parse_line(text: str) -> Event:
    """One line of a journal file; Malformed with a sentence when it has not the journal's form."""
    try:
        raw = _DECODER.decode(text)
    except Malformed:
        raise
    except json.JSONDecodeError as wrong:
        raise Malformed(f"A JSON object was expected, but from character {wrong.pos + 1} on it is none.") from wrong
    except (ValueError, RecursionError) as wrong:  # a number of thousands of digits; thousands of brackets
        raise Malformed("A JSON object was expected, but what came is too long or too deep to be one.") from wrong
    if not isinstance(raw, dict):
        raise Malformed(f"An object with {', '.join(_TOP_KEYS[:-1])} was expected, not {shown(raw)}.")
    head = validated(_Head, raw)
    if "ago_s" in raw and head.ago_s is None:
        raise Malformed("ago_s: a number above 0 was expected, not null; leave it out where it is 0.", "ago_s")
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
