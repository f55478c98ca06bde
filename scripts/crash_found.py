"""What a store must hold after a crash, compared with what its clients were told.

Read beside the running service, as any program may that only looks; nothing here repairs anything.
"""

from __future__ import annotations

import hashlib
import json
import re
import sqlite3
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

from crash_clients import NAME, SLUG, Client, Sent

from portraitq.core.booth import import_lines
from portraitq.core.timing import stage_times
from portraitq.store.photos import _SHELTER
from portraitq.store.store import FILE_NAME

NAMES = re.compile(NAME.encode() + rb"[0-9a-f]{12}")
GONE_WITHIN_S = 90.0  # what was erased in the moment of a kill is cleaned up after the service has come back
SEARCHED_EVERY = 8  # looks; the back-ups beside the store follow an erasing some seconds later
CLOCKS_S = 0.05  # the service joins a steady clock to the wall's at its start; the two may drift so far
BEFORE = 50  # so many lines that were read before are compared again each time; all of them at the end


@contextmanager
def one_state(where: Path | str) -> Iterator[Any]:
    """A store looked into beside its service: what has `execute`, for SQL with `?`, and sees one state throughout."""
    if isinstance(where, Path):
        address = f"{(where / FILE_NAME).absolute().as_uri()}?mode=rw"
        with closing(sqlite3.connect(address, uri=True, timeout=30)) as raw:
            raw.execute("BEGIN")
            yield raw
        return
    import psycopg

    with psycopg.connect(where) as server:
        server.isolation_level, server.read_only = psycopg.IsolationLevel.REPEATABLE_READ, True
        yield _Server(server)


class _Server:
    def __init__(self, connection: Any) -> None:
        self._connection = connection

    def execute(self, sql: str, values: Sequence[Any] = ()) -> Any:
        return self._connection.execute(sql.replace("?", "%s"), values)


class Found:
    """The store at `where` as it is found after each crash, and every fault of it in words."""

    def __init__(self, where: Path | str, clients: Sequence[Client]) -> None:
        self.where, self.clients = where, clients
        self.faults: list[str] = []
        self.lines: list[str] = []
        self.measured_stages = self.looks = self.photos = 0
        self._events: list[dict[str, Any]] = []
        self._of_id: dict[str, list[int]] = defaultdict(list)  # positions in the journal by command
        self._looked_at: dict[int, int] = defaultdict(int)  # how many commands of each client are compared
        self._hashes: dict[str, str] = {}
        self._sought: set[bytes] = set()

    def look(self, *, whole: bool = False) -> None:
        """Compare everything that is new since the last look, or with `whole` all there is."""
        self.looks += 1
        if whole:
            self._looked_at.clear()
            self._hashes.clear()
            self._sought.clear()
        is_file = isinstance(self.where, Path)
        with one_state(self.where) as raw:
            self._read_on(raw, whole)
            self._ids_are_whole(raw)
            self._rows_belong_together(raw)
            if is_file and (whole or not self.looks % SEARCHED_EVERY):
                said = [row[0] for row in raw.execute("PRAGMA integrity_check")]
                self._expect(said == ["ok"], f"SQLite finds the database unsound: {said[:3]}")
            for client in self.clients:
                self._acknowledged_once(client)
            self._photos_are_whole(raw)
        if is_file and (whole or not self.looks % SEARCHED_EVERY):
            self._nothing_erased_is_left()

    def _expect(self, holds: bool, otherwise: str) -> None:
        if not holds:
            self.faults.append(otherwise)

    # The journal

    def _read_on(self, raw: Any, whole: bool) -> None:
        first = 0 if whole else max(0, len(self.lines) - BEFORE)
        rows = raw.execute("SELECT seq, line FROM journal WHERE booth = ? AND seq > ? ORDER BY seq", (SLUG, first))
        found = rows.fetchall()
        self._expect([seq for seq, _ in found] == [*range(first + 1, first + 1 + len(found))], "The journal has a gap.")
        known = self.lines[first:]
        self._expect([line for _, line in found[: len(known)]] == known, "A line changed that was there before.")
        for _, line in found[len(known) :]:
            self._of_id[json.loads(line)["id"]].append(len(self.lines))
            self.lines.append(line)
            self._events.append(json.loads(line))
        ats = [event["at"] for event in self._events[first:]]
        self._expect(ats == sorted(ats), "An instant of the journal went back.")

    def _ids_are_whole(self, raw: Any) -> None:
        """Each command's lines stand together, and the table of commands says so."""
        told = {id: (first, last) for id, first, last in raw.execute("SELECT id, first_seq, last_seq FROM commands")}
        self._expect(told.keys() == self._of_id.keys(), "The table of commands and the journal name different ones.")
        for id, places in self._of_id.items():
            stands = (places[0] + 1, places[-1] + 1)
            self._expect(places == [*range(places[0], places[-1] + 1)], f"{id} is torn apart in the journal.")
            self._expect(told.get(id) == stands, f"{id} stands at {stands}, its row says {told.get(id)}.")

    def _acknowledged_once(self, client: Client) -> None:
        """Everything that was acknowledged stands there as it was told, in the order in which it was sent."""
        first = self._looked_at[client.number]
        before = 0
        for one in client.sent[max(0, first - 1) :]:
            lines = [self._events[place] for place in self._of_id.get(one.id, ())]
            if not one.status:
                one.found = [json.dumps(line) for line in lines]  # its answer must say the same
            elif not one.is_taken:
                self._expect(not lines, f"{one.what} {one.id} was refused and yet happened.")
            elif one.path.endswith("/photos") or one.path.endswith("/remove"):
                continue
            else:
                self._expect(bool(lines), f"{one.what} {one.id} was acknowledged and is lost.")
                if lines:
                    self._as_told(one, lines)
                    self._expect(lines[0]["seq"] > before, f"{one.what} {one.id} stands before what was sent earlier.")
                    before = lines[-1]["seq"]
        self._looked_at[client.number] = sum(1 for one in client.sent if one.status)

    def _as_told(self, one: Sent, lines: list[dict[str, Any]]) -> None:
        what = f"{one.what} {one.id}"
        if one.found:
            self._expect(one.found == [json.dumps(line) for line in lines], f"{what} happened anew when sent again.")
        self._expect(one.answer["seq"] == lines[-1]["seq"], f"{what} stands elsewhere than was answered.")
        if one.what == "ordered":
            told = (one.answer["ticket"], one.answer["number"])
            data = lines[0]["data"]
            self._expect(told == (data["ticket"], data["number"]), f"{what} is another ticket than was answered.")
        else:
            plain = [{**event, "at": _instant_s(event["at"])} for event in one.answer["events"]]
            kept = [{**line, "at": _instant_s(line["at"])} for line in lines]
            self._expect(plain == kept, f"{what} was answered otherwise than it is kept.")
        for line in lines:
            at_s = _instant_s(line["at"])
            is_then = one.first_sent_s - CLOCKS_S <= at_s <= one.answered_s + CLOCKS_S
            self._expect(is_then, f"{what} says {line['at']}, which is not when it was sent.")

    def backed_up(self, lines: Sequence[str]) -> None:
        """A back-up's journal: everything up to some line, exactly as it stands here."""
        with one_state(self.where) as raw:
            rows = raw.execute("SELECT line FROM journal WHERE booth = ? AND seq <= ? ORDER BY seq", (SLUG, len(lines)))
            here = [line for (line,) in rows]
        self._expect(bool(lines) and list(lines) == here, "A back-up holds another journal.")

    # Cards and photos

    def _rows_belong_together(self, raw: Any) -> None:
        ordered = {event["data"]["ticket"] for event in self._events if event["kind"] == "ordered"}
        cards = {ticket for (ticket,) in raw.execute("SELECT ticket FROM cards")}
        self._expect(ordered == cards, f"Tickets and cards differ: {sorted(ordered ^ cards)[:5]}.")
        for what, sql in (
            (
                "photos of no ticket",
                "SELECT id FROM photos WHERE ticket <> '' AND ticket NOT IN (SELECT ticket FROM cards)",
            ),
            ("views of no photo", "SELECT photo FROM photo_views WHERE photo NOT IN (SELECT id FROM photos)"),
        ):
            self._expect(not raw.execute(sql).fetchall(), f"There are {what}.")

    def _photos_are_whole(self, raw: Any) -> None:
        """Every photo is there, in its order, byte for byte as it was made of what was sent; and no other."""
        ids = defaultdict[str, list[str]](list)
        for id, ticket in raw.execute("SELECT id, ticket FROM photos ORDER BY ticket, place"):
            ids[ticket].append(id)
            if id not in self._hashes:
                (jpeg,) = raw.execute("SELECT jpeg FROM photos WHERE id = ?", (id,)).fetchone()
                self._hashes[id] = hashlib.sha256(jpeg.removeprefix(_SHELTER)).hexdigest()
                self.photos += 1
        names = dict(raw.execute("SELECT ticket, name FROM cards"))
        uncertain = {str(one.data.get("id")) for one in self._unanswered()}
        erased = self._erased()
        for client in self.clients:
            for own in client.own.values():
                wanted = [] if own.id in erased else [picture.kept_sha256 for picture in own.pictures]
                there = [self._hashes[id] for id in ids.get(own.id, ())]
                self._expect(
                    there == wanted, f"{own.id} has {len(there)} photos, not the {len(wanted)} that were sent."
                )
                self._expect(
                    names.get(own.id) == ("" if own.id in erased else own.name), f"The card of {own.id} is wrong."
                )
            for id, picture in client.loose.items():
                self._expect(
                    id in uncertain or self._hashes.get(id) == picture.kept_sha256, f"Loose photo {id} is wrong."
                )
        loose = {id for client in self.clients for id in client.loose}
        self._expect(set(ids.get("", ())) - loose <= uncertain, "There are loose photos that nobody sent.")

    def _erased(self) -> set[str]:
        """The tickets that the journal says were erased: by a client, or by the booth's own rule."""
        return {event["data"]["ticket"] for event in self._events if event["kind"] == "erased"}

    def _unanswered(self) -> Iterable[Sent]:
        return (one for client in self.clients if (one := client.unanswered()) is not None)

    def _nothing_erased_is_left(self) -> None:
        """No file of the folder holds a byte of what was erased; looked for a while, since it is cleaned at a start."""
        gone = [own for client in self.clients for own in client.own.values() if own.id in self._erased()]
        erased = {own.name.encode() for own in gone}
        pictures = {picture.kept_within for own in gone for picture in own.pictures} - self._sought
        until_s = time.monotonic() + GONE_WITHIN_S
        while left := self._left_of(erased, pictures):
            if time.monotonic() > until_s:
                self.faults.append(f"What was erased still stands in {', '.join(sorted(left))}.")
                break
            time.sleep(0.1)
        self._sought |= pictures

    def _left_of(self, names: set[bytes], pictures: set[bytes]) -> set[str]:
        left = set()
        for file in Path(self.where).rglob("*"):
            try:
                content = file.read_bytes() if file.is_file() else b""
            except FileNotFoundError:  # a log that was just closed
                continue
            if not names.isdisjoint(NAMES.findall(content)) or any(one in content for one in pictures):
                left.add(file.name)
        return left

    # The clocks that ran on

    def clocks_ran_on(self) -> None:
        """Each measured stage lasted from tap to tap, as the clients' own clock has it, whatever was killed between."""
        booth, _ = import_lines(self.lines)
        sent = {one.id: one for client in self.clients for one in client.sent if one.is_taken}
        for ticket in booth.tickets.values():
            taps = [event for event in ticket.history if event.kind in ("started", "stage_done")]
            others = {event.kind for event in ticket.history} & {"stage_undone", "put_back", "paused", "touched_up"}
            if others or any(tap.id not in sent for tap in taps):
                continue
            ends = {getattr(tap.data, "stage", None): sent[tap.id] for tap in taps}
            measured = stage_times(ticket, booth.days)
            for before, one in pairwise([None, *measured]):
                assert one is not None
                begun, ended = ends[before.stages[-1] if before else None], ends[one.stages[-1]]
                least_s, most_s = ended.first_sent_s - begun.answered_s, ended.answered_s - begun.first_sent_s
                self.measured_stages += 1
                self._expect(
                    least_s - CLOCKS_S <= one.total_s <= most_s + CLOCKS_S,
                    f"{ticket.id}: {'+'.join(one.stages)} was measured as {one.total_s:.3f} s, "
                    f"not as {least_s:.3f} to {most_s:.3f} s.",
                )


def _instant_s(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()
