"""Any day that anybody can bring about: honest wishes, wild ones, hostile ones and a clock that jumps, step by step.

Hypothesis chooses the steps and shortens those that break a promise. `steps` counts what was really tried.
"""

from __future__ import annotations

import copy
import json
from collections import Counter
from dataclasses import replace
from datetime import timedelta
from random import Random
from typing import Any, ClassVar

import pytest
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from portraitq.core.booth import Booth, fold, import_lines
from portraitq.core.commands import Command, PutInOrder, decide, read_command
from portraitq.core.errors import Malformed, Refused, RefusedLine
from portraitq.core.events import Event, Moved, Paid, parse_line, print_data, print_line
from portraitq.core.life import CANCELLED, IN_QUEUE, LIFE, ON_EASEL, OVER
from tests.builders import a_booth, a_journal, instant
from tests.core.test_walks import SET_UPS, a_wish, assert_is_a_plain_sentence

seeds = st.integers(0, 2**32 - 1)
# seconds, and how often: of a booth that has come to another year every opening of a day in this one is refused
JUMPS_S = {-56 * 365 * 86_400: 1, -86_400: 4, -3600: 4, -1: 4, 0.0005: 4, 59: 4, 3600: 4, 86_400: 2, 400 * 86_400: 0.3}
LAST_DAY = instant("2900-01-01T00:00:00.000Z")  # the journal's calendar ends with 2999
ODD = (
    None, True, False, 0, -1, 1, 13, 2**31, 2**63, 10**400, -(10**400), 0.5, 1e308, -0.0, float("nan"), float("inf"),
    "", " ", "a", "T1", "T99", "\x00", "\ud800", "\u202e\u2066evil", "\u200b\ufeff", "😀" * 40, "e" + "\u0301" * 10_000,
    "<script>alert(1)</script>", "=cmd|' /C calc'!A0", "'; DROP TABLE events; --", "../../etc/passwd", "{{7*7}}",
    "ink-head\n", "Ink-Head", "２", "2026-02-30", "9999-12-31T23:59:59.999Z", "2026-06-06T09:00:00Z", "x" * 100_000,
    [], [[]], [None], {}, {"": ""}, {"ticket": "T1"}, [{"artist": "a1", "from": 1, "to": 2}], b"bytes", (1,), {1, 2},
)  # fmt: skip


class AnyDay(RuleBasedStateMachine):
    """One booth. Beside it stands its journal as lines, and a twin that is folded by itself from those lines."""

    steps: ClassVar[Counter[str]] = Counter()

    @initialize(seed=seeds)
    def begin(self, seed: int) -> None:
        chance = Random(seed)
        told = chance.choice([a_journal(), a_booth(), *[a_booth(set_up) for set_up in SET_UPS]])
        self.told, self.now = told, instant("09:00")
        self.twin = fold(Booth(), told.events)
        self.paid: Counter[str] = Counter()
        self.commands = 0
        self.ids = {event.id for event in told.events}

    # What may happen

    @rule(seed=seeds)
    def somebody_wishes(self, seed: int) -> None:
        """Mostly sensible, sometimes wild: as screens send it, several one after the other."""
        chance = Random(seed)
        for _ in range(chance.randint(1, 6)):
            wanted = a_wish(chance, self.told)
            by = chance.choice(["counter"] * 6 + ["easel:a1", "easel:a2", "easel:nobody", "system"])
            ago_s = chance.choice([0] * 9 + [2, 12.5, 86_400, 366 * 86_400])
            self._asks("wish", Command(self._id(), wanted, by, ago_s))

    @rule(seed=seeds)
    def somebody_hostile_sends(self, seed: int) -> None:
        """Something that looks like a command and has one or more odd values in it."""
        chance = Random(seed)
        plain: Any = {"id": self._id(), "kind": "", "data": {}, "ago_s": 0}
        wanted = a_wish(chance, self.told)
        plain |= {"kind": wanted.kind, "data": copy.deepcopy(print_data(wanted))}
        for _ in range(chance.choice([0, 1, 1, 1, 2, 5])):
            _spoil(plain, chance)
        try:
            command = read_command(plain, chance.choice(["counter", "easel:a1", "", "easel:", "x\n", "easel:\ud800"]))
        except Malformed as no:
            self._is_refused("hostile", no)
            return
        self._asks("hostile", command)

    @rule(seed=seeds)
    def a_line_of_a_file_comes(self, seed: int) -> None:
        """What no careful counter would do, but a journal may tell; now and then with a wrong seq or instant."""
        chance = Random(seed)
        wanted = a_wish(chance, self.told)
        kind = type(wanted)
        if kind.__name__ == "Order":
            return
        off, ago_s = chance.choice([0] * 9 + [1]), chance.choice([0, 0, 5])
        at = self.told.booth.last_at
        at = self.now if at is None else max(at, self.now)
        if chance.random() < 0.1:
            at -= timedelta(hours=2)
        seq = self.told.booth.seq + 1 + off
        try:
            line = print_line(Event(seq, self._id(), at.replace(microsecond=0), "counter", wanted, ago_s))
            event = parse_line(_cut(line, chance))
            self._has_happened("line", [event])
        except (Malformed, Refused) as no:
            self._is_refused("line", no)

    @rule(seed=seeds)
    def the_queue_is_put_in_order(self, seed: int) -> None:
        chance, queue = Random(seed), self.told.booth.queue
        ids = [*queue, "T99"]
        moves = tuple(
            Moved(ticket=chance.choice(ids), before=chance.choice([None, *ids])) for _ in range(chance.randint(0, 4))
        )
        seen = queue if chance.random() < 0.8 else tuple(reversed(queue))
        self._asks("order of the queue", Command(self._id(), PutInOrder(queue=seen, moves=moves)))

    @rule(seed=seeds)
    def the_clock_jumps(self, seed: int) -> None:
        """Set right, set back, or a board without a clock of its own: mostly a little, now and then by decades."""
        jump_s = Random(seed).choices(list(JUMPS_S), list(JUMPS_S.values()))[0]
        self.steps["clock"] += 1
        self.now = max(instant("1970-01-01T00:00:00.000Z"), min(LAST_DAY, self.now + timedelta(seconds=jump_s)))

    @rule(seconds=st.integers(1, 900))
    def time_goes_by(self, seconds: int) -> None:
        self.steps["clock"] += 1
        self.now = min(LAST_DAY, self.now + timedelta(seconds=seconds))

    @rule()
    def it_is_exported_and_imported(self) -> None:
        """The same bytes, the same booth; and a command that was carried out does not come a second time."""
        self.steps["export"] += 1
        if not self.told.events:
            return
        booth, events = import_lines(self.told.lines)
        assert booth == self.told.booth
        assert [print_line(event) for event in events] == self.told.lines
        first, last = events[0], events[-1]
        if first.id != last.id:
            again = print_line(replace(first, seq=last.seq + 1, at=last.at, ago_s=0))
            with pytest.raises(RefusedLine, match=f'The command "{first.id}" stands further up already'):
                import_lines([*self.told.lines, again])

    # What must hold

    @invariant()
    def the_booth_is_the_fold_of_its_journal(self) -> None:
        if hasattr(self, "told"):
            assert self.told.booth == self.twin

    @invariant()
    def every_ticket_is_in_exactly_one_place(self) -> None:
        if not hasattr(self, "told"):
            return
        booth = self.told.booth
        tickets = list(booth.tickets.values())
        assert sorted(booth.queue) == sorted(one.id for one in tickets if one.place in IN_QUEUE)
        assert sorted(booth.easels.items()) == sorted((one.artist, one.id) for one in tickets if one.place in ON_EASEL)
        assert list(booth.open_ids) == [one.id for one in tickets if one.place not in OVER]
        assert all(one.place in LIFE for one in tickets)
        numbers: dict[str, list[int]] = {}
        for one in tickets:
            numbers.setdefault(one.day, []).append(one.number)
        assert all(found == list(range(1, len(found) + 1)) for found in numbers.values())

    @invariant()
    def money_adds_up(self) -> None:
        if not hasattr(self, "told"):
            return
        for one in self.told.booth.tickets.values():
            assert one.paid == self.paid[one.id]
            assert one.due == (0 if one.place == CANCELLED else one.price) - self.paid[one.id]

    def teardown(self) -> None:
        if hasattr(self, "told") and self.told.events:
            assert fold(Booth(), [parse_line(line) for line in self.told.lines]) == self.told.booth

    # How a step is taken

    def _id(self) -> str:
        self.commands += 1
        return f"w{self.commands}"

    def _asks(self, kind: str, command: Command) -> None:
        before = self.told.booth
        try:
            events = decide(before, command, self.now)
        except Refused as no:
            self._is_refused(kind, no)
            return
        assert {event.id for event in events} <= {command.id}
        if events and before.last_at is not None:
            assert events[0].at >= before.last_at  # whatever the clock says
        self._has_happened(kind, events)

    def _has_happened(self, kind: str, events: list[Event]) -> None:
        before = self.told.booth
        if any(event.id in self.ids and event.id != before.last_id for event in events):
            raise Refused("an id comes once.")
        self.told = self.told.tell(*events)  # Refused when it cannot have happened
        self.steps[f"{kind}, taken"] += 1
        self.ids |= {event.id for event in events}
        self.twin = fold(self.twin, [parse_line(print_line(event)) for event in events])
        for event in events:
            if isinstance(event.data, Paid):
                self.paid[event.data.ticket] += event.data.amount
        assert self.told.booth.seq == before.seq + len(events)
        assert [event.seq for event in self.told.events] == list(range(1, self.told.booth.seq + 1))

    def _is_refused(self, kind: str, no: Exception) -> None:
        self.steps[f"{kind}, refused"] += 1
        said = str(no)
        said.encode()  # can be shown and sent
        assert 0 < len(said) < 2000
        if isinstance(no, Refused):
            assert_is_a_plain_sentence(said)


def _spoil(plain: Any, chance: Random) -> None:
    """Put an odd value, a field that there is not, or nothing, somewhere into `plain`."""
    at = plain
    while True:
        keys = list(at) if isinstance(at, dict) else list(range(len(at)))
        key = chance.choice(keys) if keys else None
        if key is not None and isinstance(at[key], dict | list) and at[key] and chance.random() < 0.8:
            at = at[key]
            continue
        if isinstance(at, dict):
            what = chance.random()
            if what < 0.1:
                at[chance.choice(["extra", "", "\ud800", "__class__", "tickét"])] = chance.choice(ODD)
            elif what < 0.2 and key is not None:
                del at[key]
            elif key is not None:
                at[key] = chance.choice(ODD)
        elif key is not None:
            at[key] = chance.choice(ODD)
        return


def _cut(line: str, chance: Random) -> str:
    """`line`, most often whole."""
    what = chance.random()
    if what < 0.9:
        return line
    if what < 0.94:
        return line[: chance.randrange(len(line))]
    at = chance.randrange(len(line))
    return line[:at] + chance.choice(["\x00", '"', "{", "9" * 5000, "\ud800", "[" * 3000, "NaN"]) + line[at + 1 :]


def counted(steps: Counter[str]) -> str:
    """What was tried, as one line."""
    return json.dumps(dict(sorted(steps.items())))
