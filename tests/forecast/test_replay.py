"""Quotes out of a past journal."""

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portraitq.core.booth import import_lines
from portraitq.core.errors import RefusedLine
from portraitq.core.events import print_instant
from portraitq.forecast.learning import Learned, read_on
from portraitq.forecast.quotes import quotes_of_tickets
from portraitq.forecast.replay import COLUMNS, replay, replay_file, write_csv
from tests.builders import Told, a_booth, instant

JOURNALS = sorted((Path(__file__).parents[1] / "journals").glob("*.jsonl"))


def two_days() -> Told:
    told = a_booth().ordered("T1", "T2", "T3").drawn("T1").started("T2", "a1").started("T3", "a2")
    told = told.paused("T2").ordered("T4", style="chalk-half").resumed("T2").stages_all_done("T2").finished("T2")
    told = told.stages_all_done("T3").finished("T3").started("T4").day_closed()
    told = told.day_opened("2026-06-07").artist_in("a1").ordered("T5", "T6", at=instant("09:30", "2026-06-07"))
    return told.stages_all_done("T4").finished("T4").drawn("T5").touched_up("T5").cancelled("T6")


def test_each_order_is_quoted_once_right_after_it_was_taken():
    told = two_days()

    rows = list(replay(told.events))

    assert [row.ticket for row in rows] == ["T1", "T2", "T3", "T4", "T5", "T6"]
    assert [row.seq for row in rows] == [event.seq for event in told.events if event.kind == "ordered"]


def test_a_row_says_what_the_live_booth_would_have_said():
    told = two_days()

    for row in replay(told.events):
        learned = read_on(Learned(), told.events[: row.seq])
        live = quotes_of_tickets(learned.booth, learned.pace, row.at, [row.ticket])[row.ticket]
        assert row.quantiles == tuple(live.ready_at_quantiles.values())
        assert row.ready_by == live.promise_at


def test_a_row_tells_what_then_happened():
    rows = {row.ticket: row for row in replay(two_days().events)}

    assert rows["T5"].ready_at == two_days().ticket("T5").finished_at
    assert rows["T6"].ready_at is None


def test_after_every_line_each_unfinished_ticket_is_quoted():
    told = two_days()

    rows = list(replay(told.events, "every"))

    finished = next(event.seq for event in told.events if event.kind == "finished")
    assert [row.ticket for row in rows if row.seq == finished] == ["T2", "T3"]
    assert {row.seq for row in rows} <= {event.seq for event in told.events}


@settings(max_examples=15)
@given(cut=st.integers(1, 60))
def test_a_replay_never_looks_ahead(cut):
    events = two_days().events

    whole = [(row.seq, row.ticket, row.quantiles, row.ready_by) for row in replay(events, "every") if row.seq <= cut]
    short = [(row.seq, row.ticket, row.quantiles, row.ready_by) for row in replay(events[:cut], "every")]

    assert short == whole


def test_the_csv_is_rfc_4180_with_instants_as_the_journal_writes_them():
    told, out = two_days(), io.StringIO(newline="")

    count = write_csv(replay(told.events), out)

    text = out.getvalue()
    lines = text.split("\r\n")
    assert count == 6
    assert lines[0] == "seq,at,ticket,q05,q10,q20,q30,q40,q50,q60,q70,q80,q90,q95,ready_by,ready_at"
    assert lines[-1] == ""
    assert "\n" not in text.replace("\r\n", "")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert rows[0]["at"] == print_instant(told.ticket("T1").ordered_at)
    assert rows[-1]["ready_at"] == ""
    assert tuple(rows[0]) == COLUMNS


def test_progress_is_told_up_to_the_last_line():
    told, seen = two_days(), []

    list(replay(told.events, progress=lambda read, of: seen.append((read, of))))

    assert seen[-1] == (len(told.events), len(told.events))


@pytest.mark.parametrize("journal", JOURNALS, ids=lambda path: path.stem)
def test_every_honest_day_can_be_replayed(journal: Path):
    rows = list(replay_file(journal, "every"))

    _, events = import_lines(journal.read_text(encoding="utf-8").splitlines())
    assert rows
    assert all(row.at <= row.quantiles[0] for row in rows)
    assert all(list(row.quantiles) == sorted(row.quantiles) for row in rows)
    assert len(list(replay(events))) == sum(event.kind == "ordered" for event in events)


def test_a_file_that_contradicts_itself_is_refused_with_its_line(tmp_path: Path):
    path = tmp_path / "wrong.jsonl"
    path.write_text("\n".join([*two_days().lines[:5], "{}"]) + "\n", encoding="utf-8")

    with pytest.raises(RefusedLine, match="line 6"):
        list(replay_file(path))
