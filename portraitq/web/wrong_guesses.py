"""Wrong passphrases are slowed: who guesses wrong waits, longer each time, and all together may not guess on for ever.

In memory, for one process: starting anew forgets it, which nobody at a distance can bring about.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

FREE_GUESSES = 5  # a few slips of a chalky finger cost nothing
LONGEST_WAIT_S = 300
HOUR_S = 3600
IN_ALL_PER_HOUR = 100  # OWASP ASVS 4, 2.2.1: at most 100 failures an hour on one account; there is one passphrase
MOST_ADDRESSES = 2000


@dataclass
class _Guesser:
    wrong: int = 0
    free_at_s: float = 0.0
    last_s: float = 0.0


@dataclass
class WrongGuesses:
    """Counts wrong guesses by network address and in all; `seconds` is a monotonic clock."""

    seconds: Callable[[], float]
    _guessers: dict[str, _Guesser] = field(default_factory=dict)
    _all: deque[float] = field(default_factory=deque)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def wait_s(self, who: str) -> int:
        """For how many whole seconds `who` may not guess; 0 when they may."""
        with self._lock:
            now_s = self.seconds()
            self._forget(now_s)
            own_s = self._guessers[who].free_at_s - now_s if who in self._guessers else 0.0
            all_s = self._all[0] + HOUR_S - now_s if len(self._all) >= IN_ALL_PER_HOUR else 0.0
            return max(0, -int(-max(own_s, all_s) // 1))

    def was_wrong(self, who: str) -> None:
        """`who` guessed wrong."""
        with self._lock:
            now_s = self.seconds()
            guesser = self._guessers.setdefault(who, _Guesser())
            guesser.wrong += 1
            guesser.last_s = now_s
            over = guesser.wrong - FREE_GUESSES
            guesser.free_at_s = now_s + min(LONGEST_WAIT_S, 2.0**over) if over >= 0 else now_s
            self._all.append(now_s)

    def was_right(self, who: str) -> None:
        """`who` knew it: their slips are forgotten."""
        with self._lock:
            self._guessers.pop(who, None)

    def _forget(self, now_s: float) -> None:
        while self._all and now_s - self._all[0] > HOUR_S:
            self._all.popleft()
        if len(self._guessers) > MOST_ADDRESSES:
            self._guessers = {who: it for who, it in self._guessers.items() if now_s - it.last_s < HOUR_S}
