"""The booth's passphrase: made of words that are easy to read out and type, kept as an Argon2 hash only.

Each change raises an epoch, by which every sign-in of before is over.
"""

from __future__ import annotations

import secrets
import threading
from typing import TYPE_CHECKING

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from portraitq.core.errors import Malformed

if TYPE_CHECKING:
    from portraitq.store.store import Store

SHORTEST = 8  # NIST SP 800-63B §5.1.1.2; what we make ourselves is longer
LONGEST = 256
WORDS_IN_ONE = 5  # 7 bits a word, 35 in all, where wrong guesses are slowed to some hundred an hour
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
_hasher = PasswordHasher()
_one_at_a_time = threading.Semaphore(2)  # each check takes 64 MiB; many at once must not exhaust a small board


def new_passphrase() -> str:
    """Five random words joined by hyphens."""
    return "-".join(secrets.choice(WORDS) for _ in range(WORDS_IN_ONE))


def set_passphrase(store: Store, passphrase: str) -> None:
    """Keep `passphrase` as the only one from now on; Malformed when it is too short or too long."""
    from portraitq.store import settings

    bare = _bare(passphrase)
    if not SHORTEST <= len(bare) <= LONGEST:
        raise Malformed(f"passphrase: {SHORTEST} to {LONGEST} characters were expected, not {len(bare)}.", "passphrase")
    hashed = _hasher.hash(bare)
    with store.writing() as conn:
        settings.put(conn, HASH_KEY, hashed)
        settings.put(conn, EPOCH_KEY, str(int(settings.get(conn, EPOCH_KEY) or 0) + 1))


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
