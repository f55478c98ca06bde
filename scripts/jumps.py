"""Does any order of clocks set, lids closed and power lost make time go back, or a stage's time wrong?

    .venv/bin/python scripts/jumps.py --sequences 1000 --seed 1

Each sequence is one day at a booth of its own, on a real journal: taps (some from out of reach), the computer's clock
set on, back, to 1970, to 2036 and right again, sleep, kills and restarts. Beside it runs what really went by.
What is asked of every sequence:

- the journal is one that an import takes (its `at` never goes back), and no line lies in a year that cannot be
- the booth's time is never before its last line, and near the computer's clock whenever nothing is said to be wrong
- time drawn between two taps of one run of the service is measured as it was, whatever the clock did meanwhile; and so
  is time over a restart, where the clock was right at both taps
- no measured time is negative, and no promise lies before its order or days after it

Prints plain lines and a verdict; exit 0 when everything held, 1 with a sentence for each thing that did not.
"""

from __future__ import annotations

import argparse
import logging
import random
import sys
import tempfile
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import MappingProxyType

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE)]

from portraitq.clock import WRITTEN_AT, Clock, Jump  # noqa: E402
from portraitq.clock_watch import doubt  # noqa: E402
from portraitq.core.booth import Booth, import_lines  # noqa: E402
from portraitq.core.commands import Command, decide, read_command  # noqa: E402
from portraitq.core.errors import Refused  # noqa: E402
from portraitq.core.events import SYSTEM, Event, Promised, print_instant, to_the_millisecond  # noqa: E402
from portraitq.core.life import DRAWING, PAUSED, Ticket  # noqa: E402
from portraitq.core.timing import stage_times  # noqa: E402
from portraitq.desk import Desk, Standing  # noqa: E402
from portraitq.forecast.quotes import Forecast  # noqa: E402
from portraitq.forecast.slip_watch import NO_SLIPS  # noqa: E402
from portraitq.store import journal  # noqa: E402
from portraitq.store.store import Store, open_store  # noqa: E402
from tests.builders import a_set_up  # noqa: E402
from tests.hands import Hands  # noqa: E402

START = datetime(2026, 6, 6, 8, 0, tzinfo=UTC)
IN_1970, IN_2036 = datetime(1970, 1, 1, tzinfo=UTC), datetime(2036, 2, 7, 6, 28, 16, tzinfo=UTC)
RIGHT_S = 2.0  # a clock that is nudged by less is followed without a word
NEAR_S = 61.0  # from a minute on, the screens say so
FARTHEST_AHEAD = timedelta(days=30)  # the sets on of one sequence together reach no further
LONGEST_PROMISE = timedelta(days=3)


class QuietDesk(Desk):
    """A desk that takes taps, minds the clock and writes, but leaves the forecast of the whole queue to others."""

    def _requoted(self, before: Standing | None) -> Standing:
        now, booth = self._now(), self._booth
        nothing = Forecast(now, booth.seq, MappingProxyType({}), MappingProxyType({}))
        wrong = doubt(self.clock.reading(), booth.last_at)
        return Standing(self.slug, booth, nothing, self._learned.pace, now, NO_SLIPS, wrong)

    def _keep_quoting(self) -> None:
        return None

    def a_round(self) -> None:
        """What its thread does every 20 seconds."""
        self._mind_the_clock_or_tell()

    def now(self) -> datetime:
        """The booth's time."""
        return self._now()

    @property
    def booth(self) -> Booth:
        """The booth as it stands."""
        return self._booth


@dataclass
class Truth:
    """Of one line: when it really happened, in which run of the service, and whether the clock was right then."""

    true_s: float
    run: int
    was_right: bool
    nudged_s: float
    is_sure: bool = True


@dataclass
class Figures:
    """What was tried and found, over all sequences."""

    counts: Counter[str] = field(default_factory=Counter)
    worst_s: float = 0.0
    wrong: list[str] = field(default_factory=list)


class Sequence:
    """One day, played by chance."""

    def __init__(self, seed: int, folder: Path, figures: Figures) -> None:
        self.chance, self.folder, self.figures, self.seed = random.Random(seed), folder, figures, seed
        self.hands, self.run, self.taps = Hands(START), 0, 0
        self.truth: dict[int, Truth] = {}
        self.noticed: dict[Jump, tuple[float, float]] = {}  # when the desk first saw it, and how far nudged until then
        self.disturbed_s = self.nudged_s = 0.0
        if self.chance.random() < 0.15:
            self.hands.set_to(self.chance.choice([IN_1970, IN_2036, START + timedelta(hours=3)]))
        self.store = open_store(folder)
        with self.store.writing() as connection:
            now = Clock(system=self.hands).now()
            journal.append(connection, "quay", decide(Booth(), Command("set-up", a_set_up(), SYSTEM), now))
        self.desk = self._desk(self.store)

    def play(self, steps: int) -> None:
        """So many steps, then everything that is asked of it."""
        self._open()
        steps_of = (
            (self._tap, 40),
            (self._go_by, 26),
            (self._late_tap, 6),
            (self._sleep, 4),
            (self._set, 12),
            (self._killed, 6),
            (self._round, 10),
        )
        for _ in range(steps):
            (step,) = self.chance.choices([one for one, _ in steps_of], [weight for _, weight in steps_of])
            step()
            self.figures.counts["steps"] += 1
            self._look()
        self._judge()
        self.desk.close()
        self.store.close()

    # Steps

    def _open(self) -> None:
        now = self.desk.now()
        day = now.astimezone(self.desk.booth.zone).date().isoformat()
        closes_at = print_instant(now + timedelta(hours=9))
        self._say("day_opened", day=day, closes_at=closes_at, breaks=[])
        self._say("artist_in", artist="a1")

    def _tap(self, ago_s: float = 0.0) -> None:
        """What comes next at the easel; sometimes a pause."""
        booth = self.desk.booth
        ticket = booth.on_easel("a1")
        if ticket is None:
            if not booth.queue:
                self._say("ordered", style="ink-head", sitters=1)
            self._say("started", ticket=self.desk.booth.queue[0], artist="a1")
        elif ticket.place == PAUSED:
            self._say("resumed", ago_s, ticket=ticket.id)
        elif ticket.place == DRAWING and self.chance.random() < 0.2:
            self._say("paused", ago_s, ticket=ticket.id, why="counter")
        elif (stage := ticket.stage_in_hand) is not None:
            self._say("stage_done", ago_s, ticket=ticket.id, stage=stage.id)

    def _late_tap(self) -> None:
        """One that was made out of reach, since the last that the booth knows of its sketch."""
        ticket = self.desk.booth.on_easel("a1")
        known = self.truth.get(self._last_tap(ticket)) if ticket else None
        if ticket is None or known is None or known.true_s >= self.hands.true_s:
            return
        self._tap(round(self.chance.uniform(0, self.hands.true_s - known.true_s), 3))

    def _last_tap(self, ticket: Ticket) -> int:
        return max(event.seq for event in ticket.history if event.by != SYSTEM and event.seq in self.truth)

    def _go_by(self) -> None:
        self.hands.go_by(round(self.chance.choice([5, 40, 120, 400, 1500]) * self.chance.uniform(0.5, 1.5), 3))

    def _sleep(self) -> None:
        self.hands.go_by(round(self.chance.uniform(5, 3000), 3), asleep=True)
        self.figures.counts["sleeps"] += 1

    def _set(self) -> None:
        """Somebody sets the clock, or a time server does."""
        what, before_at = self.chance.random(), self.desk.now()
        if what < 0.35:
            self.hands.set_to(self._true_at())
        elif what < 0.5:
            nudge_s = self.chance.uniform(-1.5, 1.5)
            self.hands.set_by(nudge_s)
            self.nudged_s += abs(nudge_s)
            return
        elif what < 0.6:
            self.hands.set_to(self.chance.choice([IN_1970, IN_2036]))
        else:
            self.hands.set_by(self.chance.choice([-1, 1]) * self.chance.choice([4, 90, 900, 3600, 6 * 3600]))
        on_s = (self.hands.wall_at - before_at).total_seconds()
        self.nudged_s += on_s if 0 < on_s <= RIGHT_S else 0.0  # right again by so little, it is followed without a word
        self.disturbed_s = self.hands.true_s
        self.figures.counts["clocks set"] += 1

    def _killed(self) -> None:
        """The power goes; the board comes up with its clock going on, at 1970, or as it was kept an hour before."""
        self.desk.close()
        self.store.close()
        self.hands.go_by(round(self.chance.uniform(1, 900), 3))
        if (comes_up := self.chance.random()) < 0.25:
            self.hands.set_to(IN_1970)
        elif comes_up < 0.4:
            self.hands.set_by(-self.chance.uniform(60, 3600))
        self.run += 1
        self.disturbed_s = self.hands.true_s
        self.store = open_store(self.folder)
        self.desk = self._desk(self.store)
        self.figures.counts["restarts"] += 1

    def _round(self) -> None:
        self._noted(self.desk.booth.seq, self.desk.a_round, 0.0)

    # What is known of it

    def _desk(self, store: Store) -> QuietDesk:
        return QuietDesk("quay", store, Clock(system=self.hands), lambda desk, standing: None)

    def _true_at(self) -> datetime:
        return START + timedelta(seconds=self.hands.true_s)

    def _say(self, kind: str, ago_s: float = 0.0, **data: object) -> None:
        self.taps += 1
        sent = {"id": f"tap-{self.taps}", "kind": kind, "data": data} | ({"ago_s": ago_s} if ago_s else {})
        before = self.desk.booth.seq
        try:
            self._noted(before, lambda: self.desk.carry_out(read_command(sent)), ago_s)
        except Refused as no:
            self._wrong(f"{kind} was refused: {no}")

    def _noted(self, before: int, do: object, ago_s: float) -> None:
        assert callable(do)
        self._see_jumps()
        pending = {to_the_millisecond(jump.to_at): seen for jump, seen in self.noticed.items()}
        do()
        both = (self.hands.wall_at, self.desk.now())  # the booth may run ahead of a clock that was set right
        is_right = all(abs((at - self._true_at()).total_seconds()) < 1 for at in both)
        is_right = is_right and self.desk.clock_doubt() is None
        fell_back = self.desk.booth.seq > before and self.desk.now() < self._latest_now()
        for event in self._lines_after(before):
            late_s = ago_s if event.by != SYSTEM else 0.0
            true_s, nudged_s = self.hands.true_s - late_s, self.nudged_s
            if event.by == SYSTEM and event.kind in ("paused", "resumed"):
                true_s, nudged_s = self._jumped(before, event, pending)
            is_sure = not late_s or (self.disturbed_s < true_s and not fell_back)
            self.truth[event.seq] = Truth(true_s, self.run, is_right, nudged_s, is_sure)
            self.figures.counts["jumps taken out"] += event.by == SYSTEM and event.kind == "resumed"

    def _see_jumps(self) -> None:
        self.desk.now()
        for jump in self.desk.clock.jumps():
            self.noticed.setdefault(jump, (self.hands.true_s, self.nudged_s))

    def _jumped(self, before: int, event: Event, pending: dict[datetime, tuple[float, float]]) -> tuple[float, float]:
        """When the jump was noticed of which this line is: its two lines have one id, the second ends it."""
        ends_at = next(one.at for one in self._lines_after(before) if one.id == event.id and one.kind == "resumed")
        return pending.get(ends_at, (self.hands.true_s, self.nudged_s))

    def _latest_now(self) -> datetime:
        return self.desk.booth.last_at or START

    def _lines_after(self, seq: int) -> list[Event]:
        with self.store.reading() as connection:
            return list(journal.events(connection, "quay", after=seq))

    def _look(self) -> None:
        """What holds at every moment."""
        self._see_jumps()
        now, wrong, last_at = self.desk.now(), self.desk.clock_doubt(), self.desk.booth.last_at
        if last_at is not None and now < last_at:
            self._wrong(f"the booth's time {now} is before its last line {last_at}")
        off_s = abs((self.hands.wall_at - now).total_seconds())
        if wrong is None and off_s > NEAR_S:
            self._wrong(f"nothing was said of a clock that is {off_s:.0f} s off")

    def _judge(self) -> None:
        """What holds of the whole day."""
        self.figures.counts["sequences"] += 1
        with self.store.reading() as connection:
            booth, events = import_lines(journal.lines(connection, "quay"))
        for event in events:
            if not WRITTEN_AT <= event.at <= self._true_at() + FARTHEST_AHEAD:
                self._wrong(f"line {event.seq} is of {event.at}")
            if isinstance(event.data, Promised) and not event.at < event.data.ready_by < event.at + LONGEST_PROMISE:
                self._wrong(f"line {event.seq} of {event.at} promises {event.data.ready_by}")
        for ticket in booth.tickets.values():
            for time in stage_times(ticket, booth.days):
                self.figures.counts["stages measured"] += 1
                if time.total_s < 0:
                    self._wrong(f"{time.stages} took {time.total_s} s")
            self._judge_spans(ticket)

    def _judge_spans(self, ticket: Ticket) -> None:
        """Every stretch in which the clock of `ticket` ran, from one line to the next."""
        last: Event | None = None
        for event in ticket.history:
            if event.kind not in ("started", "resumed", "stage_done", "paused", "finished"):
                continue
            if last is not None:
                self._judge_span(last, event)
            last = event if event.kind in ("started", "resumed", "stage_done") else None

    def _judge_span(self, begun: Event, ended: Event) -> None:
        a, b = self.truth[begun.seq], self.truth[ended.seq]
        error_s = abs((ended.happened_at - begun.happened_at).total_seconds() - (b.true_s - a.true_s))
        is_known = a.is_sure and b.is_sure and (a.run == b.run or (a.was_right and b.was_right))
        if not is_known:
            self.figures.counts["spans nobody can know"] += 1
            return
        self.figures.counts["spans over a restart" if a.run != b.run else "spans in one run"] += 1
        allowed_s = 0.01 + (b.nudged_s - a.nudged_s if a.run == b.run else RIGHT_S + b.nudged_s - a.nudged_s)
        self.figures.worst_s = max(self.figures.worst_s, error_s - (b.nudged_s - a.nudged_s))
        if error_s > allowed_s:
            self._wrong(f"lines {begun.seq} to {ended.seq} are {error_s:.3f} s off what really went by")

    def _wrong(self, sentence: str) -> None:
        self.figures.wrong.append(f"sequence {self.seed}: {sentence}.")


def main() -> int:
    """Play so many sequences; the exit code."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sequences", type=int, default=1000, help="how many days are played")
    parser.add_argument("--steps", type=int, default=60, help="of how many steps each")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    logging.disable(logging.ERROR)
    figures = Figures()
    for number in range(asked.sequences):
        with tempfile.TemporaryDirectory() as folder:
            Sequence(asked.seed * 1_000_000 + number, Path(folder), figures).play(asked.steps)
    for what, count in sorted(figures.counts.items()):
        print(f"{what}: {count}")
    print(f"worst error of a span that can be known: {figures.worst_s:.3f} s")
    for sentence in figures.wrong[:20]:
        print(sentence)
    print(f"{len(figures.wrong)} things were wrong." if figures.wrong else "All of it held.")
    return 1 if figures.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
