"""Is anything left of a person who was erased? A real service, real orders, and a search through every byte it wrote.

    .venv/bin/python scripts/leftovers.py [--people 12] [--seed 1]

People order with photos, have their cards changed and their photos looked at in every view; a back-up is made beside
the store. Then they are erased in every way there is: by the button of their ticket, by `portraitq erase`, after the
hand-over by the close of the day; of some a photo alone is removed. Before and after, every file that the service and
its processes could write is searched (data folder with write-ahead log and back-ups, home, temporary files, what was
printed, files that are deleted but still open): for each name in every spelling in which programs write text, and for
pieces of each picture, of the photo as it came and of everything that was made of it.

Whoever is still to be drawn is not erased, and is found: so the search does find. Needs what comes with the tests' own
environment; all of it stays in a folder of its own and goes with it. Exit 0 when nothing was left, 1 with what was.
"""

from __future__ import annotations

import argparse
import html
import io
import json
import os
import random
import re
import secrets
import sys
import tempfile
import time
import urllib.parse
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from fnmatch import fnmatchcase
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

import numpy as np  # noqa: E402
from PIL import Image  # noqa: E402

from portraitq.back_ups import BackUps  # noqa: E402
from portraitq.starter import SLUG  # noqa: E402
from portraitq.web.kept_data import KEPT  # noqa: E402
from tests.journeys.served import Served  # noqa: E402

# Pieces of a picture: long enough to be nobody else's; several, for one that lies across the edge of a page of SQLite's
# (of 4096 bytes) does not stand there in one go, and a picture may be left in part.
WINDOW_BYTES, WINDOWS = 64, 5
HEAD_BYTES = 1024  # tables and other things that pictures share
DISTINCT = 24  # a piece with fewer different bytes is filling, not picture
WAIT_S = 150.0  # back-ups and a log that somebody reads are seen to once a minute
VIEWS = ("grey", "values-3", "values-5", "values-7", "eyes-1")
FIRST = ("Anouk", "Zoë", "Jürgen", "Łucja", "Σοφία", "Анна", "美咲", "O'Neill & <Sons>", "Renée \U0001f3a8")


@dataclass
class Person:
    """Somebody who ordered, all that can be told of them by bytes, and how they are to be erased."""

    way: str
    ticket: str = ""
    code: str = ""
    texts: list[str] = field(default_factory=list)
    gone_texts: list[str] = field(default_factory=list)
    pictures: list[bytes] = field(default_factory=list)
    gone_pictures: list[bytes] = field(default_factory=list)
    never_stored: list[bytes] = field(default_factory=list)


@dataclass
class Looked:
    """What a search came to: which needles were found in which files, and how much was read."""

    found: dict[str, set[str]]
    files: int
    open_deleted: int
    size_bytes: int

    def said(self) -> str:
        """How much was read."""
        return f"{self.size_bytes / 1e6:.1f} MB in {self.files} files and {self.open_deleted} that are deleted but open"


def forms(text: str) -> dict[str, bytes]:
    """`text` in every spelling in which a program may have written it down, each once, by the name of the spelling."""
    quoted = urllib.parse.quote(text)
    spelled = {
        "UTF-8": text.encode(),
        "UTF-16 LE": text.encode("utf-16-le"),
        "UTF-16 BE": text.encode("utf-16-be"),
        "UTF-32": text.encode("utf-32-le"),
        "JSON": json.dumps(text)[1:-1].encode(),
        "percent": quoted.encode(),
        "percent, small": re.sub(r"%..", lambda one: one[0].lower(), quoted).encode(),
        "form": urllib.parse.quote_plus(text).encode(),
        "HTML": html.escape(text).encode(),
        "XML": text.encode("ascii", "xmlcharrefreplace"),
        "Python": repr(text)[1:-1].encode("ascii", "backslashreplace"),
        "hex": text.encode().hex().encode(),
    }
    by_bytes = {written: name for name, written in reversed(spelled.items()) if len(written) >= 8}
    return {name: written for written, name in by_bytes.items()}


def windows(picture: bytes, chance: random.Random) -> list[bytes]:
    """Pieces of a picture that are its own: past its head, not filling, far from one another."""
    found, step = [], max(1, (len(picture) - HEAD_BYTES - WINDOW_BYTES) // WINDOWS)
    for place in range(WINDOWS):
        for _ in range(20):
            at = HEAD_BYTES + place * step + chance.randrange(step)
            piece = picture[at : at + WINDOW_BYTES]
            if len(piece) == WINDOW_BYTES and len(set(piece)) >= DISTINCT:
                found.append(piece)
                break
    return found


def photo(chance: np.random.Generator, width_px: int, height_px: int, kind: str = "JPEG") -> bytes:
    """A picture like no other: soft shapes under grain, so that no two pieces are alike."""
    soft = Image.fromarray(chance.integers(40, 220, (9, 7, 3), dtype=np.uint8)).resize((width_px, height_px))
    grain = chance.normal(0, 14, (height_px, width_px, 3))
    out = io.BytesIO()
    Image.fromarray(np.clip(np.asarray(soft) + grain, 0, 255).astype(np.uint8)).save(out, kind, compress_level=1)
    return out.getvalue()


class Booth:
    """The service and its people."""

    def __init__(self, served: Served, seed: int) -> None:
        self.served, self.chance, self.noise = served, random.Random(seed), np.random.default_rng(seed)
        self.people: list[Person] = []

    def get(self, path: str) -> bytes:
        request = urllib.request.Request(self.served.address + path, headers=self._key)
        with urllib.request.urlopen(request, timeout=60) as answer:
            return bytes(answer.read())

    def post(self, path: str, **fields: str) -> None:
        headers = {**self._key, "Accept": "application/json"}
        body = urllib.parse.urlencode(fields).encode()
        request = urllib.request.Request(self.served.address + path, body, headers, method="POST")
        with urllib.request.urlopen(request, timeout=60) as answer:
            answer.read()

    @property
    def _key(self) -> dict[str, str]:
        return {"Authorization": f"Bearer {self.served.key}"}

    def orders(self, way: str, *, is_large: bool) -> None:
        """Somebody orders, the views of their photos are looked at, their card is changed, one photo is removed."""
        one = Person(way)
        mark = "".join(self.chance.choices("bcdfghjklmnpqrstvwxz", k=9))
        name = f"{self.chance.choice(FIRST)} {mark}"
        card = {
            "name": name,
            "contact": f"+351 {self.chance.randrange(10**9, 10**10)} {mark}@example.org",
            "note": f"freckles, “please”, and the {mark} scarf; " * self.chance.choice((1, 8)),
            "is_child": "true",
            "consent_by": f"mother of {mark}",
        }
        came = photo(self.noise, 1800, 1700, "PNG") if is_large else photo(self.noise, 320, 400)
        taken = self.served.order(photo=came, **card)
        one.ticket, one.code = taken["ticket"], taken["code"]
        one.never_stored.append(came)
        self._more_photos(one)
        self._changed(one, card, mark)
        self.people.append(one)

    def _more_photos(self, one: Person) -> None:
        """A second photo, all of both looked at, the first removed."""
        second = photo(self.noise, 300, 380)
        self._upload(one.ticket, second)
        one.never_stored.append(second)
        page = self.get(f"/{SLUG}/counter/tickets/{one.ticket}?sheet=1").decode()
        ids = list(dict.fromkeys(re.findall(rf"/{SLUG}/photos/([\w-]{{16,}})/small", page)))
        for id in ids:
            self.post(f"/{SLUG}/counter/photos/{id}/faces", faces="[[0.3,0.2,0.4,0.5]]")
            seen = [self.get(f"/{SLUG}/photos/{id}"), self.get(f"/{SLUG}/photos/{id}/small")]
            seen += [self.get(f"/{SLUG}/photos/{id}/views/{view}") for view in VIEWS]
            self.get(f"/{SLUG}/photos/{id}/colours")
            (one.gone_pictures if id == ids[0] else one.pictures).extend(seen)
        self.post(f"/{SLUG}/counter/photos/{ids[0]}/remove", ticket=one.ticket)

    def _upload(self, ticket: str, picture: bytes) -> None:
        edge = secrets.token_hex(12)
        head = f'--{edge}\r\nContent-Disposition: form-data; name="ticket"\r\n\r\n{ticket}\r\n--{edge}\r\n'
        head += 'Content-Disposition: form-data; name="photo"; filename="a.jpg"\r\nContent-Type: image/jpeg\r\n\r\n'
        body = head.encode() + picture + f"\r\n--{edge}--\r\n".encode()
        kind = {"Content-Type": f"multipart/form-data; boundary={edge}", "Accept": "application/json"}
        to = f"{self.served.booth}/counter/photos"
        with urllib.request.urlopen(urllib.request.Request(to, body, {**self._key, **kind}), timeout=60) as answer:
            answer.read()

    def _changed(self, one: Person, card: dict[str, str], mark: str) -> None:
        """The name is written anew, so that the first one is gone while the person is still there."""
        anew = {**card, "name": f"Ana {mark[::-1]}"}
        self.post(f"/{SLUG}/counter/tickets/{one.ticket}/card", **anew)
        one.gone_texts.append(card["name"])
        one.texts += [text.strip() for field, text in anew.items() if field != "is_child"]

    def erase(self) -> None:
        """Each in their way. Who is handed over is erased by the close of the day; who stays is still to be drawn."""
        for one in self.people:
            if one.way == "button":
                self.served.do("erased", ticket=one.ticket)
            elif one.way == "command":
                self.served.command_line("erase", one.code)
            elif one.way == "close":
                self._handed_over(one.ticket)
        self.served.do("day_closed")

    def _handed_over(self, ticket: str) -> None:
        style = self.served.journal().booth.tickets[ticket].style
        self.served.do("started", by="easel:a1", ticket=ticket, artist="a1")
        for stage in style.stages[:-1]:
            self.served.do("stage_done", by="easel:a1", ticket=ticket, stage=stage.id)
        self.served.do("finished", by="easel:a1", ticket=ticket, rack="A1")
        self.served.do("collected", ticket=ticket)

    def back_up(self) -> None:
        """One of the back-ups that the service makes by itself each day."""
        with self.served.store() as store:
            now = datetime.now(UTC)  # noqa: TID251  (the service reads the same clock)
            BackUps(store, lambda: now, lambda: [self.served.journal().booth]).make()

    def needles(self) -> dict[str, tuple[bytes, bool]]:
        """Everything that is searched for, by what it is: its bytes, and whether it is of somebody who stays."""
        found: dict[str, tuple[bytes, bool]] = {}
        for number, one in enumerate(self.people, start=1):
            who, stays = f"{number} ({one.way})", one.way == "stays"
            for text, is_kept in [(text, stays) for text in one.texts] + [(text, False) for text in one.gone_texts]:
                for form, written in forms(text).items():
                    found[f"text of {who} as {form}: {text[:12]}…"] = written, is_kept and form == "UTF-8"
            kept = [(picture, stays, "picture") for picture in one.pictures]
            gone = [(picture, False, "removed picture") for picture in one.gone_pictures]
            came = [(picture, False, "photo as it came") for picture in one.never_stored]
            for place, (picture, is_kept, what) in enumerate([*kept, *gone, *came]):
                for at, piece in enumerate(windows(picture, self.chance)):
                    found[f"{what} {place} of {who}, piece {at}"] = piece, is_kept
        return found


# The search


def contents(root: Path, processes: list[int]) -> Iterator[tuple[str, bytes, bool]]:
    """Every file under `root`, and what these processes hold open although it was deleted: name, bytes, whether so."""
    for file in sorted(root.rglob("*")):
        if file.is_file() and not file.is_symlink():
            yield str(file.relative_to(root)), file.read_bytes(), False
    for process in processes:
        for handle in _handles(process):
            try:
                if os.readlink(handle).endswith(" (deleted)"):
                    yield f"{handle} (deleted)", handle.read_bytes(), True
            except OSError:
                continue  # closed meanwhile, or no file: a socket, a pipe


def _handles(process: int) -> list[Path]:
    try:
        return list(Path(f"/proc/{process}/fd").iterdir())
    except OSError:
        return []  # it has ended, or this system has no /proc


def processes_of(leader: int) -> list[int]:
    """The process that was started and all that belong to its session."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if fields[3] == str(leader):
            found.append(int(stat.parent.name))
    return found


def search(root: Path, needles: dict[str, tuple[bytes, bool]], processes: list[int]) -> Looked:
    """Every needle through every byte."""
    looked, heads = Looked({}, 0, 0, 0), np.unique(np.array([_head(one) for one, _ in needles.values()], "<u8"))
    for name, content, is_deleted in contents(root, processes):
        looked.files += not is_deleted
        looked.open_deleted += is_deleted
        looked.size_bytes += len(content)
        there = _heads_in(content, heads)
        for needle, (written, _) in needles.items():
            if _head(written) in there and written in content:
                looked.found.setdefault(needle, set()).add(name)
    return looked


def _head(written: bytes) -> int:
    return int.from_bytes(written[:8], "little")


def _heads_in(content: bytes, heads: np.ndarray) -> set[int]:
    """Which of `heads`, sorted, stand anywhere in `content`: all at once, for a search of each alone takes minutes."""
    if len(content) < 8:
        return set()
    words = np.ndarray(len(content) - 7, "<u8", content, strides=(1,))
    nearest = np.minimum(np.searchsorted(heads, words), len(heads) - 1)
    return {int(head) for head in np.unique(words[heads[nearest] == words])}


def unknown_files(data: Path) -> list[str]:
    """The files of the data folder that what is shown in the set-up does not name."""
    patterns = [pattern for one in KEPT for pattern in one.files]
    there = [str(file.relative_to(data)) for file in data.rglob("*")]
    return [name for name in there if not any(fnmatchcase(name, pattern) for pattern in patterns)]


def main() -> int:
    """Run it, print the figures, say what was left."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--people", type=int, default=12, help="how many order; at least 4, one for each way")
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    if given.people < 4:
        asked.error("--people: 4 or more were expected, one for each way to be erased and one who stays")
    with tempfile.TemporaryDirectory(prefix="portraitq-leftovers-") as folder:
        return searched(Path(folder), given.people, given.seed)


def searched(root: Path, people: int, seed: int) -> int:
    """The whole search in `root`; the exit code."""
    served = Served(root)
    (root / "tmp").mkdir()
    served.environment.update(TMPDIR=str(root / "tmp"), MPLCONFIGDIR=str(root / "matplotlib"))
    served.start()
    try:
        booth = Booth(served, seed)
        served.do("artist_in", by="easel:a1", artist="a1")
        for n in range(people):
            booth.orders(("stays", "button", "command", "close")[n % 4], is_large=n == 1)
        booth.back_up()
        needles = booth.needles()
        assert served.process is not None
        processes = processes_of(served.process.pid)
        before = search(root, needles, processes)
        booth.erase()
        after, waited_s = _once_gone(root, needles, processes)
        unknown = unknown_files(root / "data")
    finally:
        served.stop()
    stopped = search(root, needles, [])
    return _told(booth, needles, before, after, stopped, waited_s, unknown)


def _once_gone(root: Path, needles: dict[str, tuple[bytes, bool]], processes: list[int]) -> tuple[Looked, float]:
    """The search, again until nothing is found that should be gone, or nobody would wait any longer."""
    began_s = time.monotonic()
    while True:
        looked = search(root, needles, processes)
        waited_s = time.monotonic() - began_s
        if not _left(needles, looked) or waited_s > WAIT_S:
            return looked, waited_s
        time.sleep(1.0)


def _left(needles: dict[str, tuple[bytes, bool]], looked: Looked) -> dict[str, set[str]]:
    return {needle: where for needle, where in looked.found.items() if not needles[needle][1]}


def _whole(needle: str) -> str:
    """The text or picture that a needle is of."""
    return needle.partition(", piece")[0]


def _told(
    booth: Booth,
    needles: dict[str, tuple[bytes, bool]],
    before: Looked,
    after: Looked,
    stopped: Looked,
    waited_s: float,
    unknown: list[str],
) -> int:
    ways = {way: sum(one.way == way for one in booth.people) for way in ("button", "command", "close", "stays")}
    texts = sum(needle.startswith("text") for needle in needles)
    erasable = [name for name, (_, is_kept) in needles.items() if not is_kept]
    kept = [name for name, (_, is_kept) in needles.items() if is_kept]
    stay = len({_whole(name) for name in kept} & {_whole(name) for name in after.found})
    for line in (
        f"people: {ways['button']} erased by button, {ways['command']} by command, {ways['close']} by the day's close; "
        f"{ways['stays']} stay",
        f"searched for: {texts} texts in all spellings, {len(needles) - texts} pieces of pictures",
        f"before: {before.said()}; found {len(before.found)}",
        f"after {waited_s:.0f} s: {after.said()}; of {len(erasable)} that are erased found "
        f"{len(_left(needles, after))}, of {len({_whole(name) for name in kept})} "
        f"texts and pictures that stay found {stay}",
        f"stopped: {stopped.said()}; of the erased found {len(_left(needles, stopped))}",
    ):
        print(line)
    wrong = [f"Left: {needle} in {', '.join(sorted(where))}" for looked in (after, stopped)
             for needle, where in _left(needles, looked).items()]  # fmt: skip
    seen = {_whole(name) for name in stopped.found}
    wrong += [f"Not found although it is kept: {one}" for one in sorted({_whole(name) for name in kept} - seen)]
    erased = [n for n in erasable if n.startswith(("picture", "text")) and before.found.get(n)]
    if not any(name.startswith("picture") for name in erased) or not any(name.startswith("text") for name in erased):
        wrong.append("Before erasing, neither names nor pictures were found: the search is blind.")
    backed = {name for where in before.found.values() for name in where if "backups" in name}
    if not backed:
        wrong.append("Nobody stood in a back-up, so that erasing in it was not tried.")
    wrong += [f"Kept without a word in the set-up: {name}" for name in unknown]
    for sentence in wrong[:20]:
        print(sentence)
    print("verdict: nothing is left" if not wrong else f"verdict: {len(wrong)} faults")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
