"""The set-up as it is typed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portraitq import starter
from portraitq.core.events import SetUp
from portraitq.web.set_up_draft import (
    Draft,
    built,
    changed,
    draft_of,
    duration_text,
    idle_styles,
    read,
    read_duration,
    unused_id,
)
from tests.builders import CHALK, INK_HEAD, a_set_up, artist


def draft() -> Draft:
    return draft_of(a_set_up())


def test_a_set_up_that_nobody_touched_comes_back_as_it_was():
    for set_up in (a_set_up(), starter.set_up("Asia/Tokyo", "JPY")):
        assert built(draft_of(set_up)) == (set_up, {})


@given(st.floats(1, 36_000).map(lambda s: round(s, 3)))
def test_a_duration_reads_back_as_it_is_shown(seconds: float):
    assert read_duration(duration_text(seconds)) == pytest.approx(seconds, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("1:40", 100),
        ("0:05", 5),
        ("75:00", 4500),
        ("1:02:00", 3720),
        ("2", 120),
        ("1,5", 90),
        ("90s", 90),
        ("2 MIN", 120),
    ],
)
def test_a_duration_may_be_typed_in_several_ways(text: str, seconds: float):
    assert read_duration(text) == seconds


@pytest.mark.parametrize("text", ["", "soon", "1:", ":30", "-1:00", "1:40:", "１:40x", "1e3"])
def test_what_is_no_duration_is_none(text: str):
    assert read_duration(text) is None


@pytest.mark.parametrize(
    ("name", "taken", "expected"),
    [
        ("Ink head study", [], "ink-head-study"),
        ("Ink head study", ["ink-head-study"], "ink-head-study-2"),
        ("Aquarelle à l’eau", [], "aquarelle-a-l-eau"),
        ("墨絵", [], "style"),
        ("x" * 40, ["x" * 32], "x" * 30 + "-2"),
    ],
)
def test_an_id_is_made_of_the_name(name: str, taken: list[str], expected: str):
    assert unused_id(name, taken, "style") == expected


@given(st.text(max_size=60), st.lists(st.text("abc-123", min_size=1, max_size=32)))
def test_whatever_the_name_its_id_has_the_journals_form(name: str, taken: list[str]):
    set_up = a_set_up()
    style = set_up.styles[0].model_dump() | {"id": unused_id(name, taken, "style")}

    assert type(set_up.styles[0]).model_validate(style).id not in taken


def test_an_id_stays_when_its_row_is_renamed():
    typed = draft()
    typed.styles[0].name = "Sepia head"

    new, errors = built(typed)

    assert errors == {}
    assert new is not None
    assert (new.styles[0].id, new.styles[0].name) == ("ink-head", "Sepia head")


def test_a_new_style_is_drawn_by_whoever_was_ticked():
    typed = draft()
    changed(typed, "add:style")
    style = typed.styles[-1]
    style.name, style.price = "Pet in pencil", "25"
    stage = style.stages[0]
    stage.name, stage.quick, stage.usual, stage.slow = "All of it", "5:00", "8:00", "13:00"
    typed.artists[1].draws.remove(style.key)

    new, errors = built(typed)

    assert errors == {}
    assert new is not None
    assert (new.styles[-1].id, new.styles[-1].price, new.styles[-1].stages[0].id) == (
        "pet-in-pencil",
        2500,
        "all-of-it",
    )
    assert [one.styles for one in new.artists] == [("ink-head", "chalk-half", "pet-in-pencil"), ("ink-head",)]


def test_a_style_that_goes_is_drawn_by_nobody_any_more():
    typed = draft()

    focus = changed(typed, "remove:style:1")

    new, _ = built(typed)
    assert focus == "style-0-name"
    assert new is not None
    assert [one.styles for one in new.artists] == [("ink-head",), ("ink-head",)]


def test_rows_move_up_and_down_and_the_hand_stays_with_them():
    typed = draft()

    focus = changed(typed, "down:style:0:0")

    assert [stage.key for stage in typed.styles[0].stages] == ["likeness", "layout", "finish"]
    assert focus == "down-style-0-stage-1"


@pytest.mark.parametrize(
    "what", ["", "add:booth", "up:style:0", "down:style:1", "remove:style:9", "add:style:9", "up:x:1:2:3"]
)
def test_what_cannot_be_done_changes_nothing(what: str):
    typed = draft()

    focus = changed(typed, what)

    assert (focus, typed) == ("", draft())


@pytest.mark.parametrize(
    ("field", "value", "where"),
    [
        ("name", "", "booth-name"),
        ("name", "x" * 81, "booth-name"),
        ("zone", "Quay/Side", "booth-zone"),
        ("zone", "../etc/passwd", "booth-zone"),
        ("currency", "QQQ", "booth-currency"),
        ("confidence", "49", "booth-confidence"),
        ("confidence", "100", "booth-confidence"),
        ("confidence", "often", "booth-confidence"),
        ("confidence", "nan", "booth-confidence"),
        ("round_to", "0", "booth-round"),
    ],
)
def test_what_is_wrong_about_the_booth_is_said_beside_its_field(field: str, value: str, where: str):
    typed = draft()
    setattr(typed, field, value)

    new, errors = built(typed)

    assert new is None
    assert list(errors) == [where] if field != "currency" else where in errors


def test_guesses_that_fall_are_told_at_the_field_that_falls():
    typed = draft()
    typed.styles[0].stages[1].usual = "1:00"
    typed.turnaround.slow = "0:10"

    _, errors = built(typed)

    assert errors == {
        "style-0-stage-1-usual": "Usual is less than quick (3:10): it must not be.",
        "turnaround-slow": "Slow is less than usual (1:10): it must not be.",
    }


def test_two_rows_of_one_name_are_refused_at_the_second():
    typed = draft()
    typed.artists[1].name = "EASEL A1"

    _, errors = built(typed)

    assert list(errors) == ["artist-1-name"]


def test_a_style_without_stages_and_prices_without_sense_are_refused():
    typed = draft()
    typed.styles[0].stages = []
    typed.styles[1].price = "12.345"

    _, errors = built(typed)

    assert list(errors) == ["style-0-name", "style-1-price"]


def test_a_form_of_nonsense_is_read_as_far_as_it_goes():
    typed = read({"style-7-key": ["x y"], "style-7-name": [], "style-7-stage-0-key": [""], "artist-2-draws": ["?"]})

    new, errors = built(typed)

    assert new is None
    assert {"style-0-name", "style-0-price", "booth-name"} <= set(errors)


def test_a_style_that_nobody_draws_is_named():
    set_up = a_set_up([INK_HEAD, CHALK], [artist("a1", "ink-head")])

    assert isinstance(set_up, SetUp)
    assert idle_styles(set_up) == ["Chalk half"]
