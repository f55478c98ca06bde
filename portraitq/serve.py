"""Starting and stopping the service: is the port free, a booth to begin with, what is told, which server serves.

On Linux and macOS one gunicorn worker with many plain threads: each live connection holds one, and whatever waits (a
slow card, a photo, a forecast) makes nobody else wait. On Windows Werkzeug's threaded server does the same. The desks
and their threads are made in the process that serves, never before a fork.
"""

from __future__ import annotations

import errno
import logging
import os
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from pathlib import Path
from types import FrameType
from typing import Any
from zoneinfo import ZoneInfo

from flask import Flask

from portraitq import __version__, darkroom, locality, open_files, passphrase, starter
from portraitq.certificate import NoCertificate
from portraitq.clock import Clock
from portraitq.core.commands import Command
from portraitq.core.errors import Malformed, Refused
from portraitq.desk import Desks
from portraitq.https import Https, HttpsWish
from portraitq.quiet_logs import keep_addresses_out, keep_values_out, log_what_ends_a_thread
from portraitq.secure_door import Door, InnerEnd, Take, knows_https
from portraitq.store import journal
from portraitq.store.lock import KeepOn, alone_in
from portraitq.store.store import Store, StoreError, open_store
from portraitq.ticket.qr import as_terminal, compact
from portraitq.web import crowd
from portraitq.web.app import create_app

SPARE_THREADS = 150  # for what is asked while every thread of a live connection is taken
MORE_CONNECTIONS = 300  # kept-alive connections that say nothing just now
FILES_OF_OUR_OWN = 200  # the database and its log for each thread that reads, the darkroom, the interpreter
FEWEST_LIVE = 50
ENOUGH_FILES = 8192
STOP_S = 2  # so long requests in hand may still run when the service is stopped
HANG_UP_S = 1.0
ORPHAN_S = 0.2
FULL_S = 0.05  # so long nobody is asked in while no more files may be opened
PORT_WAIT_S = 2.0  # so long a port may still be held by a service that was just stopped or killed
IN_USE = (errno.EADDRINUSE, getattr(errno, "WSAEADDRINUSE", errno.EADDRINUSE))
log = logging.getLogger(__name__)


class CannotServe(Exception):
    """The service cannot start; one sentence says why and what to do."""


@dataclass
class Service:
    """What is served, and where.

    `open_desks` is called in the serving process; `behind`, and what keeps the store ours, run there until stopped.
    """

    open_desks: Callable[[], Desks]
    host: str
    port: int
    address: str
    behind: Callable[[Desks, threading.Event], None] | None = None
    https: Https | None = None
    keep_on: KeepOn | None = None
    stopped: threading.Event = field(default_factory=threading.Event)
    _app: Flask | None = None

    def app(self) -> Flask:
        """The application with its desks and their threads; made once, in the serving process."""
        if self._app is None:
            desks = self.open_desks()
            self._app = create_app(
                desks, address=self.address, PORTRAITQ_HTTPS=self.https, PORTRAITQ_MOST_LIVE=self.most_live
            )
            self._app.wsgi_app = knows_https(self._app.wsgi_app)  # type: ignore[assignment, method-assign]
            darkroom.warm()
            desks.back_ups.start(daily=desks.clock.speed == 1)  # a demo's days are not kept
            if self.keep_on is not None:
                threading.Thread(target=self.keep_on, args=(self.stopped,), name="alone", daemon=True).start()
            if self.behind is not None:
                threading.Thread(target=self.behind, args=(desks, self.stopped), name="behind", daemon=True).start()
        return self._app

    @cached_property
    def most_live(self) -> int:
        """How many phones and screens are kept up to date: fewer where this account may have few files open.

        Out of files, the server could take nobody in any more, the artist's tablet included.
        """
        files = more_files()
        if files is None:
            return crowd.MOST_LIVE
        a_line = 3 if self.https is not None else 1  # behind the door for https there are two ends more
        fit = (files - FILES_OF_OUR_OWN) // a_line - MORE_CONNECTIONS - SPARE_THREADS - crowd.RESERVE
        if fit < crowd.MOST_LIVE:
            log.warning(
                "This account may open %d files: %d phones at once get live pages.", files, max(fit, FEWEST_LIVE)
            )
        return min(crowd.MOST_LIVE, max(fit, FEWEST_LIVE))

    def open_door(self, take: Take) -> Door | None:
        """Listen for https, if that is wanted, in the serving process; `take` gets each connection."""
        if self.https is None:
            return None
        door = Door(self.https.listener(), self.https.context(), take)
        threading.Thread(
            target=self.https.keep_fresh, args=(door, self.stopped), name="certificate", daemon=True
        ).start()
        return door

    def hang_up(self) -> None:
        """Let go of every live connection, so that their threads end."""
        self.stopped.set()
        if self._app is not None:
            self._app.extensions["portraitq-live"].close()

    def close(self) -> None:
        """Hang up, stop the desks, let go of the store. What was acknowledged is on disk already."""
        self.hang_up()
        darkroom.close()
        if self._app is not None:
            self._app.extensions["portraitq"].close()


def more_files() -> int | None:
    """Let this process open as many files as its account may; how many, or None where there is no such limit."""
    try:
        import resource
    except ImportError:  # Windows
        return None
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = ENOUGH_FILES if hard == resource.RLIM_INFINITY else min(hard, ENOUGH_FILES)
    if soft == resource.RLIM_INFINITY or soft >= wanted:
        return ENOUGH_FILES if soft == resource.RLIM_INFINITY else soft
    try:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
    except (OSError, ValueError):  # macOS names a limit that it does not grant
        return soft
    return wanted


def free_port(host: str, port: int, wait_s: float = PORT_WAIT_S, option: str = "--port") -> int:
    """`port`, or a free one where it is 0; CannotServe when it cannot be listened on, also after `wait_s`."""
    until_s = time.monotonic() + wait_s
    while True:
        try:
            return _listened_at(host, port)
        except OSError as wrong:
            if wrong.errno not in IN_USE or time.monotonic() > until_s:
                raise CannotServe(_why_not_at(host, port, option, wrong)) from wrong
            time.sleep(0.1)


def _listened_at(host: str, port: int) -> int:
    """The port that could be listened on for a moment; OSError when it could not."""
    family, _, _, _, where = socket.getaddrinfo(host or "0.0.0.0", port, type=socket.SOCK_STREAM)[0]
    with socket.socket(family, socket.SOCK_STREAM) as asking:
        if os.name == "posix":  # elsewhere this option would share a port that is in use
            asking.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        asking.bind(where)
        asking.listen(1)
        return int(asking.getsockname()[1])


def _why_not_at(host: str, port: int, option: str, wrong: OSError) -> str:
    if wrong.errno in IN_USE:
        return (
            f"Port {port} is in use: perhaps portraitq runs already. Stop what uses it, "
            f"or choose another with {option}."
        )
    if wrong.errno in (errno.EACCES, errno.EPERM):
        return f"Port {port} may not be used by this account: choose one above 1023 with {option}."
    return f"{host!r} is no address of this computer: leave --host out, or give one that is ({wrong.strerror})."


def first_start(store: Store, clock: Clock) -> str | None:
    """Make a booth that can take an order at once where there is none, and a passphrase where there is none.

    Returns the passphrase when it was made now; it is kept nowhere.
    """
    with store.reading() as conn:
        slugs = journal.booths(conn)
    if not slugs:
        desks = Desks(store, clock)
        zone = locality.zone_here()
        desk = desks.create(starter.SLUG, starter.set_up(zone, locality.currency_of(zone)))
        if not clock.reading().is_lost:  # else nobody knows which day it is
            desk.carry_out(Command("first-day", starter.first_day(clock.now(), ZoneInfo(zone))))
        desk.close()
    if passphrase.is_set(store):
        return None
    made = passphrase.new_passphrase()
    passphrase.set_passphrase(store, made)
    return made


def desks_of(where: str | Path, clock: Clock | None = None) -> Desks:
    """The desks of the store at `where`; CannotServe when one of its journals is damaged."""
    store = open_store(where)
    try:
        return Desks(store, clock)
    except (Malformed, Refused) as damaged:
        store.close()
        raise CannotServe(
            f"A journal in this store is damaged: {damaged} `portraitq check` says which and where; "
            "keep a copy of the data folder before doing anything else."
        ) from damaged


def _https_for(wish: HttpsWish | None, host: str, port: int, address: str | None) -> Https | None:
    """What is wished for, with its port free and its certificate at hand; CannotServe when that cannot be."""
    if wish is None:
        return None
    if wish.port == port:
        raise CannotServe(f"Port {port} is that of http already: choose another for https with --https-port.")
    wish = replace(wish, port=free_port(host, wish.port, option="--https-port"))
    try:
        return wish.at(host, address)
    except NoCertificate as no:
        raise CannotServe(str(no)) from no


def serve(
    where: str | Path,
    host: str,
    port: int,
    address: str | None,
    tell: Callable[[str], None],
    https: HttpsWish | None = None,
) -> None:
    """Serve the store at `where` until stopped. `tell` prints a line for whoever started it.

    Raises CannotServe or StoreError with a sentence before anything is served.
    """
    with alone_in(where) as keep_on:
        port = free_port(host, port)
        secure = _https_for(https, host, port, address)
        store = open_store(where)
        made = first_start(store, Clock())
        store.close()
        called = locality.address_for_phones(host, port, address)
        service = Service(lambda: desks_of(where), host, port, called, https=secure, keep_on=keep_on)
        _welcome(service, tell, made)
        run(service)


def serve_demo(
    folder: Path,
    host: str,
    port: int,
    address: str | None,
    speed: float,
    today: date,
    tell: Callable[[str], None],
    https: HttpsWish | None = None,
) -> None:
    """Serve the demo out of `folder`, which is empty, until stopped."""
    from portraitq.demo import run as demo

    port = free_port(host, port)
    secure = _https_for(https, host, port, address)
    store = open_store(folder)
    market = demo.prepare(store, today)
    passphrase.set_passphrase(store, demo.PASSPHRASE)
    one = demo.ticket_to_show(store)
    store.close()
    service = Service(
        lambda: desks_of(folder, demo.clock(today, speed)),
        host,
        port,
        locality.address_for_phones(host, port, address),
        behind=lambda desks, stopped: demo.keep_trading(desks, market, stopped),
        https=secure,
    )
    _welcome(service, tell, None)
    tell("")
    tell(f"  The demo is an evening at {demo.BOOTH_NAME}; {speed:g} minutes go by in one. Worth a look:")
    for screen, path in demo.screens(one):
        tell(f"    {screen + ':':<26} {_own_address(service)}{path}")
    tell(f"  The passphrase of the demo is  {demo.PASSPHRASE}  and nothing you do in it is kept.")
    run(service)


def _own_address(service: Service) -> str:
    return f"http://{locality.LOOPBACK if service.host in locality.ANYWHERE else service.host}:{service.port}"


def _welcome(service: Service, tell: Callable[[str], None], made: str | None) -> None:
    tell(f"portraitq {__version__}")
    tell(f"  On this computer:  {_own_address(service)}/")
    tell(f"  For phones:        {service.address}/")
    tell(as_terminal(compact(f"{service.address}/")))
    if service.https is not None:
        _tell_of_https(service, service.https, tell)
    if made:
        tell(f"  Passphrase of the booth: {made}")
        tell("  It is shown this once. `portraitq passphrase` makes another, also without the old one.")
    tell("  Ctrl-C stops it.")


def _tell_of_https(service: Service, https: Https, tell: Callable[[str], None]) -> None:
    tell(f"  For your tablets:  {https.address}/  (https)")
    if https.fingerprint:
        tell(f"  How a tablet comes to trust it:  {service.address}/trust")
        tell("  There the tablet shows the SHA-256 fingerprint of what it got. Go on only if it is this one:")
        for line in https.fingerprint:
            tell(f"    {line}")


def run(service: Service) -> None:
    """Serve until Ctrl-C or a signal to stop."""
    keep_values_out()
    log_what_ends_a_thread()
    if sys.platform == "win32":
        with_werkzeug(service)
    else:
        with_gunicorn(service)


def with_gunicorn(service: Service) -> None:
    """One worker of plain threads under gunicorn's arbiter, which starts it anew should it die."""
    from gunicorn.app.base import BaseApplication  # type: ignore[import-untyped]
    from gunicorn.arbiter import Arbiter  # type: ignore[import-untyped]
    from gunicorn.errors import AppImportError  # type: ignore[import-untyped]
    from gunicorn.workers.gthread import TConn, ThreadWorker  # type: ignore[import-untyped]

    from portraitq.broken_bodies import Wsgi, told_apart
    from portraitq.slow_clients import SlowClients

    clients = SlowClients()

    class Worker(ThreadWorker):  # type: ignore[misc]
        """Hangs up on live connections when it is to stop; they would hold it, and its port, for ever."""

        has_told_of_files = False

        def __init__(self, *args: Any, **settings: Any) -> None:
            super().__init__(*args, **settings)
            self.max_keepalived = MORE_CONNECTIONS

        def init_process(self) -> None:
            threading.Thread(target=self._stop_with_the_arbiter, name="is the arbiter there", daemon=True).start()
            super().init_process()

        def _stop_with_the_arbiter(self) -> None:
            while os.getppid() == self.ppid:
                time.sleep(ORPHAN_S)
            os._exit(1)  # the arbiter was killed: what was acknowledged is on disk already

        def run(self) -> None:
            door = service.open_door(self._taken)
            try:
                super().run()
            finally:
                if door is not None:
                    door.close()

        def _taken(self, line: InnerEnd, client: Any) -> None:
            """A connection that came by https, in the door's thread: from here on it is one like any other."""
            if self.alive:
                self.method_queue.defer(self._hold, line, client)
            else:
                line.close()

        def _hold(self, line: InnerEnd, client: Any) -> None:
            if self.nr_conns >= self.worker_connections:
                line.close()
                return
            self.nr_conns += 1
            self.enqueue_req(TConn(self.cfg, line, client, (service.host, service.port)))

        def accept(self, listener: Any) -> None:
            """Take who comes; where no more files may be opened, they wait at the door and nobody is sent away."""
            try:
                super().accept(listener)
            except OSError as wrong:
                if wrong.errno not in open_files.USED_UP:
                    raise
                if not self.has_told_of_files:
                    log.error("Whoever comes now has to wait: portraitq may open no more files on this computer.")
                self.has_told_of_files = True
                time.sleep(FULL_S)

        def enqueue_req(self, conn: Any) -> None:
            if clients.meets(conn):
                super().enqueue_req(conn)
                return
            self.nr_conns -= 1
            conn.close()

        def handle_request(self, req: Any, conn: Any) -> bool:
            with clients.serving(conn, is_live=req.path.startswith(crowd.LIVE_PATH)):
                return bool(super().handle_request(req, conn))

        def handle_error(self, req: Any, client: Any, addr: Any, exc: Any) -> None:
            """Answer what is no request that could be read; the application never sees it."""
            service.app().extensions["portraitq-haste"].count(str(addr[0]) if addr else "")
            super().handle_error(req, client, addr, exc)

        def handle_exit(self, sig: int, frame: FrameType | None) -> None:
            threading.Thread(target=service.hang_up, daemon=True).start()
            super().handle_exit(sig, frame)

        def handle_quit(self, sig: int, frame: FrameType | None) -> None:
            self.alive = False
            closing = threading.Thread(target=service.close, daemon=True)
            closing.start()
            closing.join(HANG_UP_S)
            os._exit(0)  # threads that still wait for a client must not hold the terminal; nothing is lost

    class Server(BaseApplication):  # type: ignore[misc]
        def load_config(self) -> None:
            for name, value in _gunicorn_settings(service, Worker).items():
                self.cfg.set(name, value)

        def load(self) -> Wsgi:
            try:
                return told_apart(service.app())  # in the worker, after the fork
            except (CannotServe, StoreError) as no:
                raise AppImportError(str(no)) from no  # told on stderr without a traceback

    arbiter = os.getpid()
    open_files.as_many_as_may_be()
    keep_addresses_out()
    try:
        Server().run()
    except SystemExit as ended:  # the worker, a fork of this process, comes by here too; its code tells the arbiter why
        if os.getpid() == arbiter and ended.code in (Arbiter.WORKER_BOOT_ERROR, Arbiter.APP_LOAD_ERROR):
            raise SystemExit(1) from ended
        raise


def _gunicorn_settings(service: Service, worker: type) -> dict[str, Any]:
    connections = service.most_live + crowd.RESERVE + SPARE_THREADS + MORE_CONNECTIONS
    host = f"[{service.host}]" if ":" in service.host else service.host
    return {
        "bind": [f"{host}:{service.port}"],
        "workers": 1,
        "worker_class": worker,
        "threads": connections - 1,  # made as they are needed; who asks too fast holds one (`web/haste.py`)
        "worker_connections": connections,
        "backlog": connections,  # a hall whose phones all come back at once after a restart
        "keepalive": 30,
        "sendfile": False,  # Python's waits for ever for who reads nothing, whatever the socket says
        "timeout": 0,  # a worker that waits for a slow disk is never killed for it
        "graceful_timeout": STOP_S,
        "forwarded_allow_ips": "",  # no header says where a request came from, or by which scheme
        "accesslog": None,  # addresses of tickets are secrets of their customers
        "errorlog": "-",
        "loglevel": "warning",
        "proc_name": "portraitq",
        "control_socket_disable": True,
    }


def with_werkzeug(service: Service) -> None:
    """Werkzeug's threaded server, where gunicorn does not run."""
    from werkzeug.serving import WSGIRequestHandler, make_server

    class Quiet(WSGIRequestHandler):
        """Logs no addresses: those of tickets are secrets of their customers."""

        protocol_version = "HTTP/1.1"

        def log(self, type: str, message: str, *args: Any) -> None:
            return

    server = make_server(service.host or "0.0.0.0", service.port, service.app(), threaded=True, request_handler=Quiet)
    server.daemon_threads = True  # type: ignore[attr-defined]
    door = service.open_door(server.process_request)
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        server.serve_forever()
    except KeyboardInterrupt:
        log.info("stopped by hand")
    finally:
        if door is not None:
            door.close()
        service.close()
        server.server_close()
