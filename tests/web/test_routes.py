"""Every address × role × method, from the service's own map: who is let in, who is not, and how they are told.

The table is `scripts/routes.py`'s. OWASP ASVS 5.0: 8.2.1 (each function only for who may), 8.3.1 (decided by the
service), 3.5.1 and 3.5.3 (changes by cookie only from our own pages, and not by GET), 4.4.2 (Origin of a WebSocket);
the numbers from memory. RFC 9110: §9.3.2 (HEAD), §9.3.7 (OPTIONS), §15.5.6 (405 with Allow).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from urllib.parse import urlsplit

import pytest
import requests
from flask.testing import FlaskClient
from flask_socketio import SocketIOTestClient
from werkzeug.test import TestResponse

from portraitq.store import devices, pairings
from scripts.routes import ALWAYS, ANYBODY, DOOR, OWNER, ROUTES, STAFF, VIEWS, found_in, main, views_found
from tests.web.conftest import PASSPHRASE, ZONE, Web, jpeg, make_web, serving

CHANGES = {"POST", "PUT", "PATCH", "DELETE"}
FOREIGN = {"Origin": "http://evil.example", "Sec-Fetch-Site": "cross-site"}
# These end what asks: whoever did starts anew.
ENDS = {"/sign-out", "/devices/unpair", "/devices/sign-out-others"}
MAY = {
    "nobody": {ANYBODY, DOOR},
    "a withdrawn device": {ANYBODY, DOOR},
    "a withdrawn key": {ANYBODY, DOOR},
    "staff": {ANYBODY, DOOR, STAFF},
    "a key of the staff": {ANYBODY, DOOR, STAFF},
    "owner": {ANYBODY, DOOR, STAFF, OWNER},
    "a paired device of the owner": {ANYBODY, DOOR, STAFF, OWNER},
}
BY_COOKIE = ("staff", "owner", "a paired device of the owner")


@dataclass
class World:
    """A booth with an order, its photo, a spare device and a pairing that waits; and somebody in each role."""

    web: Web
    ticket: str
    code: str
    photo: str
    spare: str

    def path(self, rule: str) -> str:
        """An address of that rule, of something that is there wherever that costs little."""
        id = {"/<booth>/photos": self.photo, "/<booth>/counter": self.photo, "/devices/<id>": self.spare}
        words = {
            "booth": "quay",
            "ticket": self.ticket,
            "artist": "a1",
            "code": self.pairing() if rule.startswith("/pair/") else self.code,
            "photo": self.photo,
            "name": "grey",
            "day": self.web.desk.clock.now().astimezone(ZONE).date().isoformat(),
            "table": "tickets",
            "run": "none",
            "filename": "icon.svg",
            "id": next((value for start, value in id.items() if rule.startswith(start)), "none"),
        }
        return re.sub(r"<(?:[^:<>]+:)?(\w+)>", lambda found: words[found[1]], rule)

    def pairing(self) -> str:
        with self.web.desks.store.writing() as connection:
            return pairings.invite(connection, "one more", devices.STAFF, self.web.desks.clock.now())[1]

    def somebody(self, role: str) -> FlaskClient:
        """A client in that role."""
        client = self.web.app.test_client()
        if role == "owner":
            assert self.web.sign_in(client).status_code == 303
        elif role in ("staff", "a withdrawn device", "a paired device of the owner"):
            as_what = devices.OWNER if "owner" in role else devices.STAFF
            assert self.web.pair(client, as_what, role).status_code == 303
        elif "key" in role:
            key = self.web.key(devices.STAFF)["Authorization"]
            client.environ_base["HTTP_AUTHORIZATION"] = key
        if "withdrawn" in role:
            self.withdraw_last()
        return client

    def withdraw_last(self) -> None:
        with self.web.desks.store.writing() as connection:
            last = devices.listed(connection)[-1]
            for one in devices.listed(connection):
                if one.added_at == last.added_at and one.id != self.spare:
                    devices.withdraw(connection, one.id, self.web.desks.clock.now())

    def token(self, client: FlaskClient) -> str:
        """The token that this client's own pages would send."""
        with client.session_transaction() as session:
            return str(session.get("token", ""))


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    web = make_web(tmp_path_factory.mktemp("routes"))
    owner = web.key()
    sent = web.client.post(
        "/api/v1/booths/quay/orders",
        data={"order": '{"id": "o1", "style": "pencil-head", "sitters": 1}', "photo": (jpeg_file(), "a.jpg")},
        headers=owner,
    ).json
    assert sent is not None
    photo = web.desk.photo_refs([sent["ticket"]])[sent["ticket"]][0].id
    with web.desks.store.reading() as connection:
        spare = devices.listed(connection)[0].id
    yield World(web, sent["ticket"], sent["code"], photo, spare)
    web.app.extensions["portraitq-live"].close()
    web.desks.close()


def jpeg_file() -> object:
    import io

    return io.BytesIO(jpeg())


def is_let_in(answer: TestResponse) -> bool:
    """Whether it was answered by the view itself, be it with a no of its own."""
    to_sign_in = answer.status_code == 303 and urlsplit(answer.headers["Location"]).path == "/sign-in"
    assert answer.status_code < 500, answer.get_data(as_text=True)
    return answer.status_code not in (401, 403, 405) and not to_sign_in


def asked(world: World, client: FlaskClient, rule: str, method: str, headers: dict[str, str]) -> TestResponse:
    """One request. A sign-in brings the passphrase; other changes bring nothing that could be carried out."""
    if method != "POST":
        return client.open(world.path(rule), method=method, headers=headers, buffered=True)
    data = {"passphrase": PASSPHRASE if rule == "/sign-in" else "", "orders": "none", "from": "?"}
    return client.post(world.path(rule), data=data, headers=headers)


def test_each_address_of_the_service_is_classed_and_each_classed_one_is_there(world: World):
    assert found_in(world.web.app) == ROUTES.keys()
    assert views_found() == VIEWS.keys()


def test_an_address_that_nobody_classed_is_noticed(world: World):
    """The guard goes red where it must."""
    from flask import Flask

    app = Flask("other")
    app.add_url_rule("/new", "new", lambda: "", methods=["GET", "POST"])

    assert {("/new", "GET"), ("/new", "POST")} <= found_in(app) - ROUTES.keys()


@pytest.mark.parametrize("role", MAY)
def test_each_role_is_let_in_where_it_may_and_nowhere_else(world: World, role: str):
    client, wrong = world.somebody(role), list[str]()

    for rule, method, who in by_each_method(role):
        started = client if who != DOOR else world.web.app.test_client()
        token = {"X-Portraitq-Token": world.token(client)} if role in BY_COOKIE and method in CHANGES else {}
        answer = asked(world, started, rule, method, token)
        if is_let_in(answer) != (who in MAY[role]):
            wrong.append(f"{method} {rule}: {answer.status_code}")
        elif who not in MAY[role] and answer.status_code != refused_by(role, rule):
            wrong.append(f"{method} {rule}: refused by {answer.status_code}")
        if rule in ENDS and is_let_in(answer):
            client = world.somebody(role)

    assert wrong == []


def by_each_method(role: str) -> Iterator[tuple[str, str, str]]:
    """Each address with each method and who may; HEAD, which is a GET, for one of each kind of role."""
    for (rule, method), who in ROUTES.items():
        yield rule, method, who
        if method == "GET" and role in ("nobody", "staff", "owner"):
            yield rule, "HEAD", who


def refused_by(role: str, rule: str) -> int:
    """How this role is refused: staff are told whose it is, strangers are sent to sign in, programs get 401."""
    if STAFF in MAY[role]:
        return 403
    return 401 if rule.startswith("/api/") else 303


@pytest.mark.parametrize("role", BY_COOKIE)
@pytest.mark.parametrize("variant", ["without a token", "with another's token", "from another site with the token"])
def test_nothing_is_changed_by_cookie_but_from_our_own_pages(world: World, role: str, variant: str):
    client, other = world.somebody(role), world.somebody("staff")
    headers: dict[str, Callable[[], dict[str, str]]] = {
        "without a token": dict,
        "with another's token": lambda: {"X-Portraitq-Token": world.token(other)},
        "from another site with the token": lambda: {"X-Portraitq-Token": world.token(client), **FOREIGN},
    }
    changes = [(rule, who) for (rule, method), who in ROUTES.items() if method in CHANGES and who in MAY[role]]
    before = world.web.desk.standing().seq

    let_in = [rule for rule, who in changes if who != DOOR
              and asked(world, client, rule, "POST", headers[variant]()).status_code != 403]  # fmt: skip

    assert let_in == []
    assert world.web.desk.standing().seq == before


def test_no_door_opens_to_another_sites_page(world: World):
    doors = [rule for (rule, _), who in ROUTES.items() if who == DOOR]

    answers = {rule: asked(world, world.web.app.test_client(), rule, "POST", FOREIGN).status_code for rule in doors}

    assert answers == dict.fromkeys(doors, 403)


def test_nothing_that_is_only_looked_at_changes_anything(world: World):
    client, before = world.somebody("owner"), world.web.desk.standing().seq

    for (rule, method), _ in ROUTES.items():
        if method == "GET":
            client.get(world.path(rule), headers=FOREIGN, buffered=True)

    assert world.web.desk.standing().seq == before


def test_other_methods_are_refused_and_the_answer_says_which_there_are(world: World):
    client, wrong = world.somebody("nobody"), list[str]()
    rules = {rule for rule, _ in ROUTES}

    for rule in sorted(rules):
        own = {method for one, method in ROUTES if one == rule}
        own |= {"HEAD"} if "GET" in own else set()
        options = client.options(world.path(rule))
        if options.status_code != 200 or set(options.headers["Allow"].split(", ")) != own | {"OPTIONS"}:
            wrong.append(f"OPTIONS {rule}: {options.status_code} {options.headers.get('Allow')}")
        for method in sorted({"GET", "POST", "PUT", "PATCH", "DELETE", "TRACE"} - own):
            answer = client.open(world.path(rule), method=method)
            if answer.status_code != 405 or set(answer.headers["Allow"].split(", ")) != own | {"OPTIONS"}:
                wrong.append(f"{method} {rule}: {answer.status_code}")

    assert wrong == []
    assert {"HEAD", "OPTIONS"} == ALWAYS


@pytest.mark.parametrize("role", MAY)
def test_each_live_view_is_watched_by_whom_it_is_for(world: World, role: str):
    client, socketio = world.somebody(role), world.web.app.extensions["socketio"]
    key = client.environ_base.get("HTTP_AUTHORIZATION", "")
    seen: dict[str, bool] = {}

    for name in VIEWS:
        auth = {"view": name, "booth": "quay", "code": world.code}
        headers = {"Authorization": key} if key else None
        watching: SocketIOTestClient = socketio.test_client(
            world.web.app, namespace="/live", auth=auth, flask_test_client=client, headers=headers
        )
        seen[name] = watching.is_connected("/live")
        if seen[name]:
            watching.disconnect("/live")

    assert seen == {name: who in MAY[role] for name, who in VIEWS.items()}


@pytest.mark.parametrize(
    ("origin", "status"),
    [
        ("http://evil.example", 400),
        ("http://127.0.0.1:1", 400),  # another program on this computer
        ("null", 400),  # a page without an origin of its own, such as a file or a sandboxed frame
        (None, 101),  # programs send none; a browser always does
        ("own", 101),
    ],
)
def test_a_websocket_is_opened_by_our_own_pages_and_by_programs(served_here: str, origin: str | None, status: int):
    """RFC 6455, §10.2 (Origin) and §4.2.1; OWASP ASVS 5.0, 4.4.2 (from memory)."""
    handshake = {
        "Connection": "Upgrade",
        "Upgrade": "websocket",
        "Sec-WebSocket-Version": "13",
        "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",  # of RFC 6455, §1.3
        **({"Origin": served_here if origin == "own" else origin} if origin else {}),
    }

    with requests.get(
        f"{served_here}/socket.io/?EIO=4&transport=websocket", headers=handshake, timeout=10, stream=True
    ) as answer:
        assert answer.status_code == status


@pytest.fixture(scope="module")
def served_here(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    web = make_web(tmp_path_factory.mktemp("sockets"))
    with serving(web) as address:
        yield address
    web.desks.close()


def test_the_table_prints_itself_with_its_totals(capsys: pytest.CaptureFixture[str]):
    code = main()

    told = capsys.readouterr().out
    assert code == 0, told[-2000:]
    assert f"{len(ROUTES)} with their methods" in told
    assert "every one of them is classed" in told
