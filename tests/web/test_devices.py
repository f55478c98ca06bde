"""The devices of the booth: paired by a tap on the tablet, listed with when they were here, shut out at once."""

from __future__ import annotations

import re
import time
from datetime import timedelta
from typing import Any

import pytest
from flask.testing import FlaskClient

from portraitq import passphrase
from portraitq.store import devices, pairings
from portraitq.store.store import StoreError
from portraitq.web import last_seen
from portraitq.web.cookie import LENT, WRITTEN_ANEW_S
from portraitq.web.devices import MAY, NO_SUCH_CODE
from portraitq.web.wrong_guesses import FREE_GUESSES
from tests.web.conftest import PASSPHRASE, Web, with_nobody_in

JOURNAL = "/api/v1/booths/quay/journal"


@pytest.fixture
def web(booth_of_all: Web) -> Web:
    return with_nobody_in(booth_of_all)


def post(web: Web, path: str, **data: str) -> Any:
    """The owner's form, with its token."""
    return web.client.post(path, data={"token": web.token(), **data})


def code_on(page: str) -> str:
    found = re.search(r'aria-label="Code ([\w-]+)"', page)
    assert found
    return found[1].replace("-", "")


def code_for(web: Web, name: str = "Easel tablet", role: str = devices.STAFF) -> str:
    """A pairing's code, as the owner is shown it."""
    web.sign_in()
    return code_on(post(web, "/devices/pair", name=name, role=role).get_data(as_text=True))


def shown(client: FlaskClient, path: str = "/devices") -> str:
    return client.get(path).get_data(as_text=True)


def test_a_tablet_is_paired_by_one_tap_and_is_then_of_the_staff(web: Web):
    code, tablet = code_for(web), web.app.test_client()

    asked = tablet.get(f"/pair/{code}").get_data(as_text=True)
    tapped = tablet.post(f"/pair/{code}")

    assert "Pair this device as Easel tablet" in asked
    assert (tapped.status_code, tapped.headers["Location"]) == (303, "/")
    assert tablet.get("/quay/counter").status_code == 200
    assert tablet.get("/quay/set-up").status_code == 403
    assert "Easel tablet" in shown(web.client)
    assert MAY[devices.STAFF] in shown(web.client)


def test_a_tablet_of_the_owner_opens_what_the_owner_opens(web: Web):
    tablet = web.app.test_client()
    tablet.post(f"/pair/{code_for(web, role=devices.OWNER)}")

    assert tablet.get("/quay/set-up").status_code == 200


def test_the_qr_leads_to_where_the_tablet_is_asked(web: Web):
    web.sign_in()

    page = post(web, "/devices/pair", name="Counter tablet", role="staff").get_data(as_text=True)

    assert f"http://192.168.4.1:8750/pair/{code_on(page)}" not in page  # it stands in the QR and is not logged as text
    assert "http://192.168.4.1:8750/pair" in page
    assert 'aria-label="QR that pairs one device"' in page


def test_a_preview_does_not_use_the_code_up_and_a_tap_does(web: Web):
    """OWASP ASVS 5.0, 6.5.1."""
    code, first, second = code_for(web), web.app.test_client(), web.app.test_client()

    for _ in range(3):
        assert web.app.test_client().get(f"/pair/{code}").status_code == 200
    answers = [first.post(f"/pair/{code}").status_code, second.post(f"/pair/{code}").status_code]

    assert answers == [303, 404]
    assert second.get("/quay/counter").status_code == 303


def test_a_code_may_be_typed_in_any_way_and_leads_to_the_same_question(web: Web):
    code = code_for(web)

    answer = web.app.test_client().get("/pair", query_string={"code": f" {code[:4].lower()} {code[4:]}"})

    assert (answer.status_code, answer.headers["Location"]) == (303, f"/pair/{code}")


def test_a_code_is_over_after_ten_minutes(web: Web):
    """OWASP ASVS 5.0, 6.5.5."""
    code = code_for(web)

    web.desks.clock.skip_to(web.desks.clock.now() + timedelta(minutes=10, seconds=1))

    answer = web.app.test_client().post(f"/pair/{code}")
    assert answer.status_code == 404
    assert NO_SUCH_CODE in answer.get_data(as_text=True)


def test_a_code_that_is_taken_back_pairs_nothing(web: Web):
    code = code_for(web)
    found = re.search(r"/devices/pairings/(\w+)/cancel", shown(web.client))
    assert found

    post(web, f"/devices/pairings/{found[1]}/cancel")

    assert web.app.test_client().post(f"/pair/{code}").status_code == 404
    assert "its code waits" not in shown(web.client)


def test_the_page_with_the_code_learns_what_became_of_it(web: Web):
    code = code_for(web)
    with web.desks.store.reading() as connection:
        (waiting,) = pairings.waiting(connection, web.desks.clock.now())
    path, states = f"/devices/pairings/{waiting.id}", list[str]()

    states.append(web.client.get(path).json["state"])
    web.app.test_client().post(f"/pair/{code}")
    states.append(web.client.get(path).json["state"])
    states.append(web.client.get("/devices/pairings/none").json["state"])

    assert states == ["waiting", "paired", "over"]


def test_wrong_codes_are_slowed_as_passphrases_are_and_keep_no_passphrase_out(web: Web):
    """OWASP ASVS 5.0, 6.6.3."""
    code, guesser = code_for(web), web.app.test_client()
    for n in range(FREE_GUESSES):
        assert guesser.get(f"/pair/0000000{n}").status_code == 404

    answers = [guesser.get(f"/pair/{code}"), guesser.post(f"/pair/{code}"), guesser.get(f"/pair?code={code}")]

    assert {answer.status_code for answer in answers} == {429}
    assert all(int(answer.headers["Retry-After"]) >= 1 for answer in answers)
    assert guesser.post("/sign-in", data={"passphrase": PASSPHRASE}).status_code == 303


@pytest.mark.parametrize(
    ("form", "field"),
    [
        ({"name": "", "role": "staff"}, "pair-name"),
        ({"name": "a\x07b", "role": "staff"}, "pair-name"),
        ({"name": "x" * 81, "role": "staff"}, "pair-name"),
        ({"name": "tablet", "role": "king"}, "pair-role"),
        ({"name": "tablet"}, "pair-role"),
    ],
)
def test_a_pairing_needs_a_name_and_a_role(web: Web, form: dict[str, str], field: str):
    web.sign_in()

    answer = post(web, "/devices/pair", **form)

    assert answer.status_code == 422
    assert "wrong" in answer.get_data(as_text=True), field


def test_a_name_with_markup_stays_text(web: Web):
    tablet = web.app.test_client()
    code = code_for(web, "<b>tablet</b> & {{ 7*7 }}")

    pages = [shown(web.client), shown(tablet, f"/pair/{code}")]

    assert all("&lt;b&gt;tablet&lt;/b&gt; &amp; {{ 7*7 }}" in page for page in pages)


def test_pairing_begins_a_new_session_and_ends_what_was_before(web: Web):
    """OWASP ASVS 5.0, 7.2.4."""
    tablet = web.app.test_client()
    web.pair(tablet, name="old name")
    cookie = web.app.config["SESSION_COOKIE_NAME"]
    copied = tablet.get_cookie(cookie)
    assert copied
    thief = web.app.test_client()
    thief.set_cookie(cookie, copied.value)
    assert thief.get("/quay/counter").status_code == 200

    web.pair(tablet, name="new name")

    assert thief.get("/quay/counter").status_code == 303
    assert tablet.get("/quay/counter").status_code == 200
    with web.desks.store.reading() as connection:
        in_use = [one.name for one in devices.listed(connection) if one.withdrawn_at is None]
    assert in_use == ["new name"]


def test_a_withdrawn_tablet_is_out_with_its_next_request(web: Web):
    """OWASP ASVS 5.0, 6.5.6 and 7.4.5."""
    tablet = web.app.test_client()
    web.pair(tablet)
    web.sign_in()
    with web.desks.store.reading() as connection:
        (device,) = devices.listed(connection)

    answer = post(web, f"/devices/{device.id}/withdraw")

    assert answer.status_code == 303
    assert tablet.get("/quay/counter").status_code == 303
    page = shown(web.client)
    assert page.index('id="gone-title"') < page.index("easel tablet")


def test_a_page_that_stands_open_learns_whether_its_tablet_was_withdrawn_and_prolongs_nothing_by_asking(
    web: Web, monkeypatch: pytest.MonkeyPatch
):
    tablet, stranger = web.app.test_client(), web.app.test_client()
    web.pair(tablet)
    web.sign_in()
    with web.desks.store.reading() as connection:
        (device,) = devices.listed(connection)
    later_s = time.time() + 2 * WRITTEN_ANEW_S
    monkeypatch.setattr("time.time", lambda: later_s)

    before = [client.get("/devices/withdrawn") for client in (tablet, web.client, stranger)]
    used = web.client.get("/devices")
    post(web, f"/devices/{device.id}/withdraw")
    after = tablet.get("/devices/withdrawn")

    assert [answer.json["is_withdrawn"] for answer in (*before, after)] == [False, False, False, True]
    assert [answer.headers.get("Set-Cookie") for answer in (*before, after)] == [None] * 4
    assert used.headers.get("Set-Cookie")


def test_a_tablet_unpairs_itself(web: Web):
    tablet = web.app.test_client()
    web.pair(tablet)

    tablet.post("/devices/unpair", data={"token": web.token(tablet)})

    assert tablet.get("/quay/counter").status_code == 303
    with web.desks.store.reading() as connection:
        assert devices.listed(connection)[0].withdrawn_at is not None


def test_an_owner_who_signs_in_on_a_tablet_leaves_it_paired(web: Web):
    tablet = web.app.test_client()
    web.pair(tablet)

    web.sign_in(tablet)
    as_owner = tablet.get("/quay/set-up").status_code
    tablet.post("/sign-out", data={"token": web.token(tablet)})

    assert as_owner == 200
    assert (tablet.get("/quay/set-up").status_code, tablet.get("/quay/counter").status_code) == (403, 200)


def test_a_sign_in_on_a_tablet_ends_by_itself_although_the_tablet_is_used_on(web: Web, monkeypatch: pytest.MonkeyPatch):
    import time

    tablet, now_s = web.app.test_client(), time.time()
    web.pair(tablet)
    web.sign_in(tablet)
    seen: dict[float, int] = {}

    for minutes in (0, 15, 29, 31, 45):
        monkeypatch.setattr("time.time", lambda minutes=minutes: now_s + 60 * minutes)
        seen[minutes] = tablet.get("/devices/pairings/none").status_code

    assert timedelta(minutes=30) == LENT
    assert seen == {0: 200, 15: 200, 29: 200, 31: 403, 45: 403}


def test_a_paired_tablet_that_rests_for_weeks_is_still_one_and_after_a_month_not(
    web: Web, monkeypatch: pytest.MonkeyPatch
):
    import time

    tablet, now_s = web.app.test_client(), time.time()
    web.pair(tablet)
    found: list[int] = []

    for days in (29, 58, 89):
        monkeypatch.setattr("time.time", lambda days=days: now_s + 86_400 * days)
        found.append(tablet.get("/quay/easel").status_code)

    assert found == [200, 200, 303]


def test_the_list_tells_to_the_minute_who_is_here(web: Web, monkeypatch: pytest.MonkeyPatch):
    tablet = web.app.test_client()
    web.pair(tablet)
    tablet.get("/quay/easel")
    web.sign_in()
    fresh = shown(web.client)
    monkeypatch.setattr(last_seen, "NOTED_EVERY_S", 0.0)

    web.desks.clock.skip_to(web.desks.clock.now() + timedelta(minutes=7))
    later = shown(web.client)
    tablet.get("/quay/easel")
    again = shown(web.client)

    assert ["here now" in page for page in (fresh, later, again)] == [True, False, True]


def test_a_device_is_not_written_down_at_each_request(web: Web):
    key, written = web.key(), list[str]()
    web.client.get(JOURNAL, headers=key)
    with web.desks.store.reading() as connection:
        written.append(devices.listed(connection)[0].seen_at or "")

    web.desks.clock.skip_to(web.desks.clock.now() + timedelta(seconds=20))
    web.client.get(JOURNAL, headers=key)

    with web.desks.store.reading() as connection:
        written.append(devices.listed(connection)[0].seen_at or "")
    assert written[0] == written[1] != ""


def test_a_store_that_cannot_be_written_keeps_no_device_out(
    web: Web, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    key = web.key()

    def full() -> None:
        raise StoreError("The disk is full.")

    monkeypatch.setattr(web.desks.store, "writing", full)

    assert web.client.get(JOURNAL, headers=key).status_code == 200
    assert "could not be written down" in caplog.text


def test_a_devices_key_is_shown_once_and_works_until_it_is_withdrawn(web: Web):
    web.sign_in()

    page = post(web, "/devices/keys", name="Pedal board", role="staff").get_data(as_text=True)

    key = re.search(r'id="device-key"[^>]*>([^<]+)<', page)
    assert key
    assert key[1] not in shown(web.client)
    stranger, header = web.app.test_client(), {"Authorization": f"Bearer {key[1]}"}
    assert stranger.get(JOURNAL, headers=header).status_code == 200
    with web.desks.store.reading() as connection:
        (device,) = devices.listed(connection)
    assert device.role == devices.STAFF
    post(web, f"/devices/{device.id}/withdraw")
    assert stranger.get(JOURNAL, headers=header).status_code == 401


def test_the_passphrase_changes_only_with_the_one_of_now_and_ends_every_other_sign_in(web: Web):
    """OWASP ASVS 5.0: 6.2.2, 6.2.3 and 7.4.3."""
    other, tablet = web.app.test_client(), web.app.test_client()
    web.sign_in(other)
    web.pair(tablet)
    web.sign_in()

    name = web.desk.standing().booth.set_up.booth.name

    wrong = post(web, "/devices/passphrase", present="guess", new="lantern-on-the-quay")
    short = post(web, "/devices/passphrase", present=PASSPHRASE, new="chalk")
    named = post(web, "/devices/passphrase", present=PASSPHRASE, new=f"{name} {name} 2026")
    right = post(web, "/devices/passphrase", present=PASSPHRASE, new="lantern-on-the-quay")

    assert [answer.status_code for answer in (wrong, short, named, right)] == [422, 422, 422, 303]
    assert "15 to 256 characters were expected, not 5." in short.get_data(as_text=True)
    assert passphrase.is_right(web.desks.store, "lantern-on-the-quay")
    assert web.client.get("/devices").status_code == 200  # who changed it is still signed in
    assert other.get("/devices").status_code == 303
    assert tablet.get("/quay/counter").status_code == 200


def test_guesses_at_the_present_passphrase_are_slowed_too(web: Web):
    web.sign_in()
    for _ in range(FREE_GUESSES):
        post(web, "/devices/passphrase", present="guess", new="lantern-on-the-quay")

    assert post(web, "/devices/passphrase", present=PASSPHRASE, new="lantern-on-the-quay").status_code == 429


def test_every_other_sign_in_can_be_ended_and_devices_go_on(web: Web):
    """OWASP ASVS 5.0, 7.4.5."""
    other, tablet = web.app.test_client(), web.app.test_client()
    web.sign_in(other)
    web.pair(tablet)
    web.sign_in()

    post(web, "/devices/sign-out-others")

    assert other.get("/devices").status_code == 303
    assert (web.client.get("/devices").status_code, tablet.get("/quay/counter").status_code) == (200, 200)
    assert passphrase.is_right(web.desks.store, PASSPHRASE)


def test_pages_with_a_code_or_key_stay_in_no_cache(web: Web):
    code = code_for(web)

    asked = web.app.test_client().get(f"/pair/{code}")
    made = post(web, "/devices/pair", name="tablet", role="staff")

    assert asked.headers["Cache-Control"] == made.headers["Cache-Control"] == "no-store"
