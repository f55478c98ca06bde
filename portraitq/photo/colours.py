"""The main colours of a photo, to mix or to lay out pencils by: of skin, of hair and of clothes, from light to dark.

Where each is looked for follows from the marked head alone, by the proportions that drawing teaches; nothing recognises
anybody, and nothing is said or kept of a person but colours and how light they are. How the colours are laid out on the
screen is not known here.
"""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from portraitq.core.errors import Malformed
from portraitq.photo.cielab import FloatArray, lab, rgb
from portraitq.photo.face import Face, faces_or_middle

Mask = NDArray[np.bool_]

SMALL_PX = 720  # the longest side on which colours are looked for: noise evens out, masses stay
MOST_SAMPLES = 3000  # of one place; more change no colour
CLUSTERS = 7  # before those that look alike are joined
TRIES, SEED = 5, 0  # of k-means, each from other beginnings; the best one counts
SETTLED = 0.05  # of L*a*b*: when a round brings less, it is done
ALIKE = 8.0  # distance in L*a*b* (CIE 1976) under which two swatches are one pencil
LIKE_SKIN, LIKE_GROUND = 12.0, 11.0  # the same, to what is beside hair and clothes and not of them
ON_IT, THERE = 0.2, 0.04  # of head or chest that a colour must cover to be theirs: if the ground has it too, and if not
MOSTLY = 0.6  # the same where skin in shade has it too
SURE = 0.15  # the share of the cheeks that is skin for certain, and no eyelash or spectacle frame
LEAST, MOST = 0.06, 4  # a share under which a colour is an accident, and how many are shown of one place

GREY_STEPS = 10  # of the value scale, 0 black to 10 white: nearly Munsell's value, which is L* / 10


@dataclass(frozen=True, slots=True)
class Swatch:
    """One colour: sRGB 0–255, how light it is (L*, 0 black – 100 white), and its share of the place, 0–1."""

    red: int
    green: int
    blue: int
    lightness: int
    share: float

    @property
    def value(self) -> int:
        """Its step on the value scale, 0 (black) to 10 (white).

        >>> Swatch(214, 172, 142, 73, 0.5).value
        7
        """
        return round(self.lightness * GREY_STEPS / 100)

    @property
    def hex(self) -> str:
        """As a style sheet names it."""
        return f"#{self.red:02x}{self.green:02x}{self.blue:02x}"


@dataclass(frozen=True, slots=True)
class Palette:
    """The colours of one head and what is worn below it, each from light to dark; empty where none could be told."""

    skin: tuple[Swatch, ...]
    hair: tuple[Swatch, ...]
    clothes: tuple[Swatch, ...]


def palettes(jpeg: bytes, faces: Sequence[Face] = ()) -> tuple[Palette, ...]:
    """A palette for each marked face, in their order; one for the middle where none is marked.

    jpeg    the photo as it is kept: upright, sRGB
    """
    photo = Image.open(io.BytesIO(jpeg), formats=["JPEG"])
    given = faces_or_middle(faces, *photo.size)
    share = min(1.0, SMALL_PX / max(photo.size))
    size = max(1, round(photo.width * share)), max(1, round(photo.height * share))
    photo.draft("RGB", size)
    small = photo.convert("RGB").resize(size, Image.Resampling.BOX)
    colours = lab(np.asarray(small) / 255)
    return tuple(_palette(colours, face) for face in given)


def print_palettes(given: Sequence[Palette]) -> bytes:
    """Palettes as they are kept beside their photo."""
    return json.dumps([asdict(one) for one in given], separators=(",", ":")).encode()


def read_palettes(content: bytes) -> tuple[Palette, ...]:
    """Palettes out of what `print_palettes` printed; Malformed when it is none of it."""
    try:
        return tuple(
            Palette(**{place: tuple(Swatch(**one) for one in swatches) for place, swatches in given.items()})
            for given in json.loads(content)
        )
    except (ValueError, TypeError, AttributeError) as wrong:
        raise Malformed("Colours as print_palettes prints them were expected.") from wrong


# --- where skin, hair, clothes and the ground behind them are looked for


@dataclass(frozen=True)
class _Places:
    """The picture measured by one head: `x` 0 in its middle and ±½ at its sides, `y` 0 at its top and 1 at the chin."""

    x: FloatArray
    y: FloatArray

    def inside(self, y: float, half_wide: float, half_high: float) -> Mask:
        """Within an ellipse around the head's axis."""
        within: Mask = (self.x / half_wide) ** 2 + ((self.y - y) / half_high) ** 2 < 1
        return within

    def between(self, top: float, bottom: float) -> Mask:
        """From one height to another."""
        within: Mask = (self.y >= top) & (self.y < bottom)
        return within

    @property
    def skin(self) -> Mask:
        """From the brows to the lower lip, without the ears."""
        return self.inside(0.62, 0.32, 0.27)

    @property
    def cheeks(self) -> Mask:
        """Where there is skin and nothing else, whatever grows on the chin and falls over the forehead."""
        return self.inside(0.61, 0.32, 0.11)

    @property
    def hair(self) -> Mask:
        """Above and beside the face."""
        return self.inside(0.46, 0.68, 0.62) & ~self.inside(0.62, 0.43, 0.44) & self.between(-0.2, 0.8)

    @property
    def crown(self) -> Mask:
        """Where hair is if there is any: above and beside the forehead, on the head itself."""
        return self.inside(0.5, 0.48, 0.48) & ~self.inside(0.62, 0.43, 0.44) & self.between(0.0, 0.5)

    @property
    def clothes(self) -> Mask:
        """Below the neck, wider towards the shoulders."""
        return self.between(1.28, 2.0) & (np.abs(self.x) < 0.5 + 0.7 * (self.y - 1.28))

    @property
    def chest(self) -> Mask:
        """Where clothes are if there are any."""
        return self.between(1.4, 2.0) & (np.abs(self.x) < 0.45)

    @property
    def ground(self) -> Mask:
        """To both sides of the head and above the shoulders."""
        return (np.abs(self.x) > 0.95) & (np.abs(self.x) < 1.7) & self.between(-0.15, 0.75)


def _palette(colours: FloatArray, face: Face) -> Palette:
    places = _measured_by(face, *colours.shape[:2])
    cheeks = [one for one in _clusters(colours[places.cheeks]) if one.share >= SURE]
    ground = [one for one in _clusters(colours[places.ground]) if one.share >= LEAST]
    hair = _own(colours, places.hair, places.crown, ground, cheeks)
    clothes = _own(colours, places.clothes, places.chest, ground, cheeks)
    skin = [
        one
        for one in _clusters(colours[places.skin])
        if _is_like(one, cheeks, LIKE_SKIN) or not _is_like(one, hair, LIKE_SKIN)  # brows and beards are hair
    ]
    return Palette(_swatches(skin), _swatches(hair), _swatches(clothes))


def _measured_by(face: Face, high_px: int, wide_px: int) -> _Places:
    x = ((np.arange(wide_px) + 0.5) / wide_px - face.left) / face.width - 0.5
    y = ((np.arange(high_px) + 0.5) / high_px - face.top) / face.height
    grid = np.broadcast_arrays(x[None, :], y[:, None])
    return _Places(grid[0], grid[1])


# --- which colours a place has


@dataclass(frozen=True)
class _Cluster:
    """Colours that look alike: their middle in L*a*b*, and their share of the place."""

    middle: FloatArray
    share: float


def _clusters(colours: FloatArray) -> list[_Cluster]:
    """The colours (n, 3; L*a*b*) of one place in groups that look different: k-means, then near groups joined."""
    if not len(colours):
        return []
    from scipy.cluster.vq import kmeans, vq  # not at start: a booth without photos never needs it

    samples = colours[:: max(1, len(colours) // MOST_SAMPLES)]
    middles, _ = kmeans(
        samples, min(CLUSTERS, len(samples)), iter=TRIES, thresh=SETTLED, rng=np.random.default_rng(SEED)
    )
    nearest, _ = vq(samples, middles)
    counts = np.bincount(nearest, minlength=len(middles))
    found = [
        _Cluster(middle, int(count) / len(samples)) for middle, count in zip(middles, counts, strict=True) if count
    ]
    return _joined(found)


def _joined(clusters: list[_Cluster]) -> list[_Cluster]:
    """The same with the two nearest made one until all are `ALIKE` apart."""
    clusters = list(clusters)
    while len(clusters) > 1:
        middles = np.array([one.middle for one in clusters])
        apart = np.linalg.norm(middles[:, None] - middles[None], axis=-1)
        np.fill_diagonal(apart, np.inf)
        first, second = sorted(int(at) for at in np.unravel_index(apart.argmin(), apart.shape))
        if apart[first, second] >= ALIKE:
            break
        one, other = clusters[first], clusters.pop(second)
        share = one.share + other.share
        clusters[first] = _Cluster((one.middle * one.share + other.middle * other.share) / share, share)
    return clusters


def _own(
    colours: FloatArray, place: Mask, middle: Mask, ground: list[_Cluster], skin: list[_Cluster]
) -> list[_Cluster]:
    """The colours of a place without skin, and without what only stands behind or beside it.

    Skin in deep shade may look like dark hair: that is taken for hair only where it covers most of the head's top.
    """
    lit = sorted(skin, key=lambda one: -float(one.middle[0]))[:1]
    on_it, found = colours[middle], []
    for one in _clusters(colours[place]):
        if _is_like(one, lit, LIKE_SKIN):
            continue
        needed = MOSTLY if _is_like(one, skin, LIKE_SKIN) else ON_IT if _is_like(one, ground, LIKE_GROUND) else THERE
        if _covers(one, on_it) >= needed:
            found.append(one)
    return found


def _is_like(one: _Cluster, others: list[_Cluster], near: float) -> bool:
    return any(np.linalg.norm(one.middle - other.middle) < near for other in others)


def _covers(one: _Cluster, colours: FloatArray) -> float:
    """The share of `colours` that looks like it."""
    return float((np.linalg.norm(colours - one.middle, axis=-1) < LIKE_GROUND).mean()) if len(colours) else 0.0


def _swatches(clusters: list[_Cluster]) -> tuple[Swatch, ...]:
    """The largest of them, from light to dark; their shares are of what is shown."""
    whole = sum(one.share for one in clusters) or 1.0
    large = sorted((one for one in clusters if one.share >= LEAST * whole), key=lambda one: -one.share)[:MOST]
    shown = sum(one.share for one in large) or 1.0
    return tuple(_swatch(one, one.share / shown) for one in sorted(large, key=lambda one: -float(one.middle[0])))


def _swatch(one: _Cluster, share: float) -> Swatch:
    red, green, blue = (round(level) for level in (255 * rgb(one.middle)).tolist())
    return Swatch(red, green, blue, round(float(one.middle[0])), round(share, 3))
