"""Moving in the queue, in words: what each place would do, who would be passed over, and the card of a better order."""

from __future__ import annotations

import html
import re
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from flask.testing import FlaskClient

from portraitq.core.commands import decide, read_command
from portraitq.core.events import Moved
from portraitq.core.passed_over import passed_over
from portraitq.forecast.sequence import FEW_MOVES, Change, Effect, Orders, Stands, Suggestion, Totals, suggest
from portraitq.house_rules import HouseRules
from portraitq.web.moving import BetterOrder, Line, Moving, better_order_card, lines_of, moving, share
from tests.builders import Told, a_booth, artist
from tests.forecast.test_schedule import a_style, set_up
from tests.web.conftest import Web
from tests.web.test_queue import standing

SCRIPT = {"X-Portraitq-Token": "x"}
NAMED = {f"T{number}": str(number) for number in range(1, 10)}
ONE_EASEL = set_up([a_style("ink-head", (600, 0.05))], [artist("a1", "ink-head")])


def places(told: Told, id: str, most: int = 2) -> Moving:
    return moving(standing(told), id, most)


def a_queue() -> Told:
    told = a_booth(ONE_EASEL).ordered("T0").started("T0")
    return told.ordered("T1", "T2", "T3", "T4")


def plain(lines: tuple[Line, ...]) -> list[str]:
    return [line.said.replace("\u00a0", " ") for line in lines]


# The places


def test_each_place_leads_where_its_words_say():
    told = a_queue()

    found = {place.said: place.command for place in places(told, "T3").places}
    queues = {
        said: [told.ticket(id).number for id in told.wants(read_command({"id": "x", **command}).data).booth.queue]
        for said, command in found.items()
        if command
    }

    assert [*found] == ["First, before 2", "Before 3", "Where it is: 3rd of 4", "Last, after 5"]
    assert queues == {"First, before 2": [4, 2, 3, 5], "Before 3": [2, 4, 3, 5], "Last, after 5": [2, 3, 5, 4]}


def test_everything_that_is_offered_is_taken():
    told = a_queue().held("T2")

    for id in told.booth.queue:
        for place in places(told, id).places:
            if place.command:
                assert decide(told.booth, read_command({"id": "x", **place.command}), told.at())


def test_what_stands_beside_a_place_is_who_comes_sooner_and_who_later():
    told = a_queue()

    first, second, here, last = places(told, "T3").places

    assert re.fullmatch(r"4 itself sooner by about \d\d min\.", plain(first.lines)[0])
    assert re.fullmatch(r"2 and 3 later by .*\d\d min\.", plain(first.lines)[1])
    assert re.fullmatch(r"3 later by about \d\d min\.", plain(second.lines)[1])
    assert (here.command, here.lines) == (None, ())
    assert re.fullmatch(r"5 sooner by about \d\d min\.", plain(last.lines)[1])


def test_what_left_the_queue_has_no_places_and_says_why():
    told = a_queue().cancelled("T2")

    assert places(told, "T2").why_not == "It is cancelled: only what waits can be moved."
    assert places(told, "T2").number == "3"
    assert places(told, "T2").places == ()


def test_a_number_of_another_day_is_not_taken_for_one_of_today():
    told = a_booth(ONE_EASEL).ordered("T1").day_closed().day_opened("2026-06-07", "09:00").ordered("T2")

    assert places(told, "T2").places[0].said == "First, before 1 of Sat"


# The sentences


def change(id: str, later_min: float, before: float | None = None, after: float | None = None) -> Change:
    return Change(id, Stands(before, 600.0, 0.0), Stands(after, 600.0 + 60 * later_min, 0.0))


def an_effect(*changes: Change) -> Effect:
    return Effect((), (), changes, Totals(0, 0), Totals(0, 0), 0.0)


@pytest.mark.parametrize(
    ("changes", "sentences"),
    [
        ([], []),
        ([change("T1", 0.4, 0.9, 0.88)], []),
        ([change("T1", 6), change("T2", 8)], ["1 and 2 later by about 7 min."]),
        ([change("T1", 6), change("T2", 12)], ["1 and 2 later by 6 min to 12 min."]),
        ([change(f"T{n}", -5) for n in (1, 2, 3, 4, 5)], ["1, 2, 3 and 2 more sooner by about 5 min."]),
        ([change("T9", -20), change("T1", 6)], ["9 itself sooner by about 20 min.", "1 later by about 6 min."]),
        ([change("T1", 0, 0.9, 0.72)], ["On time: 72 % instead of 90 % for 1."]),
        ([change("T1", 0, 0.6, 0.5)], ["On time: 50 % instead of 60 % for 1."]),
        ([change("T1", 0, 0.6, 0.49)], ["The promise of 1 falls under half: on time 49 % instead of 60 %."]),
        ([change("T1", 0, 0.4, 1.0)], ["On time: over 99 % instead of 40 % for 1."]),
        ([change("T1", 0, None, None)], []),
    ],
)
def test_an_effect_is_said_in_few_sentences_and_nothing_where_nothing_changes(changes, sentences):
    assert plain(lines_of(an_effect(*changes), "T9", NAMED)) == sentences


def test_of_many_promises_the_largest_changes_are_said():
    some = [change(f"T{n}", 0, 0.9, 0.9 - n / 20) for n in (1, 2, 3, 4, 5)]

    assert plain(lines_of(an_effect(*some), None, NAMED)) == [
        "On time: 65 % instead of 90 % for 5, 70 % instead of 90 % for 4, 75 % instead of 90 % for 3; "
        "2 more change less."
    ]


def test_only_a_promise_that_falls_under_half_warns():
    lines = lines_of(an_effect(change("T1", 6, 0.8, 0.3), change("T2", 6, 0.95, 0.6)), None, NAMED)

    assert [line.warns for line in lines] == [False, True, False]


def test_scenarios_cannot_know_a_chance_of_nothing_or_of_everything():
    assert [share(chance) for chance in (0.0, 0.004, 0.724, 0.996, 1.0)] == [
        "under 1 %",
        "under 1 %",
        "72 %",
        "over 99 %",
        "over 99 %",
    ]


# Fairness


def test_a_move_beyond_the_house_rules_says_so_and_is_offered_all_the_same():
    told = a_queue().moved("T3", "T1").moved("T4", "T1").ordered("T5")

    beyond = {place.said: [line.said for line in place.lines if line.warns] for place in places(told, "T5").places}

    assert passed_over(told.booth) == {"T3": 0, "T4": 0, "T1": 2, "T2": 2, "T5": 0}
    assert beyond["Before 2"] == [
        "2 and 3 would have had more later orders put before them than the 2 of the house rules.",
    ]
    assert beyond["Before 3"] == ["3 would have had 3 later orders put before it; the house rules say at most 2."]
    assert beyond["Where it is: 5th of 5"] == []


def test_a_move_within_the_house_rules_says_nothing_of_them():
    assert [line for place in places(a_queue(), "T4").places for line in place.lines if line.warns] == []


# The card


def a_wrong_way_round() -> Told:
    told = a_queue()
    for id in ("T1", "T2", "T3"):
        told = told.promised(id, told.at() + timedelta(hours=3), at=told.at())
    return told.promised("T4", told.at() + timedelta(minutes=35), at=told.at())


def card(told: Told, *moves: Moved, reason: str = FEW_MOVES) -> BetterOrder:
    stands = standing(told)
    effect = Orders(stands.booth, stands.pace, stands.as_of).of_moves(moves)
    found = better_order_card(stands, Suggestion(effect, reason))
    assert found is not None
    return found


def test_the_card_says_what_is_moved_why_and_what_for():
    told = a_wrong_way_round()
    by = told.ticket("T4").promise

    found = card(told, Moved(ticket="T4", before="T1"))

    assert by is not None
    assert found.moves == ("5 before 2",)
    assert found.reasons == (f"5, promised for {by.ready_by.hour + 1}:{by.ready_by:%M}, would be in time further up.",)
    assert re.fullmatch(r"Broken promises to expect of 4: 0\.\d instead of 1\.0\.", found.gain)
    assert "5 sooner by about" in plain(found.lines)[1]
    assert (found.queue, found.order, found.moved) == ("T1 T2 T3 T4", "T4 T1 T2 T3", "T4")


def test_who_is_put_further_down_has_time_or_is_late_anyhow():
    spare = a_wrong_way_round()
    late = spare.promised("T1", spare.at() + timedelta(minutes=1), at=spare.at())

    assert card(spare, Moved(ticket="T1", before=None)).reasons == ("2 has more time to spare than those behind it.",)
    assert card(late, Moved(ticket="T1", before=None)).reasons == (
        "2 will probably be late anyhow, and others wait behind it.",
    )


def test_a_suggestion_for_a_queue_that_went_on_is_no_card():
    told = a_wrong_way_round()
    stands = standing(told)
    effect = Orders(stands.booth, stands.pace, stands.as_of).of_moves([Moved(ticket="T4", before="T1")])

    assert better_order_card(standing(told.cancelled("T2")), Suggestion(effect, FEW_MOVES)) is None


# Over the web


@pytest.fixture
def counter(web: Web) -> Web:
    web.sign_in()
    return web


def in_trade(web: Web, waiting: int = 4) -> list[str]:
    """One on the easel, the last of those waiting promised for much earlier than the others; their ids."""
    drawn, *ids = [web.order() for _ in range(waiting + 1)]
    web.do("started", by="easel:a1", ticket=drawn, artist="a1")
    stands = web.desk.standing(wait_s=10)
    for id in ids:
        at = stands.as_of + timedelta(minutes=36 if id == ids[-1] else 600)
        web.do("promised", ticket=id, ready_by=f"{at:%Y-%m-%dT%H:%M:00.000Z}", confidence=0.85)
    web.desk.standing(wait_s=10)
    return ids


def get(web: Web, way: str) -> str:
    answer = web.client.get(f"/quay/counter/{way}")
    assert answer.status_code == 200
    assert answer.headers["Cache-Control"] == "no-store"
    return html.unescape(answer.get_data(as_text=True))


def form_of(page: str) -> dict[str, str]:
    return dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', page))


def test_moving_is_for_the_booths_own_people(web: Web):
    ticket = web.order()

    for way in (f"tickets/{ticket}/move", "better-order"):
        assert web.client.get(f"/quay/counter/{way}", headers=SCRIPT).status_code == 401
    assert web.client.post("/quay/counter/better-order", headers=SCRIPT).status_code in (401, 403)


def test_the_places_are_a_part_of_the_sheet_or_a_page_of_their_own(counter: Web):
    ids = in_trade(counter)

    part, page = (get(counter, f"tickets/{ids[1]}/move{query}") for query in ("?sheet=1", ""))

    assert "<html" not in part
    assert part in page
    assert re.findall(r'class="button place__go"[^>]*>([^<]+)<', part) == [
        "First, before 2",
        "Before 5",
        "Last, after 5",
    ]


def test_a_place_that_does_nothing_to_anybody_says_so(counter: Web):
    ids = in_trade(counter, waiting=2)
    for id in ids:
        counter.do("held", ticket=id, why="photo")  # neither has a time that a move could change

    part = get(counter, f"tickets/{ids[0]}/move?sheet=1")

    beside = re.findall(r'<div class="place__does"[^>]*>(.*?)</div>', part, re.DOTALL)
    assert ["Hardly changes anything for anybody." in one for one in beside] == [True]


def test_the_house_rules_of_the_booth_decide_who_is_passed_over_too_often(counter: Web):
    ids = in_trade(counter)
    usual = get(counter, f"tickets/{ids[1]}/move?sheet=1")

    counter.desk.change_house_rules(HouseRules(passed_over_most=0))

    assert "house rules" not in usual
    assert "2 would have had 1 later order put before it; the house rules say at most 0." in get(
        counter, f"tickets/{ids[1]}/move?sheet=1"
    )


def test_a_ticket_that_nobody_knows_has_no_places(counter: Web):
    assert counter.client.get("/quay/counter/tickets/T99/move", headers=SCRIPT).status_code == 404


def test_a_suggestion_is_shown_and_nothing_is_moved_until_somebody_says_so(counter: Web):
    ids = in_trade(counter)

    seen = get(counter, "better-order?sheet=1")

    assert "A better order: 5 before 2?" in seen
    assert counter.desk.standing().booth.queue == tuple(ids)


def test_doing_it_makes_each_move_once_however_often_it_is_sent(counter: Web):
    ids = in_trade(counter)
    form = form_of(get(counter, "better-order?sheet=1"))
    seq = counter.desk.standing().seq

    answers = [counter.client.post("/quay/counter/better-order", data=form).status_code for _ in range(2)]

    booth = counter.desk.standing(wait_s=10).booth
    assert answers == [303, 303]
    assert booth.queue == (ids[-1], *ids[:-1])
    assert booth.seq == seq + 1
    assert "better__title" not in get(counter, "better-order?sheet=1")


def test_two_counters_that_do_it_at_once_make_one_order_of_it(counter: Web):
    ids = in_trade(counter)
    wanted = (ids[3], ids[2], ids[0], ids[1])  # two moves
    form = {**form_of(get(counter, "better-order?sheet=1")), "order": " ".join(wanted), "moved": " ".join(ids[2:])}
    clients = [counter.app.test_client() for _ in range(2)]
    for client in clients:
        counter.sign_in(client)
    seq, both = counter.desk.standing().seq, threading.Barrier(2)

    def press(client: FlaskClient, id: str) -> int:
        device = {"X-Portraitq-Token": counter.token(client)}
        both.wait()
        return client.post("/quay/counter/better-order", data={**form, "id": id}, headers=device).status_code

    with ThreadPoolExecutor() as pool:
        answers = list(pool.map(press, clients, ("one", "two")))

    booth = counter.desk.standing(wait_s=10).booth
    assert answers == [200, 200]
    assert (booth.queue, booth.seq) == (wanted, seq + 2)


def test_a_suggestion_is_sought_once_however_many_tablets_ask_at_once(counter: Web, monkeypatch: pytest.MonkeyPatch):
    in_trade(counter)
    sought, clients = [], [counter.app.test_client() for _ in range(3)]
    for client in clients:
        counter.sign_in(client)

    def slowly(*asked: object) -> Suggestion | None:
        sought.append(asked)
        time.sleep(0.05)
        return suggest(*asked)

    monkeypatch.setattr("portraitq.web.moving.suggest", slowly)
    with ThreadPoolExecutor() as pool:
        pages = list(pool.map(lambda client: client.get("/quay/counter/better-order?sheet=1").status_code, clients))

    assert pages == [200, 200, 200]
    assert len(sought) == 1


def test_a_suggestion_for_a_queue_that_has_changed_is_refused_and_moves_nothing(counter: Web):
    ids = in_trade(counter)
    form = form_of(get(counter, "better-order?sheet=1"))
    counter.do("cancelled", ticket=ids[0], why="customer")

    answer = counter.client.post("/quay/counter/better-order", data=form, headers={"Accept": "application/json"})

    assert answer.status_code == 409
    assert answer.get_json()["detail"].startswith("The queue has changed")
    assert counter.desk.standing(wait_s=10).booth.queue == tuple(ids[1:])


def test_what_is_no_order_of_the_queue_is_malformed(counter: Web):
    in_trade(counter)
    form = form_of(get(counter, "better-order?sheet=1"))

    for order in ("", "T2", "T2 T3 T9"):
        sent = {**form, "order": order}
        answer = counter.client.post("/quay/counter/better-order", data=sent, headers={"Accept": "application/json"})
        assert answer.status_code == 422, order


def test_where_the_queue_stands_well_the_card_is_empty_and_the_page_says_so(counter: Web):
    counter.order()

    assert get(counter, "better-order?sheet=1").strip() == ""
    assert "The queue stands well" in get(counter, "better-order")
