"""Wrong guesses are slowed: who guesses wrong waits, longer each time, and all together may not guess on for ever.

Three things are guessed at, each with its own counts: the passphrase, a code that pairs a device, a ticket's code.
In memory, for one process and for a bounded number of guessers: starting anew forgets it, which nobody at a distance
can bring about.

NIST SP 800-63B (rev. 4, §3.2.2) wants at most 100 wrong guesses in a row at one account, the passphrase disabled then,
and allows what keeps strangers from bringing that about: waits that grow to an hour, what is known of a browser.
There is one passphrase here, and a door that stays shut would keep the owner out because a stranger on the same Wi-Fi
wished so (OWASP ASVS 5.0, 6.1.1: no malicious lockout). So after 100 in a row one guess an hour is taken from browsers
that never knew it, 8 760 a year against 2^35 passphrases as we make them; browsers that once knew it have a count of
their own, and paired devices never ask.
"""

from __future__ import annotations

import ipaddress
import threading
from collections import OrderedDict, deque
from collections.abc import Callable
from dataclasses import dataclass, field

FREE_GUESSES = 5  # a few slips of a chalky finger cost nothing
LONGEST_WAIT_S = 300
HOUR_S = 3600
IN_A_ROW = 100  # NIST SP 800-63B rev. 4, §3.2.2
IN_ALL_PER_HOUR = 100  # the same for what has no row, because others are right meanwhile
MOST_GUESSERS = 2000


@dataclass
class _Guesser:
    wrong: int = 0
    free_at_s: float = 0.0
    last_s: float = 0.0


@dataclass
class WrongGuesses:
    """Counts wrong guesses by who guessed and in all. `seconds` is a monotonic clock.

    free_guesses      so many wrong ones cost no wait; the next waits a second, then two, four, …
    longest_wait_s    up to that
    in_all_per_hour   so many from everybody together, and nobody guesses for the rest of the hour
    in_a_row          so many in a row from everybody together, and one an hour is taken until somebody is right
    """

    seconds: Callable[[], float]
    free_guesses: int = FREE_GUESSES
    longest_wait_s: int = LONGEST_WAIT_S
    in_all_per_hour: int = IN_ALL_PER_HOUR
    in_a_row: int | None = None
    _guessers: OrderedDict[str, _Guesser] = field(default_factory=OrderedDict)
    _all: deque[float] = field(default_factory=deque)
    _row: int = 0
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def take(self, who: str, *, is_known: bool = False) -> int:
        """Take a guess of `who`, or say for how many whole seconds they may not guess; 0 when it is taken.

        It counts as wrong until `was_right()` says otherwise, so that a thousand guesses sent at once are not a
        thousand that nobody has counted yet.

        `is_known`: they were right once, so that what strangers do keeps them from nothing.
        """
        with self._lock:
            now_s = self.seconds()
            own_s = self._guessers[who].free_at_s - now_s if who in self._guessers else 0.0
            wait_s = max(0, -int(-max(own_s, 0.0 if is_known else self._all_s(now_s)) // 1))
            if not wait_s:
                self._count(who, now_s, is_known)
            return wait_s

    def was_right(self, who: str, *, is_known: bool = False) -> None:
        """The guess that was taken was right: the slips of `who` are forgotten, and the row is broken."""
        with self._lock:
            self._guessers.pop(who, None)
            self._row = 0
            if self._all and not is_known:
                self._all.pop()

    def _count(self, who: str, now_s: float, is_known: bool) -> None:
        guesser = self._guessers.get(who)
        if guesser is None or now_s - guesser.last_s > HOUR_S:
            guesser = self._guessers[who] = _Guesser()
        self._guessers.move_to_end(who)
        while len(self._guessers) > MOST_GUESSERS:
            self._guessers.popitem(last=False)  # who guessed longest ago
        guesser.wrong += 1
        guesser.last_s = now_s
        over = guesser.wrong - self.free_guesses
        guesser.free_at_s = now_s + min(self.longest_wait_s, 2.0 ** min(over, 30)) if over >= 0 else now_s
        if not is_known:
            self._row += 1
            self._all.append(now_s)
            while len(self._all) > self.in_all_per_hour:
                self._all.popleft()

    def _all_s(self, now_s: float) -> float:
        """How long strangers wait for each other."""
        wait_s = 0.0
        if len(self._all) >= self.in_all_per_hour:
            wait_s = self._all[-self.in_all_per_hour] + HOUR_S - now_s
        if self.in_a_row is not None and self._row >= self.in_a_row and self._all:
            wait_s = max(wait_s, self._all[-1] + HOUR_S - now_s)
        return wait_s


def guesser_at(address: str | None) -> str:
    """Who guesses from that network address: itself, or of IPv6 the whole /64 that one device has to choose from."""
    try:
        found = ipaddress.ip_address((address or "").partition("%")[0])
    except ValueError:
        return address or ""
    if isinstance(found, ipaddress.IPv6Address):
        if found.ipv4_mapped is not None:
            return str(found.ipv4_mapped)
        return str(ipaddress.ip_network((found, 64), strict=False))
    return str(found)
