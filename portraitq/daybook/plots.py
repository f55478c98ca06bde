"""Charts of figures with their intervals: what is to be seen, said as data, and drawn as SVG by matplotlib.

A plot reads and prints without colour: everything is drawn in the ink of the text around it, series are told apart by
the shape of their points, their dashes and their hatching, and a band by its edges. It never stands alone: it has a
sentence that says what is seen (with how many it rests on), and the table of its numbers. The day's own timeline is
drawn by hand in `charts.py`.

matplotlib is loaded here alone, and only once a chart is asked for.
"""

from __future__ import annotations

import math
import re
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from io import StringIO
from itertools import pairwise
from typing import Any, Literal
from xml.etree import ElementTree

WIDTH_PX, HEIGHT_PX = 640, 300
TEXT_PX = 13.0
MOST_NAMES = 12  # so many categories can be read side by side; of more every second, third … is named
MOST_MARKS = 7
LONGEST_NAME = 28  # letters under a bar; the table has the rest
KEPT = 64  # drawings; a page has about ten

Kind = Literal["number", "category", "minutes", "clock", "share"]
Value = float | str


@dataclass(frozen=True, slots=True)
class Axis:
    """What an axis means and how its values are read.

    kind    number; category (values are texts); minutes (values are seconds); clock (values are hours since midnight);
            share (values are 0–1, shown as %)
    is_log  equal ratios take equal room
    """

    label: str
    kind: Kind = "number"
    is_log: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """A line through (x, y); where y is NaN it is broken."""

    xs: tuple[Value, ...]
    ys: tuple[float, ...]
    name: str


@dataclass(frozen=True, slots=True)
class Points:
    """Points at (x, y), each with its interval from low to high where these are given."""

    xs: tuple[Value, ...]
    ys: tuple[float, ...]
    name: str
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Bars:
    """Bars from 0 to y; several of them stand side by side. Their intervals where lows and highs are given."""

    xs: tuple[Value, ...]
    ys: tuple[float, ...]
    name: str
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Band:
    """What lies between low and high, such as the interval of a trend."""

    xs: tuple[Value, ...]
    lows: tuple[float, ...]
    highs: tuple[float, ...]
    name: str


@dataclass(frozen=True, slots=True)
class Level:
    """A level across the whole plot, its name written at its end, such as a control limit."""

    at: float
    name: str


@dataclass(frozen=True, slots=True)
class Table:
    """The numbers behind a plot, as they are said."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


Part = Line | Points | Bars | Band | Level


@dataclass(frozen=True, slots=True)
class Plot:
    """One chart.

    name   of it on its page: lower-case letters, digits and hyphens
    said   the sentence that says what is seen, with n
    """

    name: str
    title: str
    said: str
    x: Axis
    y: Axis
    parts: tuple[Part, ...]
    table: Table

    def __post_init__(self) -> None:
        if not re.fullmatch(r"[a-z][a-z0-9-]*", self.name):
            raise ValueError(f"a plot's name is of lower-case letters, digits and hyphens, not {self.name!r}")
        for part in self.parts:
            lengths = {len(values) for values in _values_of(part) if values}
            if len(lengths) > 1:
                raise ValueError(f"{self.name}: the values of {part.name!r} are of different lengths, {lengths}")
        wrong = [row for row in self.table.rows if len(row) != len(self.table.head)]
        if wrong:
            raise ValueError(f"{self.name}: a row of the table has {len(wrong[0])} cells under {len(self.table.head)}")


def svg(plot: Plot) -> str:
    """`plot` as an `<svg>` element to stand in a page, in the ink of the text around it; empty without a value.

    Any number of threads may ask; they are served one after the other, and the same plot is drawn once.
    """
    if not any(_has_value(part) for part in plot.parts if not isinstance(part, Level)):
        return ""
    with _DRAWING:
        return _drawn(plot)


_DRAWING = threading.Lock()
_MARKERS = ("o", "s", "^", "D", "v", "P")
_DASHES: tuple[Any, ...] = ("-", (0, (5, 2)), (0, (1, 1.5)), (0, (6, 2, 1, 2)))
_HATCHES = (None, "////", "....", "xxxx")
_STEPS_S = (15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800)
_INK = "#000000"
_STYLED = {"stroke-linejoin": "round", "stroke-linecap": "butt"}  # what matplotlib says once in a style element
_NAMESPACE = "http://www.w3.org/2000/svg"


@lru_cache(maxsize=KEPT)
def _drawn(plot: Plot) -> str:
    import matplotlib
    from matplotlib.figure import Figure

    settings: Any = {
        "svg.fonttype": "none",  # texts stay texts
        "text.parse_math": False,  # and a style may be called "$5 head"
        "svg.hashsalt": plot.name,
        "font.size": TEXT_PX * 0.75,  # points; 72 of them are 96 px
        "axes.spines.top": False,
        "axes.spines.right": False,
        "hatch.linewidth": 0.8,
        "axes.unicode_minus": True,
    }
    with matplotlib.rc_context(settings):
        figure = Figure(figsize=(WIDTH_PX / 96, HEIGHT_PX / 96), dpi=96, layout="constrained")
        axes = figure.add_subplot()
        _draw(plot, axes)
        handles, labels = axes.get_legend_handles_labels()
        if len(labels) > 1:
            figure.legend(handles, labels, loc="outside upper left", ncols=3, frameon=False, handlelength=2.6)
        out = StringIO()
        figure.savefig(out, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    return _for_the_page(out.getvalue(), plot)


def _draw(plot: Plot, axes: Any) -> None:
    places = _places(plot) if plot.x.kind == "category" else None

    def x_of(values: Sequence[Value]) -> list[float]:
        return [float(places[str(value)]) if places is not None else float(value) for value in values]

    def called(name: str) -> str:
        name = _shortened(name)
        return f"\u200b{name}" if name.startswith("_") else name  # which matplotlib would leave out of the legend

    bars = [part for part in plot.parts if isinstance(part, Bars)]
    wide = (0.8 if len(bars) > 1 else 0.6) / max(len(bars), 1) * (1.0 if places is not None else _least_step(plot))
    shapes = {
        id(part): at for kind in (Line, Points) for at, part in enumerate(p for p in plot.parts if type(p) is kind)
    }
    for part in plot.parts:
        match part:
            case Line(xs=xs, ys=ys, name=name):
                axes.plot(
                    x_of(xs), ys, color=_INK, linewidth=1.6, label=called(name), linestyle=_DASHES[shapes[id(part)] % 4]
                )
            case Points(xs=xs, ys=ys, name=name):
                shape = _MARKERS[shapes[id(part)] % len(_MARKERS)]
                hollow = "none" if shapes[id(part)] % 2 else _INK
                how = {
                    "color": _INK,
                    "marker": shape,
                    "markersize": 5.5,
                    "markerfacecolor": hollow,
                    "label": called(name),
                }
                axes.errorbar(x_of(xs), ys, yerr=_errors(part), linestyle="none", capsize=3, linewidth=1.1, **how)
            case Bars(xs=xs, ys=ys, name=name):
                at = bars.index(part)
                middles = [x + (at - (len(bars) - 1) / 2) * wide for x in x_of(xs)]
                hatch = _HATCHES[at % len(_HATCHES)]
                face = _INK if hatch is None else "none"
                how = {"facecolor": face, "edgecolor": _INK, "hatch": hatch, "linewidth": 1.0, "label": called(name)}
                axes.bar(middles, ys, width=wide * 0.9, **how)
                if part.lows:
                    _intervals_on_bars(axes, middles, part)
            case Band(xs=xs, lows=lows, highs=highs, name=name):
                axes.fill_between(x_of(xs), lows, highs, color=_INK, alpha=0.1, linewidth=0, label=called(name))
                for edge in (lows, highs):
                    axes.plot(x_of(xs), edge, color=_INK, linewidth=0.9, linestyle=(0, (2, 2)))
            case Level(at=at_y, name=name):
                axes.axhline(at_y, color=_INK, linewidth=1.0, linestyle=(0, (7, 3)))
                where = axes.get_yaxis_transform()
                axes.text(1.0, at_y, name, transform=where, ha="right", va="bottom", fontsize=TEXT_PX * 0.68)
    _scale(plot, axes, places)


def _intervals_on_bars(axes: Any, middles: Sequence[float], part: Bars) -> None:
    """White under black, so that an interval is seen on the bar as well as above it."""
    for ink, thick in (("#ffffff", 3.6), (_INK, 1.2)):
        axes.errorbar(
            middles, part.ys, yerr=_errors(part), linestyle="none", color=ink, elinewidth=thick, capsize=3, zorder=3
        )


def _scale(plot: Plot, axes: Any, places: dict[str, int] | None) -> None:
    from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

    axes.set_xlabel(plot.x.label)
    axes.set_ylabel(plot.y.label)
    for axis, meant in ((axes.xaxis, plot.x), (axes.yaxis, plot.y)):
        if meant.is_log:
            (axes.set_xscale if axis is axes.xaxis else axes.set_yscale)("log")
        if meant.kind == "number" and not meant.is_log and _are_whole(plot, meant):
            axis.set_major_locator(MaxNLocator(integer=True, steps=[1, 2, 5, 10]))
        if meant.kind == "minutes":
            axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value / 60:g}"))
            if not meant.is_log:
                low_s, high_s = axis.get_view_interval()
                step_s = next((step for step in _STEPS_S if (high_s - low_s) / step <= MOST_MARKS), _STEPS_S[-1])
                axis.set_major_locator(MultipleLocator(step_s))
        if meant.kind == "clock":
            axis.set_major_formatter(FuncFormatter(lambda value, _: _clock(value)))
            axis.set_major_locator(MultipleLocator(1 if _extent(plot) <= 9 else 2))
        if meant.kind == "share":
            axis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:.0f} %"))
    if places is not None:
        step = math.ceil(len(places) / MOST_NAMES)
        shown = [(place, name) for name, place in places.items() if place % step == 0]
        axes.set_xticks([place for place, _ in shown], [_shortened(name) for _, name in shown])
        axes.set_xlim(-0.6, len(places) - 0.4)
    if any(isinstance(part, Bars) for part in plot.parts) and not plot.y.is_log:
        axes.set_ylim(bottom=min(0.0, axes.get_ylim()[0]))
    axes.grid(axis="y", color=_INK, linewidth=0.5, alpha=0.25)
    axes.set_axisbelow(True)


def _are_whole(plot: Plot, axis: Axis) -> bool:
    """Whether what is counted along that axis is whole, and so its marks are to be; trends between are not asked."""
    parts = [part for part in plot.parts if not isinstance(part, Level | Band)]
    counted = [part for part in parts if not isinstance(part, Line)] or parts
    values = [float(value) for part in counted for value in (part.xs if axis is plot.x else part.ys)]
    return all(value.is_integer() for value in values if not math.isnan(value))


def _shortened(name: str) -> str:
    return name if len(name) <= LONGEST_NAME else f"{name[: LONGEST_NAME - 1].rstrip()}…"


def _places(plot: Plot) -> dict[str, int]:
    names = dict.fromkeys(str(x) for part in plot.parts if not isinstance(part, Level) for x in part.xs)
    return {name: place for place, name in enumerate(names)}


def _least_step(plot: Plot) -> float:
    """The least distance between two bars, so that those of one place never reach into the next."""
    xs = sorted({float(x) for part in plot.parts if isinstance(part, Bars) for x in part.xs})
    return min((b - a for a, b in pairwise(xs)), default=1.0)


def _extent(plot: Plot) -> float:
    xs = [float(x) for part in plot.parts if not isinstance(part, Level) for x in part.xs]
    return max(xs) - min(xs) if xs else 0.0


def _errors(part: Points | Bars) -> list[list[float]] | None:
    if not part.lows:
        return None
    below = [max(y - low, 0.0) for y, low in zip(part.ys, part.lows, strict=True)]
    return [below, [max(high - y, 0.0) for y, high in zip(part.ys, part.highs, strict=True)]]


def _values_of(part: Part) -> list[tuple[Value, ...]]:
    match part:
        case Level():
            return []
        case Line(xs=xs, ys=ys):
            return [xs, ys]
        case Points(xs=xs, ys=ys, lows=lows, highs=highs) | Bars(xs=xs, ys=ys, lows=lows, highs=highs):
            return [xs, ys, lows, highs]
        case Band(xs=xs, lows=lows, highs=highs):
            return [xs, lows, highs]


def _has_value(part: Line | Points | Bars | Band) -> bool:
    ys = part.lows if isinstance(part, Band) else part.ys
    return any(not math.isnan(y) for y in ys)


def _clock(hours: float) -> str:
    minutes = round(hours * 60)
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


def _for_the_page(drawn: str, plot: Plot) -> str:
    """What matplotlib drew, to stand within a page: no style attributes, ids of its own, the page's ink and font."""
    ElementTree.register_namespace("", _NAMESPACE)
    ElementTree.register_namespace("xlink", "http://www.w3.org/1999/xlink")
    root = ElementTree.fromstring(drawn)
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag in (f"{{{_NAMESPACE}}}metadata", f"{{{_NAMESPACE}}}style"):
                parent.remove(child)
    for element in root.iter():
        _plainly(element, f"plot-{plot.name}-")
    root.attrib.clear()
    named = f"plot-{plot.name}-title"
    root.attrib.update({"class": "plot", "viewBox": f"0 0 {WIDTH_PX * 0.75:g} {HEIGHT_PX * 0.75:g}", "role": "img"})
    root.attrib.update({"aria-labelledby": named, **_STYLED})
    title = ElementTree.Element(f"{{{_NAMESPACE}}}title", {"id": named})
    title.text = plot.title
    root.insert(0, title)
    return ElementTree.tostring(root, encoding="unicode").replace("\n", "")


def _plainly(element: ElementTree.Element, prefix: str) -> None:
    for declared in element.attrib.pop("style", "").split(";"):
        name, _, value = (part.strip() for part in declared.partition(":"))
        if name == "font":
            element.set("font-size", re.search(r"([\d.]+)px", value)[1])  # type: ignore[index]
        elif name:
            element.set(name, value)
    for name, value in list(element.attrib.items()):
        if name == "id":
            element.set(name, prefix + value)
        elif name.endswith("href") and value.startswith("#"):
            element.set(name, f"#{prefix}{value[1:]}")
        elif "url(#" in value:
            element.set(name, value.replace("url(#", f"url(#{prefix}"))
        elif value == _INK:
            element.set(name, "currentColor")
        elif value == "#ffffff":
            element.set("class", "plot__under")
    element.attrib.pop("font-family", None)
    if element.tag.endswith(("}path", "}use", "}rect", "}text")) and "fill" not in element.attrib:
        element.set("fill", "currentColor")  # black is what matplotlib leaves out
