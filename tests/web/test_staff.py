"""Who belongs to the booth, and how the door is kept."""

from __future__ import annotations

from datetime import timedelta

import pytest
from flask.testing import FlaskClient

from portraitq import passphrase
from portraitq.core.errors import Malformed
from portraitq.store import devices
from portraitq.web.staff import REST, local_path
from portraitq.web.wrong_guesses import FREE_GUESSES, IN_ALL_PER_HOUR, LONGEST_WAIT_S, WrongGuesses
from tests.web.conftest import PASSPHRASE, Web

COMMANDS = "/api/v1/booths/quay/commands"
WALKED = {"id": "w1", "kind": "walked_away", "data": {"style": None, "sitters": 1, "ready_by": None}}


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
    """WCAG 2.2 SC 3.3.8: no memory test; NIST SP 800-63B §5.2.2: pasting allowed, long ones too."""
    page = web.client.get("/sign-in").get_data(as_text=True)

    assert 'autocomplete="current-password"' in page
    assert "onpaste" not in page


def test_the_cookie_is_for_this_site_and_for_no_script(web: Web):
    """OWASP ASVS 4, V3.4: HttpOnly, SameSite, Path."""
    made = web.sign_in().headers["Set-Cookie"]

    assert "HttpOnly" in made
    assert "SameSite=Lax" in made
    assert "Path=/" in made


def test_every_sign_in_begins_a_new_session(web: Web):
    """OWASP ASVS 4, 3.2.1."""
    web.sign_in()
    before = cookie_of(web.client, web), web.token()

    web.client.post("/sign-in", data={"passphrase": PASSPHRASE})
    other = web.app.test_client()
    web.sign_in(other)

    assert cookie_of(other, web) != before[0]
    assert web.token(other) != before[1]


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


def test_a_sign_in_form_on_another_site_is_refused(web: Web):
    answer = web.client.post("/sign-in", data={"passphrase": PASSPHRASE}, headers={"Sec-Fetch-Site": "cross-site"})

    assert answer.status_code == 403


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


def test_a_passphrase_that_is_too_short_is_not_taken(web: Web):
    with pytest.raises(Malformed, match="8 to 256"):
        passphrase.set_passphrase(web.desks.store, "short")

    assert passphrase.is_right(web.desks.store, PASSPHRASE)


def test_the_words_of_a_new_passphrase_are_many_and_all_different():
    assert len(set(passphrase.WORDS)) == len(passphrase.WORDS) >= 128
    assert len(passphrase.new_passphrase().split("-")) == 5


def test_the_passphrase_is_nowhere_in_the_store(web: Web, tmp_path):
    kept = b"".join(file.read_bytes() for file in tmp_path.glob("portraitq.sqlite3*"))

    assert PASSPHRASE.encode() not in kept
    assert b"$argon2id$" in kept


class Seconds:
    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


def test_a_few_slips_cost_nothing_and_then_each_costs_more():
    seconds = Seconds()
    guesses, waits = WrongGuesses(seconds), []

    for _ in range(FREE_GUESSES + 3):
        waits.append(guesses.wait_s("a"))
        seconds.now_s += waits[-1]
        guesses.was_wrong("a")
    waits.append(guesses.wait_s("a"))

    assert waits == [0] * FREE_GUESSES + [1, 2, 4, 8]


def test_the_wait_is_bounded_and_another_address_does_not_wait():
    guesses = WrongGuesses(Seconds())
    for _ in range(30):
        guesses.was_wrong("a")

    assert guesses.wait_s("a") == LONGEST_WAIT_S
    assert guesses.wait_s("b") == 0


def test_all_addresses_together_may_not_guess_more_than_a_hundred_times_an_hour():
    """OWASP ASVS 4, 2.2.1: at most 100 failures an hour on a single account."""
    seconds = Seconds()
    guesses = WrongGuesses(seconds)
    for n in range(IN_ALL_PER_HOUR):
        guesses.was_wrong(f"address {n}")
        seconds.now_s += 1

    assert guesses.wait_s("a new one") == 3600 - 100
    seconds.now_s += 3501
    assert guesses.wait_s("a new one") == 0


def test_who_guesses_too_often_is_told_how_long_to_wait(web: Web):
    for _ in range(FREE_GUESSES):
        web.client.post("/sign-in", data={"passphrase": "wrong-wrong"})

    answer = web.client.post("/sign-in", data={"passphrase": PASSPHRASE})

    assert answer.status_code == 429
    assert int(answer.headers["Retry-After"]) >= 1
    assert "Wait" in answer.get_data(as_text=True)
