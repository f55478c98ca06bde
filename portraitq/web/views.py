"""The live views: which there are, who may see them, and how one is rendered.

A view is built by its screen's own function out of what is true at the booth, and rendered by one template, always in
the same neutral surroundings (nobody signed in), so that the first page load, every push and the plain-HTTP fallback
say the same to the letter and one rendering serves everybody who watches it. What is built out of the same booth the
same way is printed once: a push compares what would be printed with what was.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any

from flask import Response, current_app, has_request_context, jsonify, make_response, render_template, request
from markupsafe import Markup, escape

from portraitq.core.events import print_instant
from portraitq.web.kept_parts import KeptParts, Key
from portraitq.web.problems import NotThere, OwnersOnly, Unsigned

if TYPE_CHECKING:
    from portraitq.desk import Desk, Standing
    from portraitq.web.staff import Pass

ANYBODY = "anybody"
STAFF = "staff"
OWNER = "owner"
JUST_ORDERED_S = 5.0
AS_OF_HEADER = "X-Portraitq-As-Of"


@dataclass(frozen=True)
class View:
    """One live view.

    may_see    ANYBODY, STAFF or OWNER
    build      (desk, standing, arg) -> a frozen dataclass ready to print; NotThere when `arg` names nothing
    template   of the fragment; it prints nothing but the dataclass, which it gets as `view`, and `slug`, and may
               print parts of it by `kept` (`kept_parts.py`)
    arg_name   which of the `auth` keys (beside `booth`) says which one is meant: "artist", "code" or none
    """

    name: str
    may_see: str
    build: Callable[[Desk, Standing, str], Any]
    template: str
    arg_name: str = ""


@dataclass(frozen=True)
class Rendered:
    """A view as it stands: its HTML, of which `seq`, true as of when; `view` is what was printed, `parts` of what."""

    seq: int
    html: str
    as_of: datetime
    view: Any
    parts: Mapping[Key, Markup]

    @cached_property
    def etag(self) -> str:
        """Names this content: equal for equal HTML."""
        return hashlib.sha256(self.html.encode()).hexdigest()[:20]

    def message(self) -> dict[str, Any]:
        """What a push carries."""
        return {"seq": self.seq, "html": self.html, "as_of": print_instant(self.as_of)}


_VIEWS: dict[str, View] = {}


def register(view: View) -> None:
    """Make `view` known; screens do so when they are imported."""
    _VIEWS[view.name] = view


def names() -> list[str]:
    """What the live views are called."""
    return sorted(_VIEWS)


def view_named(name: str) -> View:
    """The view of that name; NotThere with the names there are."""
    if name not in _VIEWS:
        raise NotThere(f"There is no view {name[:40]!r} (there is: {', '.join(names())}).")
    return _VIEWS[name]


def render_view(
    name: str, desk: Desk, arg: str = "", standing: Standing | None = None, last: Rendered | None = None
) -> Rendered:
    """The view `name` of `desk` as it stands now, or as of `standing`.

    `last` is how this same view was rendered before: where the same is to be printed again, its HTML stands.
    """
    view = view_named(name)
    if standing is not None:
        built = view.build(desk, standing, arg)
    else:
        standing, built = _built_now(view, desk, arg)
    if last is not None and last.view == built:
        return replace(last, seq=standing.booth.seq, as_of=standing.as_of)
    kept = KeptParts(last.parts if last is not None else {})
    with nobody_in_particular():
        html = printed(view.template, view=built, slug=desk.slug, kept=kept)
    return Rendered(standing.booth.seq, html, standing.as_of, built, kept.parts)


def printed(template: str, **shown: Any) -> str:
    """What `flask.render_template` gives, in less than half the time: sixty tickets are printed for one tap.

    Flask looks up what it knows of the request, and Jinja copies all names that it knows, for each rendering anew.
    """
    environment = current_app.jinja_env
    page = environment.get_template(template)
    context = environment.context_class(environment, {**environment.globals, **shown}, page.name, page.blocks)
    try:
        return "".join(page.root_render_func(context))
    except Exception:
        environment.handle_exception()  # raises it with the lines of the template
        raise


def _built_now(view: View, desk: Desk, arg: str) -> tuple[Standing, Any]:
    """The view of the newest standing; what was ordered a moment ago is waited for."""
    standing = desk.standing()
    try:
        return standing, view.build(desk, standing, arg)
    except NotThere:
        newer = desk.standing(wait_s=JUST_ORDERED_S)
        if newer.seq == standing.seq:
            raise
        return newer, view.build(desk, newer, arg)


@contextmanager
def nobody_in_particular() -> Iterator[None]:
    """A request from nobody, so that `url_for` works in pushes too and nothing personal slips in.

    Within one, the same goes on: a round of pushes renders all its views in one.
    """
    if has_request_context() and "portraitq.neutral" in request.environ:
        yield
        return
    environ = {
        "REQUEST_METHOD": "GET",
        "SCRIPT_NAME": "",
        "PATH_INFO": "/",
        "QUERY_STRING": "",
        "SERVER_NAME": "localhost",
        "SERVER_PORT": "80",
        "HTTP_HOST": "localhost",
        "SERVER_PROTOCOL": "HTTP/1.1",
        "wsgi.url_scheme": "http",
        "portraitq.neutral": True,
    }
    with current_app.request_context(environ):
        yield


def need_to_see(view: View, found: Pass | None) -> None:
    """Unsigned when `view` is for the booth's people and who asks is none; OwnersOnly when it is the owner's."""
    if view.may_see == ANYBODY:
        return
    if found is None:
        raise Unsigned
    if view.may_see == OWNER and found.role != OWNER:
        raise OwnersOnly


def show_view(name: str, desk: Desk, arg: str = "", *, page: str, **context: Any) -> Response:
    """The answer to a page load: the whole page, or with `?fragment=1` the view alone with its ETag.

    The page template gets `view`, `fragment` (the rendered HTML), `live` (the attributes for the element that holds
    it) and everything in `context`.
    """
    from portraitq.web.staff import staff_pass

    need_to_see(view_named(name), staff_pass())
    rendered = render_view(name, desk, arg)
    if "fragment" in request.args:
        return _fragment(rendered)
    html = render_template(
        page,
        view=rendered.view,
        fragment=Markup(rendered.html),  # rendered by our own template just now
        live=live_attributes(name, desk, arg, rendered),
        slug=desk.slug,
        **context,
    )
    return make_response(html)


def live_attributes(name: str, desk: Desk, arg: str, rendered: Rendered) -> Markup:
    """The `data-…` attributes by which `live.js` connects an element to its view."""
    attributes = {
        "view": name,
        "booth": desk.slug,
        "seq": rendered.seq,
        "as-of": print_instant(rendered.as_of),
        "zone": str(desk.standing().booth.zone),
        "etag": rendered.etag,
    }
    if (key := view_named(name).arg_name) and arg:
        attributes[key] = arg
    return Markup(" ").join(Markup('data-{}="{}"').format(key, escape(value)) for key, value in attributes.items())


def _fragment(rendered: Rendered) -> Response:
    answer = jsonify(rendered.message())
    answer.set_etag(rendered.etag)
    answer.headers[AS_OF_HEADER] = print_instant(rendered.as_of)
    answer.headers["Cache-Control"] = "no-store"  # live.js keeps what it shows, and its ETag, itself
    answer.make_conditional(request)
    return answer
