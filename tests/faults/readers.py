"""Every place where portraitq reads what comes from outside, each given one input after the other.

A reader passes when it takes the input or says in a sentence why not, and everything else stays as it was. `tried`
counts the inputs, `taken` those that were taken.
"""

from __future__ import annotations

import io
import json
import logging
import re
from collections import Counter
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from random import Random
from typing import Any
from urllib.parse import quote, urlencode

from click.testing import CliRunner
from werkzeug.test import TestResponse

from portraitq import cli
from portraitq.core.booth import Booth, fold, import_lines
from portraitq.core.errors import RefusedLine
from portraitq.store import journal, photos
from portraitq.store.store import FILE_NAME, open_store
from tests.faults.any_input import ODD_TEXTS, some_bytes, some_text
from tests.photo.hostile import honest
from tests.web.conftest import PASSPHRASE, Web, jpeg, make_web

JOURNALS = Path(__file__).resolve().parents[1] / "journals"
PERSON = {"name": "Zebedee-of-the-quay", "contact": "0612-345-678", "note": "freckles-in-please"}
UNREAL = re.compile(r"Traceback|^\s*File \"|Error\b.*\(|<class|object at 0x", re.MULTILINE)
# What starts long work on purpose, or ends what the readers themselves are signed in with
LEFT_OUT = ("/daybook/plan", "/devices/passphrase", "/sign-out", "/devices/sign-out-others", "/devices/unpair")
FIELDS = re.compile(r'name="([\w-]+)"')
ASKED_FOR = re.compile(r'(?:form|args)(?:\.get|\.getlist)?[(\[]"([\w-]+)"')


class Readers:
    """A booth in trade, and all that it reads."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.web: Web = make_web(folder / "booth")
        self.tried: Counter[str] = Counter()
        self.taken: Counter[str] = Counter()
        self.answers: Counter[str] = Counter()
        self._logged = io.StringIO()
        self._handler = logging.StreamHandler(self._logged)
        logging.getLogger().addHandler(self._handler)
        self._ends = ExitStack()
        self._ends.callback(logging.getLogger().removeHandler, self._handler)
        self._key = self.web.key()
        self._pictures = {**honest(), "plain": jpeg(64, 64)}
        self._lines = [file.read_bytes() for file in sorted(JOURNALS.glob("*.jsonl"))]
        self._order()
        self._names = self._field_names()
        self._a_backup: bytes = b""
        self.all: dict[str, Callable[[Random], None]] = {
            "journal": self.a_journal,
            "import": self.an_import,
            "photo": self.a_photo,
            "json": self.a_body,
            "form": self.a_form,
            "query": self.a_query,
            "cookie": self.a_cookie,
            "back-up": self.a_backup,
        }

        self.share = {"import": 0.1, "back-up": 0.1, "cookie": 0.3}  # of the inputs; the others get all of them
        self.share = {name: self.share.get(name, 1.0) for name in self.all}

    def close(self) -> None:
        self._ends.close()
        self.web.app.extensions["portraitq-live"].close()
        self.web.desks.close()

    def read(self, name: str, chance: Random) -> None:
        """Let one reader have one input."""
        self.tried[name] += 1
        self.all[name](chance)

    def assert_all_is_well(self) -> None:
        """The booth stands as its journal says, answers, and no log names anybody."""
        assert self.web.client.get("/healthz").status_code == 200
        with self.web.desks.store.reading() as connection:
            lines = journal.lines(connection, "quay")
        booth, _ = import_lines(lines)
        assert booth.seq == self.web.desk.standing(wait_s=30).seq
        assert self.web.client.get("/quay/wall").status_code == 200
        said = self._logged.getvalue()
        secrets = [*PERSON.values(), PASSPHRASE, self._code, self._photo]
        assert [secret for secret in secrets if secret in said] == [], "a log names somebody"

    # The readers

    def a_journal(self, chance: Random) -> None:
        """What `import`, `replay` and `score` read."""
        given = some_bytes(chance, chance.choice(self._lines))
        try:
            lines = given.decode().split("\n")
        except UnicodeDecodeError:
            return  # the command says so, below
        try:
            booth, events = import_lines(lines[:-1] if lines[-1] == "" else lines)
        except RefusedLine as no:
            _is_a_sentence(str(no))
            return
        assert fold(Booth(), events) == booth
        self.taken["journal"] += 1

    def an_import(self, chance: Random) -> None:
        """`portraitq import` on a store: all of it, or nothing."""
        given = some_bytes(chance, chance.choice(self._lines))
        file, data = self.folder / "given.jsonl", self.folder / "imports"
        file.write_bytes(given)
        name = f"b{self.tried['import']}"
        code, said = _run("import", str(file), "--booth", name, "--data", str(data))
        if code == 0:
            self.taken["import"] += 1
            return
        _is_a_sentence(said)
        if not (data / FILE_NAME).exists():
            return
        store = open_store(data)
        try:
            with store.reading() as connection:
                assert name not in journal.booths(connection)
        finally:
            store.close()

    def a_photo(self, chance: Random) -> None:
        given = some_bytes(chance, chance.choice(list(self._pictures.values())))
        before = self._count_photos()
        name = chance.choice(["a.jpg", "../../a.jpg", "a\r\nb.jpg", "", "\u202egpj.exe", "x" * 3000])
        answer = self._post("/quay/counter/photos", data={"photo": (io.BytesIO(given), name)})
        kept = self._count_photos() - before
        if answer.status_code == 201:
            assert kept == 1
            self.taken["photo"] += 1
            self._post(f"/quay/counter/photos/{answer.json['id']}/remove")
            return
        assert (answer.status_code, kept) in ((422, 0), (413, 0)), answer.get_data(as_text=True)
        _is_a_sentence(answer.json["detail"])

    def a_body(self, chance: Random) -> None:
        """JSON of the API, and what only looks like it."""
        good = chance.choice(
            [
                {"id": f"c{self.tried['json']}", "kind": "ordered", "data": {"style": "pencil-head", "sitters": 1}},
                {"id": f"c{self.tried['json']}", "kind": "paid", "data": {"ticket": "T1", "amount": 5, "how": "cash"}},
                {"style": "pencil-head", "sitters": 2, "artist": None},
                {"id": f"o{self.tried['json']}", "style": "pencil-head", "sitters": 1, "price": 5},
            ]
        )
        body = some_bytes(chance, json.dumps(good).encode())
        where = chance.choice(["commands", "quote", "orders"])
        kind = chance.choice(["application/json"] * 8 + ["text/plain", "multipart/form-data; boundary=x", "", "\xff"])
        form = where == "orders" and chance.random() < 0.7
        asked: dict[str, Any] = {"data": body, "content_type": kind}
        if form:
            asked = {"data": {"order": body, "name": some_text(chance).encode("utf-8", "replace")}}
        by = chance.choice([*["counter"] * 9, "easel:a1", "", "easel:", "\xe9", "x" * 500])
        self._is_answered(
            self._post(f"/api/v1/booths/quay/{where}", headers={**self._key, "X-Portraitq-By": by}, **asked), "json"
        )

    def a_form(self, chance: Random) -> None:
        """The forms of every route that takes one: odd fields, odd kinds of body, odd parts of the address."""
        rule = chance.choice([one for one in self._rules("POST") if not one.rule.endswith(LEFT_OUT)])
        fields = {
            name: some_text(chance, self._good(name)) for name in chance.sample(self._names, chance.randint(0, 8))
        }
        what = chance.random()
        asked: dict[str, Any] = {"data": {key: value.encode("utf-8", "surrogatepass") for key, value in fields.items()}}
        if what < 0.2:
            asked = {"data": some_bytes(chance, _multipart(fields)), "content_type": "multipart/form-data; boundary=x"}
        elif what < 0.4:
            written = urlencode(fields, errors="replace").encode()
            asked = {"data": some_bytes(chance, written), "content_type": "application/x-www-form-urlencoded"}
        elif what < 0.5:
            asked["data"]["photo"] = (
                io.BytesIO(some_bytes(chance, self._pictures["plain"])),
                some_text(chance).encode("utf-8", "replace").decode(),
            )
        elif what < 0.55:
            asked = {"data": some_bytes(chance, b"{}"), "content_type": "application/json"}
        self._is_answered(self._post(self._address(rule, chance), **asked), "form")

    def a_query(self, chance: Random) -> None:
        """The addresses of every route, with odd parts and questions."""
        rule = chance.choice(self._rules("GET"))
        asked = [
            (name, some_text(chance, self._good(name))) for name in chance.sample(self._names, chance.randint(0, 4))
        ]
        address = f"{self._address(rule, chance)}?{urlencode(asked, errors='replace')}"
        if chance.random() < 0.1:
            address += chance.choice(["&%ff=%fe", "&=&==&", "?a", "&" * 500, "&a=%", "&%00=%0a"])
        answer = self.web.client.open(
            address, method=chance.choice(["GET", "GET", "GET", "HEAD", "OPTIONS"]), headers=self._key
        )
        self._is_answered(answer, "query")

    def a_cookie(self, chance: Random) -> None:
        """A sign-in that was tampered with is none."""
        client = self.web.app.test_client()
        self.web.sign_in(client)
        name = self.web.app.config["SESSION_COOKIE_NAME"]
        cookie = client.get_cookie(name)
        good = cookie.value if cookie else "x"
        spoilt = some_bytes(chance, good.encode()).decode("latin-1")
        stranger = self.web.app.test_client()
        answer = stranger.get(
            "/quay/counter",
            headers={"Accept": "application/json"},
            environ_overrides={"HTTP_COOKIE": f"{name}={spoilt}; {chance.choice(ODD_TEXTS[:20])}=x"},
        )
        is_same = re.split(r"[;,\s]", spoilt)[0].strip('"') == good
        assert answer.status_code in ((200, 401) if is_same else (401,)), answer.status_code

    def a_backup(self, chance: Random) -> None:
        """`portraitq restore` and `portraitq check` of a file that may be anything."""
        if not self._a_backup:
            whole = self.folder / "whole.backup"
            code, said = _run("backup", str(whole), "--data", str(self.folder / "booth"))
            assert code == 0, said
            self._a_backup = whole.read_bytes()
        file, data = self.folder / "given.backup", self.folder / f"restored-{self.tried['back-up']}"
        file.write_bytes(some_bytes(chance, self._a_backup))
        code, said = _run("restore", str(file), "--data", str(data))
        if code == 0:
            self.taken["back-up"] += 1
            store = open_store(data)
            try:
                with store.reading() as connection:
                    for booth in journal.booths(connection):
                        import_lines(journal.lines(connection, booth))
            finally:
                store.close()
        else:
            _is_a_sentence(said)
            assert not (data / FILE_NAME).exists()

    # What they have in common

    def _order(self) -> None:
        order = {"id": "first", "style": "pencil-head", "sitters": 1}
        form = {"order": json.dumps(order), "photo": (io.BytesIO(jpeg()), "a.jpg"), **PERSON}
        answer = self.web.client.post("/api/v1/booths/quay/orders", headers=self._key, data=form)
        assert answer.status_code == 201, answer.get_data(as_text=True)
        self._code, self._ticket = answer.json["code"], answer.json["ticket"]
        self._photo = self.web.desk.photo_refs([self._ticket])[self._ticket][0].id

    def _field_names(self) -> list[str]:
        """The fields that our pages have and that our views ask for."""
        root = Path(cli.__file__).parent
        found = {name for file in (root / "web").glob("*.py") for name in ASKED_FOR.findall(file.read_text())}
        for page in ("counter", "set-up", "daybook/close", f"counter/tickets/{self._ticket}"):
            found |= set(FIELDS.findall(self.web.client.get(f"/quay/{page}", headers=self._key).get_data(as_text=True)))
        assert len(found) > 40
        return sorted(found)

    def _good(self, name: str) -> str:
        known = {"ticket": self._ticket, "style": "pencil-head", "sitters": "1", "artist": "a1", "code": self._code}
        known |= {
            "id": f"f{sum(self.tried.values())}",
            "passphrase": "wrong",
            "do": "save",
            "sheet": "1",
            "fragment": "1",
        }
        return known.get(name, "")

    def _rules(self, method: str) -> list[Any]:
        return sorted((one for one in self.web.app.url_map.iter_rules() if method in (one.methods or ())), key=str)

    def _address(self, rule: Any, chance: Random) -> str:
        known = {"booth": "quay", "ticket": self._ticket, "code": self._code, "artist": "a1", "table": "tickets"}
        known |= {"id": self._photo, "photo": self._photo, "name": "grey", "filename": "css/base.css"}
        known |= {"day": self.web.desk.standing(wait_s=0).booth.days[-1].day}

        def part(found: re.Match[str]) -> str:
            name = found[1].rpartition(":")[2]
            if chance.random() < 0.75 and name in known:
                return known[name]
            return quote(chance.choice(ODD_TEXTS)[:300], safe="", errors="replace") or "x"

        return re.sub(r"<([^>]+)>", part, rule.rule)

    def _post(self, path: str, **asked: Any) -> TestResponse:
        headers = {**self._key, "Accept": "application/json", **asked.pop("headers", {})}
        answer = self.web.client.post(path, headers=headers, **asked)
        if answer.status_code == 401:  # one of the inputs shut this device out
            self._key = self.web.key()
        return answer

    def _is_answered(self, answer: TestResponse, reader: str) -> None:
        asked = f"{answer.request.method} {answer.request.path}"
        assert answer.status_code < 500, f"{asked}: {answer.status_code}"
        self.answers[f"{reader} {answer.status_code}"] += 1
        if answer.status_code < 400:
            self.taken[reader] += 1
        elif answer.is_json and answer.request.method != "HEAD":
            _is_a_sentence(answer.json["detail"])
        assert not UNREAL.search(answer.get_data().decode(errors="replace")) or "journal.jsonl" in asked, asked

    def _count_photos(self) -> int:
        with self.web.desks.store.reading() as connection:
            return len(connection.execute(photos.schema.photos.select()).all())


def _run(*words: str) -> tuple[int, str]:
    """A command of the shell, in this process: its exit code and what it says on stderr."""
    done = CliRunner().invoke(cli.main, list(words))
    assert done.exception is None or isinstance(done.exception, SystemExit), repr(done.exception)
    return done.exit_code, done.stderr.strip()


def _is_a_sentence(said: str) -> None:
    said.encode()
    assert said, "nothing was said"
    assert not UNREAL.search(said), said[:300]
    assert "\n" not in said.strip(), said[:300]
    assert len(said) < 2000, said[:300]


def _multipart(fields: dict[str, str]) -> bytes:
    parts = [
        f'--x\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n'.encode()
        + value.encode("utf-8", "surrogatepass")
        + b"\r\n"
        for name, value in fields.items()
    ]
    return b"".join([*parts, b"--x--\r\n"])
