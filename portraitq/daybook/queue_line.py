"""How many waited through a day, drawn as SVG under a slider: steps, the promises that broke, where the slider stands.

It stretches to any width; everything along it stands at a share of the day, as the slider's own thumb does. It reads
without colour: a broken promise is a cross, the present minute a line.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

HEAD_PX, STEPS_PX, AXIS_PX = 20, 60, 22


def queue_line(waiting: Sequence[int], broken: Iterable[int], hours: Iterable[tuple[int, str]], said: str) -> str:
    """The `<svg>`: `waiting` at each minute, `broken` promises at these minutes, `hours` by minute; `said` in words."""
    last = max(len(waiting) - 1, 1)

    def x(minute: int) -> str:
        return f"{100 * minute / last:.2f}%"

    height, bottom = HEAD_PX + STEPS_PX + AXIS_PX, HEAD_PX + STEPS_PX
    axis = "".join(
        f'<line class="queue-line__hour" x1="{x(at)}" x2="{x(at)}" y1="{HEAD_PX}" y2="{bottom}"/>'
        f'<text class="queue-line__time" x="{x(at)}" y="{height - 5}">{escape(clock)}</text>'
        for at, clock in hours
    )
    crosses = "".join(
        f'<line class="queue-line__broke" x1="{x(at)}" x2="{x(at)}" y1="{HEAD_PX - 4}" y2="{bottom}"/>'
        f'<text class="queue-line__cross" x="{x(at)}" y="{HEAD_PX - 7}">✕</text>'
        for at in broken
    )
    return (
        f'<svg class="queue-line" role="img" aria-label="{escape(said)}" height="{height}">{axis}'
        f'<svg y="{HEAD_PX}" width="100%" height="{STEPS_PX}" viewBox="0 0 {last} {max([*waiting, 1])}" '
        f'preserveAspectRatio="none"><path class="queue-line__steps" d="{_steps(waiting)}"/></svg>'
        f'{crosses}<line class="queue-line__base" x1="0" x2="100%" y1="{bottom}" y2="{bottom}"/></svg>'
    )


def _steps(waiting: Sequence[int]) -> str:
    """The outline as steps, 0 at the bottom; a point only where the number changes."""
    highest = max([*waiting, 1])
    path, before = [f"M0 {highest}"], 0
    for minute, n in enumerate(waiting):
        if n != before:
            path.append(f"H{minute}V{highest - n}")
            before = n
    return "".join([*path, f"H{max(len(waiting) - 1, 1)}V{highest}Z"])
