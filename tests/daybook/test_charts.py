"""The day drawn as SVG."""

from __future__ import annotations

from xml.etree import ElementTree
from zoneinfo import ZoneInfo

from portraitq.daybook.charts import parts_bar, timeline
from tests.builders import Told, instant
from tests.daybook.evening import quay_day
from tests.daybook.test_figures import figures_of

ZONE = ZoneInfo("Europe/Lisbon")
SVG = "{http://www.w3.org/2000/svg}"


def drawn(told: Told, name: str = "First easel", **how) -> ElementTree.Element:
    svg = timeline(figures_of(told, **how), ZONE, {"a1": name, "a2": "Second easel"}, lambda id: f"#ticket-{id}")
    return ElementTree.fromstring(svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))


def test_every_portrait_on_an_easel_is_a_bar_that_leads_to_it():
    links = drawn(quay_day()).findall(f"{SVG}a")

    assert [link.get("href") for link in links] == [f"#ticket-{id}" for id in ("T1", "T3", "T4", "T6", "T2")]
    assert links[0].get("aria-label") == "Number 1, Ink head, 10:05–10:16"


def test_bars_stand_where_their_time_is():
    told = Told().set_up(at="08:00").day_opened(opens="09:00").artist_in("a1", at="09:00").ordered("T1", at="10:00")
    told = (
        told.started("T1", at="10:30")
        .stages_all_done("T1", at="11:00")
        .finished("T1", at="11:00")
        .day_closed(at="13:00")
    )

    (first, *_) = drawn(told).iter(f"{SVG}rect")
    hours = {text.text: float(text.get("x", "")) for text in drawn(told).iter(f"{SVG}text") if ":" in (text.text or "")}

    middle = (hours["11:00"] + hours["12:00"]) / 2  # 10:30 in UTC is 11:30 in Lisbon
    assert abs(float(first.get("x", "")) - middle) < 0.2


def test_names_are_text_and_never_markup():
    texts = [text.text for text in drawn(quay_day(), name="<b>Ink & co</b>").iter(f"{SVG}text")]

    assert "<b>Ink & co</b>" in texts


def test_a_day_on_which_nothing_was_drawn_has_no_picture():
    told = Told().set_up(at="08:00").day_opened().ordered("T1")

    assert timeline(figures_of(told), ZONE, {"a1": "First easel"}, str) == ""


def test_the_portrait_in_hand_is_drawn_as_far_as_now():
    told = Told().set_up(at="08:00").day_opened().artist_in("a1").ordered("T1", at="09:10").started("T1", at="09:20")

    (link,) = drawn(told, now=instant("09:50")).findall(f"{SVG}a")

    assert link.get("aria-label") == "Number 1, Ink head, 10:20–10:50"


def test_a_bar_of_parts_fills_its_width():
    bar = ElementTree.fromstring(parts_bar([("drawing", 1800.0), ("touch-up", 0.0), ("idle", 1800.0)]))

    assert [(part.get("x"), part.get("width")) for part in bar] == [("0.00%", "50.00%"), ("50.00%", "50.00%")]
    assert parts_bar([("drawing", 0.0)]) == ""
