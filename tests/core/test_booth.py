"""The booth as a fold of its journal: queue, easels, who is in, days, and files that are taken whole or not at all."""

import io
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from portraitq.core.booth import Booth, fold, import_lines, local_day
from portraitq.core.errors import Refused, RefusedLine
from portraitq.core.events import Artist, parse_instant, print_line
from portraitq.core.life import DRAWING, HELD, WAITING
from tests.builders import CHALK, INK_HEAD, Told, a_booth, a_journal, a_set_up, artist, instant, style

JOURNALS = sorted((Path(__file__).parents[1] / "journals").glob("*.jsonl"))


def refused(told: Told, says: str, *args: object, **how: object) -> str:
    """The sentence with which the line is refused; the booth is as it was, all of it."""
    copy = fold(Booth(), told.events)
    with pytest.raises(Refused) as caught:
        getattr(told, says)(*args, **how)
    assert told.booth == copy
    return str(caught.value)


# The queue


def test_orders_join_the_end_of_the_queue():
    assert a_booth().ordered("T1", "T2", "T3").booth.queue == ("T1", "T2", "T3")


def test_an_order_counts_from_when_it_was_tapped():
    assert a_booth().ordered("T1", at="09:10", ago_s=90).ticket("T1").ordered_at == instant("09:08:30")


def test_what_is_put_back_stands_at_the_head_and_goes_on_with_its_first_stage_not_done():
    told = a_booth().ordered("T1", "T2").started("T1").stage_done("T1")

    told = told.put_back("T1")

    assert told.booth.queue == ("T1", "T2")
    assert told.booth.easels == {}
    again = told.started("T1", "a2")
    assert again.ticket("T1").stage_in_hand == again.ticket("T1").style.stages[1]
    assert again.booth.easels == {"a2": "T1"}


def test_what_is_put_back_while_paused_can_be_begun_again():
    told = a_booth().ordered("T1", "T2").started("T2").paused("T2").put_back("T2")

    assert told.booth.queue == ("T2", "T1")
    assert told.started("T2").ticket("T2").place == DRAWING


def test_a_held_ticket_keeps_its_place_and_is_passed_over():
    told = a_booth().ordered("T1", "T2").held("T1")

    assert told.booth.queue == ("T1", "T2")
    passed_over, back = told.booth.next_for("a1"), told.released("T1").booth.next_for("a1")
    assert passed_over is not None
    assert passed_over.id == "T2"
    assert back is not None
    assert back.id == "T1"


def test_nobody_is_next_where_all_are_held():
    assert a_booth().ordered("T1").held("T1").booth.next_for("a1") is None


@pytest.mark.parametrize(
    ("id", "before", "queue"),
    [
        ("T3", "T1", ("T3", "T1", "T2")),
        ("T1", "T3", ("T2", "T1", "T3")),
        ("T1", "T2", ("T1", "T2", "T3")),
        ("T1", None, ("T2", "T3", "T1")),
        ("T3", None, ("T1", "T2", "T3")),
    ],
)
def test_a_ticket_is_moved_before_another_or_to_the_end(id: str, before: str | None, queue: tuple[str, ...]):
    assert a_booth().ordered("T1", "T2", "T3").moved(id, before).booth.queue == queue


def test_a_held_ticket_is_moved_and_moved_before_like_any_other():
    told = a_booth().ordered("T1", "T2", "T3").held("T2").held("T3")

    assert told.moved("T3", "T2").moved("T1", "T2").booth.queue == ("T3", "T1", "T2")


def test_a_ticket_is_moved_only_before_one_that_is_in_the_queue():
    told = a_booth().ordered("T1", "T2").started("T1")

    assert refused(told, "moved", "T2", "T1") == (
        'The ticket "T1" is not in the queue, so nothing can be moved before it.'
    )
    assert refused(told, "moved", "T2", "T9") == (
        'The ticket "T9" is not in the queue, so nothing can be moved before it.'
    )
    assert refused(told, "moved", "T2", "T2") == "Number 2 cannot be moved before itself."


# Easels and artists


def test_several_artists_are_next_for_what_they_draw():
    told = a_booth().ordered("T1", style="chalk-half").ordered("T2", style="ink-head")

    first, second = told.booth.next_for("a1"), told.booth.next_for("a2")

    assert first is not None
    assert first.id == "T1"
    assert second is not None
    assert second.id == "T2"


def test_an_artist_does_not_begin_a_style_that_they_do_not_draw():
    told = a_booth().ordered("T1", style="chalk-half")

    assert refused(told, "started", "T1", "a2") == '"Easel a2" does not draw "Chalk half", the style of number 1.'


def test_a_request_for_one_artist_is_kept():
    told = a_booth().ordered("T1", artist="a2").ordered("T2")

    first, second = told.booth.next_for("a1"), told.booth.next_for("a2")

    assert first is not None
    assert first.id == "T2"
    assert second is not None
    assert second.id == "T1"
    assert refused(told, "started", "T1", "a1") == 'Number 1 was asked of "Easel a2", not of "Easel a1".'


@pytest.mark.parametrize(
    "artists",
    [(artist("a1", "ink-head"),), (artist("a1", "ink-head"), artist("a2", "chalk-half"))],
    ids=["gone from the set-up", "no longer draws the style"],
)
def test_a_request_that_can_no_longer_be_kept_binds_nobody(artists: tuple[dict[str, object], ...]):
    told = a_booth().ordered("T1", artist="a2").set_up(a_set_up(artists=artists))

    next_up = told.booth.next_for("a1")

    assert next_up is not None
    assert next_up.id == "T1"
    assert told.started("T1", "a1").ticket("T1").place == DRAWING


def test_a_style_that_is_gone_from_the_set_up_binds_nobody():
    told = a_booth().ordered("T1", style="chalk-half")

    told = told.set_up(a_set_up(styles=(INK_HEAD,), artists=(artist("a1", "ink-head"), artist("a2", "ink-head"))))

    assert told.started("T1", "a2").ticket("T1").place == DRAWING


def test_one_easel_holds_one_portrait():
    told = a_booth().ordered("T1", "T2").started("T1", "a1")
    racked = a_booth().ordered("T1", "T2").drawn("T1").started("T2", "a1")

    assert refused(told, "started", "T2", "a1") == (
        'Number 1 is on the easel of "Easel a1": finish it or put it back first.'
    )
    assert refused(racked, "touched_up", "T1", "a1") == (
        'Number 2 is on the easel of "Easel a1": finish it or put it back first.'
    )
    assert told.started("T2", "a2").booth.easels == {"a1": "T1", "a2": "T2"}


def test_nobody_is_in_until_they_say_so():
    told = a_journal().set_up().day_opened().ordered("T1")

    said = '"Easel a1" is not in: say that they are before a portrait goes to their easel.'
    assert refused(told, "started", "T1", "a1") == said
    assert refused(a_booth().ordered("T1").artist_out("a1"), "started", "T1", "a1") == said


def test_a_touch_up_may_be_done_by_any_artist_who_is_in():
    told = a_booth().ordered("T1", style="chalk-half").drawn("T1").touched_up("T1", "a2")

    assert told.booth.easels == {"a2": "T1"}


def test_who_comes_in_twice_or_goes_without_having_come_is_told_so():
    told = a_booth()

    assert refused(told, "artist_in", "a1") == '"Easel a1" is in already.'
    assert refused(told.artist_out("a1"), "artist_out", "a1") == '"Easel a1" is not in, so cannot go.'
    assert refused(told, "artist_in", "a9") == '"a9" is no artist of this booth (it has a1, a2).'
    assert refused(told, "artist_out", "a9") == '"a9" is no artist of this booth (it has a1, a2).'


@pytest.mark.parametrize("leaves", ["put_back", "finished", "cancelled"])
def test_an_easel_is_free_from_the_moment_its_portrait_left(leaves: str):
    told = a_booth().ordered("T1").started("T1", "a1").stages_all_done("T1")

    told = getattr(told, leaves)("T1", at="10:00:00", ago_s=60)

    assert told.booth.free_since["a1"] == instant("09:59:00")
    assert told.booth.on_easel("a1") is None


def test_an_artist_who_comes_is_in_and_free_from_when_they_said_so():
    told = a_booth().artist_out("a1", at="10:00").artist_in("a1", at="11:00", ago_s=60)

    assert told.booth.here_since["a1"] == told.booth.free_since["a1"] == instant("10:59:00")


def test_an_artist_who_goes_leaves_the_portrait_on_the_easel():
    told = a_booth().ordered("T1").started("T1", "a1").artist_out("a1")

    ticket = told.booth.on_easel("a1")
    assert ticket is not None
    assert ticket.place == DRAWING


# Set-ups


def test_nothing_is_said_before_the_set_up():
    assert refused(a_journal(), "day_opened") == (
        "The booth has no set-up yet: set_up was expected first, not day_opened."
    )


def test_a_change_of_set_up_never_moves_the_stages_under_a_hand_that_draws():
    told = a_booth().ordered("T1", "T2", "T3", "T4").started("T1").paused("T1")
    told = told.started("T2", "a2").stage_done("T2").put_back("T2").held("T4")
    quicker = style("ink-head", (("sketch", 60, False),), price=900)

    told = told.set_up(a_set_up(styles=(quicker, CHALK)))

    stages = {id: [stage.id for stage in told.ticket(id).style.stages] for id in ("T1", "T2", "T3", "T4")}
    as_it_was = ["layout", "likeness", "finish"]
    assert stages == {"T1": as_it_was, "T2": as_it_was, "T3": ["sketch"], "T4": ["sketch"]}
    assert told.ticket("T3").price == 1800


def test_an_artist_who_is_gone_from_the_set_up_is_no_longer_in():
    told = a_booth().set_up(a_set_up(artists=(artist("a1", "ink-head"),)))

    assert set(told.booth.here_since) == {"a1"}


def test_an_order_names_a_style_and_an_artist_that_the_booth_has():
    told = a_booth()

    assert refused(told, "ordered", "T1", style="oil") == (
        '"oil" is no style of this booth (it has ink-head, chalk-half).'
    )
    assert refused(told, "ordered", "T1", artist="a9") == '"a9" is no artist of this booth (it has a1, a2).'
    assert refused(told, "ordered", "T1", style="chalk-half", artist="a2") == '"Easel a2" does not draw "Chalk half".'
    assert refused(told, "walked_away", "oil") == '"oil" is no style of this booth (it has ink-head, chalk-half).'


def test_who_walked_away_is_counted_whether_or_not_they_named_a_style():
    told = a_booth().walked_away().walked_away(None, sitters=3)

    assert [event.data for event in told.booth.walked_away] == [event.data for event in told.events[-2:]]


# Days


def test_what_is_open_carries_over_and_the_numbers_begin_again():
    told = a_booth().ordered("T1", "T2", "T3").held("T2").started("T1", "a1").stage_done("T1")
    queue, easels = told.booth.queue, told.booth.easels

    told = told.day_closed(at="18:05:00").day_opened("2026-06-07").ordered("T4")

    assert told.booth.queue == (*queue, "T4")
    assert told.booth.easels == easels
    assert (told.ticket("T4").number, told.ticket("T4").day) == (1, "2026-06-07")
    assert told.ticket("T2").place == HELD
    assert list(told.booth.open_ids) == ["T1", "T2", "T3", "T4"]


def test_closing_the_day_sends_everybody_out():
    told = a_booth().ordered("T1").day_closed().day_opened("2026-06-07")

    assert told.booth.here_since == {}
    assert told.booth.day is not None
    assert told.artist_in("a2").started("T1", "a2").ticket("T1").place == DRAWING


def test_a_day_lasts_from_its_opening_to_its_closing_also_when_they_were_written_down_late():
    opening = a_journal().set_up().day_opened().events[-1].data

    told = a_journal().set_up().says(opening, at="09:05", ago_s=300).day_closed(at="18:10", ago_s=600)

    [day] = told.booth.days
    assert (day.opened_at, day.closed_at) == (instant("09:00"), instant("18:00"))


def test_a_day_that_is_opened_again_goes_on_with_its_numbers():
    told = a_booth().ordered("T1").day_closed(at="12:00").day_opened(opens="14:00").ordered("T2")

    assert told.ticket("T2").number == 2


def test_days_are_opened_and_closed_one_after_the_other():
    told = a_booth()
    closed = told.day_closed(at="12:00")

    assert refused(told, "day_opened", "2026-06-07") == (
        "The day 2026-06-06 is still open; it must be closed before 2026-06-07 is opened."
    )
    assert refused(closed, "day_closed") == "No day is open, so none can be closed."
    assert refused(closed, "ordered", "T1") == "No day is open: open the day before taking an order."


def test_a_day_before_one_that_was_traded_is_not_opened_any_more():
    told = a_booth().day_closed().day_opened("2026-06-08").day_closed()
    early = a_journal().set_up().day_opened("2026-06-07", closes="23:00").events[-1]

    with pytest.raises(Refused, match=r"The day 2026-06-07 is before 2026-06-08, which was traded already\."):
        told.says(early.data)


def test_a_day_that_is_over_when_it_is_opened_is_refused():
    closed = a_booth().day_closed()

    assert refused(closed, "day_opened", opens="18:00", closes="18:00") == (
        "A closing time after the opening was expected, not 2026-06-06T18:00:00.000Z."
    )


def test_a_planned_break_is_of_an_artist_that_the_booth_has():
    told = a_journal().set_up()

    assert refused(told, "day_opened", a9=("12:00", "12:30")) == '"a9" is no artist of this booth (it has a1, a2).'
    with_break = told.day_opened(a2=("12:00", "12:30")).booth.day
    assert with_break is not None
    assert [planned.artist for planned in with_break.breaks] == ["a2"]


def test_numbers_are_given_out_one_by_one_and_tickets_once():
    told = a_booth().ordered("T1")
    order = told.events[-1]

    again = told.next_event(order.data)
    with pytest.raises(Refused, match=r'The ticket "T1" was ordered before\.'):
        fold(told.booth, [again])
    skipped = told.next_event(order.data.model_copy(update={"ticket": "T2", "number": 3}))
    with pytest.raises(Refused, match=r"Number 2 comes next on 2026-06-06, not 3\."):
        fold(told.booth, [skipped])


def test_the_journal_has_no_gaps_and_never_goes_back():
    told = a_booth().ordered("T1")
    line = told.next_event(told.events[2].data)

    with pytest.raises(Refused, match=r"The seq 6 was expected, not 5\."):
        fold(told.booth, [told.events[-1]])
    assert refused(told, "held", "T1", at="09:00:59.999") == (
        "An instant from 2026-06-06T09:01:00.000Z on, that of the line before, was expected, "
        "not 2026-06-06T09:00:59.999Z."
    )
    assert line.seq == 6


def test_a_fold_that_is_refused_half_way_leaves_the_booth_as_it_was():
    told = a_booth().ordered("T1", "T2")
    good = told.started("T1").stages_all_done("T1").finished("T1").collected("T1")
    copy = fold(Booth(), told.events)
    events = [*good.events[len(told.events) :], good.next_event(good.events[-1].data)]

    with pytest.raises(Refused, match="Number 1 is collected"):
        fold(told.booth, events)

    assert told.booth == copy


# checks H10, H11: Europe/Lisbon; H13: other zones (tzdata). Begin and end of the day as instants, and its hours
DAYS = [
    ("Europe/Lisbon", "2026-03-29", "2026-03-29T00:00:00.000Z", "2026-03-29T23:00:00.000Z", 23),
    ("Europe/Lisbon", "2026-10-25", "2026-10-24T23:00:00.000Z", "2026-10-26T00:00:00.000Z", 25),
    ("Europe/Lisbon", "2026-06-06", "2026-06-05T23:00:00.000Z", "2026-06-06T23:00:00.000Z", 24),
    ("Europe/Lisbon", "2027-03-28", "2027-03-28T00:00:00.000Z", "2027-03-28T23:00:00.000Z", 23),
    ("Europe/Lisbon", "2027-10-31", "2027-10-30T23:00:00.000Z", "2027-11-01T00:00:00.000Z", 25),
    ("Europe/Berlin", "2026-03-29", "2026-03-28T23:00:00.000Z", "2026-03-29T22:00:00.000Z", 23),
    ("America/New_York", "2026-03-08", "2026-03-08T05:00:00.000Z", "2026-03-09T04:00:00.000Z", 23),
    ("America/New_York", "2026-11-01", "2026-11-01T04:00:00.000Z", "2026-11-02T05:00:00.000Z", 25),
    ("Australia/Lord_Howe", "2026-04-05", "2026-04-04T13:00:00.000Z", "2026-04-05T13:30:00.000Z", 24.5),
    ("Africa/Cairo", "2026-04-24", "2026-04-23T22:00:00.000Z", "2026-04-24T21:00:00.000Z", 23),
    ("America/Santiago", "2026-09-06", "2026-09-06T04:00:00.000Z", "2026-09-07T03:00:00.000Z", 23),
    ("Asia/Tokyo", "2026-03-29", "2026-03-28T15:00:00.000Z", "2026-03-29T15:00:00.000Z", 24),
    ("Asia/Kolkata", "2026-10-25", "2026-10-24T18:30:00.000Z", "2026-10-25T18:30:00.000Z", 24),
    ("America/Sao_Paulo", "2026-10-18", "2026-10-18T03:00:00.000Z", "2026-10-19T03:00:00.000Z", 24),
    ("UTC", "2026-12-31", "2026-12-31T00:00:00.000Z", "2027-01-01T00:00:00.000Z", 24),
    # tzdata: clocks that go back over midnight, that jumped from 23:30 to 00:30, and a day that a country left out
    ("Atlantic/Azores", "2026-10-25", "2026-10-25T00:00:00.000Z", "2026-10-26T01:00:00.000Z", 25),
    ("America/Toronto", "1919-03-31", "1919-03-31T04:30:00.000Z", "1919-04-01T04:00:00.000Z", 23.5),
    ("Pacific/Apia", "2011-12-30", "2011-12-30T10:00:00.000Z", "2011-12-30T10:00:00.000Z", 0),
]


@pytest.mark.parametrize(("zone", "day", "begins", "ends", "hours"), DAYS)
def test_a_day_begins_and_ends_with_the_clocks_of_the_booth(zone: str, day: str, begins: str, ends: str, hours: float):
    begins_at, ends_at = parse_instant(begins), parse_instant(ends)

    just_before = timedelta(milliseconds=1)
    assert ends_at - begins_at == timedelta(hours=hours)
    if hours:  # a day that a change of the date line left out has no instant at all
        assert local_day(begins_at, ZoneInfo(zone)) == day
        assert local_day(ends_at - just_before, ZoneInfo(zone)) == day
    assert local_day(begins_at - just_before, ZoneInfo(zone)) < day < local_day(ends_at, ZoneInfo(zone))


def test_both_half_past_ones_of_a_long_night_are_of_the_same_day():
    lisbon = ZoneInfo("Europe/Lisbon")  # checks H12

    both = [datetime(2026, 10, 25, hour, 30, tzinfo=UTC) for hour in (0, 1)]

    assert [at.astimezone(lisbon).strftime("%H:%M") for at in both] == ["01:30", "01:30"]
    assert {local_day(at, lisbon) for at in both} == {"2026-10-25"}


def test_a_stage_over_a_clock_change_lasts_as_long_as_it_did():
    told = a_booth(day="2026-10-25", opens="00:10", closes="03:00").ordered("T1", at="00:20").started("T1", at="00:30")

    told = told.stage_done("T1", at="01:30")

    begun, done = told.ticket("T1").history[-2:]
    assert done.happened_at - begun.happened_at == timedelta(hours=1)


def test_a_booth_without_a_set_up_reads_its_clocks_in_utc():
    assert Booth().zone == ZoneInfo("UTC")
    assert a_booth().booth.zone == ZoneInfo("Europe/Lisbon")


# Files


@pytest.mark.parametrize("journal", JOURNALS, ids=lambda path: path.name)
def test_an_honest_day_is_taken_and_printed_back_byte_by_byte(journal: Path):
    text = journal.read_bytes()

    booth, events = import_lines(io.StringIO(text.decode("utf-8"), newline="\n"))

    assert "".join(f"{print_line(event)}\n" for event in events).encode("utf-8") == text
    assert booth == fold(Booth(), events)


@pytest.mark.parametrize("journal", JOURNALS, ids=lambda path: path.name)
def test_the_readme_of_the_journals_says_what_each_is_for(journal: Path):
    readme = (journal.parent / "README.md").read_text(encoding="utf-8")

    assert f"`{journal.name}`" in readme


def test_there_are_days_to_try():
    assert len(JOURNALS) >= 5


def test_the_contracts_own_example_folds_to_a_portrait_handed_over():
    lines = (JOURNALS[0].parent / "contract-example.jsonl").read_text(encoding="utf-8").splitlines()

    booth, _ = import_lines(lines)

    ticket = booth.tickets["T1"]
    assert (ticket.place, ticket.rack, ticket.due) == ("collected", "A4", 1800)
    assert ticket.finished_at == instant("09:15:00")
    assert not booth.open_ids


@pytest.mark.parametrize(
    ("at_line", "wrong", "said"),
    [
        (7, {"kind": "stage_done", "data": {"ticket": "T2", "stage": "layout"}}, "Number 2 is waiting: it can be"),
        (7, {"kind": "held", "data": {"ticket": "T9", "why": "photo"}}, 'There is no ticket "T9".'),
        (7, {"kind": "held", "data": {"ticket": "T1"}}, "data.why: this field is missing."),
        (7, {"kind": "walked_away", "data": {"style": "oil", "sitters": 1, "ready_by": None}}, '"oil" is no style'),
        (7, {"seq": 8}, "The seq 7 was expected, not 8."),
        (7, {"seq": 6}, "The seq 7 was expected, not 6."),
        (7, {"at": "2026-06-06T08:59:00.000Z"}, "An instant from 2026-06-06T09:02:00.000Z on"),
        (7, {"id": "c1"}, 'The command "c1" stands further up already'),
        (3, {"data": {"artist": "a7"}}, '"a7" is no artist of this booth (it has a1, a2).'),
        (1, {"seq": 2}, "The seq 1 was expected, not 2."),
    ],
)
def test_a_line_that_contradicts_is_refused_by_its_number_and_nothing_is_taken(
    at_line: int, wrong: dict[str, object], said: str
):
    told = a_booth().ordered("T1", "T2").held("T1")
    lines = told.lines
    lines[at_line - 1] = json.dumps({**json.loads(lines[at_line - 1]), **wrong})

    with pytest.raises(RefusedLine) as caught:
        import_lines(lines)

    assert caught.value.line == at_line
    assert str(caught.value).startswith(f"line {at_line}: {said}")
    assert str(caught.value).endswith(".")


def test_lines_of_one_command_stand_together_and_share_its_id():
    told = a_booth().ordered("T1").started("T1").stages_all_done("T1")
    last = told.events[-1]

    together = told.finished("T1", command=last.id)

    assert import_lines(together.lines)[0] == together.booth


def test_an_empty_file_is_an_empty_booth():
    assert import_lines([]) == (Booth(), [])


def test_an_artist_is_read_with_the_styles_that_they_draw():
    set_up = a_set_up()

    assert set_up.artist("a2") == Artist(id="a2", name="Easel a2", styles=("ink-head",))
    assert set_up.artist("a9") is None
    assert a_booth().ordered("T1").ticket("T1").place == WAITING
