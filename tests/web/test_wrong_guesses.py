"""Wrong guesses: a few cost nothing, then each costs more, and all together do not go on for ever."""

from __future__ import annotations

import threading

import pytest

from portraitq.web.wrong_guesses import (
    FREE_GUESSES,
    HOUR_S,
    IN_A_ROW,
    IN_ALL_PER_HOUR,
    LONGEST_WAIT_S,
    MOST_GUESSERS,
    WrongGuesses,
    guesser_at,
)


class Seconds:
    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


def test_a_few_slips_cost_nothing_and_then_each_costs_more():
    seconds = Seconds()
    guesses, waits = WrongGuesses(seconds), []

    for _ in range(FREE_GUESSES + 4):
        waits.append(guesses.take("a"))
        if waits[-1]:
            seconds.now_s += waits[-1]
            assert guesses.take("a") == 0

    assert waits == [0] * FREE_GUESSES + [1, 2, 4, 8]


def test_guesses_that_come_all_at_once_are_counted_before_they_are_looked_at():
    guesses, waits = WrongGuesses(Seconds()), list[int]()
    hands = [threading.Thread(target=lambda: waits.append(guesses.take("a"))) for _ in range(50)]

    for hand in hands:
        hand.start()
    for hand in hands:
        hand.join()

    assert waits.count(0) == FREE_GUESSES


def test_the_wait_is_bounded_and_another_address_does_not_wait():
    seconds = Seconds()
    guesses, waits = WrongGuesses(seconds), list[int]()
    for _ in range(50):
        waits.append(guesses.take("a"))
        seconds.now_s += waits[-1]

    assert max(waits) == max(waits[-2:]) == LONGEST_WAIT_S
    assert guesses.take("b") == 0


def test_who_was_right_begins_anew():
    guesses = WrongGuesses(Seconds())
    for _ in range(FREE_GUESSES):
        guesses.take("a")

    guesses.was_right("a")

    assert [guesses.take("a") for _ in range(FREE_GUESSES)] == [0] * FREE_GUESSES


def test_all_addresses_together_may_not_guess_more_than_so_often_an_hour():
    seconds = Seconds()
    guesses = WrongGuesses(seconds)
    for n in range(IN_ALL_PER_HOUR):
        guesses.take(f"address {n}")
        seconds.now_s += 1

    assert guesses.take("a new one") == HOUR_S - IN_ALL_PER_HOUR
    seconds.now_s += HOUR_S - IN_ALL_PER_HOUR
    assert guesses.take("a new one") == 0


def test_after_a_hundred_in_a_row_strangers_may_guess_once_an_hour():
    """NIST SP 800-63B rev. 4, §3.2.2: at most 100 failures in a row; the module says why an hour and not for ever."""
    seconds = Seconds()
    guesses = WrongGuesses(seconds, in_a_row=IN_A_ROW)
    for n in range(IN_A_ROW):
        guesses.take(f"address {n}")
    taken = 0

    for _ in range(24 * 60):  # somebody who asks each minute of a day, each time from another address
        seconds.now_s += 60
        taken += guesses.take(f"other {seconds.now_s}") == 0

    assert taken == 24


def test_a_right_one_breaks_the_row():
    seconds = Seconds()
    guesses = WrongGuesses(seconds, in_all_per_hour=10**6, in_a_row=IN_A_ROW)
    for n in range(IN_A_ROW):
        guesses.take(f"address {n}")
    assert guesses.take("stranger") == HOUR_S

    guesses.take("the owner", is_known=True)
    guesses.was_right("the owner", is_known=True)

    assert guesses.take("stranger") == 0


def test_who_knew_it_once_waits_for_their_own_slips_alone():
    """OWASP ASVS 5.0, 6.1.1: no malicious lockout."""
    guesses = WrongGuesses(Seconds(), in_a_row=IN_A_ROW)
    for n in range(IN_A_ROW):
        guesses.take(f"address {n}")

    waits = [guesses.take("browser x", is_known=True) for _ in range(FREE_GUESSES + 1)]

    assert waits == [0] * FREE_GUESSES + [1]


def test_however_many_guess_memory_stays_bounded():
    guesses = WrongGuesses(Seconds())

    for n in range(3 * MOST_GUESSERS):
        guesses.take(f"address {n}", is_known=n % 2 == 0)

    assert len(guesses._guessers) == MOST_GUESSERS
    assert len(guesses._all) == IN_ALL_PER_HOUR


@pytest.mark.parametrize(
    ("address", "who"),
    [
        ("192.168.4.20", "192.168.4.20"),
        ("::ffff:192.168.4.20", "192.168.4.20"),
        ("2001:db8:1:2:aaaa::1", "2001:db8:1:2::/64"),  # one phone has all addresses of its /64 (RFC 8981)
        ("fe80::1%wlan0", "fe80::/64"),
        ("", ""),
        (None, ""),
        ("a socket", "a socket"),
    ],
)
def test_who_guesses_is_told_by_their_address(address: str | None, who: str):
    assert guesser_at(address) == who
