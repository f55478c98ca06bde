"""Where the faces are on a photo: marked by a tap or a drag at the Counter, in the middle where nobody marked any.

A face is a box in shares of the upright picture, so that it fits the photo however large it is shown or kept.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import astuple, dataclass

from portraitq.core.errors import Malformed

MOST_FACES = 12  # as many as sitters fit into one portrait
SMALLEST = 0.002  # of the picture's width or height; less is a slip of the finger
TAPPED = 0.42  # of the picture's shorter side: how wide a face is taken to be that was only tapped
HEAD = 1.3  # a head seen from the front is about a third higher than wide (common practice, no source)


@dataclass(frozen=True, slots=True)
class Face:
    """One face: its left and upper edge, width and height, each 0–1 of the upright picture."""

    left: float
    top: float
    width: float
    height: float

    def in_px(self, width_px: int, height_px: int) -> tuple[int, int, int, int]:
        """Its left, upper, right and lower edge on a picture of that size; at least one pixel, all inside."""
        left = min(round(self.left * width_px), width_px - 1)
        top = min(round(self.top * height_px), height_px - 1)
        right = min(width_px, max(left + 1, round((self.left + self.width) * width_px)))
        bottom = min(height_px, max(top + 1, round((self.top + self.height) * height_px)))
        return left, top, right, bottom


def tapped(x: float, y: float, width_px: int, height_px: int) -> Face:
    """The face around a tap at `x`, `y` (0–1 of the picture), kept inside a picture of that size.

    >>> tapped(0.5, 0.5, 1000, 1000)
    Face(left=0.29, top=0.227, width=0.42, height=0.546)
    """
    side_px = TAPPED * min(width_px, height_px)
    width, height = side_px / width_px, min(1.0, HEAD * side_px / height_px)
    left, top = min(max(x - width / 2, 0.0), 1 - width), min(max(y - height / 2, 0.0), 1 - height)
    return Face(round(left, 4), round(top, 4), round(width, 4), round(height, 4))


def faces_or_middle(faces: Sequence[Face], width_px: int, height_px: int) -> Sequence[Face]:
    """The faces that were marked, or one in the middle where none was."""
    return faces or (tapped(0.5, 0.5, width_px, height_px),)


def print_faces(faces: tuple[Face, ...]) -> str:
    """The faces as they are kept; empty where there are none.

    >>> print_faces((Face(0.25, 0.125, 0.5, 0.75),))
    '[[0.25,0.125,0.5,0.75]]'
    """
    return (
        json.dumps([[round(side, 4) for side in astuple(face)] for face in faces], separators=(",", ":"))
        if faces
        else ""
    )


def read_faces(text: str) -> tuple[Face, ...]:
    """The faces out of what `print_faces` printed or a screen sent; Malformed, field "faces", when it is none of it."""
    if not text.strip():
        return ()
    try:
        given = json.loads(text)
        faces = tuple(Face(*(float(side) for side in one)) for one in given)
    except (ValueError, TypeError, RecursionError) as wrong:
        raise Malformed("faces: a list of [left, top, width, height] was expected.", "faces") from wrong
    if len(faces) > MOST_FACES:
        raise Malformed(f"faces: at most {MOST_FACES} were expected, not {len(faces)}.", "faces")
    for face in faces:
        if not _is_inside(face):
            raise Malformed(
                "faces: each was expected inside the picture, as shares of it from 0 to 1, "
                f"not {[round(side, 4) for side in astuple(face)]}.",
                "faces",
            )
    return faces


def _is_inside(face: Face) -> bool:
    is_large_enough = face.width >= SMALLEST and face.height >= SMALLEST
    ends = 1 + 1e-3  # rounding on the way
    return (
        is_large_enough
        and face.left >= 0
        and face.top >= 0
        and face.left + face.width <= ends
        and face.top + face.height <= ends
    )
