"""The owner's passphrase: made of words that are easy to read out and type, kept as an Argon2 hash only.

Each change raises an epoch, by which every sign-in of before is over. Any characters will do, 15 to 256 of them, for
nothing else is asked of who signs in; what is guessed first is refused: this product's and this booth's own words,
repetitions, runs along the keyboard (NIST SP 800-63B rev. 4, §3.1.1.2; OWASP ASVS 5.0, 6.2.1, 6.2.5, 6.2.9, 6.2.11).
There is no list of leaked ones: what we make ourselves is not on it, and guesses are slowed.
"""

from __future__ import annotations

import re
import secrets
import threading
from collections.abc import Iterable
from typing import TYPE_CHECKING

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from portraitq.core.errors import Malformed

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from portraitq.store.store import Store

SHORTEST = 15  # NIST SP 800-63B rev. 4, §3.1.1.2, where it is the only factor; what we make ourselves is longer
LONGEST = 256
WORDS_IN_ONE = 5  # 7 bits a word, 35 in all, where wrong guesses are slowed (`web/wrong_guesses.py`)
FEWEST_LETTERS = 4  # so many different characters at the least; `aaaaaaaa` and `abababab` have fewer
HASH_KEY = "passphrase_hash"
EPOCH_KEY = "passphrase_epoch"
_WORDS = """
anchor apple arrow autumn badge baker barley basin beacon berry birch blanket boat bottle branch bread
brick bridge bronze brush bucket butter button cabin candle canvas carpet castle cedar chalk cherry circle
clay clock cloud clover coffee copper coral corner cotton cradle crane crayon cricket crystal curtain daisy
dolphin donkey eagle easel ember engine falcon feather fennel ferry fiddle field flag flint forest fossil
fountain garden ginger glass goose granite grape hammer harbour harvest hazel heron honey island ivory
jacket jasmine kettle kitten ladder lagoon lantern lemon lilac linen lobster magnet mango maple marble
meadow melon mirror mitten morning mountain nectar needle nutmeg oak olive orange orchard otter paddle
paper parrot pebble pencil pepper picnic pier pigeon pillow planet plum pocket pollen pony poplar puzzle quarry quill
quilt rabbit raven
"""
WORDS = tuple(_WORDS.split())
# What is tried first on a program of this kind, each alone, doubled, or with digits and signs about it.
_FIRST_TRIED = """
admin administrator artist booth caricature changeme counter default easel guest iloveyou letmein login market
opensesame owner passphrase password passwort portrait portraits portraitq qwerty secret sketch stall staff test user
wachtwoord welcome
"""
FIRST_TRIED = tuple(_FIRST_TRIED.split())
RUNS = ("abcdefghijklmnopqrstuvwxyz", "01234567890", "qwertyuiop", "qwertzuiop", "azertyuiop", "asdfghjkl", "zxcvbnm")
_hasher = PasswordHasher()
_one_at_a_time = threading.Semaphore(2)  # each check takes 64 MiB; many at once must not exhaust a small board


def new_passphrase() -> str:
    """Five random words joined by hyphens."""
    return "-".join(secrets.choice(WORDS) for _ in range(WORDS_IN_ONE))


def set_passphrase(store: Store, passphrase: str, words: Iterable[str] = ()) -> None:
    """Keep `passphrase` as the only one from now on, and end every sign-in.

    words    of this booth that are no passphrase, such as its name; its name in addresses is known anyway
    Raises   Malformed when it is too short, too long, or among the first that anybody tries
    """
    from portraitq.store import journal, settings

    bare = _bare(passphrase)
    if not SHORTEST <= len(bare) <= LONGEST:
        raise Malformed(f"passphrase: {SHORTEST} to {LONGEST} characters were expected, not {len(bare)}.", "passphrase")
    with store.reading() as conn:
        own_words = [*words, *journal.booths(conn)]
    if why := why_hopeless(bare, own_words):
        raise Malformed(
            f"passphrase: {why}, which is tried first: take another, such as a few odd words.", "passphrase"
        )
    hashed = _hasher.hash(bare)
    with store.writing() as conn:
        settings.put(conn, HASH_KEY, hashed)
        _raise_epoch(conn)


def why_hopeless(passphrase: str, words: Iterable[str] = ()) -> str:
    """What makes it one of the first that anybody tries; empty when nothing does.

    >>> why_hopeless("Password123!"), why_hopeless("12345678"), why_hopeless("four-odd-words-here")
    ('this is "password" and little more', 'this is a run of the keyboard', '')
    """
    low = passphrase.casefold()
    if len(set(low)) < FEWEST_LETTERS:
        return "this is a few characters again and again"
    for run in RUNS:
        if low in run * 12 or low in run[::-1] * 12:
            return "this is a run of the keyboard"
    letters = _letters(low)
    for word in [*FIRST_TRIED, *words]:
        core = _letters(word.casefold())
        if core and letters and letters == core * max(1, len(letters) // len(core)):
            return f'this is "{word}" and little more'
    return ""


def _letters(text: str) -> str:
    """`text` without digits, signs and blanks, as people put them about a word."""
    return re.sub(r"[\W\d_]+", "", text)


def end_sign_ins(store: Store) -> None:
    """Every sign-in of before is over; the passphrase stays."""
    with store.writing() as conn:
        _raise_epoch(conn)


def _raise_epoch(connection: Connection) -> None:
    from portraitq.store import settings

    settings.put(connection, EPOCH_KEY, str(int(settings.get(connection, EPOCH_KEY) or 0) + 1))


def is_set(store: Store) -> bool:
    """Whether there is a passphrase at all."""
    from portraitq.store import settings

    with store.reading() as conn:
        return settings.get(conn, HASH_KEY) is not None


def epoch(store: Store) -> int:
    """How often the passphrase was set; a sign-in of another epoch is over."""
    from portraitq.store import settings

    with store.reading() as conn:
        return int(settings.get(conn, EPOCH_KEY) or 0)


def is_right(store: Store, passphrase: str) -> bool:
    """Whether `passphrase` is the one that was set. Takes some 50 ms whatever it is."""
    from portraitq.store import settings

    with store.reading() as conn:
        hashed = settings.get(conn, HASH_KEY)
    if hashed is None or len(passphrase) > 4 * LONGEST:
        return False
    with _one_at_a_time:
        try:
            return _hasher.verify(hashed, _bare(passphrase))
        except (VerificationError, InvalidHashError):
            return False


def _bare(passphrase: str) -> str:
    """Without the blanks that pasting brings along."""
    return passphrase.strip()
