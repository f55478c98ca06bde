"""Codes that are none: the same answer for all of them, and a wait for whoever sends many."""

from __future__ import annotations

import pytest
from werkzeug.test import TestResponse

from portraitq.ticket.codes import new_code
from portraitq.web import codes_typed
from portraitq.web.codes_typed import FREE_GUESSES, NO_SUCH
from tests.web.conftest import Web, with_nobody_in

HTML = ("/t/{}", "/T/{}", "/t/{}/alarm.ics", "/t?code={}")
API = "/api/v1/tickets/{}"
GUESSES = ["ABCDE-FGHJK-MNP1", "x", "00000000000011", "%F0%9F%8E%A8", "0" * 60, "Ω" * 14]


@pytest.fixture
def web(booth_of_all: Web) -> Web:
    return with_nobody_in(booth_of_all)


def told(answer: TestResponse) -> tuple[object, ...]:
    """All that a guesser can tell by."""
    page = answer.get_data(as_text=True)
    return answer.status_code, answer.content_type, NO_SUCH in page


@pytest.mark.parametrize("way", HTML)
def test_a_code_that_never_was_and_one_that_cannot_be_are_answered_alike(web: Web, way: str):
    never = told(web.client.get(way.format(new_code())))

    answers = {told(web.client.get(way.format(guess))) for guess in GUESSES}

    assert answers == {never}
    assert never[::2] == (404, True)


def test_over_the_api_the_whole_answer_is_the_same(web: Web):
    answers = {web.client.get(API.format(guess)).get_data() for guess in [*GUESSES, new_code()]}

    assert len(answers) == 1
    assert NO_SUCH.encode() in answers.pop()


def test_what_cannot_be_a_code_is_looked_up_all_the_same(web: Web, monkeypatch: pytest.MonkeyPatch):
    """So that the work done tells nothing either."""
    asked: list[str] = []
    by_code = web.desks.by_code
    monkeypatch.setattr(web.desks, "by_code", lambda code: (asked.append(code), by_code(code))[1])

    web.client.get(API.format("x"))
    web.client.get(API.format(new_code()))

    assert [len(code) for code in asked] == [14, 14]


def test_who_sends_many_codes_that_are_none_is_told_to_wait_by_every_way(web: Web):
    """OWASP ASVS 5.0, 6.6.3 (codes of less than 64 bits); RFC 6585, §4; RFC 9110, §10.2.3 (Retry-After)."""
    for _ in range(FREE_GUESSES):
        assert web.client.get(API.format(new_code())).status_code == 404

    answers = [web.client.get(way.format(new_code())) for way in (*HTML, API)]

    assert {answer.status_code for answer in answers} == {429}
    assert all(1 <= int(answer.headers["Retry-After"]) <= codes_typed.LONGEST_WAIT_S for answer in answers)
    assert "Wait" in answers[-1].json["detail"]


def test_a_customer_with_a_right_code_never_waits(web: Web):
    code = web.code(web.order())
    for _ in range(FREE_GUESSES + 5):
        web.client.get(API.format(new_code()))

    answers = [web.client.get(way.format(code)) for way in (*HTML[:2], API)]

    assert {answer.status_code for answer in answers} == {200}


def test_an_erased_ticket_is_found_by_its_holder_and_says_nothing_of_them(web: Web):
    ticket = web.order()
    code = web.code(ticket)
    web.do("erased", ticket=ticket)

    assert web.client.get(API.format(code)).status_code == 200


def test_guesses_from_many_addresses_end_too_and_customers_go_on(web: Web):
    code = web.code(web.order())
    for n in range(codes_typed.IN_ALL_PER_HOUR):
        web.app.extensions["portraitq-code-guesses"].take(f"address {n}")

    fresh = {"REMOTE_ADDR": "192.168.4.77"}

    assert web.client.get(API.format(new_code()), environ_base=fresh).status_code == 429
    assert web.client.get(API.format(code), environ_base=fresh).status_code == 200


def test_the_booths_own_people_mistype_without_a_wait(web: Web):
    key = web.key()

    answers = {web.client.get(API.format("x"), headers=key).status_code for _ in range(FREE_GUESSES + 5)}

    assert answers == {404}
