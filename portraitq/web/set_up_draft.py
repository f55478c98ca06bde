"""The set-up as it is typed: every field a text, so that nothing that somebody wrote is lost when a part is wrong.

`draft_of` spreads a set-up out into a draft, `read` takes one from a form, `changed` adds, removes and moves rows, and
`built` makes the set-up again, or says beside which fields what is wrong. An id is made of the name when a row is new
and stays for ever after, whatever the name becomes: the journal speaks of ids.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import Any
from zoneinfo import ZoneInfo

from iso4217 import Currency

from portraitq.core.errors import Malformed
from portraitq.core.events import SetUp, ThreeGuesses, validated
from portraitq.web.said import plain_amount, read_money

NEW = "+"  # rows that have no id yet are keyed +1, +2, …; no id has a plus
LONGEST_NAME = 80
LONGEST_ID = 32
MOST_ROWS = 200
LEAST_PERCENT, MOST_PERCENT = 50, 99
GUESSES = ("quick", "usual", "slow")
_ROW = re.compile(r"(style|artist)-(\d{1,4})-key")
_STAGE = re.compile(r"style-(\d{1,4})-stage-(\d{1,4})-key")
_CLOCK = re.compile(r"(?:(\d{1,3}):(?=[0-5]?\d:))?(\d{1,4}):([0-5]?\d(?:[.,]\d{1,3})?)")
_PLAIN = re.compile(r"(\d{1,6}(?:[.,]\d{1,3})?)\s*(s|sec|m|min|h)?", re.IGNORECASE)
_UNIT_S = {"s": 1, "sec": 1, "m": 60, "min": 60, "h": 3600, "": 60}


@dataclass
class StageDraft:
    """One stage as it is typed; `key` is its id, or + and a number while it has none."""

    key: str
    name: str = ""
    quick: str = ""
    usual: str = ""
    slow: str = ""
    per_sitter: bool = False


@dataclass
class StyleDraft:
    """One style as it is typed."""

    key: str
    name: str = ""
    price: str = ""
    stages: list[StageDraft] = field(default_factory=list)


@dataclass
class ArtistDraft:
    """One artist as they are typed; `draws` are keys of styles."""

    key: str
    name: str = ""
    draws: list[str] = field(default_factory=list)


@dataclass
class Draft:
    """The whole set-up as it is typed."""

    name: str = ""
    zone: str = ""
    currency: str = ""
    confidence: str = ""
    round_to: str = ""
    turnaround: StageDraft = field(default_factory=lambda: StageDraft("turnaround"))
    styles: list[StyleDraft] = field(default_factory=list)
    artists: list[ArtistDraft] = field(default_factory=list)


Errors = dict[str, str]


def draft_of(set_up: SetUp) -> Draft:
    """`set_up` as it stands in the form."""
    booth, turnaround = set_up.booth, set_up.turnaround
    return Draft(
        name=booth.name,
        zone=booth.zone,
        currency=booth.currency,
        confidence=_percent_text(booth.confidence),
        round_to=duration_text(booth.round_to_s),
        turnaround=StageDraft("turnaround", "", *_guess_texts(turnaround)),
        styles=[
            StyleDraft(
                style.id,
                style.name,
                plain_amount(style.price, booth.currency),
                [StageDraft(one.id, one.name, *_guess_texts(one), one.per_sitter) for one in style.stages],
            )
            for style in set_up.styles
        ],
        artists=[ArtistDraft(artist.id, artist.name, list(artist.styles)) for artist in set_up.artists],
    )


def read(form: Mapping[str, Sequence[str]]) -> Draft:
    """What came in from the form: field -> its values, in the order in which the rows stand."""

    def text(name: str) -> str:
        return (form.get(name) or [""])[0].strip()

    def stage(key: str, at: str) -> StageDraft:
        quick, usual, slow = (text(f"{at}-{guess}") for guess in GUESSES)
        return StageDraft(key, text(f"{at}-name"), quick, usual, slow, f"{at}-each" in form)

    rows: dict[str, list[int]] = {"style": [], "artist": []}
    stages: dict[int, list[int]] = {}
    for name in form:
        if row := _ROW.fullmatch(name):
            rows[row[1]].append(int(row[2]))
        elif row := _STAGE.fullmatch(name):
            stages.setdefault(int(row[1]), []).append(int(row[2]))
    return Draft(
        name=text("booth-name"),
        zone=text("booth-zone"),
        currency=text("booth-currency").upper(),
        confidence=text("booth-confidence"),
        round_to=text("booth-round"),
        turnaround=stage("turnaround", "turnaround"),
        styles=[
            StyleDraft(
                text(f"style-{at}-key"),
                text(f"style-{at}-name"),
                text(f"style-{at}-price"),
                [
                    stage(text(f"style-{at}-stage-{one}-key"), f"style-{at}-stage-{one}")
                    for one in sorted(stages.get(at, []))[:MOST_ROWS]
                ],
            )
            for at in sorted(rows["style"])[:MOST_ROWS]
        ],
        artists=[
            ArtistDraft(text(f"artist-{at}-key"), text(f"artist-{at}-name"), list(form.get(f"artist-{at}-draws") or ()))
            for at in sorted(rows["artist"])[:MOST_ROWS]
        ],
    )


# Rows


def changed(draft: Draft, what: str) -> str:
    """Add, remove or move a row of `draft`.

    `add:style` adds a style, `add:style:0` a stage to the first one; `up:style:1:2` moves the third stage of the second
    style, `remove:artist:0` removes an artist. Returns the id of the element
    where the hand goes on; empty when there is no such row.
    """
    do, _, place = what.partition(":")
    kind, *numbers = place.split(":")
    if kind not in ("style", "artist") or not all(one.isdecimal() and len(one) < 5 for one in numbers):
        return ""
    where = [int(one) for one in numbers]
    if do == "add":
        return _added(draft, kind, where)
    found = _rows(draft, kind, where[:-1])
    if found is None or not where or where[-1] >= len(found[0]):
        return ""
    rows, prefix = found
    at = where[-1]
    if do == "remove":
        gone = rows.pop(at)
        if isinstance(gone, StyleDraft):
            for artist in draft.artists:
                artist.draws = [key for key in artist.draws if key != gone.key]
        return f"{prefix}-{min(at, len(rows) - 1)}-name" if rows else f"add-{prefix}"
    to = at + {"up": -1, "down": 1}.get(do, 0)
    if to == at or not 0 <= to < len(rows):
        return ""
    rows[at], rows[to] = rows[to], rows[at]
    still = do if 0 < to < len(rows) - 1 else {"up": "down", "down": "up"}[do]
    return f"{still}-{prefix}-{to}"


def _rows(draft: Draft, kind: str, where: Sequence[int]) -> tuple[list[Any], str] | None:
    """The list of rows that is meant, and how the ids of its elements begin."""
    if not where:
        return (draft.styles, "style") if kind == "style" else (draft.artists, "artist")
    if kind == "style" and len(where) == 1 and where[0] < len(draft.styles):
        return draft.styles[where[0]].stages, f"style-{where[0]}-stage"
    return None


def _added(draft: Draft, kind: str, where: Sequence[int]) -> str:
    found = _rows(draft, kind, where)
    if found is None or len(found[0]) >= MOST_ROWS:
        return ""
    rows, prefix = found
    key = _fresh_key(row.key for row in rows)
    if where:
        rows.append(StageDraft(key))
    elif kind == "style":
        rows.append(StyleDraft(key, stages=[StageDraft(f"{NEW}1", per_sitter=True)]))
        for artist in draft.artists:
            artist.draws.append(key)
    else:
        rows.append(ArtistDraft(key, draws=[style.key for style in draft.styles]))
    return f"{prefix}-{len(rows) - 1}-name"


def _fresh_key(taken: Iterable[str]) -> str:
    known = set(taken)
    n = 1
    while f"{NEW}{n}" in known:
        n += 1
    return f"{NEW}{n}"


# From the draft to the set-up


def built(draft: Draft) -> tuple[SetUp | None, Errors]:
    """The set-up that `draft` describes, or None and a sentence for each field that is wrong."""
    building = _Building(draft)
    data = building.data()
    if building.errors:
        return None, building.errors
    try:
        return validated(SetUp, data), {}
    except Malformed as wrong:
        return None, {"form": str(wrong)}


def idle_styles(set_up: SetUp) -> list[str]:
    """The names of the styles that nobody draws."""
    return [one.name for one in set_up.styles if not any(one.id in artist.styles for artist in set_up.artists)]


class _Building:
    def __init__(self, draft: Draft) -> None:
        self.draft, self.errors = draft, Errors()

    def data(self) -> dict[str, Any]:
        draft = self.draft
        keys = self._ids(draft.styles, "style")
        currency = self._currency()
        return {
            "booth": {
                "name": self._name(draft.name, "booth-name", "the booth"),
                "zone": self._zone(),
                "currency": currency,
                "confidence": self._confidence(),
                "round_to_s": self._duration(draft.round_to, "booth-round"),
            },
            "styles": [
                {
                    "id": keys[style.key],
                    "name": self._name(style.name, f"style-{at}-name", "a style"),
                    "price": self._price(style.price, currency, f"style-{at}-price"),
                    "stages": self._stages(style, at),
                }
                for at, style in enumerate(draft.styles)
            ],
            "artists": self._artists(keys),
            "turnaround": self._guesses(draft.turnaround, "turnaround"),
        }

    def _artists(self, keys: Mapping[str, str]) -> list[dict[str, Any]]:
        ids = self._ids(self.draft.artists, "artist")
        order = [keys[style.key] for style in self.draft.styles]
        return [
            {
                "id": ids[artist.key],
                "name": self._name(artist.name, f"artist-{at}-name", "an artist"),
                "styles": [id for id in order if id in {keys[key] for key in artist.draws if key in keys}],
            }
            for at, artist in enumerate(self.draft.artists)
        ]

    def _stages(self, style: StyleDraft, at: int) -> list[dict[str, Any]]:
        if not style.stages:
            self.errors[f"style-{at}-name"] = "A style has at least one stage: add one below."
        ids = self._ids(style.stages, f"style-{at}-stage")
        return [
            {
                "id": ids[stage.key],
                "name": self._name(stage.name, f"style-{at}-stage-{one}-name", "a stage"),
                **self._guesses(stage, f"style-{at}-stage-{one}"),
                "per_sitter": stage.per_sitter,
            }
            for one, stage in enumerate(style.stages)
        ]

    def _ids(self, rows: Sequence[StyleDraft | StageDraft | ArtistDraft], prefix: str) -> dict[str, str]:
        """An id for each key: its own, or one made of the name. Two rows of one name are told apart or refused."""
        names: dict[str, int] = {}
        for at, row in enumerate(rows):
            said = row.name.casefold()
            if said and said in names:
                self.errors[f"{prefix}-{at}-name"] = f"“{row.name}” stands here twice: give one of them another name."
            names.setdefault(said, at)
        ids = {row.key: row.key for row in rows if _is_id(row.key)}
        for row in rows:
            if row.key not in ids:
                ids[row.key] = unused_id(row.name, ids.values(), prefix.rsplit("-", 1)[-1])
        return ids

    def _name(self, text: str, where: str, of: str) -> str:
        if not text:
            self.errors.setdefault(where, f"Give {of} a name.")
        elif len(text) > LONGEST_NAME:
            self.errors[where] = f"At most {LONGEST_NAME} characters were expected, not {len(text)}."
        return text

    def _zone(self) -> str:
        try:
            ZoneInfo(self.draft.zone)
        except (KeyError, ValueError, OSError):
            self.errors["booth-zone"] = "A time zone such as Europe/Lisbon was expected: choose one from the list."
        return self.draft.zone

    def _currency(self) -> str:
        try:
            Currency(self.draft.currency)
        except ValueError:
            self.errors["booth-currency"] = "A currency of three letters was expected, such as EUR or JPY."
        return self.draft.currency

    def _confidence(self) -> float:
        try:
            percent = Decimal(self.draft.confidence.rstrip("% \u00a0").replace(",", "."))
        except InvalidOperation:
            percent = Decimal("NaN")
        if not (percent.is_finite() and LEAST_PERCENT <= percent <= MOST_PERCENT):
            self.errors["booth-confidence"] = f"A number from {LEAST_PERCENT} to {MOST_PERCENT} was expected."
            return 0.0
        return float(percent / 100)

    def _price(self, text: str, currency: str, where: str) -> int:
        try:
            cents = read_money(text, currency, where)
        except Malformed as wrong:
            self.errors[where] = sentence_of(wrong)
            return 0
        if cents < 0:
            self.errors[where] = "A price of 0 or more was expected."
        return cents

    def _duration(self, text: str, where: str) -> int | float:
        found_s = read_duration(text)
        if found_s is None:
            self.errors[where] = "Minutes and seconds were expected, such as 1:40 (or 90 s, or 5 for five minutes)."
            return 1
        if found_s <= 0:
            self.errors[where] = "More than 0:00 was expected."
        return found_s

    def _guesses(self, draft: StageDraft, where: str) -> dict[str, int | float]:
        texts = (draft.quick, draft.usual, draft.slow)
        found = {
            f"{name}_s": self._duration(text, f"{where}-{name}") for name, text in zip(GUESSES, texts, strict=True)
        }
        if not any(f"{where}-{name}" in self.errors for name in GUESSES):
            if found["usual_s"] < found["quick_s"]:
                self.errors[f"{where}-usual"] = f"Usual is less than quick ({draft.quick}): it must not be."
            elif found["slow_s"] < found["usual_s"]:
                self.errors[f"{where}-slow"] = f"Slow is less than usual ({draft.usual}): it must not be."
        return found


def unused_id(name: str, taken: Iterable[str], kind: str) -> str:
    """An id made of `name` that is not in `taken`; of `kind` where the name has no letter to make one of.

    >>> unused_id("Ink head, Größe 2", ["x"], "style"), unused_id("墨", ["style"], "style")
    ('ink-head-grosse-2', 'style-2')
    """
    known = set(taken)
    spread = unicodedata.normalize("NFKD", name.casefold())
    plain = "".join(letter for letter in spread if not unicodedata.combining(letter))
    base = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:LONGEST_ID].strip("-") or kind
    id, n = base, 1
    while id in known:
        n += 1
        id = f"{base[: LONGEST_ID - len(str(n)) - 1]}-{n}"
    return id


def read_duration(text: str) -> int | float | None:
    """Seconds of `1:40`, `1:02:00`, `90 s`, `5 min`, or `5`, which is minutes; None of anything else.

    >>> [read_duration(text) for text in ("1:40", "1:02:00", "90 s", "1.5", "5", "soon")]
    [100, 3720, 90, 90, 300, None]
    >>> [read_duration(text) for text in ("9:99", "1:75:00")]  # slips of the finger
    [None, None]
    """
    bare = text.strip()
    if clock := _CLOCK.fullmatch(bare):
        hours, minutes, seconds = clock[1] or "0", clock[2], Decimal(clock[3].replace(",", "."))
        found = int(hours) * 3600 + int(minutes) * 60 + seconds
    elif plain := _PLAIN.fullmatch(bare):
        found = Decimal(plain[1].replace(",", ".")) * _UNIT_S[(plain[2] or "").lower()]
    else:
        return None
    return int(found) if found == found.to_integral_value() else float(found)


def duration_text(seconds: float) -> str:
    """Seconds as minutes and seconds.

    >>> duration_text(100), duration_text(65.5)
    ('1:40', '1:05.5')
    """
    exact = Decimal(repr(seconds)).quantize(Decimal("0.001"))
    minutes, rest = divmod(exact, 60)
    whole, _, part = f"{rest:06.3f}".partition(".")
    part = part.rstrip("0")
    return f"{int(minutes)}:{whole}" + (f".{part}" if part else "")


def _guess_texts(guesses: Any) -> tuple[str, str, str]:
    known = ThreeGuesses(quick_s=guesses.quick_s, usual_s=guesses.usual_s, slow_s=guesses.slow_s)
    return duration_text(known.quick_s), duration_text(known.usual_s), duration_text(known.slow_s)


def _percent_text(share: float) -> str:
    return f"{(Decimal(repr(share)) * 100).normalize():f}"


def _is_id(key: str) -> bool:
    return re.fullmatch(r"[a-z0-9-]{1,32}", key) is not None


def sentence_of(wrong: Malformed) -> str:
    """What is wrong, without the field's own name before it: it stands beside the field."""
    said = str(wrong).removeprefix(f"{wrong.field}:").strip()
    return said[:1].upper() + said[1:]
