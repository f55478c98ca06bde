"""Requests and names of somebody who means no good: in this process, and on a service that really runs.

OWASP ASVS 5.0 items are named from memory of its chapters; RFC sections as printed.
"""

from __future__ import annotations

import contextlib
import csv
import io
import json
import re
import secrets
import socket
import urllib.request
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from random import Random

import pytest
from werkzeug.datastructures import Headers
from werkzeug.routing import Rule

from portraitq.core.events import print_data, read_data
from portraitq.slow_clients import HEAD_S, MOST_OWED
from portraitq.starter import SLUG
from tests.faults.any_input import ODD_TEXTS
from tests.faults.frames import Line, an_attack
from tests.journeys.served import Served
from tests.web.conftest import Web, jpeg, make_web

MARKUP = "\"'><b pwned=1>$x_{\\frac{&amp;{{7*7}}"  # of HTML, of attributes, of mathematics in charts, of templates
FORMULA = "=HYPERLINK(1)"
EVENTS_OF_ELEMENTS = re.compile(r"on[a-z]+")


class Seen(HTMLParser):
    """What a browser would make of a page, as far as a stranger's words could change it."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.wrong: list[str] = []
        self._is_script_or_style = False
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        if tag == "style" or (tag == "script" and "src" not in found) or "pwned" in found:
            self.wrong.append(self.get_starttag_text() or tag)
        for name, value in attrs:
            is_inline = name == "style" or EVENTS_OF_ELEMENTS.fullmatch(name)
            leads_astray = name in ("href", "src", "action", "formaction") and re.match(
                r"\s*(javascript|data:text|vbscript)", value or "", re.IGNORECASE
            )
            if is_inline or leads_astray:
                self.wrong.append(f"{tag} {name}={value}")


@pytest.fixture(scope="module")
def web(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Web]:
    """A booth where everything that can be named is named by an enemy, one portrait on the easel and one ready."""
    made = make_web(Path(tmp_path_factory.mktemp("hostile")))
    known = print_data(made.desk.standing().booth.set_up)  # type: ignore[arg-type]
    known["booth"]["name"] = MARKUP
    for number, one in enumerate(known["styles"]):
        one["name"] = f"{FORMULA}{MARKUP}{number}"
        for stage in one["stages"]:
            stage["name"] = f"{MARKUP}{number}"
    for one in known["artists"]:
        one["name"] = f"@{MARKUP}"
    made.do("set_up", **print_data(read_data("set_up", known)))
    made.sign_in()
    key = made.key()
    for number in range(3):
        form = {"order": json.dumps({"id": f"o{number}", "style": "pencil-head", "sitters": 1})}
        card = {"name": MARKUP, "contact": MARKUP, "note": MARKUP, "is_child": "true", "consent_by": MARKUP}
        photo = {"photo": (io.BytesIO(jpeg()), f"../{MARKUP}\r\nX-Evil: 1.jpg".replace("\r\n", ""))}
        answer = made.client.post("/api/v1/booths/quay/orders", headers=key, data={**form, **card, **photo})
        assert answer.status_code == 201, answer.get_data(as_text=True)
    stages = [stage["id"] for stage in known["styles"][0]["stages"]]
    tickets = list(made.desk.standing().booth.tickets)
    for ticket in tickets[:2]:
        made.do("started", "easel:a1", ticket=ticket, artist="a1")
        if ticket == tickets[0]:
            style = made.desk.ticket(ticket).style
            for stage in style.stages[:-1]:
                made.do("stage_done", "easel:a1", ticket=ticket, stage=stage.id)
            made.do("finished", "easel:a1", ticket=ticket, rack=MARKUP[:32])
    assert stages
    made.desk.standing(wait_s=30)
    yield made
    made.app.extensions["portraitq-live"].close()
    made.desks.close()


def address_of(web: Web, rule: Rule) -> str:
    """An address of that rule that leads somewhere."""
    booth = web.desk.standing(wait_s=0).booth
    ticket = list(booth.tickets)[1]
    photo = web.desk.photo_refs([ticket])[ticket][0].id
    known = {"booth": "quay", "ticket": ticket, "code": web.code(ticket), "artist": "a1", "table": "tickets"}
    known |= {"day": booth.days[-1].day, "id": photo, "photo": photo, "name": "grey", "filename": "css/base.css"}
    known |= {"run": "1"}
    return re.sub(r"<([^>]+)>", lambda found: known[found[1].rpartition(":")[2]], rule.rule)


def rules(web: Web, method: str) -> list[Rule]:
    return sorted((one for one in web.app.url_map.iter_rules() if method in (one.methods or ())), key=str)


@dataclass(frozen=True)
class Shown:
    """An answer: to which rule's address, asked how, by whom."""

    rule: str
    asked: str
    is_staff: bool
    status: int
    headers: Headers
    html: str


@pytest.fixture(scope="module")
def shown(web: Web) -> list[Shown]:
    """What every address that can be looked at answers, to the owner and to a stranger."""
    found = []
    for rule in rules(web, "GET"):
        path = address_of(web, rule)
        others = ["?fragment=1"] * bool(re.search("/(wall|counter|<artist>|<code>)$", rule.rule))
        others += ["?sheet=1", "?public=1"] * ("<ticket>" in rule.rule or "<code>" in rule.rule)
        for client, is_staff in ((web.client, True), (web.app.test_client(), False)):
            for asked in ("", *others) if is_staff else ("",):
                with client.get(path + asked) as answer:
                    text = answer.get_data(as_text=True) if answer.mimetype in ("text/html", "application/json") else ""
                html = str(json.loads(text).get("html", "")) if answer.mimetype == "application/json" else text
                found.append(Shown(rule.rule, asked, is_staff, answer.status_code, answer.headers, html))
    return found


def test_no_screen_runs_or_shows_what_a_stranger_wrote_into_a_name(shown: list[Shown]):
    """OWASP ASVS 5.0 V1.2 (output encoding), V3.4 (Content-Security-Policy without inline script)."""
    assert [(one.rule, one.status) for one in shown if one.status >= 500] == []
    assert {one.rule + one.asked: found[:3] for one in shown if (found := Seen(one.html).wrong)} == {}
    assert [one.rule for one in shown if "{{7*7}}" not in one.html and "$x_{\\frac{&amp;amp;49" in one.html] == []
    assert sum("&lt;b pwned" in one.html for one in shown) > 15  # the names do stand there
    assert sum(one.status == 200 and one.html != "" for one in shown if one.is_staff) > 25


def test_what_is_seen_as_wrong_is_wrong():
    html = (
        '<p style="x"><b onclick="x">a</b><script>x</script><style></style><a href=" JavaScript:x">'
        '<i pwned=1><script src="/static/js/live.js"></script>'
    )

    assert len(Seen(html).wrong) == 6


def test_pushed_views_carry_names_as_text(web: Web):
    for path in ("/quay/wall?fragment=1", "/quay/counter?fragment=1", "/quay/easel/a1?fragment=1"):
        html = web.client.get(path).json["html"]

        assert Seen(html).wrong == []
        assert "&lt;b pwned" in html, path


def test_a_table_for_spreadsheets_has_no_formula_in_it(web: Web):
    """OWASP ASVS 5.0 1.2.10."""
    day = web.desk.standing().booth.days[-1].day
    for table in ("tickets", "stages", "payments"):
        text = web.client.get(f"/quay/daybook/{day}/{table}.csv").get_data().decode("utf-8-sig")
        cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]

        assert [cell for cell in cells if cell.startswith(("=", "+", "@", "\t", "\r"))] == []
        assert [cell for cell in cells if re.match(r"-(?![\d.]+$)", cell)] == []
        if table == "tickets":
            assert any(cell.startswith(f"'{FORMULA}") for cell in cells)


def test_no_answer_can_be_kept_by_a_cache_that_others_share_or_framed_or_sniffed(shown: list[Shown]):
    """OWASP ASVS 5.0 V3.4 (headers) and V14.3 (caches); RFC 9111 §5.2.2.7."""
    for one in shown:
        assert one.headers["X-Content-Type-Options"] == "nosniff"
        assert one.headers["Referrer-Policy"] == "no-referrer"
        assert "frame-ancestors 'none'" in one.headers["Content-Security-Policy"]
        assert one.headers["Cross-Origin-Resource-Policy"] == "same-origin"
        assert "Access-Control-Allow-Origin" not in one.headers
        assert "\n" not in one.headers.get("Content-Disposition", "")
    own = [one for one in shown if not one.rule.startswith("/static/")]
    kept = {(one.rule, one.is_staff): one.headers.get("Cache-Control", "") for one in own}
    assert [asked for asked, said in kept.items() if not re.search("private|no-store", said)] == []
    asked_by_staff = [one for (one, is_staff), said in kept.items() if is_staff and "no-store" not in said]
    assert [
        rule for rule in asked_by_staff if re.match("/<booth>/(counter|easel|set-up|daybook|photos|slip)", rule)
    ] == []


def test_a_policy_loads_nothing_but_what_it_names(web: Web):
    """OWASP ASVS 5.0 V3.4; CSP Level 3 §6: no inline script, no eval, nothing of anybody else's."""
    policy = dict(
        part.strip().split(" ", 1) for part in web.client.get("/").headers["Content-Security-Policy"].split(";")
    )

    assert policy.pop("default-src") == policy.pop("base-uri") == policy.pop("frame-ancestors") == "'none'"
    assert policy.pop("img-src") == "'self' data: blob:"
    assert set(policy) >= {"script-src", "style-src", "connect-src", "form-action"}
    assert set(policy.values()) == {"'self'"}


def test_a_session_cookie_is_for_this_host_alone_and_for_no_script(web: Web):
    """RFC 6265 §4.1.2 (no Domain: this host only; Path; HttpOnly); OWASP ASVS 5.0 V3.3."""
    cookie = web.sign_in(web.app.test_client()).headers["Set-Cookie"]

    assert re.search("; HttpOnly", cookie)
    assert re.search("; SameSite=(Lax|Strict)", cookie)
    assert "; Path=/" in cookie
    assert "domain=" not in cookie.lower()


def test_every_address_says_which_methods_it_takes_and_takes_no_other(web: Web):
    """RFC 9110 §15.5.6: 405 with Allow. A method in a header or a field is not one (OWASP ASVS 5.0 V4.1)."""
    wrong = []
    before = web.desk.standing().seq
    for rule in rules(web, "OPTIONS"):
        path = address_of(web, rule)
        there = {
            method for one in web.app.url_map.iter_rules() if one.rule == rule.rule for method in one.methods or ()
        }
        for method in ("PUT", "TRACE", "BREW"):
            answer = web.client.open(path, method=method, headers={"Accept": "application/json"})
            allowed = {one.strip() for one in answer.headers.get("Allow", "").split(",")}
            if (answer.status_code, allowed) != (405, there):
                wrong.append((rule.rule, method, answer.status_code, allowed))
    for way in ({"headers": {"X-HTTP-Method-Override": "POST"}}, {"query_string": {"_method": "POST"}}):
        web.client.get("/quay/counter/walked-away", **way)

    assert wrong == []
    assert web.desk.standing().seq == before


@pytest.mark.parametrize(
    "path",
    [
        "/static/../portraitq/app.py",
        "/static/%2e%2e/pyproject.toml",
        "/static/..%2fpyproject.toml",
        "/static/..%5cpyproject.toml",
        "/static//etc/passwd",
        "/static/%2fetc/passwd",
        "/static/css/%00",
        "/static/css/base.css%00.png",
        "/quay/photos/..%2f..%2fportraitq.sqlite",
        "/quay/photos/%00",
        "/quay/daybook/..%2f..%2fx/tickets.csv",
        "/quay/daybook/2026-01-01%0d%0aX-Evil:%201/tickets.csv",
        "/t/..%2f..%2fetc%2fpasswd/alarm.ics",
        "/%2e%2e/%2e%2e/etc/passwd",
    ],
)
def test_no_path_leads_out_of_what_is_served(web: Web, path: str):
    """OWASP ASVS 5.0 V5.3 (file paths)."""
    answer = web.client.get(path, follow_redirects=True)  # two slashes are taken for one

    assert answer.status_code == 404
    assert "X-Evil" not in answer.headers
    assert "root:" not in answer.get_data(as_text=True)


@pytest.mark.parametrize("odd", [text for text in ODD_TEXTS if 0 < len(text) <= 80 and "\udcff" not in text])
def test_a_card_takes_any_text_or_says_why_not_and_shows_it_as_it_is(web: Web, odd: str):
    """OWASP ASVS 5.0 V1.2 and V2.2; names of people are texts and nothing else."""
    ticket = list(web.desk.standing(wait_s=0).booth.tickets)[2]
    form = {"name": odd, "contact": odd, "note": odd, "consent_by": "x", "is_child": "1", "token": web.token()}

    answer = web.client.post(f"/quay/counter/tickets/{ticket}/card", data=form)

    assert answer.status_code in (303, 422)
    page = web.client.get(f"/quay/counter/tickets/{ticket}")
    assert page.status_code == 200
    assert Seen(page.get_data(as_text=True)).wrong == []


def test_ten_thousand_marks_on_one_letter_are_too_many_and_a_long_name_is_told_so(web: Web):
    ticket = list(web.desk.standing(wait_s=0).booth.tickets)[2]

    answer = web.client.post(
        f"/quay/counter/tickets/{ticket}/card",
        data={"name": "e" + "\u0301" * 10_000, "token": web.token()},
        headers={"Accept": "application/json"},
    )

    assert (answer.status_code, answer.json["field"]) == (422, "name")


@pytest.mark.parametrize("path", ["/quay/set-up", "/quay/counter/orders", "/api/v1/booths/quay/orders"])
@pytest.mark.parametrize("about", ["", '; filename="a.jpg"'])
def test_a_part_of_a_form_without_a_name_is_a_bad_request(web: Web, path: str, about: str):
    """RFC 7578 §4.2."""
    body = f"--x\r\nContent-Disposition: form-data{about}\r\n\r\nwhose?\r\n--x--\r\n".encode()

    answer = web.client.post(path, headers=web.key(), data=body, content_type="multipart/form-data; boundary=x")

    assert answer.status_code == 400


# On a service that really runs


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    started = Served(tmp_path_factory.mktemp("hostile-service"))
    started.start()
    yield started
    started.stop()


@pytest.fixture(scope="module")
def slow(service: Served) -> Iterator[dict[str, socket.socket]]:
    """Clients that begin and do not end; they are looked at when all others are done."""
    form = "POST /sign-in HTTP/1.1\r\nHost: x\r\nContent-Type: application/x-www-form-urlencoded\r\n"
    began = {
        "a head": "GET /healthz HTTP/1.1\r\nHost: x\r\nX-Slow: ",
        "a second head": "GET /healthz HTTP/1.1\r\nHost: x\r\n\r\nGET /heal",
        "a body that is shorter than it said": f"{form}Content-Length: 100\r\n\r\npassphrase=",
        "a body in pieces": f"{form}Transfer-Encoding: chunked\r\n\r\n5\r\npassp\r\n",
    }
    lines = {name: raw(service, text.encode()) for name, text in began.items()}
    yield lines
    for line in lines.values():
        line.close()


def raw(service: Served, said: bytes, of: str = "127.0.0.1") -> socket.socket:
    line = socket.create_connection(("127.0.0.1", service.port), timeout=60, source_address=(of, 0))
    line.sendall(said)
    return line


def all_of(line: socket.socket) -> bytes:
    """What comes until the other end hangs up."""
    heard = b""
    try:
        while piece := line.recv(1 << 16):
            heard += piece
    except ConnectionResetError:
        return heard  # it hung up while we were still sending
    finally:
        line.close()
    return heard


def is_served(service: Served) -> bool:
    with urllib.request.urlopen(f"{service.address}/healthz", timeout=30) as answer:
        return bool(json.load(answer)["status"] == "ok")


def test_who_begins_a_thousand_requests_and_ends_none_keeps_nobody_out(service: Served, slow: dict[str, socket.socket]):
    """OWASP ASVS 5.0 V13.1 and V15.2: what one client may hold is bounded. Each held a thread for ever before."""
    lines = []
    for _ in range(MOST_OWED + 1100):
        line = socket.create_connection(("127.0.0.1", service.port), timeout=60, source_address=("127.0.0.5", 0))
        lines.append(line)
        with contextlib.suppress(ConnectionError):  # it was hung up on already
            line.sendall(b"GET /healthz HTTP/1.1\r\nHost: x\r\nX-Slow: ")
    assert is_served(service)

    told = all_of(lines.pop())

    assert told == b"" or b" 503 " in told
    for line in lines:
        line.close()


def test_who_does_not_hang_up_keeps_nobody_waiting(service: Served):
    lines = [raw(service, b"GET /healthz HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n") for _ in range(30)]

    for line in lines:
        assert line.recv(12) == b"HTTP/1.1 200"
    assert is_served(service)  # two seconds for each of them would be more than it waits
    for line in lines:
        line.close()


HOST = b"Host: 127.0.0.1\r\n"
SMUGGLED = b"GET /api/v1/booths/booth/wall HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"


@pytest.mark.parametrize(
    ("said", "statuses"),
    [
        (
            b"POST /sign-in HTTP/1.1\r\n" + HOST + b"Content-Length: 6\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\nG",
            "400",
        ),
        (b"POST /sign-in HTTP/1.1\r\n" + HOST + b"Content-Length: 3\r\nContent-Length: 4\r\n\r\nabcd", "400"),
        (b"POST /sign-in HTTP/1.1\r\n" + HOST + b"Content-Length: +3\r\n\r\nabc", "400"),
        (b"POST /sign-in HTTP/1.1\r\n" + HOST + b"Content-Length: -3\r\n\r\nabc", "400"),
        (b"POST /sign-in HTTP/1.1\r\n" + HOST + b"Transfer-Encoding: xchunked\r\n\r\n0\r\n\r\n", "501 400"),
        (b"POST /sign-in HTTP/1.1\r\n" + HOST + b"Transfer-Encoding : chunked\r\n\r\n0\r\n\r\n", "400"),
        (b"POST /sign-in HTTP/1.1\r\n" + HOST + b"Transfer-Encoding: chunked\r\n\r\nzz\r\n\r\n", "400 401 403 413"),
        (b"GET / HTTP/1.1\r\n" + HOST + b"Host: evil.example\r\n\r\n", "400"),
        (b"GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n", "421"),
        (b"GET http://evil.example/ HTTP/1.1\r\n" + HOST + b"\r\n", "421"),
        (b"GET / HTTP/1.1\r\n\r\n", "400"),
        (b"GET / HTTP/1.1\r\n" + HOST + b"X: a\r\n folded\r\n\r\n", "400"),
        (b"GET / HTTP/1.1\r\n" + HOST + b"X\0: a\r\n\r\n", "400"),
        (b"GET / HTTP/1.1\r\n" + HOST + b"Content_Length: 5\r\n\r\n", "200"),
        (b"GET /\xff HTTP/1.1\r\n" + HOST + b"\r\n", "400"),
        (b"GET / HTTP/9.9\r\n" + HOST + b"\r\n", "400"),
        (b"GET /" + b"a" * 9000 + b" HTTP/1.1\r\n" + HOST + b"\r\n", "414"),
        (b"GET / HTTP/1.1\r\n" + HOST + b"X: " + b"a" * 9000 + b"\r\n\r\n", "431"),
        (b"GET / HTTP/1.1\r\n" + HOST + b"X: a\r\n" * 200 + b"\r\n", "431"),
        (b"brew / HTTP/1.1\r\n" + HOST + b"\r\n", "400"),
        (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n", "400"),
        (b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", "400 505"),
    ],
)
def test_a_request_that_can_be_read_in_two_ways_is_read_in_none(service: Served, said: bytes, statuses: str):
    """RFC 9112 §6.3, §2.2, §3.2, §5.1, §5.2; RFC 9110 §15.5.15 (414), §15.5.20 (421); RFC 6585 §5 (431)."""
    line = raw(service, said)
    line.shutdown(socket.SHUT_WR)

    told = all_of(line)

    assert told[9:12].decode() in statuses.split()
    assert told.count(b"HTTP/1.1 ") == 1
    assert is_served(service)


BODY = b"POST /sign-in HTTP/1.1\r\n" + HOST + b"Content-Type: application/x-www-form-urlencoded\r\n"
CHUNKED = BODY + b"Transfer-Encoding: chunked\r\n\r\n5\r\npassp"


@pytest.mark.parametrize(
    "said",
    [
        BODY + b"Content-Length: 500\r\n\r\npassphrase=x",
        CHUNKED,
        CHUNKED + b"\r\n",
        CHUNKED + b"XX",
        CHUNKED + b"\r\nzz\r\n",
        CHUNKED + b"\r\nffffffffffffffffffffffff\r\nx",
        CHUNKED + b"\r\n0\r\nbad\n\r\n\r\n",
        CHUNKED + b"\r\n0\r\nHost: evil\r\n\r\n",
    ],
)
def test_a_body_that_breaks_off_is_a_bad_request_and_nothing_is_taken_of_it(service: Served, said: bytes):
    """RFC 9112 §7.1, §8."""
    line = raw(service, said)
    line.shutdown(socket.SHUT_WR)

    assert all_of(line).startswith(b"HTTP/1.1 400 ")


def test_what_follows_a_request_that_was_not_understood_is_not_answered(service: Served):
    """Request smuggling: the second request hides in what the first one leaves over."""
    begin = b"POST /sign-in HTTP/1.1\r\n" + HOST
    for head in (b"Content-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n", b"Transfer-Encoding: x\r\n\r\n"):
        told = all_of(raw(service, begin + head + SMUGGLED))

        assert told.count(b"HTTP/1.1 ") == 1
        assert b"order_now" not in told


@pytest.mark.parametrize(
    ("origin", "status"),
    [
        ("http://127.0.0.1:{port}", 101),
        ("null", 400),
        ("http://127.0.0.1:1", 400),
        ("http://127.0.0.1", 400),
        ("https://127.0.0.1:{port}", 400),
        ("http://127.0.0.1:{port}.evil.example", 400),
        ("http://evil.example#127.0.0.1:{port}", 400),
        ("http://localhost:{port}", 400),
        ("file://", 400),
    ],
)
def test_a_page_of_somebody_else_opens_no_live_connection(service: Served, origin: str, status: int):
    """RFC 6455 §10.2, RFC 6454; OWASP ASVS 5.0 V4.4 (WebSocket)."""
    line = Line(service.port, Origin=origin.format(port=service.port), **{"X-Forwarded-Host": "evil.example"})

    assert line.status == status
    line.close()


def test_odd_frames_and_packets_end_their_own_line_and_no_other(service: Served):
    tried = Counter[str]()
    watching = Line(service.port)
    for at in range(40):
        an_attack(service.port, Random(f"short {at}"), tried)

    assert tried["frames"] > 80
    assert watching.is_over_or_well()
    assert is_served(service)
    watching.close()


def test_who_was_too_slow_is_told_408_and_hung_up_on(service: Served, slow: dict[str, socket.socket]):
    """RFC 9110 §15.5.9. After HEAD_S the heads are given up, after SILENCE_S the bodies."""
    assert HEAD_S < 60
    for name, line in slow.items():
        told = all_of(line)
        assert b"HTTP/1.1 408" in told, name
        assert b"Connection: close" in told[told.index(b"HTTP/1.1 408") :], name
        assert b"too slowly" in told, name
    assert is_served(service)


def test_nothing_of_all_this_stands_in_the_log(service: Served):
    service.order(name="Zebedee-of-the-quay", contact=secrets.token_hex(4))
    said = (service.folder / "said.txt").read_text()

    assert "Traceback" not in said
    assert [word for word in ("Zebedee", "evil", "passphrase=", "Slow", SLUG + "/wall") if word in said] == []
