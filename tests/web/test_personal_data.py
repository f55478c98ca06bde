"""Who can see what is known of a customer: the public nobody, the booth's people where they need it, no file at all.

A booth is filled with words that stand nowhere else, and every address that answers a GET is asked, as a stranger and
as the owner, from the app's own map, so that a new address is asked as well.

OWASP ASVS 5.0: 14.2.1 (nothing sensitive in addresses), 14.2.6 (no more than what is needed), 14.3.2 (no-store).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

import pytest
from werkzeug.test import TestResponse

from portraitq.core.commands import Command, Order
from portraitq.desk import NewCard
from portraitq.photo.intake import take_in
from portraitq.web import views
from tests.web.conftest import Web, jpeg, make_web

PERSON = NewCard(
    name="Zebulon-of-the-quay",
    contact="zebulon@quay.example",
    note="freckles-of-zebulon",
    is_child=True,
    consent_by="mother-of-zebulon",
)
WORDS = (PERSON.name, PERSON.contact, PERSON.note, PERSON.consent_by)
# Where the booth's people see names, photos or what was written of a customer: each for a reason of the trade.
MAY_NAME = {
    "counter.show",  # who is in the queue
    "counter.ticket",  # everything of one ticket
    "counter.over",  # who was here today
    "easel.show",  # what the artist is to draw
    "moving.ticket",  # whose place in the queue
    "ticket.show",  # the hand-over, on a device of the booth
    "ticket.scanned",
}


@dataclass(frozen=True)
class Filled:
    """A booth with one customer of whom everything is known."""

    web: Web
    ticket: str
    code: str
    photo: str

    def addresses(self) -> dict[str, list[str]]:
        """Every address that answers a GET, by endpoint."""
        day = self.web.desk.standing().booth.days[-1].day
        values = {
            "booth": ("quay",), "ticket": (self.ticket,), "code": (self.code,), "id": (self.photo,), "artist": ("a1",),
            "name": ("grey",), "day": (day,), "table": ("tickets", "stages", "payments"), "run": ("none-such",),
        }  # fmt: skip
        adapter, found = self.web.app.url_map.bind(""), dict[str, list[str]]()
        for rule in self.web.app.url_map.iter_rules():
            if "GET" not in (rule.methods or ()) or rule.endpoint == "static":
                continue
            assert rule.arguments <= set(values), f"{rule.rule}: say here what is asked for"
            for given in product(*(values[name] for name in sorted(rule.arguments))):
                asked = dict(zip(sorted(rule.arguments), given, strict=True))
                found.setdefault(rule.endpoint, []).append(adapter.build(rule.endpoint, asked))
        return found


def _fill(web: Web) -> Filled:
    order = Command("o1", Order(style="pencil-head", sitters=1))
    taken = web.desk.take_order(order, PERSON, [take_in(jpeg())])
    web.do("started", by="easel:a1", ticket=taken.ticket, artist="a1")
    web.do("paid", ticket=taken.ticket, amount=500, how="cash")
    web.desk.standing(wait_s=10)
    photo = web.desk.photo_refs([taken.ticket])[taken.ticket][0].id
    return Filled(web, taken.ticket, taken.code, photo)


@pytest.fixture(scope="module")
def looked_at(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Filled]:
    """One for all who only look."""
    web = make_web(tmp_path_factory.mktemp("filled"))
    yield _fill(web)
    web.app.extensions["portraitq-live"].close()
    web.desks.close()


@pytest.fixture
def signed_in(looked_at: Filled) -> Filled:
    """The owner looks."""
    looked_at.web.client = looked_at.web.app.test_client()
    looked_at.web.sign_in()
    return looked_at


@pytest.fixture
def stranger(looked_at: Filled) -> Filled:
    """Somebody looks who was never signed in."""
    looked_at.web.client = looked_at.web.app.test_client()
    return looked_at


@pytest.fixture
def filled(web: Web) -> Filled:
    """One of its own, for who changes it."""
    return _fill(web)


def _told(answer: TestResponse) -> str:
    return f"{answer.headers}\n{answer.get_data().decode(errors='replace')}"


def _named(text: str) -> list[str]:
    return [word for word in WORDS if word in text]


def test_no_address_tells_a_stranger_anything_of_a_customer(stranger: Filled) -> None:
    asked = {address for addresses in stranger.addresses().values() for address in addresses}
    answers = {one: stranger.web.client.get(one) for one in asked}
    answers |= {f"{one} as JSON": stranger.web.client.get(one, headers={"Accept": "application/json"}) for one in asked}

    secrets = (*WORDS, stranger.photo)
    seen = {one: _told(answer) for one, answer in answers.items() if answer.status_code == 200}
    told = {one: [word for word in secrets if word in text] for one, text in seen.items()}

    assert {"/quay/wall", f"/t/{stranger.code}", f"/t/{stranger.code}/alarm.ics", "/healthz"} <= set(told)
    assert {"/api/v1/booths/quay/wall", f"/api/v1/tickets/{stranger.code}", "/"} <= set(told)
    assert {one: words for one, words in told.items() if words} == {}
    assert {one: _named(_told(answer)) for one, answer in answers.items() if _named(_told(answer))} == {}


def test_no_live_view_that_anybody_may_watch_names_a_customer(stranger: Filled) -> None:
    public = [view for view in views._VIEWS.values() if view.may_see == views.ANYBODY]

    with stranger.web.app.app_context():
        shown = [
            views.render_view(view.name, stranger.web.desk, stranger.code if view.arg_name == "code" else "").html
            for view in public
        ]

    assert {view.name for view in public} >= {"wall", "ticket"}
    assert [_named(html) for html in shown] == [[] for _ in public]


def test_the_booths_people_see_names_where_they_need_them_and_nowhere_else_and_no_file_has_any(
    signed_in: Filled,
) -> None:
    asked = [(endpoint, one) for endpoint, addresses in signed_in.addresses().items() for one in addresses]
    answers = {(endpoint, one): signed_in.web.client.get(one) for endpoint, one in asked}
    naming = {endpoint for (endpoint, _), answer in answers.items() if _named(_told(answer))}
    files = {
        one for (_, one), answer in answers.items() if answer.status_code == 200 and answer.mimetype != "text/html"
    }

    assert naming <= MAY_NAME
    assert {"counter.show", "counter.ticket", "easel.show", "ticket.show"} <= naming  # they would be seen
    assert {f"/t/{signed_in.code}/alarm.ics", "/api/v1/booths/quay/journal"} <= files
    assert sum(one.endswith(".csv") for one in files) == 3


def test_what_names_a_customer_stays_in_no_cache_no_title_and_no_header(signed_in: Filled) -> None:
    for endpoint in sorted(MAY_NAME):
        for address in signed_in.addresses()[endpoint]:
            answer = signed_in.web.client.get(address)
            page = answer.get_data(as_text=True)
            titles = re.findall(r"<title>(.*?)</title>", page, re.DOTALL)

            assert "no-store" in answer.headers["Cache-Control"], address
            assert _named(" ".join(titles)) == [], address  # a title stays in the history of the browser
            assert _named(str(answer.headers)) == [], address


def test_no_link_and_no_form_of_a_page_carries_what_is_known_into_an_address(signed_in: Filled) -> None:
    for endpoint in sorted(MAY_NAME):
        for address in signed_in.addresses()[endpoint]:
            page = signed_in.web.client.get(address).get_data(as_text=True)
            ways = re.findall(r'(?:href|src|action|data-[\w-]+)="([^"]*)"', page)
            by_get = re.findall(r'<form(?![^>]*method="post")[^>]*>.*?</form>', page, re.DOTALL)

            assert _named(" ".join(ways)) == [], address
            assert _named(" ".join(by_get)) == [], address


def test_the_owner_erases_by_a_button_and_others_are_told_whose_it_is(filled: Filled) -> None:
    web, page = filled.web, f"/quay/counter/tickets/{filled.ticket}?sheet=1"
    owner, staff = web.key(), web.key("staff")
    command = {"id": "gone-1", "kind": "erased", "data": {"ticket": filled.ticket}}

    to_owner = web.client.get(page, headers=owner).get_data(as_text=True)
    to_staff = web.client.get(page, headers=staff).get_data(as_text=True)
    refused = web.client.post("/api/v1/booths/quay/commands", json=command, headers=staff)
    kept = web.desk.cards([filled.ticket])[filled.ticket].name
    done = web.client.post("/api/v1/booths/quay/commands", json=command, headers=owner)

    assert "&#34;erased&#34;" in to_owner
    assert "in the back-ups of this computer too" in to_owner
    assert "can only be drawn from life, or be cancelled" in to_owner
    assert "&#34;erased&#34;" not in to_staff
    assert "is the owner's to do. A photo alone can be removed by everybody of the booth." in to_staff
    assert (refused.status_code, kept, done.status_code) == (403, PERSON.name, 200)
    assert web.desk.cards([filled.ticket])[filled.ticket] == replace(
        web.desk.cards([filled.ticket])[filled.ticket], name="", contact="", note="", consent_by="", is_child=False
    )
    after = web.client.get(page, headers=owner).get_data(as_text=True)
    assert "The portrait can be drawn from life, or cancelled." in after


def test_the_ticket_page_says_until_when_the_booth_keeps_what_it_knows(filled: Filled) -> None:
    page = f"/t/{filled.code}"

    before = filled.web.client.get(page).get_data(as_text=True)
    filled.web.do("erased", ticket=filled.ticket)
    after = filled.web.client.get(page).get_data(as_text=True)

    assert "whatever else you told us are erased when we close the day you collect." in before
    assert "Ask at the booth to have them erased at once." in before
    assert "Your photo and whatever else you told us were erased." in after
