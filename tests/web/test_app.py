"""The start page, and the way on from every page."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.web.conftest import Web

FIRST_STEP = "What stands there is an example."


def page(web: Web, path: str) -> str:
    return web.client.get(path).get_data(as_text=True)


def test_the_owner_of_a_new_booth_reads_where_to_begin_until_the_first_order(web: Web):
    passer_by = page(web, "/")
    web.sign_in()
    before = page(web, "/")

    web.order()
    web.desk.standing(wait_s=10)

    assert [FIRST_STEP in seen for seen in (passer_by, before, page(web, "/"))] == [False, True, False]


def test_pages_of_no_booth_lead_on_to_the_only_one_there_is(web: Web):
    web.sign_in()

    assert all('href="/quay/counter"' in page(web, path) for path in ("/", "/pair", "/nothing/here", "/elsewhere/wall"))
    assert 'href="/elsewhere/' not in page(web, "/elsewhere/wall")
