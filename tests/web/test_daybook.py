"""The day book as the booth's people see it."""

from __future__ import annotations

import csv
import io
import re

import pytest

from portraitq.core.booth import import_lines
from tests.daybook.evening import quay_day
from tests.forecast.test_pace import draw
from tests.web.conftest import Web

PAGE = "/quay/daybook"


def past(web: Web, slug: str = "past") -> str:
    """The address of the day book of a booth with the hand-worked day."""
    web.desks.import_journal(slug, quay_day().lines)
    web.sign_in()
    return f"/{slug}/daybook"


def text_of(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html.replace("\u00a0", " ")))


@pytest.mark.parametrize("path", ["", "/2026-06-06/tickets.csv", "/journal.jsonl"])
def test_nothing_of_the_day_book_is_for_strangers(web: Web, path: str):
    answer = web.client.get(PAGE + path)

    assert answer.status_code == 303
    assert "/sign-in" in answer.headers["Location"]


def test_the_first_screen_answers_the_five_questions(web: Web):
    page = text_of(web.client.get(past(web)).get_data(as_text=True))

    assert "Saturday 6 June 2026" in page
    assert "5 portraits finished" in page
    assert "10 % of 11 h 50 min spent drawing" in page  # (2822 + 1240) s of 9 h and 2 h 50 min
    assert "3 of 6 promises kept" in page  # T7, promised for 19:30 of that day, was never drawn
    assert "€101.00" in page
    assert "23 min from order to ready" in page


def test_a_figure_opens_the_tickets_behind_it(web: Web):
    address = past(web)
    front = web.client.get(address).get_data(as_text=True)
    late = re.search(r'href="(\?day=2026-06-06&amp;show=promise-late)#tickets"', front)
    assert late

    page = web.client.get(address + late[1].replace("&amp;", "&")).get_data(as_text=True)

    assert "Promises not kept: finished late (2)" in page
    assert re.findall(r'<tr id="ticket-(\w+)"', page) == ["T2", "T6"]


def test_every_link_of_the_page_leads_to_a_figure_or_a_part_that_is_there(web: Web):
    address = past(web)
    front = web.client.get(address).get_data(as_text=True)
    parts = set(re.findall(r' id="([^"]+)"', front))

    for figure in set(re.findall(r'href="\?day=[^"]*show=([^"#&]+)#tickets"', front)):
        page = web.client.get(f"{address}?show={figure}").get_data(as_text=True)
        assert "There is no such figure" not in page, figure
        assert re.search(r'<tr id="ticket-', page), figure
    for part in set(re.findall(r'href="(?:\?day=[^"#]*)?#([^"]+)"', front)):
        assert part in parts


def test_a_booth_that_never_opened_a_day_is_told_so(web: Web):
    web.desks.import_journal("fresh", quay_day().lines[:1])
    web.sign_in()

    answer = web.client.get("/fresh/daybook")

    assert answer.status_code == 200
    assert "No day has been opened yet" in answer.get_data(as_text=True)


def test_a_day_that_was_not_traded_on_is_not_there(web: Web):
    answer = web.client.get(past(web) + "?day=2026-06-05")

    assert answer.status_code == 404
    assert "did not trade on" in answer.get_data(as_text=True)


def test_the_open_day_counts_what_has_just_happened(web: Web):
    web.sign_in()
    ticket = web.order()
    web.do("paid", ticket=ticket, amount=2000, how="card")
    web.do("started", by="easel:a1", ticket=ticket, artist="a1")

    page = text_of(web.client.get(PAGE).get_data(as_text=True))

    assert "still open" in page
    assert "€20.00" in page
    assert "Pencil head study" in page


def test_times_set_aside_are_listed_with_what_counts_of_them_and_why(web: Web):
    told = quay_day().day_opened("2026-06-07", opens="09:00", a1=("12:00", "12:45"))
    told = told.artist_in("a1", "a2", at=told.booth.last_at)
    for number in range(8):
        told = draw(told, f"N{number}", 100, 380, 110)
    told = told.ordered("B1", at="11:00").started("B1", "a1", at="11:00")
    told = told.taps("layout 11:10:00", "likeness 11:10:01", "finish 11:10:02").finished("B1", at="11:10:02")
    told = told.ordered("B2", sitters=2, at="11:20").started("B2", "a1", at="11:20").stage_done("B2", at="11:20:01")
    told = told.put_back("B2", at="11:21").ordered("B3", at="11:50").started("B3", "a1", at="11:50")
    told = told.taps("layout 11:52:00", "likeness 12:50:00", "finish 12:52:00").finished("B3", at="12:52:00")
    web.desks.import_journal("aside", told.lines)
    web.sign_in()

    page = text_of(web.client.get("/aside/daybook").get_data(as_text=True))

    assert "Times set aside (3)" in page
    rows = page.partition("Times set aside (3)")[2]
    assert "Ink head Layout + Likeness + Finish Easel a1 12:10 10:02 as one sum Tapped together with others" in rows
    assert "Ink head × 2 Layout Easel a1 12:20 0:01 not at all Tapped together with the start" in rows
    assert re.search(
        r"Ink head Likeness Easel a1 13:50 58:00 as at least 8:00 "
        r"The clock ran on over a planned break \(usual: about [67]:\d\d\)",
        rows,
    )


@pytest.mark.parametrize(("table", "n"), [("tickets", 7), ("stages", 12), ("payments", 6)])
def test_a_table_goes_out_as_a_file_for_spreadsheets(web: Web, table: str, n: int):
    answer = web.client.get(f"{past(web)}/2026-06-06/{table}.csv")

    rows = list(csv.reader(io.StringIO(answer.data.decode("utf-8-sig"), newline="")))
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8; header=present"
    assert answer.headers["Content-Disposition"] == f'attachment; filename="past-2026-06-06-{table}.csv"'
    assert len(rows) == n + 1
    assert {len(row) for row in rows} == {len(rows[0])}


def test_the_journal_goes_out_as_it_came_in(web: Web):
    answer = web.client.get(f"{past(web)}/journal.jsonl")

    assert answer.get_data(as_text=True) == quay_day().text
    assert import_lines(answer.get_data(as_text=True).splitlines())[0].seq == len(quay_day().lines)


def test_nothing_personal_stands_in_the_day_book(web: Web):
    web.sign_in()
    ticket = web.order()
    web.desk.change_card(ticket, name="Zebedee", contact="555 0199", note="shy")
    day = web.desk.standing().booth.days[-1].day

    said = [
        web.client.get(path).get_data(as_text=True)
        for path in (PAGE, f"{PAGE}/journal.jsonl", *(f"{PAGE}/{day}/{table}.csv" for table in ("tickets", "payments")))
    ]

    assert not any(word in text for text in said for word in ("Zebedee", "0199", "shy"))
