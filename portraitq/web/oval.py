"""The oval: a face coming out of the paper, filled from below stage by stage.

It tells a ticket's state by its shape alone: outlined for waiting, shaded as high as the portrait has come on the
easel, full with a face for ready.
"""

from __future__ import annotations

from math import sqrt

CENTRE_X, CENTRE_Y, HALF_WIDTH, HALF_HEIGHT = 20.0, 25.0, 15.0, 20.0


def shade(done: int, stages: int) -> str:
    """SVG path data of the shaded part of the oval, `done` of `stages` high; empty when nothing is done.

    >>> shade(0, 3), shade(3, 3)
    ('', 'M5 25a15 20 0 1 0 30 0a15 20 0 1 0-30 0z')
    """
    share = min(1.0, max(0.0, done / stages)) if stages > 0 else 0.0
    if share == 0:
        return ""
    if share == 1:
        return "M5 25a15 20 0 1 0 30 0a15 20 0 1 0-30 0z"
    level_y = CENTRE_Y + HALF_HEIGHT - 2 * HALF_HEIGHT * share
    half_x = HALF_WIDTH * sqrt(1 - ((level_y - CENTRE_Y) / HALF_HEIGHT) ** 2)
    large = 1 if share > 0.5 else 0
    left, right = CENTRE_X - half_x, CENTRE_X + half_x
    return f"M{left:.2f} {level_y:.2f}A15 20 0 {large} 0 {right:.2f} {level_y:.2f}z"
