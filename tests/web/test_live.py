"""Live push as clients see it: the reference ones for Python and from npm, on a really served booth."""

from __future__ import annotations

import json
import shutil
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from queue import Empty, Queue
from typing import Any

import pytest
import requests
import socketio

from portraitq import passphrase
from portraitq.store import devices, schema
from portraitq.store.store import StoreError
from portraitq.web import last_seen, live, sockets, views
from portraitq.web.codes_typed import FREE_GUESSES
from portraitq.web.problems import UNSIGNED, NotThere, OwnersOnly, TooOften, Unsigned
from portraitq.web.views import render_view
from tests.web.conftest import PASSPHRASE, Web

SOON_S = 10
FROM_FAR_TO_NEAR = ("ticket", "wall", "counter", "easel")


class Client:
    """The reference client for Python; `view()` waits for the next push."""

    def __init__(self) -> None:
        self.heard: Queue[tuple[str, Any]] = Queue()
        self.refused: Queue[Any] = Queue()
        self.io = socketio.Client(reconnection=False)
        for name in ("view", "same", "start_over"):
            self.io.on(name, self._note(name), namespace="/live")
        self.io.on("connect_error", self.refused.put, namespace="/live")
        self.io.on("disconnect", lambda *_: self.heard.put(("disconnect", None)), namespace="/live")

    def _note(self, name: str) -> Callable[[Any], None]:
        return lambda content: self.heard.put((name, content))

    def event(self, wait_s: float = SOON_S) -> tuple[str, Any]:
        return self.heard.get(timeout=wait_s)

    def leave(self) -> None:
        """Hang up; websocket-client waits three seconds for a farewell, which no test needs to wait for."""
        threading.Thread(target=self.io.disconnect, daemon=True).start()

    def view(self) -> Any:
        name, content = self.event()
        assert name == "view"
        return content

    def view_of(self, seq: int) -> Any:
        """The first push that knows `seq`; the ones before it must be older."""
        while (content := self.view())["seq"] < seq:
            pass
        return content


@contextmanager
def connected(address: str, transports: Any = ("websocket",), headers: Any = None, **auth: Any) -> Iterator[Client]:
    client = Client()
    try:
        client.io.connect(
            address, headers=headers or {}, auth=auth, namespaces=["/live"], transports=list(transports), wait_timeout=5
        )
        yield client
    finally:
        client.leave()


@pytest.mark.parametrize("transports", [("websocket",), ("polling",), ("polling", "websocket")], ids="+".join)
def test_a_client_gets_the_view_at_once_and_after_every_change(web: Web, served: str, transports: Any):
    with connected(served, transports, view="wall", booth="quay") as client:
        first = client.view()
        web.order()
        seq = web.desk.standing().seq
        after = client.view_of(seq)

    assert set(first) == set(after) == {"seq", "html", "as_of"}
    assert first["html"] != after["html"]
    assert after["as_of"].endswith("Z")


def test_a_push_says_to_the_letter_what_a_page_load_says(web: Web, served: str):
    with connected(served, view="wall", booth="quay") as client:
        pushed = client.view()

    with web.app.app_context():
        assert pushed["html"] == render_view("wall", web.desk).html
    assert pushed["html"] in requests.get(f"{served}/quay/wall", timeout=5).text


@pytest.mark.parametrize(
    ("auth", "said", "why"),
    [
        ({"view": "counter", "booth": "quay"}, UNSIGNED, "unsigned"),
        ({"view": "easel", "booth": "quay", "artist": "a1"}, UNSIGNED, "unsigned"),
        ({"view": "wall", "booth": "pier"}, "There is no booth 'pier'", "unknown"),
        ({"view": "wall"}, "booth: a word was expected", "unknown"),
        ({"view": "ticket", "code": "00000000000011"}, "There is no ticket of that code", "unknown"),
        ({"view": "ticket", "code": "x"}, "There is no ticket of that code", "unknown"),
        ({"view": "cellar", "booth": "quay"}, "There is no view 'cellar'", "unknown"),
        ({"view": ["wall"], "booth": {}}, "view: a word was expected", "unknown"),
        ({}, "auth: an object like", "unknown"),
    ],
)
def test_who_may_not_see_a_view_hears_why(web: Web, served: str, auth: dict[str, Any], said: str, why: str):
    client = Client()

    client.io.connect(served, auth=auth, namespaces=["/live"], transports=["websocket"], wait=False)

    refused = client.refused.get(timeout=SOON_S)
    client.leave()
    assert said in refused["message"]
    assert refused["data"] == {"why": why}


def test_a_store_that_does_not_answer_is_no_reason_to_stay_away(web: Web, served: str, monkeypatch: pytest.MonkeyPatch):
    def breaks(*_: object) -> None:
        raise StoreError("The store does not answer.")

    monkeypatch.setattr("portraitq.web.live.watcher_of", breaks)
    client = Client()

    client.io.connect(
        served, auth={"view": "wall", "booth": "quay"}, namespaces=["/live"], transports=["websocket"], wait=False
    )

    refused = client.refused.get(timeout=SOON_S)
    client.leave()
    assert refused == {"message": "The store does not answer.", "data": {"why": "store"}}


def test_a_device_key_lets_a_client_see_the_counter(web: Web, served: str):
    key = web.key()

    with connected(served, headers=key, view="counter", booth="quay") as by_header:
        assert by_header.view()["html"]
    plain = key["Authorization"].removeprefix("Bearer ")
    with connected(served, view="easel", booth="quay", artist="a1", key=plain) as by_auth:
        assert by_auth.view()["html"]


def signed_in(address: str) -> dict[str, str]:
    browser = requests.Session()
    browser.post(f"{address}/sign-in", data={"passphrase": PASSPHRASE}, timeout=5)
    return {"Cookie": "; ".join(f"{one.name}={one.value}" for one in browser.cookies)}


def test_a_signed_in_browser_sees_the_counter_until_the_passphrase_changes(
    web: Web, served: str, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(live, "CHECK_PASSES_S", 0.0)
    with connected(served, headers=signed_in(served), view="counter", booth="quay") as client:
        client.view()

        passphrase.set_passphrase(web.desks.store, "quite-a-new-one-now")

        assert client.event()[0] == "disconnect"


def test_a_tablet_that_is_withdrawn_on_the_page_is_hung_up_on_at_once(
    web: Web, served: str, monkeypatch: pytest.MonkeyPatch
):
    """OWASP ASVS 5.0, 7.4.5. Passes are not looked at by themselves here, so that it is the page that does it."""
    monkeypatch.setattr(live, "CHECK_PASSES_S", 3600.0)
    key, other = web.key("staff"), web.key("staff")
    web.sign_in()
    with web.desks.store.reading() as connection:
        withdrawn = devices.find(connection, key["Authorization"].removeprefix("Bearer "))
    assert withdrawn is not None
    with (
        connected(served, headers=key, view="counter", booth="quay") as tablet,
        connected(served, headers=other, view="counter", booth="quay") as stays,
        connected(served, headers=key, view="wall", booth="quay") as wall,
    ):
        tablet.view(), stays.view(), wall.view()

        web.client.post(f"/devices/{withdrawn.id}/withdraw", data={"token": web.token()})

        assert tablet.event()[0] == "disconnect"
        web.order()
        assert stays.view_of(web.desk.standing(wait_s=5).seq)  # it goes on, and so does what anybody may see
        assert wall.view_of(web.desk.standing().seq)


def test_a_tablet_that_another_process_withdraws_is_hung_up_on_within_seconds(
    web: Web, served: str, monkeypatch: pytest.MonkeyPatch
):
    assert live.CHECK_PASSES_S <= 2.0
    monkeypatch.setattr(live, "CHECK_PASSES_S", 0.0)
    with connected(served, headers=web.key("staff"), view="counter", booth="quay") as tablet:
        tablet.view()

        with web.desks.store.writing() as connection:
            devices.withdraw(connection, devices.listed(connection)[0].id, web.desks.clock.now())

        assert tablet.event()[0] == "disconnect"


def test_a_device_that_is_only_looked_at_is_seen_to_be_here(web: Web, served: str, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(live, "CHECK_PASSES_S", 0.0)
    monkeypatch.setattr(last_seen, "NOTED_EVERY_S", 0.0)
    with connected(served, headers=web.key("staff"), view="counter", booth="quay") as tablet:
        tablet.view()
        with web.desks.store.writing() as connection:
            connection.execute(schema.devices.update().values(seen_at=None))

        until_s, seen = time.monotonic() + SOON_S, None
        while seen is None and time.monotonic() < until_s:
            time.sleep(0.05)
            with web.desks.store.reading() as connection:
                seen = devices.listed(connection)[0].seen_at

    assert seen is not None


def test_an_owners_view_is_kept_from_the_staff(web: Web, monkeypatch: pytest.MonkeyPatch):
    owners = replace(views.view_named("counter"), may_see=views.OWNER)
    monkeypatch.setitem(views._VIEWS, "counter", owners)
    asked = {"view": "counter", "booth": "quay"}

    for headers, refusal in ((web.key("staff"), OwnersOnly), ({}, Unsigned)):
        with web.app.test_request_context("/", headers=headers), pytest.raises(refusal):
            live.watcher_of("sid", asked)
    with web.app.test_request_context("/", headers=web.key("owner")):
        assert live.watcher_of("sid", asked).room == ("counter", "quay", "")


def test_a_code_that_is_guessed_over_a_live_line_is_slowed_too(web: Web):
    code = web.code(web.order())
    with web.app.test_request_context("/"):
        for _ in range(FREE_GUESSES):
            with pytest.raises(NotThere):
                live.watcher_of("sid", {"view": "ticket", "code": "00000000000011"})

        with pytest.raises(TooOften, match="Wait"):
            live.watcher_of("sid", {"view": "ticket", "code": "x"})
        assert live.watcher_of("sid", {"view": "ticket", "code": code}).room[2] == code


def test_a_ticket_is_watched_by_its_code_however_it_is_typed(web: Web, served: str):
    ticket = web.order()
    code = web.code(ticket)

    with connected(served, view="ticket", code=f"{code[:5].lower()}-{code[5:]}") as client:
        client.view()
        seq = web.do("started", "easel:a1", ticket=ticket, artist="a1").seq

        assert client.view_of(seq)["seq"] >= seq


def test_a_page_that_is_as_the_view_stands_gets_no_html_again(web: Web, served: str):
    with web.app.app_context():
        rendered = render_view("ticket", web.desk, web.code(web.order()))
        rendered = render_view("wall", web.desk)

    with connected(served, view="wall", booth="quay", seq=rendered.seq, etag=rendered.etag) as client:
        name, content = client.event()

    assert (name, set(content)) == ("same", {"seq", "as_of"})


def test_a_page_from_another_journal_is_told_to_start_over(web: Web, served: str, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(live, "PATIENCE_S", 0.2)

    with connected(served, view="wall", booth="quay", seq=10_000) as client:
        assert client.event() == ("start_over", {})
        assert client.view()["seq"] == web.desk.standing().seq  # for clients that know no other event


def test_an_easel_of_which_no_artist_is_said_is_the_first_ones(web: Web, served: str):
    key = web.key()["Authorization"].removeprefix("Bearer ")

    with connected(served, view="easel", booth="quay", key=key, artist="a1") as client:
        named = client.view()
    with connected(served, view="easel", booth="quay", key=key) as client:
        unnamed = client.view()

    assert unnamed["html"] == named["html"]


def test_a_view_that_stands_still_says_now_and_then_that_it_does(
    web: Web, served: str, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(live, "UNCHANGED_S", 0.5)
    monkeypatch.setattr(live, "TICK_S", 0.1)
    web.do("day_closed")

    with connected(served, view="wall", booth="quay") as client:
        first, again = client.view(), client.view()

    assert first["html"] == again["html"]


def test_of_many_changes_in_a_row_the_newest_arrives(web: Web, served: str):
    with connected(served, view="wall", booth="quay") as client:
        client.view()
        for _ in range(5):
            web.order()
        seq = web.desk.standing(wait_s=5).seq

        assert client.view_of(seq)["seq"] == seq


def test_a_socket_that_does_not_drain_is_passed_over_and_gets_the_newest_then(
    web: Web, served: str, monkeypatch: pytest.MonkeyPatch
):
    with (
        connected(served, view="wall", booth="quay") as slow,
        connected(served, view="wall", booth="quay") as quick,
    ):
        slow.view(), quick.view()
        outbox = sockets.outbox_of(web.app.extensions["socketio"].server, slow.io.get_sid("/live"), "/live")
        monkeypatch.setattr(outbox, "offer", lambda packet, packets: False)
        web.order()
        web.order()
        seq = web.desk.standing(wait_s=5).seq
        quick.view_of(seq)
        with pytest.raises(Empty):
            slow.event(wait_s=0.3)
        monkeypatch.undo()

        assert slow.view()["seq"] == seq


def test_a_tap_is_answered_although_a_view_is_slow_to_render(web: Web, served: str, monkeypatch: pytest.MonkeyPatch):
    publisher = web.app.extensions["portraitq-live"]
    with connected(served, view="wall", booth="quay") as client:
        client.view()
        begun: Queue[float] = Queue()

        def slow(*_: Any) -> None:
            begun.put(time.monotonic())
            time.sleep(2)

        monkeypatch.setattr(publisher, "_rendered", slow)
        web.order()
        rendering_s = begun.get(timeout=SOON_S)

        web.order()

        assert time.monotonic() < rendering_s + 2


def test_a_view_that_breaks_leaves_the_others_alive(web: Web, served: str, monkeypatch: pytest.MonkeyPatch):
    code = web.code(web.order())
    with (
        connected(served, view="ticket", code=code) as ticket,
        connected(served, view="wall", booth="quay") as wall,
    ):
        ticket.view(), wall.view()
        rendered = live.render_view

        def broken(name: str, *rest: Any) -> Any:
            if name == "ticket":
                raise ZeroDivisionError
            return rendered(name, *rest)

        monkeypatch.setattr(live, "render_view", broken)
        web.order()

        assert wall.view_of(web.desk.standing(wait_s=5).seq)


def test_who_draws_and_serves_is_told_first_then_the_wall_then_the_phones(web: Web, monkeypatch: pytest.MonkeyPatch):
    publisher, told = web.app.extensions["portraitq-live"], list[str]()
    monkeypatch.setattr(publisher, "_news_of", lambda room, standing, now_s: told.append(room[0]))
    monkeypatch.setattr(publisher, "_rooms", {(view, "quay", ""): live.Watched() for view in FROM_FAR_TO_NEAR})

    with web.app.app_context():
        publisher._publish({})

    assert told[:4] == ["counter", "easel", "wall", "ticket"]


def test_tickets_are_printed_some_at_a_time_and_each_other_screen_is_sent_before_the_next_is_printed(
    monkeypatch: pytest.MonkeyPatch,
):
    monkeypatch.setattr(live, "PRINTED_TOGETHER", 2)
    tickets = [("ticket", "quay", code) for code in "ABC"]
    wall, easels = ("wall", "quay", ""), [("easel", "quay", artist) for artist in ("a1", "a2")]

    parts = [list(part) for part in live._in_turn([*tickets, wall, *easels])]

    assert parts == [[easels[0]], [easels[1]], [wall], tickets[:2], tickets[2:]]


def test_who_is_gone_is_forgotten(web: Web, served: str):
    publisher = web.app.extensions["portraitq-live"]
    with connected(served, view="wall", booth="quay") as client:
        client.view()
        assert publisher.watching() == 1

    until_s = time.monotonic() + SOON_S
    while publisher.watching() and time.monotonic() < until_s:
        time.sleep(0.02)
    assert publisher.watching() == 0


def test_the_plain_way_gives_the_same_view_and_costs_nothing_while_it_stands(web: Web, served: str):
    web.do("day_closed")
    with connected(served, view="wall", booth="quay") as client:
        pushed = client.view()

    first = requests.get(f"{served}/quay/wall?fragment=1", timeout=5)
    again = requests.get(f"{served}/quay/wall?fragment=1", headers={"If-None-Match": first.headers["ETag"]}, timeout=5)

    assert first.json()["html"] == pushed["html"]
    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["X-Portraitq-As-Of"].endswith("Z")


def test_the_plain_way_asks_who_it_is_too(web: Web):
    answer = web.client.get("/quay/counter?fragment=1", headers={"Accept": "application/json"})

    assert answer.status_code == 401


NODE = """
import { io } from "socket.io-client";
const [address, key, code] = process.argv.slice(2);
const heard = { views: [], refused: [] };
const show = (name) => (view) => {
  heard.views.push([name, view.seq, view.html.length > 0, view.as_of.endsWith("Z")]);
  if (name === "wall" && heard.views.filter(([one]) => one === "wall").length === 1) console.log("ready");
};
const wall = io(`${address}/live`, { auth: { view: "wall", booth: "quay" } });
wall.on("view", show("wall"));
const extraHeaders = { Authorization: `Bearer ${key}` };
const counter = io(`${address}/live`, { auth: { view: "counter", booth: "quay" }, forceNew: true, extraHeaders });
counter.on("view", show("counter"));
const ticket = io(`${address}/live`, { auth: { view: "ticket", code }, forceNew: true, transports: ["websocket"] });
ticket.on("view", show("ticket"));
const stranger = io(`${address}/live`, { auth: { view: "counter", booth: "quay" }, forceNew: true });
stranger.on("connect_error", (no) => heard.refused.push(no.message));
process.stdin.on("data", () => { console.log(JSON.stringify(heard)); process.exit(0); });
setTimeout(() => process.exit(3), 40000);
"""


@pytest.fixture(scope="module")
def node_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the official client from npm in it."""
    npm = shutil.which("npm")
    if shutil.which("node") is None or npm is None:
        pytest.skip("node and npm are not installed, so the official JavaScript client cannot be tried")
    folder = tmp_path_factory.mktemp("node")
    (folder / "package.json").write_text('{"private": true, "type": "module"}')
    installed = subprocess.run(
        [npm, "install", "--no-audit", "--no-fund", "--ignore-scripts", "socket.io-client@4"],
        cwd=folder,
        capture_output=True,
        timeout=120,
        check=False,
    )
    if installed.returncode:
        pytest.skip(f"npm could not install socket.io-client: {installed.stderr.decode()[-200:]}")
    (folder / "watch.mjs").write_text(NODE)
    return folder


def test_the_official_javascript_client_gets_the_same_views(web: Web, served: str, node_folder: Path):
    code, key = web.code(web.order()), web.key()["Authorization"].removeprefix("Bearer ")
    node = subprocess.Popen(
        ["node", "watch.mjs", served, key, code],
        cwd=node_folder,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert node.stdout is not None
    assert node.stdout.readline() == "ready\n"
    with connected(served, view="wall", booth="quay") as reference:
        reference.view()
        web.order()
        seq = web.desk.standing(wait_s=5).seq
        reference.view_of(seq)
    time.sleep(1)

    heard = json.loads(node.communicate("say\n", timeout=20)[0])

    assert {name for name, *_ in heard["views"]} == {"wall", "counter", "ticket"}
    assert max(view[1] for view in heard["views"] if view[0] == "wall") == seq
    assert all(has_html and is_utc for _, _, has_html, is_utc in heard["views"])
    assert heard["refused"][0] == UNSIGNED
