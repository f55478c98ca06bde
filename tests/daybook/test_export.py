"""The day's tables as CSV."""

from __future__ import annotations

import csv
import io
from zoneinfo import ZoneInfo

import pytest

from portraitq.currency import digits_of
from portraitq.daybook.export import DECIMAL_COMMA, _printed, payments_csv, stages_csv, tickets_csv, without_formula
from tests.builders import CHALK, INK_HEAD, Told, a_set_up, artist, instant
from tests.daybook.evening import quay_day
from tests.daybook.hand_worked import NOW, friday_and_saturday
from tests.daybook.test_figures import figures_of


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline="")))


def test_tables_are_in_utf_8_with_a_mark_by_which_spreadsheets_know_it():
    text = tickets_csv(figures_of(quay_day()), quay_day().booth, 2)

    assert text.encode("utf-8").startswith(b"\xef\xbb\xbfday_ordered,")


def test_fields_are_quoted_where_needed_and_lines_end_in_crlf():
    # RFC 4180 §2
    cells = ["plain", "a,b", 'say "now"', "two\r\nlines", ""]

    text = _printed(ZoneInfo("UTC"), ("n", "text"), enumerate(cells, start=1)).removeprefix("\ufeff")

    assert text == 'n,text\r\n1,plain\r\n2,"a,b"\r\n3,"say ""now"""\r\n4,"two\r\nlines"\r\n5,\r\n'
    assert [row["text"] for row in rows_of(text)] == cells


def test_where_tenths_stand_behind_a_comma_cells_are_parted_by_semicolons():
    told = friday_and_saturday()
    day = figures_of(told, NOW)

    text = payments_csv(day, told.booth, 2, DECIMAL_COMMA).removeprefix("\ufeff")

    # read as the usual one, with every comma in its place
    rows = list(csv.DictReader(io.StringIO(text, newline=""), delimiter=";"))
    assert [row["amount"] for row in rows[:2]] == ["-1,00", "20,00"]
    assert [{**row, "amount": row["amount"].replace(",", ".")} for row in rows] == rows_of(
        payments_csv(day, told.booth, 2)
    )
    assert _printed(ZoneInfo("UTC"), ("a", "b"), [("x;y", "1,5")], DECIMAL_COMMA).endswith('"x;y";1,5\r\n')


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\rx", "\nx", " =1", "＝1"])
def test_a_text_that_looks_like_a_formula_is_none(text: str):
    # OWASP, "CSV Injection"
    assert without_formula(text) == f"'{text}"


@pytest.mark.parametrize("text", ["Ink head", "T-1", "a=b", "3 + 1", ""])
def test_any_other_text_stays_as_it_is(text: str):
    assert without_formula(text) == text


def test_names_are_made_harmless_and_negative_amounts_stay_numbers():
    formula = {**INK_HEAD, "name": '=HYPERLINK("x")'}
    set_up = a_set_up([formula, CHALK], [artist("a1", "ink-head", "chalk-half"), artist("a2", "ink-head")])
    told = Told().set_up(set_up, at="08:00").day_opened().ordered("T1").paid("T1", 1800).paid("T1", -250)

    day = figures_of(told)

    assert rows_of(tickets_csv(day, told.booth, 2))[0]["style"] == '\'=HYPERLINK("x")'
    assert [row["amount"] for row in rows_of(payments_csv(day, told.booth, 2))] == ["18.00", "-2.50"]


def test_a_ticket_is_one_row_with_its_times_in_the_booths_zone():
    first = rows_of(tickets_csv(figures_of(quay_day()), quay_day().booth, 2))[0]

    assert first == {
        "day_ordered": "2026-06-06",
        "number": "1",
        "ticket": "T1",
        "style": "Ink head",
        "sitters": "1",
        "asked_for": "",
        "artist": "Easel a1",
        "place": "collected",
        "ordered_at": "2026-06-06 10:05:00",
        "started_at": "2026-06-06 10:05:30",
        "finished_at": "2026-06-06 10:16:30",
        "collected_at": "2026-06-06 10:40:00",
        "cancelled_at": "",
        "cancelled_why": "",
        "first_promise": "2026-06-06 10:30:00",
        "last_promise": "2026-06-06 10:30:00",
        "promise": "kept",
        "early_s": "810.000",
        "waiting_s": "30.000",
        "flow_s": "690.000",
        "drawn_s": "600.000",
        "price": "18.00",
        "paid": "18.00",
        "tip": "0.00",
        "currency": "EUR",
    }


def test_every_measured_time_is_a_row_those_set_aside_as_well():
    rows = rows_of(stages_csv(figures_of(quay_day()), quay_day().booth))

    summed = next(row for row in rows if row["ticket"] == "T4")
    assert len(rows) == 3 + 3 + 2 + 1 + 3
    assert (summed["stage"], summed["measured_s"]) == ("Layout + Likeness + Finish", "422.000")
    # two sitters: likeness twice 380 s
    assert next(row for row in rows if (row["ticket"], row["stage"]) == ("T2", "Likeness"))["guess_s"] == "760.000"


def test_of_every_measured_time_stands_what_it_counts_as():
    told = quay_day().day_opened("2026-06-07", opens="10:00").artist_in("a1", at=instant("10:00", "2026-06-07"))
    told = told.started("T7", "a1", at=instant("17:58", "2026-06-07")).day_closed(at=instant("18:00", "2026-06-07"))
    told = told.day_opened("2026-06-08", opens="10:00").stage_done("T7", at=instant("10:45", "2026-06-08"))
    of_first, of_last = (
        rows_of(stages_csv(figures_of(told, instant("11:00", "2026-06-08"), day), told.booth))
        for day in ("2026-06-06", "2026-06-08")
    )

    said = {
        tuple(row[name] for name in ("ticket", "trusted", "why_not", "counts_as", "at_least_s"))
        for row in (*of_first, *of_last)
        if row["ticket"] in ("T1", "T4", "T7")
    }

    assert said == {
        ("T1", "yes", "", "exact", ""),
        ("T4", "yes", "", "sum", ""),
        ("T7", "no", "the clock ran on over the night", "at least", "120.000"),
    }


@pytest.mark.parametrize(
    ("currency", "said"), [("JPY", "1850"), ("EUR", "18.50"), ("KWD", "1.850"), ("MGA", "18.50"), ("CLF", "0.1850")]
)
def test_amounts_have_the_digits_of_their_currency(currency: str, said: str):
    # ISO 4217, package iso4217; CLDR would give MGA none
    told = Told().set_up(a_set_up(currency=currency), at="08:00").day_opened().ordered("T1").paid("T1", 1850)

    row = rows_of(payments_csv(figures_of(told), told.booth, digits_of(currency)))[0]

    assert (row["amount"], row["currency"]) == (said, currency)


def test_money_says_which_days_number_it_is_for():
    told = friday_and_saturday()
    rows = rows_of(payments_csv(figures_of(told, NOW), told.booth, 2))

    assert [(row["day_ordered"], row["number"], row["amount"]) for row in rows[:2]] == [
        ("2026-06-05", "2", "-1.00"),  # Y2, ordered on Friday, got a euro back
        ("2026-06-06", "1", "20.00"),
    ]


def test_what_was_paid_above_the_price_stands_beside_it():
    told = friday_and_saturday()
    rows = rows_of(tickets_csv(figures_of(told, NOW), told.booth, 2))

    # Y2 paid 20.00 and got 1.00 back, T1 paid 20.00; T6 paid and is cancelled
    assert {row["ticket"]: row["tip"] for row in rows if row["tip"] != "0.00"} == {"Y2": "1.00", "T1": "2.00"}
