"""Which days a line moves: those of its ticket, and no others."""

from __future__ import annotations

from pathlib import Path

import pytest

from portraitq.core.booth import import_lines
from portraitq.daybook.attendance import attendances
from portraitq.daybook.day_summary import summary_of
from portraitq.daybook.days import days_of
from portraitq.daybook.touched import moved_by, tickets_of
from tests.builders import Told

JOURNALS = sorted((Path(__file__).parents[1] / "journals").glob("*.jsonl"))


def three_days() -> Told:
    """T1 drawn and collected on the 6th; T2 ordered on the 6th, drawn on the 7th; nothing of either on the 8th."""
    told = Told().set_up(at="08:00").day_opened("2026-06-06").artist_in("a1").ordered("T1").ordered("T2")
    told = told.started("T1", "a1").stage_done("T1").stage_done("T1").stage_done("T1").finished("T1").collected("T1")
    told = told.day_closed().day_opened("2026-06-07").artist_in("a1").started("T2", "a1")
    told = told.stage_done("T2").stage_done("T2").stage_done("T2").finished("T2").day_closed()
    return told.day_opened("2026-06-08").artist_in("a1")


def moved(before: Told, after: Told) -> set[str]:
    booth = after.booth
    return set(moved_by(booth, days_of(booth), after.events[len(before.events) :]))


def test_a_late_payment_moves_the_days_of_its_ticket():
    told = three_days()

    assert moved(told, told.paid("T2", 1800)) == {"2026-06-06", "2026-06-07", "2026-06-08"}
    assert moved(told, told.paid("T1", -500)) == {"2026-06-06", "2026-06-08"}


def test_an_order_of_today_moves_today():
    told = three_days()

    assert moved(told, told.ordered("T3")) == {"2026-06-08"}


def test_a_touch_up_over_night_moves_every_day_that_it_lay_on_the_easel():
    told = three_days().touched_up("T1", "a1").day_closed().day_opened("2026-06-09").day_closed()
    told = told.day_opened("2026-06-10").artist_in("a1")

    found = moved(told, told.finished("T1"))

    assert found == {"2026-06-06", "2026-06-08", "2026-06-09", "2026-06-10"}


def test_who_left_and_is_written_down_late_moves_the_day_when_they_left():
    told = three_days()
    days_ago_s = 2 * 86400.0

    late = told.tell(told.next_event(walked_away(), ago_s=days_ago_s))

    assert "2026-06-06" in moved(told, late)
    assert moved(told, told.walked_away()) == {"2026-06-08"}


def walked_away():
    return Told().set_up().walked_away().events[-1].data


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_the_tickets_that_touch_a_day_give_the_summary_that_all_tickets_give(path: Path):
    booth, events = import_lines(path.read_text("utf-8").splitlines())
    assert booth.last_at is not None
    here, days = attendances(events), days_of(booth)

    found = tickets_of(booth, days, {day.day for day in days})

    for day in days:
        few = summary_of(booth, day, found[day.day].values(), here, booth.last_at)
        assert few == summary_of(booth, day, booth.tickets.values(), here, booth.last_at)


def test_a_closing_that_is_told_late_moves_every_day_for_it_moves_an_edge_of_them():
    told = three_days()

    late = told.tell(told.next_event(told.day_closed().events[-1].data, ago_s=60.0))

    assert moved(told, late) == {"2026-06-06", "2026-06-07", "2026-06-08"}
    assert moved(told, told.day_closed()) == {"2026-06-08"}
