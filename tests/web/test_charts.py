"""A chart on a page: the sentence, the picture, the numbers, and nothing unescaped."""

from __future__ import annotations

from flask import render_template_string

from portraitq.daybook.plots import Axis, Bars, Plot, Table
from portraitq.web.charts import chart
from tests.web.conftest import Web

PLOT = Plot(
    name="styles",
    title="What each style <earns>",
    said="Ink head study earns most (n = 12).",
    x=Axis("Style", "category"),
    y=Axis("€ an hour"),
    parts=(Bars(("Ink <head>", "Chalk"), (40, 30), ""),),
    table=Table(("Style", "€ an hour"), (("Ink <head>", "40"), ("Chalk", "30"))),
)
PAGE = '{% import "charts.html" as charts %}{{ charts.chart(one) }}'


def test_a_chart_says_what_is_seen_and_has_its_numbers_in_a_table(web: Web):
    with web.app.test_request_context():
        page = render_template_string(PAGE, one=chart(PLOT))

    assert "Ink head study earns most (n = 12)." in page
    assert '<svg xmlns="http://www.w3.org/2000/svg"' in page
    assert page.count('<th scope="row">') == 2
    assert '<td class="amount">30</td>' in page
    assert "<head>" not in page.replace("<thead>", "")
    assert "<earns>" not in page


def test_without_a_value_there_is_a_sentence_and_no_picture(web: Web):
    bare = Plot("bare", "Pace", "Too few days to tell (n = 1).", Axis(""), Axis(""), (), Table((), ()))

    with web.app.test_request_context():
        page = render_template_string(PAGE, one=chart(bare))

    assert "Too few days to tell (n = 1)." in page
    assert "<svg" not in page
    assert "<table" not in page
