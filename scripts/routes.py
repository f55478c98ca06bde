"""Every address of the service: who may use it, by which methods. Prints the table and how many there are.

    python scripts/routes.py

The table here says what is meant; the service has its own marks in `portraitq/web/`. `tests/web/test_routes.py` asks
the service about each address, in each role, by each method, and compares. An address that is not in the table fails
there, and here.

    anybody   no sign-in, and it changes nothing
    door      anybody, and it lets in: it takes a passphrase or a code, and only from our own pages
    staff     the booth's people: devices of the staff, and whoever may more
    owner     a sign-in with the passphrase, and devices of the owner
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

if TYPE_CHECKING:
    from flask import Flask

ANYBODY, DOOR, STAFF, OWNER = "anybody", "door", "staff", "owner"
ALWAYS = {"HEAD", "OPTIONS"}  # HEAD is a GET without its body, OPTIONS names the methods and nothing else

# (address, methods): who. Where methods differ, the address stands there twice.
ROUTES: dict[tuple[str, str], str] = {
    ("/", "GET"): ANYBODY,
    ("/healthz", "GET"): ANYBODY,
    ("/static/<path:filename>", "GET"): ANYBODY,
    ("/sign-in", "GET"): ANYBODY,
    ("/sign-in", "POST"): DOOR,
    ("/sign-out", "POST"): STAFF,
    ("/devices/withdrawn", "GET"): ANYBODY,  # of the browser that asks
    ("/pair", "GET"): ANYBODY,
    ("/pair/<code>", "GET"): ANYBODY,
    ("/pair/<code>", "POST"): DOOR,
    ("/trust", "GET"): ANYBODY,
    ("/trust/booth.crt", "GET"): ANYBODY,  # the booth's own certificate, which is no secret
    ("/<booth>/wall", "GET"): ANYBODY,
    ("/t", "GET"): ANYBODY,
    ("/t/", "GET"): ANYBODY,
    ("/t/<code>", "GET"): ANYBODY,
    ("/T/<code>", "GET"): ANYBODY,
    ("/t/<code>/alarm.ics", "GET"): ANYBODY,
    ("/T/<code>/alarm.ics", "GET"): ANYBODY,
    ("/api/v1/openapi.json", "GET"): ANYBODY,
    ("/api/v1/booths/<booth>/wall", "GET"): ANYBODY,
    ("/api/v1/tickets/<code>", "GET"): ANYBODY,
    ("/api/v1/booths/<booth>/quote", "POST"): STAFF,
    ("/api/v1/booths/<booth>/commands", "POST"): STAFF,
    ("/api/v1/booths/<booth>/orders", "POST"): STAFF,
    ("/api/v1/booths/<booth>/journal", "GET"): STAFF,
    ("/<booth>/counter", "GET"): STAFF,
    ("/<booth>/counter/quotes", "GET"): STAFF,
    ("/<booth>/counter/orders", "POST"): STAFF,
    ("/<booth>/counter/walked-away", "POST"): STAFF,
    ("/<booth>/counter/day", "GET"): STAFF,
    ("/<booth>/counter/day", "POST"): STAFF,
    ("/<booth>/counter/over", "GET"): STAFF,
    ("/<booth>/counter/why", "GET"): STAFF,
    ("/<booth>/counter/better-order", "GET"): STAFF,
    ("/<booth>/counter/better-order", "POST"): STAFF,
    ("/<booth>/counter/photos", "POST"): STAFF,
    ("/<booth>/counter/photos/<id>/faces", "POST"): STAFF,
    ("/<booth>/counter/photos/<id>/remove", "POST"): STAFF,
    ("/<booth>/counter/tickets/<ticket>", "GET"): STAFF,
    ("/<booth>/counter/tickets/<ticket>/why", "GET"): STAFF,
    ("/<booth>/counter/tickets/<ticket>/move", "GET"): STAFF,
    ("/<booth>/counter/tickets/<ticket>/pay", "POST"): STAFF,
    ("/<booth>/counter/tickets/<ticket>/card", "POST"): STAFF,
    ("/<booth>/counter/tickets/<ticket>/photos", "POST"): STAFF,
    ("/<booth>/counter/tickets/<ticket>/photos/<photo>/remove", "POST"): STAFF,
    ("/<booth>/easel", "GET"): STAFF,
    ("/<booth>/easel/<artist>", "GET"): STAFF,
    ("/<booth>/easel/<artist>/instead", "GET"): STAFF,
    ("/<booth>/set-up/pedal", "GET"): STAFF,  # of the tablet that it is opened on; it changes nothing of the booth
    ("/<booth>/photos/<id>", "GET"): STAFF,
    ("/<booth>/photos/<id>/small", "GET"): STAFF,
    ("/<booth>/photos/<id>/views/<name>", "GET"): STAFF,
    ("/<booth>/photos/<id>/colours", "GET"): STAFF,
    ("/<booth>/slip/<ticket>", "GET"): STAFF,
    ("/<booth>/clock", "POST"): STAFF,  # while the time is lost, a tablet of the booth may say it
    ("/devices/unpair", "POST"): STAFF,
    ("/devices", "GET"): OWNER,
    ("/devices/pair", "POST"): OWNER,
    ("/devices/pairings/<id>", "GET"): OWNER,
    ("/devices/pairings/<id>/cancel", "POST"): OWNER,
    ("/devices/keys", "POST"): OWNER,
    ("/devices/<id>/withdraw", "POST"): OWNER,
    ("/devices/passphrase", "POST"): OWNER,
    ("/devices/sign-out-others", "POST"): OWNER,
    ("/<booth>/set-up", "GET"): OWNER,
    ("/<booth>/set-up", "POST"): OWNER,
    ("/<booth>/set-up/house-rules", "POST"): OWNER,
    ("/<booth>/set-up/network", "POST"): OWNER,
    ("/<booth>/set-up/back-ups", "POST"): OWNER,
    ("/<booth>/set-up/back-ups/<name>", "GET"): OWNER,
    ("/<booth>/daybook", "GET"): OWNER,
    ("/<booth>/daybook/<day>/<any(tickets, stages, payments):table>.csv", "GET"): OWNER,
    ("/<booth>/daybook/journal.jsonl", "GET"): OWNER,
    ("/<booth>/daybook/season", "GET"): OWNER,
    ("/<booth>/daybook/replay", "GET"): OWNER,
    ("/<booth>/daybook/close", "GET"): OWNER,
    ("/<booth>/daybook/close", "POST"): OWNER,
    ("/<booth>/daybook/close/cash", "POST"): OWNER,
    ("/<booth>/daybook/plan", "GET"): OWNER,
    ("/<booth>/daybook/plan", "POST"): OWNER,
    ("/<booth>/daybook/plan/<run>", "GET"): OWNER,
    ("/<booth>/daybook/plan/<run>/stop", "POST"): OWNER,
    ("/<booth>/daybook/suggestions/take", "POST"): OWNER,
    ("/<booth>/daybook/suggestions/put-back", "POST"): OWNER,
    ("/<booth>/daybook/suggestions/put-away", "POST"): OWNER,
    ("/<booth>/daybook/suggestions/show-again", "POST"): OWNER,
}
# Live views on the namespace /live: who may watch.
VIEWS = {"wall": ANYBODY, "ticket": ANYBODY, "counter": STAFF, "easel": STAFF}


def found_in(app: Flask) -> set[tuple[str, str]]:
    """Every address of `app` with each of its own methods."""
    return {(rule.rule, method) for rule in app.url_map.iter_rules() for method in (rule.methods or set()) - ALWAYS}


def views_found() -> set[str]:
    """Every live view; their screens have to be imported, which the application does."""
    from portraitq.web import views

    return set(views.names())


def main() -> int:
    """Print the table, compare it with the service, and print the totals."""
    from portraitq import starter
    from portraitq.desk import Desks
    from portraitq.store.store import open_store
    from portraitq.web.app import create_app

    with tempfile.TemporaryDirectory() as folder:
        desks = Desks(open_store(Path(folder)))
        desks.create("quay", starter.set_up("Europe/Amsterdam", "EUR"))
        app = create_app(desks, address="http://127.0.0.1:8750")
        there, watched = found_in(app), views_found()
        app.extensions["portraitq-live"].close()
        desks.close()
    for (address, method), who in ROUTES.items():
        print(f"{who:<8} {method:<5} {address}")
    for name, who in VIEWS.items():
        print(f"{who:<8} watch {name} (/live)")
    per = Counter(ROUTES.values())
    rules = len({address for address, _ in ROUTES})
    print(f"{rules} addresses, {len(ROUTES)} with their methods: " + ", ".join(f"{n} {who}" for who, n in per.items()))
    print(f"{len(VIEWS)} live views")
    wrong = [f"{method} {address} is not classed" for address, method in sorted(there - ROUTES.keys())]
    wrong += [f"{method} {address} is classed and not there" for address, method in sorted(ROUTES.keys() - there)]
    wrong += [f"the live view {name} is not classed, or not there" for name in sorted(watched ^ VIEWS.keys())]
    print("\n".join(wrong) or "every one of them is classed")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
