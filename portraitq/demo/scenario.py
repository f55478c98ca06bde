"""The demo's booth: *Quayside Portraits*, two easels at a night market on a quay. Everything in it is invented."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from portraitq.core.events import Artist, BoothSettings, Break, DayOpened, SetUp, Stage, Style, ThreeGuesses

SLUG = "quayside"
ZONE = ZoneInfo("Europe/Lisbon")
OPENS, CLOSES = time(17, 0), time(23, 0)
CURTAIN_UP = time(19, 40)  # when the visitor of the demo walks in: the market is in full swing


def _stage(id: str, name: str, quick_s: int, usual_s: int, slow_s: int, per_sitter: bool) -> Stage:
    return Stage(id=id, name=name, quick_s=quick_s, usual_s=usual_s, slow_s=slow_s, per_sitter=per_sitter)


# Most of the time goes to the face, and most of that to the eyes (common practice, no source).
SET_UP = SetUp(
    booth=BoothSettings(
        name="Quayside Portraits", zone="Europe/Lisbon", currency="EUR", confidence=0.85, round_to_s=300
    ),
    styles=(
        Style(
            id="ink-head",
            name="Ink head study",
            price=1800,
            stages=(
                _stage("outline", "Outline", 60, 90, 150, True),
                _stage("eyes", "Eyes", 170, 240, 360, True),
                _stage("likeness", "Mouth, nose, likeness", 110, 160, 250, True),
                _stage("hair", "Hair and collar", 60, 100, 170, True),
                _stage("sign", "Wash and sign", 35, 55, 90, False),
            ),
        ),
        Style(
            id="chalk-half",
            name="Chalk half-length",
            price=3200,
            stages=(
                _stage("outline", "Outline", 100, 150, 240, False),
                _stage("eyes", "Eyes", 220, 320, 470, True),
                _stage("likeness", "Likeness", 180, 270, 420, True),
                _stage("figure", "Figure and dress", 120, 180, 280, True),
                _stage("light", "Shade and highlights", 90, 140, 220, False),
                _stage("sign", "Fix and sign", 40, 60, 100, False),
            ),
        ),
        Style(
            id="colour-pair",
            name="Watercolour pair",
            price=4500,
            stages=(
                _stage("outline", "Outline", 80, 120, 190, True),
                _stage("faces", "Eyes and faces", 260, 370, 540, True),
                _stage("wash", "Washes", 180, 260, 390, False),
                _stage("sign", "Details and sign", 70, 110, 180, False),
            ),
        ),
        Style(
            id="pet-pencil",
            name="Pet in pencil",
            price=2200,
            stages=(
                _stage("outline", "Outline", 60, 95, 150, True),
                _stage("eyes", "Eyes and muzzle", 150, 220, 340, True),
                _stage("fur", "Fur", 170, 260, 400, True),
                _stage("sign", "Shade and sign", 50, 80, 130, False),
            ),
        ),
    ),
    artists=(
        Artist(id="mira", name="Mira", styles=("ink-head", "chalk-half", "colour-pair")),
        Artist(id="teo", name="Teo", styles=("ink-head", "chalk-half", "pet-pencil")),
    ),
    turnaround=ThreeGuesses(quick_s=40, usual_s=70, slow_s=130),
)

# What the two really do, against what they guess: Mira is a little quicker, Teo takes his time over eyes.
TRUE_PACE = {"mira": 0.92, "teo": 1.08}

NICKNAMES = (
    "Anouk", "Bram", "Cato", "Dilan", "Edda", "Farid", "Gwen", "Hilmi", "Ines", "Jory", "Kaya", "Liv", "Milo", "Nura",
    "Odile", "Pim", "Quill", "Rosa", "Sami", "Tove", "Ugo", "Vera", "Wim", "Xenia", "Yuna", "Zeno",
)  # fmt: skip
NOTES = (
    "", "", "", "", "a present, please roll it", "head and shoulders only", "plain background, please",
    "leave room for a name below", "light lines rather than dark ones", "a little wider to the left for the frame",
    "signed on the back, please", "leaves with the last ferry", "as a card: 15 by 20 cm",
)  # fmt: skip
GUARDIANS = ("mother", "father", "grandmother", "aunt")


def at(day: date, when: time) -> datetime:
    """That clock time on the quay as an instant in UTC."""
    return datetime.combine(day, when, ZONE).astimezone(UTC)


def opening(day: date) -> DayOpened:
    """A day on the quay: from `OPENS` to `CLOSES`, each artist with a break of a quarter of an hour."""
    first = at(day, time(20, 30))
    length = timedelta(minutes=15)
    breaks = tuple(
        Break.model_validate({"artist": artist.id, "from": begins, "to": begins + length})
        for artist, begins in zip(SET_UP.artists, (first, first + length), strict=True)
    )
    return DayOpened(day=day.isoformat(), closes_at=at(day, CLOSES), breaks=breaks)
