"""Every kind of the journal: read, printed and refused, one table for all of them."""

import copy
import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portraitq.core.errors import Malformed, RefusedLine
from portraitq.core.events import (
    KINDS,
    Event,
    parse_instant,
    parse_line,
    parse_lines,
    print_instant,
    print_line,
    read_data,
    to_the_millisecond,
)
from tests.core.examples import AT, GOOD

MAY_BE_NULL = {"ordered.artist", "walked_away.style", "walked_away.ready_by", "moved.before", "finished.rack"}
Path = tuple[str | int, ...]


def a_line(kind: str = "collected", data: object = None, **head: object) -> str:
    fields = {
        "seq": 1,
        "id": "s1",
        "at": AT,
        "by": "counter",
        "kind": kind,
        "data": GOOD[kind] if data is None else data,
    }
    return json.dumps({**fields, **head}, ensure_ascii=False, separators=(",", ":"))


def places_in(value: object, at: Path = ()) -> Iterator[tuple[Path, object]]:
    """Every place in a JSON value, and what stands there."""
    yield at, value
    children = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, child in children:
        yield from places_in(child, (*at, key))


def with_value(data: dict[str, Any], at: Path, value: object) -> dict[str, Any]:
    changed: Any = copy.deepcopy({"": data})
    inner = changed
    for key in ("", *at)[:-1]:
        inner = inner[key]
    inner[("", *at)[-1]] = value
    return changed[""]  # type: ignore[no-any-return]


def without(data: dict[str, Any], at: Path) -> dict[str, Any]:
    changed: Any = copy.deepcopy(data)
    inner = changed
    for key in at[:-1]:
        inner = inner[key]
    del inner[at[-1]]
    return changed  # type: ignore[no-any-return]


def refusal(line: str) -> Malformed:
    with pytest.raises(Malformed) as caught:
        parse_line(line)
    said = str(caught.value)
    assert said.endswith(".")
    assert said.encode("utf-8")
    return caught.value


def read_or_said(line: str) -> Event | str:
    """The event of a line, or the sentence with which it is refused; any other error falls through."""
    try:
        return parse_line(line)
    except Malformed as wrong:
        said = str(wrong)
    assert said.endswith(".")
    return said


FIELDS = [(kind, at) for kind, data in GOOD.items() for at, _ in places_in(data) if at and isinstance(at[-1], str)]
OBJECTS = [(kind, at) for kind, data in GOOD.items() for at, value in places_in(data) if isinstance(value, dict)]


def named(case: object) -> str | None:
    return ".".join(str(key) for key in case) or "data" if isinstance(case, tuple) else None


def dotted(at: Path) -> str:
    return ".".join(str(key) for key in ("data", *at))


def test_the_table_of_examples_holds_every_kind():
    assert list(GOOD) == list(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_a_good_line_prints_back_as_it_was_read(kind: str):
    line = a_line(kind)

    event = parse_line(line)

    assert print_line(event) == line
    assert event.kind == kind


@pytest.mark.parametrize("field", sorted(MAY_BE_NULL))
def test_a_field_that_may_be_null_prints_back_as_null(field: str):
    kind, key = field.split(".")
    line = a_line(kind, {**GOOD[kind], key: None})

    assert print_line(parse_line(line)) == line


@pytest.mark.parametrize(("kind", "at"), FIELDS, ids=named)
def test_a_missing_field_is_refused_by_name(kind: str, at: Path):
    wrong = refusal(a_line(kind, without(GOOD[kind], at)))

    assert wrong.field == dotted(at)


@pytest.mark.parametrize(("kind", "at"), OBJECTS, ids=named)
def test_an_unknown_field_is_refused_by_name(kind: str, at: Path):
    wrong = refusal(a_line(kind, with_value(GOOD[kind], (*at, "mood"), 1)))

    assert wrong.field == dotted((*at, "mood"))


def is_right(kind: str, at: Path, value: object) -> bool:
    """Whether one of the wrong values below happens to be right in that place."""
    there = next(found for place, found in places_in(GOOD[kind]) if place == at)
    return (
        (value is None and named((kind, *at)) in MAY_BE_NULL)
        or (value == "x y" and at[-1] in ("name", "rack"))
        or (type(value) is type(there) and value in ([], True))
    )


WRONG_TYPES = [
    (kind, at, value)
    for kind, at in FIELDS
    for value in (True, "", -7.5, None, [], {}, "x y", [1], {"a": 1})
    if not is_right(kind, at, value)
]


@pytest.mark.parametrize(("kind", "at", "value"), WRONG_TYPES, ids=named)
def test_a_value_of_the_wrong_type_is_refused_by_name(kind: str, at: Path, value: object):
    wrong = refusal(a_line(kind, with_value(GOOD[kind], at, value)))

    assert wrong.field.startswith(dotted(at))


@pytest.mark.parametrize("key", ["seq", "id", "at", "by", "kind", "data"])
def test_a_line_without_one_of_its_keys_is_refused_by_name(key: str):
    line = json.dumps({k: v for k, v in json.loads(a_line()).items() if k != key})

    assert refusal(line).field == key


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("seq", 0),
        ("seq", -1),
        ("seq", 1.0),
        ("seq", "1"),
        ("seq", True),
        ("seq", None),
        ("id", ""),
        ("id", "x" * 65),
        ("id", "a b"),
        ("id", "é"),
        ("id", "s1\n"),
        ("id", 7),
        ("by", "wall"),
        ("by", "easel:"),
        ("by", "easel:A1"),
        ("by", "easel:a1 "),
        ("by", ""),
        ("kind", "painted"),
        ("kind", ""),
        ("kind", None),
        ("kind", ["ordered"]),
        ("data", []),
        ("data", None),
        ("data", "x"),
        ("ago_s", -1),
        ("ago_s", 0),
        ("ago_s", 0.0),
        ("ago_s", None),
        ("ago_s", "5"),
        ("ago_s", True),
        ("ago_s", 1e300),
        ("mood", 1),
    ],
)
def test_a_key_of_the_line_with_a_wrong_value_is_refused_by_name(key: str, value: object):
    line = json.dumps({**json.loads(a_line()), key: value})

    assert refusal(line).field == key


@pytest.mark.parametrize("by", ["counter", "system", "easel:a1", "easel:second-easel-9"])
def test_every_device_of_the_contract_may_say_so(by: str):
    line = a_line(by=by)

    assert print_line(parse_line(line)) == line


# checks H1: the examples of RFC 3339 §5.8, all valid there and none in the journal's narrower form (checks H2)
RFC_3339_EXAMPLES = [
    "1985-04-12T23:20:50.52Z",
    "1996-12-19T16:39:57-08:00",
    "1990-12-31T23:59:60Z",
    "1990-12-31T23:59:60.000Z",
    "1937-01-01T12:00:27.87+00:20",
]
# checks H2, and more of what Python's own reader takes
OTHER_FORMS = [
    "2026-06-06T09:00:00.000",
    "2026-06-06T09:00:00.000+00:00",
    "2026-06-06t09:00:00.000Z",
    "2026-06-06T09:00:00.000z",
    "2026-06-06 09:00:00.000Z",
    "20260606T090000Z",
    "20260606T090000.000Z",
    "2026-W23-6",
    "2026-W23-6T09:00:00.000Z",
    "2026-06-06",
    "2026-06-06T09:00:00Z",
    "2026-06-06T09:00:00.00Z",
    "2026-06-06T09:00:00.0000Z",
    "2026-06-06T09:00:00,000Z",
    "2026-06-06T09:00:00.000Z\n",
    " 2026-06-06T09:00:00.000Z",
    "2026-06-06T24:00:00.000Z",
    "2026-06-06T23:60:00.000Z",
    "2026-02-30T09:00:00.000Z",
    "2026-13-01T09:00:00.000Z",
    "2026-00-01T09:00:00.000Z",
    "2026-01-00T09:00:00.000Z",
    "0000-01-01T09:00:00.000Z",
    "0001-01-01T00:00:00.000Z",
    "9999-12-31T23:59:59.999Z",
    "٢٠٢٦-06-06T09:00:00.000Z",
    "",
]


@pytest.mark.parametrize("text", [*RFC_3339_EXAMPLES, *OTHER_FORMS])
def test_an_instant_in_any_other_form_is_refused_wherever_one_stands(text: str):
    head = refusal(a_line(at=text))
    in_data = refusal(a_line("promised", {**GOOD["promised"], "ready_by": text}))
    in_break = refusal(a_line("day_opened", with_value(GOOD["day_opened"], ("breaks", 0, "from"), text)))

    assert [head.field, in_data.field, in_break.field] == ["at", "data.ready_by", "data.breaks.0.from"]


@pytest.mark.parametrize("text", ["2024-02-29T23:59:59.999Z", "1900-01-01T00:00:00.000Z", "2999-12-31T23:59:59.999Z"])
def test_an_instant_in_the_journals_form_prints_back_as_it_was(text: str):
    assert print_instant(parse_instant(text)) == text


@given(st.datetimes(datetime(1900, 1, 1), datetime(2999, 12, 31), timezones=st.just(UTC)))  # noqa: DTZ001
def test_any_instant_cut_to_the_millisecond_is_read_back_from_its_print(at: datetime):
    assert parse_instant(print_instant(at)) == to_the_millisecond(at)


def test_an_instant_of_another_zone_is_printed_in_utc():
    at = datetime(1996, 12, 19, 16, 39, 57, tzinfo=timezone(timedelta(hours=-8)))  # checks H1

    assert print_instant(at) == "1996-12-20T00:39:57.000Z"


def test_an_instant_that_knows_no_zone_is_not_printed():
    with pytest.raises(ValueError, match="must know its zone"):
        print_instant(datetime(2026, 6, 6))  # noqa: DTZ001


@pytest.mark.parametrize("day", ["2026-6-6", "20260606", "2026-W23-6", "2026-02-29", "0001-01-01", "2026-06-06T", 6])
def test_a_day_in_any_other_form_is_refused(day: object):
    assert refusal(a_line("day_opened", {**GOOD["day_opened"], "day": day})).field == "data.day"


@pytest.mark.parametrize("currency", ["EUR", "JPY", "KWD", "UYW"])
def test_a_currency_is_three_capitals(currency: str):
    line = a_line("set_up", with_value(GOOD["set_up"], ("booth", "currency"), currency))

    assert print_line(parse_line(line)) == line


@pytest.mark.parametrize("currency", ["eur", "EU", "EURO", "€", "E R", "EÜR", "EUR\n", "", 978, None])
def test_anything_else_is_no_currency(currency: object):
    line = a_line("set_up", with_value(GOOD["set_up"], ("booth", "currency"), currency))

    assert refusal(line).field == "data.booth.currency"


@pytest.mark.parametrize("zone", ["Lisbon", "", "../../etc/passwd", "/etc/localtime", "Europe", "Mars/Olympus", "a\0b"])
def test_a_zone_that_nobody_knows_is_refused(zone: str):
    line = a_line("set_up", with_value(GOOD["set_up"], ("booth", "zone"), zone))

    assert refusal(line).field == "data.booth.zone"


STAGE: Path = ("styles", 0, "stages", 0)


@pytest.mark.parametrize(
    ("kind", "at", "value"),
    [
        ("set_up", ("booth", "confidence"), 0.49),
        ("set_up", ("booth", "confidence"), 0.991),
        ("set_up", ("booth", "confidence"), 85),
        ("set_up", ("booth", "round_to_s"), 0),
        ("set_up", ("booth", "round_to_s"), 86_401),
        ("set_up", (*STAGE, "quick_s"), 0),
        ("set_up", (*STAGE, "slow_s"), 1e9),
        ("set_up", (*STAGE, "id"), "Layout"),
        ("set_up", (*STAGE, "id"), "x" * 33),
        ("set_up", (*STAGE, "id"), ""),
        ("set_up", (*STAGE, "name"), "x" * 81),
        ("set_up", ("styles", 0, "stages"), []),
        ("set_up", ("styles", 0, "price"), -1),
        ("set_up", ("styles", 0, "price"), 18.5),
        ("ordered", ("sitters",), 0),
        ("ordered", ("sitters",), 13),
        ("ordered", ("sitters",), 2.0),
        ("ordered", ("number",), 0),
        ("ordered", ("price",), 1800.0),
        ("ordered", ("ticket",), "T 1"),
        ("ordered", ("ticket",), "T_1"),
        ("ordered", ("ticket",), "x" * 33),
        ("walked_away", ("sitters",), 0),
        ("promised", ("confidence",), 0),
        ("promised", ("confidence",), 1),
        ("paused", ("why",), "photo"),
        ("held", ("why",), "break"),
        ("cancelled", ("why",), "other"),
        ("paid", ("how",), "cheque"),
        ("paid", ("amount",), 1.5),
        ("paid", ("amount",), 10**30),
        ("finished", ("rack",), "x" * 33),
    ],
)
def test_a_value_outside_its_range_is_refused_by_name(kind: str, at: Path, value: object):
    assert refusal(a_line(kind, with_value(GOOD[kind], at, value))).field == dotted(at)


@pytest.mark.parametrize(
    ("at", "value", "said"),
    [
        (("turnaround", "quick_s"), 71, "must not fall"),
        ((*STAGE, "slow_s"), 99, "must not fall"),
        (("artists", 0, "styles"), ["oil"], '"oil", which is no style here'),
        (("artists",), [GOOD["set_up"]["artists"][0]] * 2, '"a1" stands there twice'),
        (("styles",), [GOOD["set_up"]["styles"][0]] * 2, '"ink-head" stands there twice'),
        (("styles", 0, "stages"), [GOOD["set_up"]["styles"][0]["stages"][0]] * 2, 'the stage "layout" twice'),
    ],
)
def test_a_set_up_that_contradicts_itself_is_refused(at: Path, value: object, said: str):
    wrong = refusal(a_line("set_up", with_value(GOOD["set_up"], at, value)))

    assert said in str(wrong)


def test_a_break_that_ends_before_it_begins_is_refused():
    data = with_value(GOOD["day_opened"], ("breaks", 0, "to"), "2026-06-06T12:00:00.000Z")

    assert "must end after it begins" in str(refusal(a_line("day_opened", data)))


def test_a_break_is_only_known_by_the_journals_own_names():
    data = {**GOOD["day_opened"], "breaks": [{"artist": "a1", "begins_at": AT, "ends_at": "2026-06-06T09:30:00.000Z"}]}

    assert refusal(a_line("day_opened", data)).field == "data.breaks.0.from"


@pytest.mark.parametrize("number", ["60", "60.0", "0.1", "59.999", "1e-07", "31622400", "12345.678901"])
def test_a_number_keeps_the_form_it_came_in(number: str):
    line = a_line("set_up").replace('"quick_s":40,', f'"quick_s":{number},')
    line = line.replace('"usual_s":70,"slow_s":150', '"usual_s":31622400,"slow_s":31622400')

    assert f'"quick_s":{number},' in print_line(parse_line(line))
    assert print_line(parse_line(line)) == line


@pytest.mark.parametrize("ago_s", ["12", "12.0", "0.25", "1e-07"])
def test_the_age_of_a_tap_keeps_its_form_and_says_when_it_was_made(ago_s: str):
    line = a_line()[:-1] + f',"ago_s":{ago_s}}}'

    event = parse_line(line)

    assert print_line(event) == line
    assert event.happened_at == event.at - timedelta(seconds=float(ago_s))


@pytest.mark.parametrize("text", ["Zoë & Ägir · «tinta» 墨", 'say "ink"\\', "a\tb", "\u2028", "🖋", "\x7f\x85"])
def test_text_is_printed_in_utf_8_as_it_is(text: str):
    line = a_line("set_up", with_value(GOOD["set_up"], ("booth", "name"), text))

    assert print_line(parse_line(line)) == line
    assert "\n" not in line


@pytest.mark.parametrize("constant", ["NaN", "Infinity", "-Infinity", "1e999", "-1e999"])
@pytest.mark.parametrize("field", ['"quick_s":40', '"confidence":0.85', '"price":1800', '"seq":1'])
def test_what_is_no_finite_number_is_refused(constant: str, field: str):
    line = a_line("set_up").replace(field, f"{field.split(':')[0]}:{constant}")

    refusal(line)


@pytest.mark.parametrize(
    ("line", "key"),
    [
        ('{"seq":1,' + a_line()[1:], "seq"),
        (a_line().replace('{"ticket":"T1"}', '{"ticket":"T1","ticket":"T1"}'), "ticket"),
        (a_line("set_up").replace('"zone":', '"zone":"UTC","zone":'), "zone"),
    ],
)
def test_a_key_that_stands_there_twice_is_refused_by_name(line: str, key: str):
    assert str(refusal(line)) == f'The key "{key}" stands there twice.'


@pytest.mark.parametrize(
    "line",
    [
        "[" * 100_000,
        '{"a":' * 100_000,
        "[" * 100_000 + "]" * 100_000,
        a_line("collected", {"ticket": "T1"}).replace('"T1"', "[" * 900 + "]" * 900),
        a_line().replace('"seq":1', '"seq":' + "9" * 5_000),
        a_line().replace('"seq":1', '"seq":' + "9" * 4_000) + "x",
    ],
    ids=["open lists", "open objects", "lists", "a deep field", "a number of 5000 digits", "rubbish behind"],
)
def test_json_that_is_too_deep_or_too_long_is_refused_calmly(line: str):
    said = str(refusal(line))

    assert len(said) < 300


@pytest.mark.parametrize(
    "line",
    [
        a_line().replace('"T1"', '"\\ud800"'),
        a_line().replace('"T1"', '"\ud800"'),
        a_line().replace('"ticket"', '"\\udfff"'),
        a_line().replace('"id"', '"\\ud800"'),
        a_line().replace('"collected"', '"\\ud800"'),
        a_line("set_up").replace("Quayside", "\\ud83d"),
    ],
)
def test_half_a_character_is_refused_in_a_sentence_that_can_be_shown(line: str):
    refusal(line)


@pytest.mark.parametrize(
    "line",
    ["", " ", "null", "1", '"x"', "[]", "{}", "{", "seq,id,at", "\ufeff" + a_line(), a_line() + "{}", "\0", "PK\3\4"],
)
def test_what_is_no_event_at_all_is_refused(line: str):
    refusal(line)


@given(st.text())
def test_any_text_is_read_or_refused_and_nothing_else(text: str):
    read_or_said(text)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.sampled_from([AT, "T1", "a1"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)


@given(kind=st.sampled_from(list(KINDS)), change=st.data())
def test_any_line_with_a_foreign_value_is_refused_or_prints_back(kind: str, change: st.DataObject):
    data = GOOD[kind]
    at = change.draw(st.sampled_from([at for at, _ in places_in(data)]))
    line = a_line(kind, with_value(data, at, change.draw(JSON)))

    event = read_or_said(line)

    if isinstance(event, Event):
        assert parse_line(print_line(event)) == event


def test_the_first_malformed_line_of_a_file_is_named_by_its_number():
    lines = iter([a_line(), a_line(seq=2), a_line(seq="3"), "rubbish"])

    with pytest.raises(RefusedLine) as caught:
        list(parse_lines(lines))

    assert caught.value.line == 3
    assert str(caught.value) == 'line 3: seq: a whole number was expected, not "3".'


def test_an_empty_line_is_refused_like_any_other_that_is_no_event():
    with pytest.raises(RefusedLine, match="line 2: A JSON object was expected"):
        list(parse_lines([a_line(), "", a_line(seq=2)]))


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (
            a_line("ordered", {**GOOD["ordered"], "sitters": 14}),
            "data.sitters: a number up to 12 was expected, not 14.",
        ),
        (
            a_line("ordered", {**GOOD["ordered"], "style": "Oil!"}),
            'data.style: 1 to 32 of a–z, 0–9 and - was expected, not "Oil!".',
        ),
        (
            a_line("held", {**GOOD["held"], "why": "rain"}),
            'data.why: "photo", "customer" or "other" was expected, not "rain".',
        ),
        (a_line("held", {"ticket": "T1"}), "data.why: this field is missing."),
        (a_line("day_closed", {"why": "rain"}), "data.why: there is no such field here."),
        (a_line(data=[]), "data: an object was expected, not a list."),
        (
            a_line(at="yesterday"),
            'at: an instant like 2026-06-06T09:00:00.000Z was expected, not "yesterday".',
        ),
        (
            a_line("finished", {"ticket": "T1", "rack": "x" * 200}),
            'data.rack: at most 32 characters were expected, not "' + "x" * 78 + "….",
        ),
        ("[1]", "An object with seq, id, at, by, kind, data was expected, not a list."),
        ('{"seq":', "A JSON object was expected, but from character 8 on it is none."),
    ],
)
def test_a_refused_line_says_plainly_what_was_expected_and_what_came(line: str, said: str):
    assert str(refusal(line)) == said


def test_a_field_with_a_name_without_end_is_named_in_short():
    with pytest.raises(Malformed) as no:
        read_data("resumed", {"ticket": "T1", "x" * 5000: 1})

    assert len(str(no.value)) < 200
    assert no.value.field.startswith("data.xxx")
