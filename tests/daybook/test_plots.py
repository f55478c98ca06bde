"""Charts that stand within a page: no colour of their own, nothing that a strict policy refuses, each number said."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import pytest

from portraitq.daybook.plots import Axis, Band, Bars, Level, Line, Plot, Points, Table, svg

NOTHING_BEHIND = Table((), ())
SVG = "{http://www.w3.org/2000/svg}"


def a_plot(*parts: Line | Points | Bars | Band | Level, **changes: object) -> Plot:
    usual: dict[str, object] = {"name": "pace", "title": "Pace", "said": "n = 3.", "table": NOTHING_BEHIND}
    usual |= {"x": Axis("Week"), "y": Axis("Minutes")}
    return Plot(parts=parts, **(usual | changes))  # type: ignore[arg-type]


def drawn(plot: Plot) -> ElementTree.Element:
    return ElementTree.fromstring(svg(plot))


def texts(plot: Plot) -> list[str]:
    return ["".join(text.itertext()) for text in drawn(plot).iter(f"{SVG}text")]


EVERYTHING = a_plot(
    Band((1, 2, 3), (3, 3, 4), (6, 7, 8), "interval"),
    Line((1, 2, 3), (4, 5, 6), "trend"),
    Points((1, 2, 3), (4, 6, 5), "days", (3, 5, 4), (5, 7, 6)),
    Bars((1, 2, 3), (1, 2, 1), "portraits", (0, 1, 0), (2, 3, 2)),
    Bars((1, 2, 3), (2, 1, 2), "others"),
    Level(9, "upper limit 9"),
)


def test_a_drawing_has_no_style_of_its_own_and_no_colour_but_the_ink_around_it():
    elements = list(drawn(EVERYTHING).iter())

    assert not [
        one for one in elements if "style" in one.attrib or one.tag.endswith(("}style", "}script", "}metadata"))
    ]
    inks = {one.attrib[name] for one in elements for name in ("fill", "stroke") if name in one.attrib}
    assert {ink for ink in inks if not ink.startswith("url(#plot-pace-")} == {"none", "currentColor", "#ffffff"}
    assert all("plot__under" in one.attrib["class"] for one in elements if "#ffffff" in one.attrib.values())


def test_every_reference_within_a_drawing_leads_to_an_id_of_that_drawing():
    text = svg(EVERYTHING)

    ids = re.findall(r'\bid="([^"]+)"', text)
    wanted = re.findall(r'href="#([^"]+)"', text) + re.findall(r"url\(#([^)]+)\)", text)
    assert wanted
    assert set(wanted) <= set(ids)
    assert len(ids) == len(set(ids))
    assert all(id.startswith("plot-pace-") for id in ids)


def test_two_drawings_of_one_page_share_no_id():
    other = a_plot(*EVERYTHING.parts, name="others")

    ids = [set(re.findall(r'\bid="([^"]+)"', svg(plot))) for plot in (EVERYTHING, other)]
    assert not ids[0] & ids[1]


def test_a_drawing_is_named_for_those_who_do_not_see_it():
    root = drawn(a_plot(Line((1, 2), (3, 4), "trend"), title="Pace <of> “ink”"))

    assert root.attrib["role"] == "img"
    title = root.find(f"{SVG}title")
    assert title is not None
    assert (title.text, title.attrib["id"]) == ("Pace <of> “ink”", root.attrib["aria-labelledby"])


@pytest.mark.parametrize("name", ["$5 head", "a_b^c", "_hidden", "<script>", "\\frac{1}{2}$", "100 %"])
def test_whatever_a_style_is_called_is_written_as_it_is(name: str):
    plot = a_plot(Bars((name, "other"), (1, 2), name), Bars((name, "other"), (1, 2), "b"), x=Axis("Style", "category"))

    assert [text.strip("\u200b") for text in texts(plot)].count(name) == 2  # on the axis and in the legend


def test_a_name_without_end_leaves_room_for_the_picture():
    long = "Watercolour" * 8

    said = texts(
        a_plot(Bars((long, "other"), (1, 2), long), Line((long, "other"), (1, 2), "b"), x=Axis("", "category"))
    )

    assert [text for text in said if "Water" in text] == [f"{long[:27]}…"] * 2


@pytest.mark.parametrize(
    ("axis", "expected"),
    [
        (Axis("", "minutes"), ["2", "4", "10"]),
        (Axis("", "share"), ["40 %"]),
        (Axis("", "number"), ["2"]),
    ],
)
def test_values_are_said_in_the_unit_of_their_axis(axis: Axis, expected: list[str]):
    top = {"minutes": 600.0, "share": 1.0, "number": 4.0}[axis.kind]

    said = texts(a_plot(Bars((1, 2), (top / 2, top), ""), y=axis))

    assert set(expected) <= set(said)


def test_what_is_counted_has_whole_marks_whatever_the_trend_through_it():
    trend = Line((1, 2), (22.5, 37.5), "trend"), Band((1, 2), (20.5, 30.5), (25.5, 40.5), "interval")

    said = texts(a_plot(*trend, Points((1, 2), (22, 38), "finished")))

    assert not [text for text in said if "." in text]


def test_hours_are_said_as_clock_times_and_run_past_midnight():
    said = texts(a_plot(Bars((22, 23, 24, 25), (1, 2, 2, 1), ""), x=Axis("", "clock")))

    assert [text for text in said if ":" in text] == ["22:00", "23:00", "00:00", "01:00"]


def test_of_many_days_every_so_many_is_named():
    days = tuple(f"day {day}" for day in range(40))

    said = texts(a_plot(Line(days, tuple(map(float, range(40))), ""), x=Axis("", "category")))

    assert [text for text in said if text.startswith("day")] == [f"day {day}" for day in range(0, 40, 4)]


def test_where_nothing_was_measured_nothing_is_drawn():
    assert svg(a_plot()) == ""
    assert svg(a_plot(Level(3, "limit"))) == ""
    assert svg(a_plot(Line((1, 2), (math.nan, math.nan), "trend"))) == ""


def test_the_same_plot_gives_the_same_bytes():
    assert svg(a_plot(Line((1, 2), (3, 4), "trend"))) == svg(a_plot(Line((1, 2), (3, 4), "trend")))


def test_a_plot_that_contradicts_itself_is_refused():
    with pytest.raises(ValueError, match="different lengths"):
        a_plot(Line((1, 2, 3), (1, 2), "trend"))
    with pytest.raises(ValueError, match="2 cells under 3"):
        a_plot(table=Table(("a", "b", "c"), (("1", "2"),)))
    with pytest.raises(ValueError, match="lower-case"):
        a_plot(name="My pace")
