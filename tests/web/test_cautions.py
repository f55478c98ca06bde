"""Each caution stands where it is acted on, once, in few words, and leaves the last word to whoever has it: the label
and safety data sheet of a product, local rules, the organiser, a doctor. portraitq gives no advice on law or health.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from html import unescape

import pytest

from portraitq.core.commands import Command, Order
from portraitq.desk import NewCard
from portraitq.photo.intake import take_in
from tests.web.conftest import Web, jpeg, make_web
from tests.web.test_daybook import text_of

DEFERS = re.compile(r"rules|law|organiser|safety data sheet|doctor|whoever shows", re.IGNORECASE)
LONGEST_WORDS = 45  # read between two customers; by then it has said who decides
NO_ADVICE = re.compile(
    r"\b(guarantee\w*|harmless|perfectly safe|diagnos\w+|legally|lawful|complian\w+|GDPR|must by law)\b", re.IGNORECASE
)


@dataclass(frozen=True)
class Caution:
    """Where a caution stands: the screen, the words it begins with, and one by which its subject would be repeated."""

    screen: str
    begins: str
    subject: str
    part: Callable[[str], str] = lambda page: page


def _care_of_set_up(page: str) -> str:
    return page[page.index('id="care"') :]


def _rules_of_set_up(page: str) -> str:
    return page[page.index('id="house-rules"') : page.index('id="screens"')]


def _easel_face(name: str) -> Callable[[str], str]:
    """One face of the easel; only one is ever seen."""

    def face(page: str) -> str:
        begins = page.index(f'data-face-of="{name}"')
        return page[begins : page.index("</section>", begins)]

    return face


def _next_at_the_easel(page: str) -> str:
    begins = page.index('class="sketch__plan"')
    return page[begins : page.index("</div>", begins)]


def _rack_at_the_easel(page: str) -> str:
    begins = page.index('class="sketch__rack"')
    return page[begins : page.index("</div>", begins)]


CAUTIONS = (
    Caution("/quay/counter", "Ask before you take a photo", "Ask before"),
    Caution("/quay/counter", "Ask them before the photo is taken", "guardian of each"),
    Caution("/quay/counter/day", "Cables, lamps, tripods and bags", "Cables"),
    Caution("/quay/counter/tickets/{ticket}", "This is a record and no receipt", "receipt"),
    Caution("/t/{code}", "This is a record and no receipt", "receipt"),
    Caution("/quay/easel/a1", "Fixative: outdoors or well aired", "Fixative", _easel_face("nothing")),
    Caution("/quay/easel/a1", "Fixative: outdoors or well aired", "Fixative", _next_at_the_easel),
    Caution("/quay/easel/a1", "Fixative: outdoors or well aired", "Fixative", _rack_at_the_easel),
    Caution("/quay/daybook/close", "A record of the cash in the box", "tax"),
    Caution("/quay/daybook", "A record of the money that changed hands", "tax"),
    Caution("/quay/slip/{ticket}", "Keep this slip: whoever shows it", "Keep this slip"),
    Caution("/quay/set-up", "Rules for photos of children differ", "photos of children", _rules_of_set_up),
    Caution("/quay/set-up", "A child sits with the yes of a parent", "A child sits", _care_of_set_up),
    Caution("/quay/set-up", "Fixative and solvents: outdoors", "Fixative", _care_of_set_up),
    Caution("/quay/set-up", "Chalk and pastel dust: wipe it damp", "Chalk and pastel", _care_of_set_up),
    Caution("/quay/set-up", "Plan breaks: short and often", "Plan breaks", _care_of_set_up),
    Caution("/quay/set-up", "Lamps, cables and heaters", "Lamps", _care_of_set_up),
    Caution("/quay/set-up", "portraitq records what was agreed", "receipts", _care_of_set_up),
)
# The whole of it defers in the line above it ("Rules differ from place to place"), not in each sentence.
UNDER_ONE_HEADING = ("A child sits", "Chalk and pastel", "Ask before")


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, str]]:
    """Every screen of the table as the owner sees it; the sheet of the day before it is opened."""
    web = make_web(tmp_path_factory.mktemp("cautions"))
    child = NewCard(name="Anouk", is_child=True, consent_by="her mother")
    order = Command("o1", Order(style="pencil-head", sitters=1))
    taken = web.desk.take_order(order, child, [take_in(jpeg())])
    web.desk.standing(wait_s=10)
    web.sign_in()
    addresses = {one.screen for one in CAUTIONS}
    found = {one: web.client.get(one.format(ticket=taken.ticket, code=taken.code)) for one in addresses}
    web.do("day_closed")
    web.desk.standing(wait_s=10)
    found["/quay/counter/day"] = web.client.get("/quay/counter/day")
    yield {one: answer.get_data(as_text=True) for one, answer in found.items()}
    web.app.extensions["portraitq-live"].close()
    web.desks.close()


def test_every_caution_stands_once_where_it_is_acted_on_is_short_and_defers(pages: dict[str, str]) -> None:
    for one in CAUTIONS:
        shown = unescape(text_of(one.part(pages[one.screen])))
        begins = [place.start() for place in re.finditer(re.escape(one.begins), shown)]
        assert len(begins) == 1, f"{one.screen}: {one.begins}"
        assert len(re.findall(re.escape(one.subject), shown)) == 1, f"{one.screen} speaks twice of {one.subject}"
        read = " ".join(shown[begins[0] :].split()[:LONGEST_WORDS])
        assert one.subject in UNDER_ONE_HEADING or DEFERS.search(read), f"{one.begins} … defers to nobody soon"


def test_no_screen_gives_advice_on_law_or_health(pages: dict[str, str]) -> None:
    found = {one: NO_ADVICE.findall(unescape(text_of(page))) for one, page in pages.items()}

    assert {one: words for one, words in found.items() if words} == {}


def test_what_customers_see_carries_no_caution_of_the_trade(web: Web) -> None:
    code = web.code(web.order())

    for address in ("/quay/wall", f"/t/{code}", "/sign-in", "/"):
        shown = text_of(web.client.get(address).get_data(as_text=True))
        assert re.findall(r"(?i)fixative|solvent|safety data|receipt|tax\b|doctor", shown) == [], address
