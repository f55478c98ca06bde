"""Who belongs to the booth, and how the door is kept."""

from __future__ import annotations

import secrets
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from portraitq import passphrase
from portraitq.core.errors import Malformed
from portraitq.core.events import print_data
from portraitq.store import devices
from portraitq.web.staff import REST, local_path
from portraitq.web.wrong_guesses import FREE_GUESSES, IN_A_ROW
from tests.web.conftest import PASSPHRASE, Web, with_nobody_in

COMMANDS = "/api/v1/booths/quay/commands"
WALKED = {"id": "w1", "kind": "walked_away", "data": {"style": None, "sitters": 1, "ready_by": None}}


@pytest.fixture
def web(booth_of_all: Web) -> Web:
    return with_nobody_in(booth_of_all)


def cookie_of(client: FlaskClient, web: Web) -> str:
    found = client.get_cookie(web.app.config["SESSION_COOKIE_NAME"])
    return found.value if found else ""


def test_a_staff_page_asks_to_sign_in_and_then_goes_where_one_wanted(web: Web):
    sent = web.client.get("/quay/counter?x=1")
    signed = web.client.post("/sign-in", data={"passphrase": PASSPHRASE, "next": "/quay/counter?x=1"})

    assert (sent.status_code, sent.headers["Location"]) == (303, "/sign-in?next=/quay/counter?x%3D1")
    assert (signed.status_code, signed.headers["Location"]) == (303, "/quay/counter?x=1")
    assert web.client.get("/quay/counter").status_code == 200


def test_a_staff_call_without_sign_in_is_401_and_says_how(web: Web):
    answer = web.client.post(COMMANDS, json=WALKED)

    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"].startswith("Bearer")
    assert "Sign in" in answer.json["detail"]


def test_a_wrong_passphrase_lets_nobody_in(web: Web):
    answer = web.client.post("/sign-in", data={"passphrase": PASSPHRASE + "!"})

    assert answer.status_code == 401
    assert "not the booth" in answer.get_data(as_text=True)
    assert web.client.get("/quay/counter").status_code == 303


def test_a_passphrase_may_be_pasted_with_blanks_around_it(web: Web):
    answer = web.client.post("/sign-in", data={"passphrase": f"  {PASSPHRASE}\n"})

    assert answer.status_code == 303


def test_the_sign_in_page_lets_password_managers_help(web: Web):
    """WCAG 2.2 SC 3.3.8: no memory test; NIST SP 800-63B rev. 4, §3.1.1.2: pasting, and showing what is typed.

    OWASP ASVS 5.0: 6.2.6 (masked, may be shown), 6.2.7 (paste, password managers).
    """
    page = web.client.get("/sign-in").get_data(as_text=True)

    assert 'type="password"' in page
    assert 'autocomplete="current-password"' in page
    assert "data-show-typed" in page
    assert "onpaste" not in page


def test_the_cookie_is_for_this_site_and_for_no_script(web: Web):
    """OWASP ASVS 5.0: 3.3.2 (SameSite), 3.3.4 (HttpOnly); from memory. Secure under https: 3.3.1."""
    made = web.sign_in().headers["Set-Cookie"]

    assert "HttpOnly" in made
    assert "SameSite=Lax" in made
    assert "Path=/" in made


def test_every_sign_in_begins_a_new_session(web: Web):
    """OWASP ASVS 5.0, 7.2.4: a new token at each sign-in, and the one of before is over."""
    web.sign_in()
    before, token = cookie_of(web.client, web), web.token()
    old = web.app.test_client()
    old.set_cookie(web.app.config["SESSION_COOKIE_NAME"], before)

    web.client.post("/sign-in", data={"passphrase": PASSPHRASE})

    assert cookie_of(web.client, web) != before
    assert web.token() != token
    assert old.get("/quay/counter").status_code == 303


def test_a_cookie_is_dead_after_sign_out_even_for_who_copied_it(web: Web):
    web.sign_in()
    copied, token = cookie_of(web.client, web), web.token()
    thief = web.app.test_client()
    thief.set_cookie(web.app.config["SESSION_COOKIE_NAME"], copied)
    assert thief.get("/quay/counter").status_code == 200

    out = web.client.post("/sign-out", data={"token": token})

    assert out.status_code == 303
    assert thief.get("/quay/counter").status_code == 303
    assert web.client.get("/quay/counter").status_code == 303


def test_a_new_passphrase_ends_every_session(web: Web):
    web.sign_in()

    passphrase.set_passphrase(web.desks.store, "another-one-now")

    assert web.client.get("/quay/counter").status_code == 303


def test_a_session_rests_half_a_day_and_no_longer(web: Web, monkeypatch: pytest.MonkeyPatch):
    web.sign_in()
    serializer = web.app.session_interface.get_signing_serializer(web.app)  # type: ignore[attr-defined]
    now_s = serializer.loads(cookie_of(web.client, web), return_timestamp=True)[1].timestamp()

    monkeypatch.setattr("itsdangerous.timed.time.time", lambda: now_s + REST.total_seconds() + 1)

    assert timedelta(hours=12) == REST
    assert web.client.get("/quay/counter").status_code == 303


def test_a_session_that_is_used_every_day_is_over_after_a_month(web: Web, monkeypatch: pytest.MonkeyPatch):
    """OWASP ASVS 5.0, 7.3.2; NIST SP 800-63B rev. 4, §2.1.3 (from memory): at least once in 30 days."""
    web.sign_in()
    now_s, answers = time.time(), []

    for hours in range(0, 31 * 24, 11):
        monkeypatch.setattr("time.time", lambda now_s=now_s + hours * 3600: now_s)
        answers.append((hours, web.client.get("/devices/pairings/none").status_code))

    assert {status for hours, status in answers if hours <= 30 * 24} == {200}
    assert {status for hours, status in answers if hours > 30 * 24} == {303}


def test_a_request_from_a_foreign_page_changes_nothing(web: Web):
    web.sign_in()
    before = web.desk.standing().seq

    without = web.client.post(COMMANDS, json=WALKED)
    wrong = web.client.post(COMMANDS, json=WALKED, headers={"X-Portraitq-Token": "x"})

    assert (without.status_code, wrong.status_code) == (403, 403)
    assert web.desk.standing().seq == before


def test_a_request_from_our_own_page_carries_its_token(web: Web):
    web.sign_in()

    answer = web.client.post(COMMANDS, json=WALKED, headers={"X-Portraitq-Token": web.token()})

    assert answer.status_code == 200


@pytest.mark.parametrize(
    "said",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},  # another port of this computer is another program
        {"Origin": "http://evil.example"},
        {"Origin": "http://localhost:9999"},
    ],
)
def test_a_form_on_another_site_neither_signs_in_nor_changes_anything(web: Web, said: dict[str, str]):
    """OWASP ASVS 5.0, 3.5.1 (from memory). Browsers send Sec-Fetch-Site only where a connection can be trusted."""
    sign_in = web.client.post("/sign-in", data={"passphrase": PASSPHRASE}, headers=said)
    web.sign_in()

    with_token = web.client.post(COMMANDS, json=WALKED, headers={"X-Portraitq-Token": web.token(), **said})

    assert (sign_in.status_code, with_token.status_code) == (403, 403)


@pytest.mark.parametrize(
    "said", [{"Origin": "http://localhost"}, {"Origin": "null"}, {"Sec-Fetch-Site": "same-origin"}]
)
def test_our_own_form_signs_in_whatever_the_browser_tells_of_it(web: Web, said: dict[str, str]):
    assert web.client.post("/sign-in", data={"passphrase": PASSPHRASE}, headers=said).status_code == 303


def test_a_session_without_a_token_changes_nothing(web: Web):
    """A token that is empty on both sides is none."""
    web.sign_in()
    with web.client.session_transaction() as session:
        session["token"] = ""

    answer = web.client.post(COMMANDS, json=WALKED, headers={"X-Portraitq-Token": ""})

    assert answer.status_code == 403


def command(kind: str, **data: Any) -> dict[str, Any]:
    return {"id": secrets.token_hex(8), "kind": kind, "data": data}


def set_up_again(web: Web) -> dict[str, Any]:
    before = web.desk.standing().booth.set_up
    assert before is not None
    return command("set_up", **print_data(before))


def test_staff_take_and_give_back_money_and_neither_set_up_nor_erase(web: Web):
    ticket, staff = web.order(), web.key(devices.STAFF)
    seq = web.desk.standing().seq

    owners = (set_up_again(web), command("erased", ticket=ticket))
    refused = [web.client.post(COMMANDS, json=one, headers=staff) for one in owners]

    assert [answer.status_code for answer in refused] == [403, 403]
    assert {answer.content_type for answer in refused} == {"application/problem+json"}  # RFC 9457
    assert "owner" in refused[0].json["detail"]
    assert web.desk.standing().seq == seq
    money = [command("paid", ticket=ticket, amount=amount, how="cash") for amount in (100, -100)]
    assert [web.client.post(COMMANDS, json=one, headers=staff).status_code for one in money] == [200, 200]


def test_staff_close_the_day_at_the_counter_and_open_another(fresh_web: Web):
    staff = fresh_web.key(devices.STAFF)

    closed = fresh_web.client.post(COMMANDS, json=command("day_closed"), headers=staff)

    assert closed.status_code == 200
    assert fresh_web.client.get("/quay/counter/day", headers=staff).status_code == 200


def test_an_owners_key_sends_every_kind(web: Web):
    ticket, owner = web.order(), web.key()

    for one in (set_up_again(web), command("erased", ticket=ticket)):
        assert web.client.post(COMMANDS, json=one, headers=owner).status_code == 200


def test_staff_see_no_way_to_the_owners_pages(web: Web):
    staff = web.key(devices.STAFF)

    pages = [
        web.client.get(path, headers=staff).get_data(as_text=True) for path in ("/", "/quay/counter", "/quay/easel")
    ]

    assert not any("/daybook" in page or '/quay/set-up"' in page or '/devices"' in page for page in pages)
    assert "/quay/counter" in pages[0]


def test_an_owners_page_tells_staff_calmly_whose_it_is_and_offers_to_sign_in(web: Web):
    answer = web.client.get("/quay/daybook?day=x", headers=web.key(devices.STAFF))

    page = answer.get_data(as_text=True)
    assert answer.status_code == 403
    assert "owner’s passphrase" in page
    assert "/sign-in?next=/quay/daybook?day%3Dx" in page


def test_a_browser_that_once_knew_the_passphrase_is_kept_out_by_no_stranger(web: Web):
    web.sign_in()
    web.client.post("/sign-out", data={"token": web.token()})
    guesses = web.app.extensions["portraitq-guesses"]
    for n in range(IN_A_ROW):
        guesses.take(f"10.0.{n // 250}.{n % 250}")

    stranger = web.app.test_client().post("/sign-in", data={"passphrase": PASSPHRASE})

    assert stranger.status_code == 429
    assert int(stranger.headers["Retry-After"]) > 3000
    assert web.sign_in().status_code == 303


def test_a_device_key_lets_in_until_it_is_withdrawn(web: Web):
    key = web.key()
    let_in = web.client.post(COMMANDS, json=WALKED, headers=key)
    with web.desks.store.writing() as conn:
        devices.withdraw(conn, devices.listed(conn)[0].id, web.desks.clock.now())

    shut_out = web.client.post(COMMANDS, json=WALKED, headers=key)

    assert (let_in.status_code, shut_out.status_code) == (200, 401)
    assert "portraitq device add" in shut_out.json["detail"]


def test_a_device_that_was_here_is_noted(web: Web):
    web.client.get("/api/v1/booths/quay/journal", headers=web.key())

    with web.desks.store.reading() as conn:
        assert devices.listed(conn)[0].seen_at is not None


def test_staff_pages_stay_in_no_cache(web: Web):
    web.sign_in()

    assert web.client.get("/quay/counter").headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize("there", ["/quay/counter", "/quay/easel/a1?x=1", "/"])
def test_the_way_back_is_kept(there: str):
    assert local_path(there) == there


@pytest.mark.parametrize(
    "there",
    [
        "//evil.example",
        "https://evil.example/",
        "/\\evil.example",
        "\\/evil.example",
        "javascript:alert(1)",
        "",
        None,
        "/\t/evil.example",
        "/x\r\nSet-Cookie: a=b",
        "evil",
        "/" + "x" * 600,
    ],
)
def test_the_way_back_leads_nowhere_else(there: str | None):
    assert local_path(there) == "/"


@pytest.mark.parametrize(
    "hopeless",
    ["aaaaaaaaaaaa", "abababababab", "12345678", "987654321", "qwertyuiop", "Password1!", "passphrase",
     "PORTRAITQ 2026", "PASSWORD password", "quay-quay-quay-quay", "Starter booth 1"],
)  # fmt: skip
def test_what_is_guessed_first_is_seen(hopeless: str):
    """NIST SP 800-63B rev. 4, §3.1.1.2 (repetitions, sequences, words of the context); OWASP ASVS 5.0, 6.2.11."""
    assert passphrase.why_hopeless(hopeless, ["quay", "Starter booth"])


def test_what_is_guessed_first_is_not_taken(web: Web):
    with pytest.raises(Malformed, match="tried first"):
        passphrase.set_passphrase(web.desks.store, "quay-quay-quay-quay")

    assert passphrase.is_right(web.desks.store, PASSPHRASE)


@pytest.mark.parametrize(
    "good", ["four odd words here", "ü" * 3 + "öäß kreide", "x7#9" * 60, "quayside at dawn", "zzz zzz 9!q"]
)
def test_any_other_words_and_signs_will_do(good: str):
    """OWASP ASVS 5.0, 6.2.5 (no composition rules), 6.2.9 (64 characters and more)."""
    assert passphrase.why_hopeless(good, ["quay"]) == ""


def test_no_passphrase_that_we_make_is_hopeless():
    assert [word for word in passphrase.WORDS if passphrase.why_hopeless("-".join([word, "chalk"] * 2))] == []


def test_a_passphrase_that_is_too_short_is_not_taken(web: Web):
    with pytest.raises(Malformed, match="15 to 256"):
        passphrase.set_passphrase(web.desks.store, "short")

    assert passphrase.is_right(web.desks.store, PASSPHRASE)


def test_the_words_of_a_new_passphrase_are_many_and_all_different():
    assert len(set(passphrase.WORDS)) == len(passphrase.WORDS) >= 128
    assert len(passphrase.new_passphrase().split("-")) == 5


def test_the_passphrase_is_nowhere_in_the_store(web: Web):
    folder = Path(str(web.desks.store.engine.url.database)).parent

    kept = b"".join(file.read_bytes() for file in folder.glob("portraitq.sqlite3*"))

    assert PASSPHRASE.encode() not in kept
    assert b"$argon2id$" in kept


def test_who_guesses_too_often_is_told_how_long_to_wait(web: Web):
    for _ in range(FREE_GUESSES):
        web.client.post("/sign-in", data={"passphrase": "wrong-wrong"})

    answer = web.client.post("/sign-in", data={"passphrase": PASSPHRASE})

    assert answer.status_code == 429
    assert int(answer.headers["Retry-After"]) >= 1
    assert "Wait" in answer.get_data(as_text=True)
