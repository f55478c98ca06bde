"""A plot as a page shows it: the picture, the sentence that says what is seen, and the table behind it."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from portraitq.daybook.plots import Plot, svg


@dataclass(frozen=True)
class Chart:
    """One chart, printed by the macro `chart` of `charts.html`; `picture` is empty where nothing was measured."""

    name: str
    title: str
    said: str
    picture: Markup
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def chart(plot: Plot) -> Chart:
    """`plot` drawn. Its texts were escaped when the SVG was printed."""
    return Chart(plot.name, plot.title, plot.said, Markup(svg(plot)), plot.table.head, plot.table.rows)
