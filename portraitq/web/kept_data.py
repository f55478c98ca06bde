"""What portraitq keeps, why, and for how long, in plain words: the one table from which the set-up's page is made.

Every column of the database, every setting, every file of the data folder, every cookie and every key of a browser's
storage has its row here; a test walks them all, so that nothing new is kept without a word. Until when is said by the
rules that erase it. (OWASP ASVS 5.0, 14.1.1 and 14.1.2: what is sensitive is identified, with its retention.)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from portraitq import erasing
from portraitq.back_ups import BEFORE_FOR, BEFORE_KEPT, DAYS_KEPT
from portraitq.house_rules import HouseRules
from portraitq.store.pairings import LASTS
from portraitq.web.cookie import DEVICE_REST, REST
from portraitq.web.hand_over import PAPER_KEPT_S
from portraitq.web.house_rules_form import keep_said

CUSTOMERS, BOOTH, BROWSER = "Of customers", "Of the booth and its people", "In the browsers of tablets and phones"
GROUPS = (CUSTOMERS, BOOTH, BROWSER)
IN_A_FILE, ON_A_SERVER = "file", "server"  # where the booth's database is
FOR_GOOD = "It stays: nobody is named in it."


@dataclass(frozen=True)
class Kept:
    """One thing that is kept.

    until        as one sentence or two, by the booth's rules
    is_personal  whether it says something of a person, so that erasing has to reach it
    columns      `table.column` of the database that it stands in
    settings     how the keys of settings begin that it stands under
    files        names in the data folder, as patterns of `fnmatch`; those in the folder for temporary files with "TMP/"
    cookies      how the names of cookies begin
    storage      how the keys of a browser's storage begin
    only         where it is kept if not in both: `IN_A_FILE` or `ON_A_SERVER`
    """

    group: str
    what: str
    why: str
    until: Callable[[HouseRules], str] | str
    is_personal: bool = False
    columns: tuple[str, ...] = ()
    settings: tuple[str, ...] = ()
    files: tuple[str, ...] = ()
    cookies: tuple[str, ...] = ()
    storage: tuple[str, ...] = ()
    only: str = ""


@dataclass(frozen=True)
class Row:
    """One row of the page."""

    what: str
    why: str
    until: str


def _of(table: str, *columns: str) -> tuple[str, ...]:
    return tuple(f"{table}.{column}" for column in columns)


KEPT: tuple[Kept, ...] = (
    Kept(
        CUSTOMERS,
        "Name or nickname, contact, note, and who agreed for a child: as far as somebody gave them",
        "To call the right person, tell a new time, draw what was asked for, and show that somebody agreed.",
        keep_said,
        is_personal=True,
        columns=_of("cards", "name", "contact", "note", "is_child", "consent_by"),
    ),
    Kept(
        CUSTOMERS,
        "Photos, where the faces are on them, and the views made of them; nothing that the camera added",
        "To draw from, and to hand the right portrait to the right person.",
        "As long as the name. Sooner when somebody removes one, and where its order was never finished after "
        f"{erasing.LOOSE.total_seconds() / 60:g} minutes.",
        is_personal=True,
        columns=(
            *_of("photos", "id", "booth", "ticket", "place", "width_px", "height_px"),
            *_of("photos", "jpeg", "small_jpeg", "faces", "came_at"),
            *_of("photo_views", "photo", "name", "content"),
        ),
    ),
    Kept(
        CUSTOMERS,
        "A photo on its way in, where it is a large one: a file that only portraitq may read",
        "To look at it in a process of its own.",
        "For the seconds that this takes.",
        is_personal=True,
        files=("TMP/portraitq-*",),
    ),
    Kept(
        CUSTOMERS,
        "The ticket's code, and that its data were erased",
        "So that whoever holds the slip finds their ticket.",
        FOR_GOOD,
        columns=_of("cards", "booth", "ticket", "code", "is_erased"),
    ),
    Kept(
        BOOTH,
        "The journal: what was ordered, drawn, promised, paid and handed over, and when",
        "Queue, quotes, day book and plans are reckoned from it.",
        FOR_GOOD,
        columns=(
            *_of("journal", "booth", "seq", "line"),
            *_of("commands", "booth", "id", "first_seq", "last_seq"),
            *_of("closed_days", "booth", "day", "version", "seq", "summary"),
        ),
    ),
    Kept(
        BOOTH,
        "The database file in which all of this stands, with its log and its lock",
        "One file holds the booth. Other accounts of this computer cannot read it.",
        "What is erased is overwritten in it, and its log is emptied.",
        columns=_of("portraitq_schema", "version"),
        files=("portraitq.sqlite3", "portraitq.sqlite3-wal", "portraitq.sqlite3-shm", "portraitq.lock"),
        only=IN_A_FILE,
    ),
    Kept(
        BOOTH,
        "The database on a server in which all of this stands, with that server's own log",
        "Whoever set up the booth chose to keep it there.",
        "What is erased is deleted, and cleared out of its tables at once. In its log, in copies of it, and where "
        "photos stood, something may be left until the server writes over it.",
        only=ON_A_SERVER,
    ),
    Kept(
        BOOTH,
        "Back-ups that portraitq makes by itself once a day",
        "So that a broken disk does not take the season with it.",
        f"The last {DAYS_KEPT}, and what an upgrade put aside: {BEFORE_KEPT} at most, for {BEFORE_FOR.days} days. "
        "Whoever is erased is erased in them too; in copies that you took elsewhere, that is for you to see to.",
        is_personal=True,
        files=("backups", "backups/*"),
        only=IN_A_FILE,
    ),
    Kept(
        BOOTH,
        "Back-ups of the database server, where somebody makes them: portraitq makes none there",
        "So that a broken disk does not take the season with it.",
        "That is for whoever makes them to say; erasing does not reach them.",
        is_personal=True,
        only=ON_A_SERVER,
    ),
    Kept(
        BOOTH,
        "Tablets and devices: their name, their role, when they were let in and last seen. Of their keys and codes "
        "only what proves them",
        "To know them again, and to shut one out.",
        f"Until the database goes; one that was shut out stays listed. A code for pairing is over after "
        f"{LASTS.total_seconds() / 60:g} minutes.",
        columns=(
            *_of("devices", "id", "name", "key_sha256", "added_at", "seen_at", "withdrawn_at", "role"),
            *_of("pairings", "id", "code_sha256", "name", "role", "made_at", "until_at", "device"),
        ),
    ),
    Kept(
        BOOTH,
        "The passphrase, as a proof from which it cannot be read, and the secret that signs sign-ins",
        "To let the booth's people in and nobody else.",
        "Until it is changed.",
        settings=("passphrase", "secret_key", "signed_out"),
    ),
    Kept(
        BOOTH,
        "House rules, Wi-Fi for customers, suggestions put away, cash counts with their note",
        "What the booth wishes, and what was in the box.",
        "Until they are changed. The note of a count can be erased by itself; write no names into it.",
        columns=_of("settings", "key", "value"),
        settings=("house-rules:", "network_", "put-away:", "cash:"),
    ),
    Kept(
        BOOTH,
        "The certificate and its keys, where the booth is served by https",
        "So that tablets know the booth again.",
        "Until you delete the files.",
        files=("https", "https/*"),
    ),
    Kept(
        BOOTH,
        "Lines that portraitq prints where it was started, when something goes wrong",
        "To find out what it was.",
        "As long as you keep them. They hold no names, contacts, notes, codes, photos, passphrases or keys.",
    ),
    Kept(
        BROWSER,
        "A sign-in cookie on the booth's own devices",
        "So that nobody signs in at every tap.",
        f"{REST.total_seconds() / 3600:g} hours after its last use; on a paired tablet {DEVICE_REST.days} days. "
        "Customers' phones get none.",
        cookies=("portraitq_",),
    ),
    Kept(
        BROWSER,
        "Taps that are not sent yet or did not fit any more: number of the ticket and what was tapped",
        "So that none is lost out of range.",
        "Until they are sent or put away. No name, photo or note is among them.",
        storage=("portraitq-tap:", "portraitq-misfit:", "portraitq-easel:"),
    ),
    Kept(
        BROWSER,
        "How this device is set: paper, pedal, sound, light or dark, views, a suggestion that was left",
        "So that it is the same after a reload.",
        f"Until the browser's data are cleared; the paper {PAPER_KEPT_S // 86_400} days. Photos stay in no browser.",
        cookies=("portraitq-paper",),
        storage=(
            "portraitq-pedal", "portraitq-silent", "portraitq-evening", "portraitq-views:", "portraitq-left-order:"
        ),
    ),
)  # fmt: skip


def kept_now(portraits: int) -> str:
    """Of how many portraits something personal is kept at this moment."""
    if not portraits:
        return "Just now nothing personal is kept of any customer."
    of_whom = "1 portrait" if portraits == 1 else f"{portraits} portraits"
    return f"Just now something personal is kept of {of_whom}."


def kept_view(rules: HouseRules, *, is_on_a_server: bool = False) -> tuple[tuple[str, tuple[Row, ...]], ...]:
    """The table as it is shown for a database in a file, or on a server: each group with its rows."""
    there = [one for one in KEPT if one.only in ("", ON_A_SERVER if is_on_a_server else IN_A_FILE)]
    return tuple((group, tuple(_row(one, rules) for one in there if one.group == group)) for group in GROUPS)


def _row(one: Kept, rules: HouseRules) -> Row:
    return Row(one.what, one.why, one.until if isinstance(one.until, str) else one.until(rules))
