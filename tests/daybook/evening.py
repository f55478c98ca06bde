"""A day at the quay worked out by hand: every figure that it must give stands in `test_figures.py`, derived beside it.

a1  |T1 · pause|  |T3      |            |T4|                        |T6|  break   |T6|
a2    |T2   · pause |
   09:00         09:30         10:00                11:55 – 12:42                    18:00
"""

from __future__ import annotations

from tests.builders import Told, instant

NOW = instant("18:05")


def quay_day() -> Told:
    """Two artists, seven orders, one closing. Clock times in UTC; the booth's zone is an hour ahead."""
    told = Told().set_up(at="08:00").day_opened(opens="09:00", closes="18:00", a1=("12:00", "12:30"))
    told = told.artist_in("a1", at="09:00:00")
    told = told.ordered("T1", at="09:05:00").promised("T1", "09:30:00", at="09:05:00").paid("T1", 1800, at="09:05:00")
    told = told.started("T1", "a1", at="09:05:30")
    told = told.ordered("T2", sitters=2, price=3000, at="09:06:00").promised("T2", "09:40:00", at="09:06:00")
    told = told.stage_done("T1", "layout", at="09:07:30").paused("T1", "counter", at="09:10:00")
    told = told.artist_in("a2", at="09:10:00").resumed("T1", at="09:11:00").started("T2", "a2", at="09:12:00")
    told = told.stage_done("T1", "likeness", at="09:14:30")
    told = told.ordered("T3", style="chalk-half", price=3600, at="09:15:00").promised("T3", "10:20:00", at="09:15:00")
    told = told.stage_done("T2", "layout", at="09:16:00")
    told = told.stage_done("T1", "finish", at="09:16:30").finished("T1", "A1", at="09:16:30")
    told = told.started("T3", "a1", at="09:18:00").stage_done("T3", "block-in", at="09:23:00")
    told = told.stage_done("T2", "likeness", at="09:30:00").paused("T2", "sitter", at="09:31:00")
    told = told.stage_done("T3", "tone", at="09:38:00").finished("T3", at="09:38:00")
    told = told.collected("T1", at="09:40:00").resumed("T2", at="09:40:30")
    told = told.stage_done("T2", "finish", at="09:42:10").finished("T2", at="09:42:10")
    told = told.paid("T3", 3600, at="09:50:00").collected("T3", at="09:50:00").paid("T3", -600, at="09:55:00")
    told = told.paid("T2", 3000, "card", at="10:00:00").collected("T2", at="10:00:00")
    told = (
        told.ordered("T4", at="10:00:00").promised("T4", "10:15:00", at="10:00:00").started("T4", "a1", at="10:01:00")
    )
    told = told.taps("layout 10:08:00", "likeness 10:08:01", "finish 10:08:02").finished("T4", at="10:08:02")
    told = (
        told.ordered("T5", at="10:10:00")
        .promised("T5", "10:30:00", at="10:10:00")
        .paid("T5", 500, "other", at="10:10:00")
    )
    told = told.cancelled("T5", at="10:20:00").walked_away(at="11:00:00")
    told = (
        told.ordered("T6", at="11:50:00").promised("T6", "12:10:00", at="11:50:00").started("T6", "a1", at="11:55:00")
    )
    told = told.stage_done("T6", "layout", at="11:57:00").put_back("T6", at="11:58:00")
    told = told.artist_out("a2", at="12:00:00").promised("T6", "12:45:00", at="12:00:00")
    told = told.started("T6", "a1", at="12:35:00").stage_done("T6", "likeness", at="12:40:00")
    told = (
        told.stage_done("T6", "finish", at="12:42:00")
        .finished("T6", at="12:42:00")
        .paid("T6", 1800, "card", at="12:42:00")
    )
    told = told.ordered("T7", style="chalk-half", price=3600, at="17:50:00").promised("T7", "18:30:00", at="17:50:00")
    return told.day_closed(at="18:00:00")
