"""An untidy Saturday of two artists, and the Friday before it; `test_hand_worked.py` derives every figure of it.

Clock times are UTC; the booth's clock (Lisbon in June) is an hour ahead. On Saturday

a1  |Y2, from Friday|  |T1 · counter · and a tap taken back|  |T3|        |T4, tapped at once|      |T7 · break ·|
a2                          |T2 · supplies ·|        |T2 touched up|  |T6, cancelled in hand|
    09:00                                            10:20            10:26              11:50      12:33       14:00

T5 is cancelled before its promise, T6 after it; T8 is carried over; two people ask and leave.
"""

from __future__ import annotations

from tests.builders import Told, instant

FRIDAY, SATURDAY = "2026-06-05", "2026-06-06"
NOW = instant("14:05", SATURDAY)


def friday_and_saturday() -> Told:
    """The two days, the second closed."""
    return _saturday_late(_saturday_early(_friday()))


def _friday() -> Told:
    told = Told().set_up(at=instant("14:00", FRIDAY)).day_opened(FRIDAY, opens="15:00", closes="18:00")
    told = told.artist_in("a1", at="15:00:00")
    told = (
        told.ordered("Y1", at="15:00:00").promised("Y1", "15:30:00", at="15:00:00").started("Y1", "a1", at="15:01:00")
    )
    told = told.taps("layout 15:02:30", "likeness 15:09:00", "finish 15:11:00").finished("Y1", at="15:11:00")
    told = told.paid("Y1", 1800, at="15:12:00").collected("Y1", at="15:12:00")
    told = told.ordered("Y2", at="15:20:00").promised("Y2", "18:30:00", at="15:20:00")
    told = told.paid("Y2", 2000, "card", at="15:20:00")
    return told.started("Y2", "a1", at="17:50:00").day_closed(at="18:00:00")  # and nobody stopped its clock


def _saturday_early(told: Told) -> Told:
    told = told.day_opened(SATURDAY, opens="09:00", closes="14:00", a1=("12:00", "12:30"))
    told = told.artist_in("a1", at="09:00:00").stage_done("Y2", "layout", at="09:03:40")
    told = told.ordered("T1", at="09:05:00").promised("T1", "09:30:00", at="09:05:00")
    told = told.stage_done("Y2", "likeness", at="09:10:00")
    told = told.stage_done("Y2", "finish", at="09:12:00").finished("Y2", "A1", at="09:12:00")
    told = told.started("T1", "a1", at="09:13:30").stage_done("T1", "layout", at="09:15:00")
    told = told.paused("T1", "counter", at="09:17:00").resumed("T1", at="09:18:30")
    told = told.paid("Y2", -100, "card", at="09:20:00").collected("Y2", at="09:20:00")
    told = told.ordered("T2", sitters=2, price=3000, at="09:20:00").promised("T2", "09:50:00", at="09:20:00")
    told = told.stage_done("T1", "likeness", at="09:22:00").stage_undone("T1", "likeness", at="09:22:20")
    told = told.stage_done("T1", "likeness", at="09:24:00")
    told = told.ordered("T3", style="chalk-half", price=3600, at="09:25:00").promised("T3", "10:10:00", at="09:25:00")
    told = told.stage_done("T1", "finish", at="09:26:00").finished("T1", "A2", at="09:26:00")
    told = told.started("T3", "a1", at="09:27:00").artist_in("a2", at="09:30:00").started("T2", "a2", at="09:31:00")
    told = told.stage_done("T3", "block-in", at="09:32:00").stage_done("T2", "layout", at="09:35:00")
    told = told.ordered("T4", at="09:40:00").promised("T4", "10:00:00", at="09:40:00")
    told = told.paid("T1", 2000, at="09:40:00").collected("T1", at="09:40:00").paused("T2", "supplies", at="09:40:00")
    told = told.resumed("T2", at="09:44:00").ordered("T5", at="09:50:00").promised("T5", "10:20:00", at="09:50:00")
    told = told.paid("T5", 500, "other", at="09:50:00").stage_done("T2", "likeness", at="09:52:00")
    told = told.stage_done("T3", "tone", at="09:52:00").finished("T3", "A3", at="09:52:00")
    told = told.stage_done("T2", "finish", at="09:54:00").finished("T2", "A4", at="09:54:00")
    return told.promised("T4", "10:40:00", at="09:58:00")


def _saturday_late(told: Told) -> Told:
    told = told.paid("T2", 3000, "card", at="10:00:00").collected("T2", at="10:00:00")
    told = told.ordered("T6", at="10:05:00").promised("T6", "10:30:00", at="10:05:00").paid("T6", 1800, at="10:05:00")
    told = told.paid("T3", 3600, at="10:05:00").collected("T3", at="10:05:00").started("T4", "a1", at="10:10:00")
    told = told.paid("T3", -600, at="10:15:00").paid("T5", -500, "other", at="10:15:00").cancelled("T5", at="10:15:00")
    told = told.touched_up("T2", "a2", at="10:20:00")
    told = told.taps("layout 10:20:00", "likeness 10:20:01", "finish 10:20:02", id="T4").finished("T4", at="10:20:02")
    told = told.finished("T2", "A4", at="10:24:00").collected("T2", at="10:25:00")
    told = told.started("T6", "a2", at="10:26:00").stage_done("T6", "layout", at="10:28:00")
    told = told.cancelled("T6", "no_show", at="10:45:00").walked_away(at="10:50:00")
    told = told.walked_away("chalk-half", 2, at="10:55:00")
    told = (
        told.ordered("T7", at="11:30:00").promised("T7", "12:40:00", at="11:30:00").started("T7", "a1", at="11:50:00")
    )
    told = told.stage_done("T7", "layout", at="11:52:00").paused("T7", "break", at="12:00:00")
    told = told.resumed("T7", at="12:30:00").stage_done("T7", "likeness", at="12:31:00")
    told = told.stage_done("T7", "finish", at="12:33:00").finished("T7", "A5", at="12:33:00")
    told = told.paid("T7", 1800, "card", at="12:40:00").collected("T7", at="12:40:00").artist_out("a2", at="13:00:00")
    told = told.ordered("T8", at="13:50:00").promised("T8", "14:30:00", at="13:50:00")
    return told.day_closed(at="14:00:00")
