"""How a live view is rendered: as Flask's own `render_template` would, and not again where it is the same."""

from __future__ import annotations

import pytest
from flask import render_template

from portraitq.web import views
from tests.web.conftest import Web


def named(web: Web, ticket: str) -> dict[str, str]:
    """Every live view, and which one of that name."""
    which = {"code": web.code(ticket), "artist": "a1", "": ""}
    return {name: which[views.view_named(name).arg_name] for name in views.names()}


def test_every_view_is_printed_to_the_letter_as_flask_prints_it(web: Web):
    drawn, waiting = web.order(), web.order(sitters=2)
    web.do("started", ticket=drawn, artist="a1")
    standing = web.desk.standing(wait_s=10)

    for name, arg in named(web, waiting).items():
        with web.app.app_context(), views.nobody_in_particular():
            view = views.view_named(name)
            built = view.build(web.desk, standing, arg)
            by_flask = render_template(view.template, view=built, slug="quay", kept=lambda macro, *shown: macro(*shown))
            assert views.render_view(name, web.desk, arg, standing).html == by_flask


def test_what_is_not_changed_is_not_printed_again_but_says_as_of_when_it_is_so(
    web: Web, monkeypatch: pytest.MonkeyPatch
):
    code = web.code(web.order())
    with web.app.app_context():
        last = views.render_view("ticket", web.desk, code, web.desk.standing(wait_s=10))
        printed = list[str]()
        monkeypatch.setattr(views, "printed", lambda template, **_: printed.append(template))

        again = views.render_view("ticket", web.desk, code, later := web.after(minutes=0.01), last)

    assert printed == []
    assert (again.html, again.etag, again.seq, again.as_of) == (last.html, last.etag, later.seq, later.as_of)
    assert later.seq > last.seq


def test_what_changed_is_printed_anew(web: Web):
    ticket = web.order()
    code = web.code(ticket)
    with web.app.app_context():
        last = views.render_view("ticket", web.desk, code, web.desk.standing(wait_s=10))
        web.do("started", ticket=ticket, artist="a1")

        after = views.render_view("ticket", web.desk, code, web.desk.standing(wait_s=10), last)

        assert after.html == views.render_view("ticket", web.desk, code).html != last.html
