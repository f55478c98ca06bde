"""Live push: whoever watches a view gets it at once and after every change that they can see.

Socket.IO, namespace `/live`. A client connects with `auth {"view", "booth" | "code", "artist"?, "seq"?}` and gets the
event `view` with `{"seq", "html", "as_of"}`. One thread publishes: it builds each watched view once, the booth's own
screens first, prints and sends it where it is not what it was, and of several standings in a row only the newest.
Whoever taps never waits for it. A socket that does not drain is passed over until it does, so that it delays nobody
and gets the newest then. A refused connection is told its sentence, and in `why` whether that stays so ("unsigned",
"unknown", and "wait" for a while) or passes by itself ("store"). A tablet that was withdrawn is told so ("withdrawn"),
and shows nothing of the booth's any more.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from flask import Flask
from flask_socketio import ConnectionRefusedError as RefusedConnection
from flask_socketio import SocketIO

from portraitq.core.errors import Malformed, Refused
from portraitq.core.events import shown
from portraitq.desk import Desk, Desks, NoSuchBooth, NoSuchTicket, Standing
from portraitq.store.store import StoreError
from portraitq.web import problems, sockets, strange_messages
from portraitq.web.codes_typed import ticket_of
from portraitq.web.here import desk_at
from portraitq.web.hosts import is_own_origin
from portraitq.web.problems import NotThere, OwnersOnly, TooOften, Unsigned
from portraitq.web.sockets import Outbox, Postman
from portraitq.web.staff import Pass, device_pass, is_withdrawn, staff_pass, still_valid
from portraitq.web.views import ANYBODY, Rendered, View, need_to_see, nobody_in_particular, render_view, view_named

NAMESPACE = "/live"
UNCHANGED_S = 50.0  # a view that stands still is sent again after this, so that "as of" stays younger than a minute
TICK_S = 1.0
SOON_S = 0.02  # a client whose connection is not answered yet is looked at again after this
PATIENCE_S = 2.0  # how long a client that knows more than the quotes waits for them
CHECK_PASSES_S = 2.0  # a device withdrawn by another process (`portraitq device withdraw`) is cut off after this
LAGGING_PACKETS = 4  # so many messages not yet on the wire, and a socket is passed over
PHONES = 2  # their turn, after the booth's own screens and the wall
# So many tickets are printed before the first of them is sent: each system call takes the processor's caches from
# under the printing, which then takes half as long again.
PRINTED_TOGETHER = 20
LARGEST_MESSAGE_BYTES = 16 * 1024  # clients send who they are, and nothing more
LONGEST_WORD = 100
log = logging.getLogger(__name__)

Room = tuple[str, str, str]
Sayings = tuple[type[Exception], ...]
UNKNOWN: Sayings = (Malformed, Refused, NotThere, NoSuchBooth, NoSuchTicket)  # asking again gives the same answer


@dataclass
class Watcher:
    """One connection: which view of which booth it watches, what it knows already, by what it may."""

    sid: str
    room: Room
    seq: int
    etag: str
    staff: Pass | None
    came_s: float
    is_greeted: bool = False


@dataclass
class Watched:
    """Who watches a room, what was last sent to it and when, and whom that did not reach."""

    last: Rendered | None = None
    sent_s: float = 0.0
    here: dict[str, Outbox] = field(default_factory=dict)  # those who have had their first view
    passed_over: set[str] = field(default_factory=set)


@dataclass(frozen=True, slots=True)
class News:
    """What a room is to be sent: its view to all of its watchers, or the same once more to those passed over."""

    watched: Watched
    view: Rendered
    outboxes: dict[str, Outbox]
    is_for_all: bool


class Publisher:
    """Who watches what, and the one thread that renders and sends it."""

    def __init__(self, app: Flask, socketio: SocketIO, postman: Postman, all_desks: Desks) -> None:
        self._app, self._io, self._postman, self._desks = app, socketio, postman, all_desks
        self._news = threading.Condition()
        self._changed: dict[str, Standing] = {}
        self._watchers: dict[str, Watcher] = {}
        self._rooms: dict[Room, Watched] = {}
        self._is_closed = False
        self._checked_s = time.monotonic()
        self._has_newcomers = False
        self._thread = threading.Thread(target=self._keep_publishing, name="live push", daemon=True)
        self._thread.start()

    def heard(self, desk: Desk, standing: Standing) -> None:
        """A booth was re-quoted. Returns at once."""
        with self._news:
            before = self._changed.get(desk.slug)
            if before is None or before.seq <= standing.seq:
                self._changed[desk.slug] = standing
            self._news.notify_all()

    def watch(self, watcher: Watcher) -> None:
        """Somebody wants to see a view from now on."""
        with self._news:
            self._watchers[watcher.sid] = watcher
            self._has_newcomers = True
            self._news.notify_all()

    def leave(self, sid: str) -> None:
        """A connection is gone."""
        with self._news:
            gone = self._watchers.pop(sid, None)
            watched = self._rooms.get(gone.room) if gone else None
            if gone and watched:
                watched.here.pop(sid, None)
                watched.passed_over.discard(sid)
                if not watched.here:
                    del self._rooms[gone.room]

    def look_at_passes(self) -> None:
        """Somebody was just shut out: see at once who belongs here no more. Returns at once."""
        with self._news:
            self._checked_s = float("-inf")
            self._has_newcomers = True
            self._news.notify_all()

    def watching(self) -> int:
        """How many connections there are."""
        return len(self._watchers)

    def close(self) -> None:
        """Hang up on everybody and stop."""
        with self._news:
            self._is_closed = True
            self._news.notify_all()
        self._thread.join(timeout=2)
        for sid in list(self._watchers):
            self._io.server.disconnect(sid, namespace=NAMESPACE)
        self._postman.stop()

    # The thread

    def _keep_publishing(self) -> None:
        wait_s = TICK_S
        while True:
            with self._news:
                self._news.wait_for(lambda: self._is_closed or self._changed or self._has_newcomers, timeout=wait_s)
                if self._is_closed:
                    return
                changed, self._changed = self._changed, {}
                self._has_newcomers = False
            try:
                with self._app.app_context():
                    wait_s = self._publish(changed)
            except Exception:
                log.exception("a push went wrong; the next one comes with the next change")
                wait_s = TICK_S

    def _publish(self, changed: dict[str, Standing]) -> float:
        now_s = time.monotonic()
        watchers = list(self._watchers.values())
        with nobody_in_particular():
            for rooms in _in_turn(self._rooms):
                for news in [self._news_of(room, changed.get(room[1]), now_s) for room in rooms]:
                    if news is not None:
                        self._send(news, now_s)
            pending = self._greet([one for one in watchers if not one.is_greeted], now_s)
        if now_s - self._checked_s > CHECK_PASSES_S:
            self._checked_s = now_s
            self._hang_up_on_strangers(watchers)
        return SOON_S if pending else TICK_S

    def _greet(self, newcomers: list[Watcher], now_s: float) -> bool:
        """Send each newcomer its first view; whether some have still to wait for it."""
        pending, rendered = False, dict[Room, Rendered | None]()
        for one in newcomers:
            is_ready = self._io.server.manager.is_connected(one.sid, NAMESPACE)
            desk = self._desks.at(one.room[1])
            knows_more = one.seq > desk.standing(wait_s=0).seq
            if not is_ready or (knows_more and now_s - one.came_s < PATIENCE_S):
                pending = pending or now_s - one.came_s < PATIENCE_S + TICK_S
                continue
            if one.room not in rendered:
                watched = self._rooms.get(one.room)
                rendered[one.room] = self._rendered(one.room, None, watched.last if watched else None)
            if (view := rendered[one.room]) is not None:
                self._send_first(one, view, knows_more)
        return pending

    def _send_first(self, one: Watcher, view: Rendered, knows_more: bool) -> None:
        outbox = sockets.outbox_of(self._io.server, one.sid, NAMESPACE)
        if outbox is None:
            return  # it has gone since we looked
        name, message = "view", view.message()
        if knows_more:  # another journal than the page was made from: a backup, a new demo
            outbox.put(self._letter("start_over", {}))
        elif one.etag == view.etag:
            name = "same"
            del message["html"]
        outbox.put(self._letter(name, message))
        one.is_greeted = True
        with self._news:
            if one.sid not in self._watchers:  # gone meanwhile
                return
            watched = self._rooms.setdefault(one.room, Watched(view, time.monotonic()))
            if watched.last is not None and watched.last.etag != view.etag:  # who came earlier: with the next round
                watched.passed_over.update(watched.here)
            watched.here[one.sid] = outbox

    def _news_of(self, room: Room, standing: Standing | None, now_s: float) -> News | None:
        """What changed in a room, or that nothing did when it has not heard for long; None where there is no news."""
        watched = self._rooms.get(room)
        if watched is None:
            return None
        is_due = now_s - watched.sent_s >= UNCHANGED_S
        if standing is None and not is_due and not watched.passed_over:
            return None
        view = self._rendered(room, standing, watched.last)
        if view is None:
            return None
        is_for_all = is_due or watched.last is None or view.etag != watched.last.etag
        with self._news:
            here = dict(watched.here)
        wanted = here if is_for_all else {sid: here[sid] for sid in watched.passed_over if sid in here}
        return News(watched, view, wanted, is_for_all)

    def _send(self, news: News, now_s: float) -> None:
        """Send it to those who take what they are sent; the others are passed over until they do."""
        watched, wanted = news.watched, news.outboxes
        if news.is_for_all:
            watched.last, watched.sent_s = news.view, now_s
        letter = self._letter("view", news.view.message()) if wanted else None
        watched.passed_over = {sid for sid, outbox in wanted.items() if not outbox.offer(letter, LAGGING_PACKETS)}

    def _letter(self, event: str, content: dict[str, Any]) -> Any:
        return sockets.letter(self._io.server, event, content, NAMESPACE)

    def _rendered(self, room: Room, standing: Standing | None, last: Rendered | None) -> Rendered | None:
        name, slug, arg = room
        desk = self._desks.at(slug)
        try:
            return render_view(name, desk, arg, standing or desk.standing(wait_s=0), last)
        except NotThere as gone:
            log.info("nobody can see %s any more: %s", name, gone)
        except StoreError as no:  # the store has logged it; what is shown stands until it answers again
            log.info("the view %s could not be rendered: %s", name, no)
        except Exception:
            log.exception("the view %s could not be rendered", name)
        return None

    def _hang_up_on_strangers(self, watchers: list[Watcher]) -> None:
        """Whoever signed out, was signed out or withdrawn, or has rested too long, sees no more."""
        of_staff = [one for one in watchers if one.staff and view_named(one.room[0]).may_see != ANYBODY]
        try:
            valid = still_valid({one.staff for one in of_staff if one.staff})
        except StoreError as no:
            log.info("nobody could say who still belongs here: %s", no)
            return
        for one in of_staff:
            if one.staff not in valid:
                self._io.server.disconnect(one.sid, namespace=NAMESPACE)


def _in_turn(rooms: Iterable[Room]) -> Iterator[Sequence[Room]]:
    """The rooms in the order in which they are told, those in one part that are printed before any of them is sent."""
    in_turn = sorted(rooms, key=_whose_turn)
    first = [room for room in in_turn if _whose_turn(room) < PHONES]
    yield from ([room] for room in first)
    phones = in_turn[len(first) :]
    for place in range(0, len(phones), PRINTED_TOGETHER):
        yield phones[place : place + PRINTED_TOGETHER]


def _whose_turn(room: Room) -> int:
    """Whoever draws and serves is told first, then the wall, which many look at, then each phone."""
    view = view_named(room[0])
    return 0 if view.may_see != ANYBODY else PHONES if view.arg_name == "code" else 1


def watcher_of(sid: str, auth: object) -> Watcher:
    """Who connects with `auth`, and to what; a refusal of `problems.py` when it may not be."""
    if not isinstance(auth, dict):
        raise Malformed('auth: an object like {"view": "wall", "booth": "quay"} was expected.', "auth")
    view = view_named(_word(auth, "view"))
    if view.arg_name == "code":
        desk, _, arg = ticket_of(_word(auth, "code"))
    else:
        desk = desk_at(_word(auth, "booth"))
        arg = _which(view, desk, auth)
    staff = staff_pass()
    if staff is None and isinstance(auth.get("key"), str):
        staff = device_pass(auth["key"])
    need_to_see(view, staff)
    view.build(desk, desk.standing(wait_s=PATIENCE_S), arg)  # NotThere when the argument names nothing
    seq = auth.get("seq")
    return Watcher(
        sid=sid,
        room=(view.name, desk.slug, arg),
        seq=seq if isinstance(seq, int) and not isinstance(seq, bool) and seq > 0 else 0,
        etag=str(auth.get("etag") or ""),
        staff=staff,
        came_s=time.monotonic(),
    )


def _which(view: View, desk: Desk, auth: dict[Any, Any]) -> str:
    """Which one of the booth's views of that name; an easel of which no artist is said is the first one's."""
    if view.arg_name == "artist" and "artist" not in auth:
        set_up = desk.standing(wait_s=0).booth.set_up
        return set_up.artists[0].id if set_up and set_up.artists else ""
    return _word(auth, view.arg_name) if view.arg_name else ""


def _word(auth: dict[Any, Any], key: str) -> str:
    word = auth.get(key)
    if not isinstance(word, str) or not 0 < len(word) <= LONGEST_WORD:
        raise Malformed(f"{key}: a word was expected in auth, not {shown(word)}.", key)
    return word


def install(app: Flask) -> None:
    """Let browsers and other clients connect; `app.extensions["portraitq-live"]` is the Publisher."""
    socketio = SocketIO(
        app,
        async_mode="threading",
        max_http_buffer_size=LARGEST_MESSAGE_BYTES,
        cors_allowed_origins=partial(is_own_origin, address=app.config["PORTRAITQ_ADDRESS"]),
        cors_credentials=False,
        ping_interval=20,
        ping_timeout=15,
        logger=False,
        engineio_logger=False,
    )
    all_desks: Desks = app.extensions["portraitq"]
    publisher = Publisher(app, socketio, sockets.install(socketio), all_desks)
    all_desks.listen(publisher.heard)
    app.extensions["portraitq-live"] = publisher

    @socketio.on("connect", namespace=NAMESPACE)  # type: ignore[untyped-decorator]
    def connected(auth: object = None) -> None:
        from flask import request

        sid = str(getattr(request, "sid"))  # noqa: B009 # Flask-SocketIO puts it there
        try:
            watcher = watcher_of(sid, auth)
        except (Unsigned, OwnersOnly) as no:
            said = problems.UNSIGNED if isinstance(no, Unsigned) else problems.OWNERS_ONLY
            raise RefusedConnection(said, {"why": "withdrawn" if is_withdrawn() else "unsigned"}) from no
        except TooOften as no:
            raise RefusedConnection(str(no), {"why": "wait"}) from no
        except UNKNOWN as no:
            raise RefusedConnection(str(no), {"why": "unknown"}) from no
        except StoreError as no:
            raise RefusedConnection(str(no), {"why": "store"}) from no
        publisher.watch(watcher)

    @socketio.on("disconnect", namespace=NAMESPACE)  # type: ignore[untyped-decorator]
    def disconnected(reason: object = None) -> None:
        from flask import request

        publisher.leave(str(getattr(request, "sid")))  # noqa: B009

    strange_messages.install(socketio)
