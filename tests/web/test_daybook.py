"""The day book as the booth's people see it."""

from __future__ import annotations

import csv
import io
import re

import pytest
from werkzeug.test import TestResponse

from portraitq.core.booth import import_lines
from portraitq.daybook.past import times_of
from portraitq.web import days_before
from tests.builders import a_booth
from tests.daybook.evening import quay_day
from tests.daybook.hand_worked import friday_and_saturday
from tests.forecast.test_pace import draw
from tests.web.conftest import Web

PAGE = "/quay/daybook"


def past(web: Web, slug: str = "past") -> str:
    """The address of the day book of a booth with the hand-worked day."""
    web.desks.import_journal(slug, quay_day().lines)
    web.sign_in()
    return f"/{slug}/daybook"


def hand_worked(web: Web, asked: str = "") -> TestResponse:
    """The page of the hand-worked Saturday and the Friday before it."""
    web.desks.import_journal("quays", friday_and_saturday().lines)
    web.sign_in()
    return web.client.get(f"/quays/daybook{asked}")


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
    assert "What did I do? Money : What did I do? 5 portraits finished, €101.00 came in" in page
    # (2822 + 1240) s of 9 h and 2 h 50 min
    assert "Where did the hours go? Easels : Where did the hours go? 10 % of 11 h 50 min spent drawing" in page
    # T7, promised for 19:30 of that day, was never drawn
    assert "Did I keep my word? Promises : Did I keep my word? 3 of 6 promises kept" in page
    assert "What should I change? Stages : What should I change? Nothing stands out" in page
    # T1 30 s, T2 09:06–09:12, T3 09:15–09:18, T4 60 s, T5 10 min, T6 11:50–11:55 and 11:58–12:35, T7 10 min: 72:30
    assert "Somebody waited for 1 h 13 min of 9 h 00 min" in page


def test_a_day_with_another_before_it_tells_of_tips_hours_margins_hands_and_the_past(web: Web):
    page = text_of(hand_worked(web).get_data(as_text=True))

    # derived in tests/daybook/test_hand_worked.py
    assert "6 portraits finished, €115.00 came in" in page
    assert "Tips in it €1.00 Given back €12.00 A portrait, on average €23.00 An hour of drawing €61.04" in page
    assert "10:00–11:00 5 4 10 min 24 min 4 31 min 38 min" in page  # p90 of 120, 510, 660, 1800: 660 + 0.7 · 1140
    assert "13:00–14:00 0 0 – – 0 – –" in page
    assert "Late by more than 15 min 1 Late by 5 to 15 min 0 Late by up to 5 min 1 On time, up to 5 min early 1" in page
    assert "Likeness (a sitter) 4 7:00 6:23–8:33 6:20 3:10–12:40 +11 % 6:30 n = 1 +8 % 1" in page
    assert "Easel a1 3 7:30 6:34–8:42 +18 % 6:30 n = 1 +15 % Easel a2 1 6:30 +3 % – –" in page
    assert "Chalk half, Easel a1" in page  # drawn by one alone, who stands beside the style
    assert "All easels together: 8 h 30 min at the easel, 22 % of it drawing" in page


BEHIND = {
    "tipped": ("Tips that came or were given back (2)", ["Y2", "T1"]),
    "refunded": ("Money given back (3)", ["Y2", "T3", "T5"]),
    "promise-late-far": ("Late by more than 15 min (1)", ["T4"]),
    "promise-early-middle": ("Early by 5 to 15 min (1)", ["T7"]),
    "hour-06T10": ("Ordered 10:00–11:00 (5)", ["T1", "T2", "T3", "T4", "T5"]),
    "easel-a2.touch-up": ("Easel a2: Touch-ups (1)", ["T2"]),
    "easels.counter": ("On all easels: Paused: at the counter (1)", ["T1"]),
    "hand-ink-head.likeness.a2": ("Measured times: Ink head, Likeness, Easel a2 (1)", ["T2"]),
    "turnaround": ("Waited already when the artist was free for them (4)", ["T1", "T3", "T4", "T6"]),
    "nonsense": ("There is no such figure (0)", []),
}


def test_each_figure_says_what_its_tickets_have_in_common(web: Web):
    hand_worked(web)
    pages = {figure: web.client.get(f"/quays/daybook?show={figure}").get_data(as_text=True) for figure in BEHIND}

    assert {
        figure: (re.findall(r'id="tickets-title">([^<]+)<', page)[0], re.findall(r'<tr id="ticket-(\w+)"', page))
        for figure, page in pages.items()
    } == BEHIND


def test_a_day_that_is_over_is_judged_once_however_often_later_days_are_looked_at(web: Web, monkeypatch):
    judged = []

    def noted(day, *rest):
        judged.append(day.day)
        return times_of(day, *rest)

    monkeypatch.setattr(days_before, "times_of", noted)

    hand_worked(web)
    web.client.get("/quays/daybook")
    web.client.get("/quays/daybook?day=2026-06-05")

    assert judged == ["2026-06-05"]


def test_on_the_page_of_an_earlier_day_nothing_is_suggested(web: Web):
    page = text_of(hand_worked(web, "?day=2026-06-05").get_data(as_text=True))

    assert "Suggestions stand on the page of the last day" in page


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


def test_a_time_far_beyond_its_limits_is_charted_and_leads_to_its_ticket(web: Web):
    told = a_booth().day_closed(at="09:05").day_opened("2026-06-07", closes="20:00")
    told = told.artist_in("a1", at=told.booth.last_at)
    for place in range(14):
        told = draw(told, f"N{place}", 100 + place % 3, 700 if place == 9 else 380 + place % 5, 110)
    web.desks.import_journal("limits", told.lines)
    web.sign_in()

    html = web.client.get("/limits/daybook").get_data(as_text=True)

    assert "1 lies beyond them" in text_of(html)
    assert '<a href="?day=2026-06-07#ticket-N9">number 10</a> 11:40' in html
    assert "limits from the 14 times of this day itself" in html
    assert 'id="plot-control-1-title"' in html


@pytest.mark.parametrize(("table", "n"), [("tickets", 7), ("stages", 12), ("payments", 6)])
def test_a_table_goes_out_as_a_file_for_spreadsheets(web: Web, table: str, n: int):
    answer = web.client.get(f"{past(web)}/2026-06-06/{table}.csv")

    rows = list(csv.reader(io.StringIO(answer.data.decode("utf-8-sig"), newline="")))
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8; header=present"
    assert answer.headers["Content-Disposition"] == f'attachment; filename="past-2026-06-06-{table}.csv"'
    assert len(rows) == n + 1
    assert {len(row) for row in rows} == {len(rows[0])}


def test_a_table_goes_out_for_spreadsheets_that_write_a_decimal_comma(web: Web):
    daybook = past(web)
    page = web.client.get(f"{daybook}?day=2026-06-06").get_data(as_text=True)
    address = re.search(r'href="([^"]*/payments\.csv\?decimal=comma)"', page)
    assert address

    answer = web.client.get(address[1])

    rows = list(csv.DictReader(io.StringIO(answer.data.decode("utf-8-sig"), newline=""), delimiter=";"))
    assert {row["amount"][-3:] for row in rows} == {",00"}
    assert web.client.get(f"{daybook}/2026-06-06/payments.csv?decimal=dot").status_code == 422


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
