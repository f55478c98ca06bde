"""A day drawn as SVG: one row an easel, one bar a portrait with its stages and pauses, the queue's length above.

It reads without colour and prints in black: stages are told apart by their dividing lines, pauses by being thin,
touch-ups by a dashed outline. Texts keep their size because the picture is wide and scrolls; the numbers behind it
stand in the day book's tables.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta
from html import escape
from zoneinfo import ZoneInfo

from portraitq.daybook.figures import DayFigures
from portraitq.daybook.presence import Steps
from portraitq.daybook.segments import PAUSE, TOUCH_UP, Segment

NAME_PX, ROW_PX, BAR_PX, PAUSE_PX, QUEUE_PX, AXIS_PX, HEAD_PX = 108, 50, 30, 8, 46, 24, 18
PX_AN_HOUR = 92
NARROWEST_PX = 900
END_PX = 22  # half a clock time
NUMBER_FITS_PX = 16

SOLID = ("drawing", "touch-up")
PATTERNS = ("turnaround", "pause", "break")

Place = Callable[[datetime], float]
Stretch = tuple[Segment, datetime, datetime]


def timeline(figures: DayFigures, zone: ZoneInfo, easels: dict[str, str], address: Callable[[str], str]) -> str:
    """The day as an `<svg>` element; empty when nothing was drawn on it.

    easels   the name to show for each artist's id
    address  where the bar of a ticket leads
    """
    spans = [(one, one.from_at, min(one.to_at or figures.until, figures.until)) for one in figures.segments]
    spans = [
        (one, from_at, to_at) for one, from_at, to_at in spans if from_at < to_at and to_at > figures.day.begins_at
    ]
    if not spans:
        return ""
    begins_at = min([figures.day.opened_at, *(from_at for _, from_at, _ in spans if figures.day.holds(from_at))])
    ends_at = _last_moment(figures, [to_at for _, _, to_at in spans])
    hours = max((ends_at - begins_at).total_seconds() / 3600, 0.25)
    width = max(NARROWEST_PX, NAME_PX + hours * PX_AN_HOUR)
    rows = [artist for artist in easels if any(one.artist == artist for one, _, _ in spans)]
    height = HEAD_PX + QUEUE_PX + ROW_PX * len(rows) + AXIS_PX

    def x(at: datetime) -> float:
        share = (at - begins_at) / (ends_at - begins_at)
        return round(NAME_PX + min(max(share, 0.0), 1.0) * (width - NAME_PX - END_PX), 1)

    numbers = {line.ticket.id: line.ticket.number for line in figures.lines}
    styles = {line.ticket.id: line.ticket.style.name for line in figures.lines}
    parts = [_axis(begins_at, ends_at, zone, x, height), _queue(figures.queue, ends_at, x)]
    for row, artist in enumerate(rows):
        top = HEAD_PX + QUEUE_PX + row * ROW_PX
        parts.append(f'<text class="chart__name" x="0" y="{top + 30}">{escape(easels[artist])}</text>')
        parts.append(f'<path class="chart__line" d="M{NAME_PX} {top + ROW_PX - 4}H{width - END_PX:.0f}"/>')
        by_ticket: dict[str, list[Stretch]] = {}
        for one in spans:
            if one[0].artist == artist:
                by_ticket.setdefault(one[0].ticket, []).append(one)
        for ticket, own in by_ticket.items():
            said = f"Number {numbers[ticket]}, {styles[ticket]}, {_clock(own[0][1], zone)}–{_clock(own[-1][2], zone)}"
            inside = f"<title>{escape(said)}</title>{_bars(own, numbers[ticket], top, x)}"
            parts.append(f'<a href="{escape(address(ticket))}" aria-label="{escape(said)}">{inside}</a>')
    return (
        f'<svg class="chart timeline" viewBox="0 0 {width:.0f} {height}" width="{width:.0f}" height="{height}" '
        f'role="group" aria-label="The day on each easel">{"".join(parts)}</svg>'
    )


def parts_bar(parts: Iterable[tuple[str, float]]) -> str:
    """Shares of a whole as one bar, each part with the pattern of its kind; the words and numbers stand beside it.

    parts  kind ("drawing", "touch-up", "pause", "break", "turnaround", "idle") and seconds, in their order
    """
    known = [(kind, part_s) for kind, part_s in parts if part_s > 0]
    whole_s = sum(part_s for _, part_s in known)
    if not whole_s:
        return ""
    left, rects = 0.0, []
    for kind, part_s in known:
        wide = 100 * part_s / whole_s
        fill = f"url(#fill-{kind})" if kind in PATTERNS else "currentColor" if kind in SOLID else "none"
        rects.append(f'<rect class="bar__part" fill="{fill}" x="{left:.2f}%" y="0" width="{wide:.2f}%" height="100%"/>')
        left += wide
    return f'<svg class="bar" aria-hidden="true">{"".join(rects)}</svg>'


def patterns() -> str:
    """The patterns that `parts_bar` fills with; once a page, before the first bar."""
    shapes = {
        "turnaround": '<path d="M-1 1L1-1M0 6L6 0M5 7L7 5" stroke="currentColor" stroke-width="1.5"/>',
        "pause": '<circle cx="3" cy="3" r="1.4" fill="currentColor"/>',
        "break": '<path d="M0 3H6" stroke="currentColor" stroke-width="1.5"/>',
    }
    defined = "".join(
        f'<pattern id="fill-{kind}" width="6" height="6" patternUnits="userSpaceOnUse">{shapes[kind]}</pattern>'
        for kind in PATTERNS
    )
    return f'<svg class="patterns" width="0" height="0" aria-hidden="true"><defs>{defined}</defs></svg>'


def _last_moment(figures: DayFigures, ended_at: Iterable[datetime]) -> datetime:
    closed_at = figures.day.closed_at
    within = [at for at in ended_at if figures.day.holds(at)]
    last = max([*within, closed_at or figures.until])
    if closed_at is None:
        last = min(last, figures.until)
    return max(last, figures.day.opened_at + timedelta(minutes=15))


def _bars(own: list[Stretch], number: int, top: float, x: Place) -> str:
    parts = []
    for one, from_at, to_at in own:
        left, wide = x(from_at), max(x(to_at) - x(from_at), 0.5)
        if one.kind == PAUSE:
            y = top + 4 + (BAR_PX - PAUSE_PX) / 2
            parts.append(f'<rect class="chart__pause" x="{left}" y="{y}" width="{wide:.1f}" height="{PAUSE_PX}"/>')
        else:
            kind = "chart__touch-up" if one.kind == TOUCH_UP else "chart__stage"
            parts.append(f'<rect class="{kind}" x="{left}" y="{top + 4}" width="{wide:.1f}" height="{BAR_PX}"/>')
    left, right = x(own[0][1]), x(own[-1][2])
    if right - left >= NUMBER_FITS_PX:
        parts.append(f'<text class="chart__number" x="{(left + right) / 2:.1f}" y="{top + 25}">{number}</text>')
    return "".join(parts)


def _axis(begins_at: datetime, ends_at: datetime, zone: ZoneInfo, x: Place, height: float) -> str:
    parts = []
    first = begins_at.astimezone(zone).replace(minute=0, second=0, microsecond=0).astimezone(UTC)
    for hour in range(int((ends_at - first).total_seconds() // 3600) + 1):
        at = first + timedelta(hours=hour)
        if at < begins_at:
            continue
        parts.append(f'<path class="chart__hour" d="M{x(at)} {HEAD_PX}V{height - AXIS_PX}"/>')
        parts.append(f'<text class="chart__time" x="{x(at)}" y="{height - 6}">{_clock(at, zone)}</text>')
    return "".join(parts)


def _queue(steps: Steps, ends_at: datetime, x: Place) -> str:
    """The number waiting as steps, drawn to its own highest, which is written beside it."""
    highest = max((n for _, n in steps), default=0)
    bottom = HEAD_PX + QUEUE_PX - 8
    name = f'<text class="chart__name" x="0" y="{bottom - 12}">Waiting</text>'
    if not highest:
        return name
    unit = (QUEUE_PX - 14) / highest
    path = [f"M{x(steps[0][0])} {bottom}"]
    for at, n in steps:
        path.append(f"H{x(at)}V{bottom - n * unit:.1f}")
    path.append(f"H{x(ends_at)}V{bottom}Z")
    peak_at = next(at for at, n in steps if n == highest)
    peak = f'<text class="chart__peak" x="{x(peak_at)}" y="{bottom - highest * unit - 4:.1f}">{highest}</text>'
    return f'{name}<path class="chart__queue" d="{"".join(path)}"/>{peak}'


def _clock(at: datetime, zone: ZoneInfo) -> str:
    return at.astimezone(zone).strftime("%H:%M")
