"""How an invented person looks: the choices, drawn from chance, before anything is painted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from portraitq.demo.faces.brush import Colour

SKINS: tuple[Colour, ...] = (
    (246, 218, 200),
    (240, 204, 178),
    (228, 182, 148),
    (208, 156, 118),
    (178, 124, 88),
    (142, 96, 68),
    (108, 72, 52),
)
DARK_HAIR: tuple[Colour, ...] = ((34, 28, 30), (52, 38, 32), (78, 54, 40))
ANY_HAIR: tuple[Colour, ...] = (*DARK_HAIR, (112, 70, 46), (146, 78, 44), (196, 156, 98), (222, 192, 140))
GREY_HAIR: tuple[Colour, ...] = ((150, 146, 146), (206, 202, 198), (120, 116, 116))
BRIGHT_HAIR: tuple[Colour, ...] = ((70, 128, 132), (190, 92, 116))
DARK_EYES: tuple[Colour, ...] = ((70, 44, 28), (92, 58, 34))
ANY_EYES: tuple[Colour, ...] = (*DARK_EYES, (112, 88, 46), (88, 116, 84), (84, 122, 156), (108, 124, 138))
CLOTHES: tuple[Colour, ...] = (
    (196, 142, 58),
    (168, 78, 52),
    (48, 66, 104),
    (62, 92, 76),
    (222, 206, 178),
    (126, 48, 62),
    (66, 120, 124),
    (92, 84, 112),
    (70, 68, 72),
)
LONG_STYLES = ("long", "wavy", "bob", "bun", "plait", "curls", "scarf")
SHORT_STYLES = ("crop", "quiff", "parted", "curly crop", "bald", "cap")
GARMENTS = ("jumper", "stripes", "shirt", "coat")


@dataclass(frozen=True)
class Looks:
    """One person. Breadths and lengths are factors about 1, shares run 0–1."""

    age: str  # child, grown, old
    skin: Colour
    hair: Colour
    style: str
    parting: float  # −1 … 1, where on the head the hair divides
    eyes: Colour
    eye_size: float
    brow: float
    jaw: float
    length: float
    nose: float
    lips: float
    lip_colour: float
    smile: float
    open_smile: bool
    beard: str  # "", stubble, moustache, full
    glasses: str  # "", round, square
    freckles: bool
    earrings: bool
    garment: str
    cloth: Colour
    second: Colour
    turn: float  # −1 … 1, looking to the left or right


def invent(rng: np.random.Generator, child: bool | None = None) -> Looks:
    """Somebody who does not exist; a child or not where that is said."""

    def one_of(choices: tuple[Colour, ...]) -> Colour:
        return choices[rng.integers(len(choices))]

    def chance(share: float) -> bool:
        return bool(rng.uniform() < share)

    age = ("child", "grown", "grown", "grown", "old")[rng.integers(5)]
    if child is not None and child != (age == "child"):
        age = "child" if child else "grown"
    skin = one_of(SKINS)
    fair = sum(skin) > 540
    womanly = chance(0.55)
    hair = one_of(GREY_HAIR if age == "old" else ANY_HAIR if fair else DARK_HAIR)
    if age == "grown" and chance(0.06):
        hair = one_of(BRIGHT_HAIR)
    styles = LONG_STYLES if womanly else SHORT_STYLES
    style = styles[rng.integers(len(styles))]
    if age == "child" and style in ("bald", "scarf"):
        style = "curly crop"
    bearded = not womanly and age != "child" and chance(0.55)
    cloth = one_of(CLOTHES)
    return Looks(
        age=age,
        skin=skin,
        hair=hair,
        style=style,
        parting=rng.uniform(-1, 1),
        eyes=one_of(ANY_EYES if fair else DARK_EYES),
        eye_size=rng.uniform(0.94, 1.08) * (1.16 if age == "child" else 1),
        brow=rng.uniform(0.75, 1.1) * (0.7 if womanly or age == "child" else 1.15),
        jaw=rng.uniform(0.86, 0.98) if womanly or age == "child" else rng.uniform(0.96, 1.1),
        length=rng.uniform(0.96, 1.05) * (0.93 if age == "child" else 1),
        nose=rng.uniform(0.85, 1.12) * (0.8 if age == "child" else 0.95 if womanly else 1.08),
        lips=rng.uniform(0.85, 1.15),
        lip_colour=rng.uniform(0.5, 0.95) if womanly and age == "grown" else rng.uniform(0.12, 0.35),
        smile=rng.uniform(0.35, 1.0),
        open_smile=chance(0.4),
        beard=("stubble", "moustache", "full", "full")[rng.integers(4)] if bearded else "",
        glasses=("round", "square")[rng.integers(2)] if chance(0.3) else "",
        freckles=fair and age != "old" and chance(0.3),
        earrings=womanly and style in ("bun", "bob", "plait", "curls") and chance(0.6),
        garment=GARMENTS[rng.integers(len(GARMENTS))],
        cloth=cloth,
        second=one_of(tuple(colour for colour in CLOTHES if colour != cloth)),
        turn=rng.uniform(-1, 1),
    )
