"""The computer's clock jumps, sleeps, begins in 1970: nothing that was written goes back, and stages stay measured."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Connection

from portraitq import serve
from portraitq.clock import JUMP_S, WRITTEN_AT, Clock
from portraitq.clock_watch import AHEAD, BEHIND, EARLY
from portraitq.core.booth import import_lines
from portraitq.core.commands import Command, Order, read_command
from portraitq.core.events import SYSTEM, Event, Ordered, Promised
from portraitq.core.timing import stage_times
from portraitq.desk import Desk, Desks, NewCard
from portraitq.forecast.pace import pace_of
from portraitq.starter import SLUG
from portraitq.store import journal
from portraitq.store.store import StoreError, open_store
from portraitq.web.event_said import event_said
from tests.builders import a_set_up
from tests.hands import Hands

NOW = datetime(2026, 6, 6, 9, 0, tzinfo=UTC)
IN_1970 = datetime(1970, 1, 1, tzinfo=UTC)
MINUTE_S = 60.0
ROOT = Path(__file__).resolve().parents[2]


class Stall:
    """A booth on a computer whose clocks the test holds; it can lose its power and come up again."""

    def __init__(self, folder: Path, at: datetime = NOW) -> None:
        self.folder, self.hands, self.count = folder, Hands(at), 0
        self.desks = Desks(open_store(folder), Clock(system=self.hands))
        self.desks.create("quay", a_set_up())

    @property
    def desk(self) -> Desk:
        return self.desks.at("quay")

    def open(self) -> Stall:
        now = self.desk.clock.now()
        closes_at = (now + timedelta(hours=9)).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        self.say("day_opened", day=now.astimezone(self.desk.standing().booth.zone).date().isoformat(),
                 closes_at=closes_at, breaks=[])  # fmt: skip
        self.say("artist_in", artist="a1")
        return self

    def say(self, kind: str, ago_s: float = 0, **data: object) -> tuple[Event, ...]:
        self.count += 1
        sent = {"id": f"tap-{self.count}", "kind": kind, "data": data} | ({"ago_s": ago_s} if ago_s else {})
        return self.desk.carry_out(read_command(sent)).events

    def begin(self) -> str:
        """An order, and it is on the easel."""
        (ordered, *_) = self.say("ordered", style="ink-head", sitters=1)
        assert isinstance(ordered.data, Ordered)
        self.say("started", ticket=ordered.data.ticket, artist="a1")
        return ordered.data.ticket

    def done(self, ticket: str, stage: str, ago_s: float = 0) -> None:
        self.say("stage_done", ago_s, ticket=ticket, stage=stage)

    def killed(self, down_s: float, comes_up: datetime | None = None) -> None:
        """The power goes and comes back; the board then believes that it is `comes_up`."""
        self.desks.close()
        self.hands.go_by(down_s)
        if comes_up is not None:
            self.hands.set_to(comes_up)
        self.desks = Desks(open_store(self.folder), Clock(system=self.hands))

    def measured_s(self, ticket: str) -> list[float]:
        booth = self.desk.standing(wait_s=10).booth
        return [round(time.total_s, 3) for time in stage_times(booth.tickets[ticket], booth.days)]

    def events(self) -> list[Event]:
        with self.desk.store.reading() as connection:
            return list(journal.events(connection, "quay"))

    def by_the_system(self) -> list[tuple[str, datetime]]:
        return [(event.kind, event.at) for event in self.events() if event.by == SYSTEM and event.kind != "set_up"]


@pytest.fixture
def stall(tmp_path: Path) -> Iterator[Stall]:
    made = Stall(tmp_path)
    yield made
    _never_goes_back(made)
    made.desks.close()


def _never_goes_back(stall: Stall) -> None:
    with stall.desk.store.reading() as connection:
        _, events = import_lines(journal.lines(connection, "quay"))  # the same judge as for a file that is imported
    assert [event.at for event in events] == sorted(event.at for event in events)


# Set on


def test_a_clock_set_on_while_a_stage_runs_adds_nothing_to_it(stall: Stall):
    ticket = stall.open().begin()

    stall.hands.go_by(100)
    stall.hands.set_by(40 * MINUTE_S)
    stall.hands.go_by(20)
    stall.done(ticket, "layout")

    assert stall.measured_s(ticket) == [120.0]
    noticed_at = NOW + timedelta(seconds=120)
    assert stall.by_the_system() == [("paused", noticed_at), ("resumed", noticed_at + timedelta(minutes=40))]


def test_the_jump_is_taken_out_at_the_last_instant_of_the_old_clock_however_late_it_is_noticed(stall: Stall):
    ticket = stall.open().begin()
    stall.hands.go_by(300)
    stall.hands.set_by(3600)
    stall.hands.go_by(300)

    stall.done(ticket, "layout")
    stall.hands.go_by(250)
    stall.done(ticket, "likeness")

    assert stall.measured_s(ticket) == [600.0, 250.0]


def test_who_is_at_the_counter_stays_paused_when_the_clock_is_set_on(stall: Stall):
    ticket = stall.open().begin()
    stall.hands.go_by(60)
    stall.say("paused", ticket=ticket, why="counter")

    stall.hands.set_by(3600)
    stall.hands.go_by(10)
    stall.say("resumed", ticket=ticket)
    stall.hands.go_by(60)
    stall.done(ticket, "layout")

    assert stall.measured_s(ticket) == [120.0]
    assert stall.by_the_system() == []


def test_a_touch_up_is_measured_across_it_too(stall: Stall):
    ticket = stall.open().begin()
    for stage in ("layout", "likeness", "finish"):
        stall.hands.go_by(100)
        stall.done(ticket, stage)
    stall.say("touched_up", ticket=ticket, artist="a1")

    stall.hands.go_by(60)
    stall.hands.set_by(3600)
    stall.say("finished", ticket=ticket, rack="A1")

    assert [kind for kind, _ in stall.by_the_system()] == ["paused", "resumed"]


def test_the_evening_tells_such_a_line_as_what_it_was(stall: Stall):
    stall.open().begin()
    stall.hands.set_by(3600)
    stall.say("walked_away", style=None, sitters=1, ready_by=None)
    booth = stall.desk.standing(wait_s=10).booth

    said = [event_said(event, booth) for event in stall.events() if event.by == SYSTEM and event.kind != "set_up"]

    assert said == [
        "The computer's clock was set on: time left out of number 1",
        "The computer's clock was set on: time counted again for number 1",
    ]


def test_no_artist_is_learned_to_pause_because_a_clock_was_set(stall: Stall, tmp_path: Path):
    told = []
    for name, jump_s in (("set on", 3600.0), ("left alone", 0.0)):
        other = Stall(tmp_path / name)
        ticket = other.open().begin()
        for stage in ("layout", "likeness", "finish"):
            other.hands.go_by(60)
            other.hands.set_by(jump_s)
            other.hands.go_by(60)
            other.done(ticket, stage)
        pace = pace_of(other.desk.standing(wait_s=10).booth)
        told.append((pace.lags.pauses, pace.lags.all_pauses))
        other.desks.close()

    assert told[0] == told[1]


def test_where_the_jump_could_not_be_written_the_tap_is_refused_and_both_come_with_the_next_try(
    stall: Stall, monkeypatch: pytest.MonkeyPatch
):
    ticket, append = stall.open().begin(), journal.append

    def full(connection: Connection, slug: str, events: object) -> None:
        raise StoreError("The disk is full.")

    stall.hands.go_by(100)
    stall.hands.set_by(600)
    monkeypatch.setattr(journal, "append", full)
    with pytest.raises(StoreError):
        stall.done(ticket, "layout")
    monkeypatch.setattr(journal, "append", append)
    stall.hands.go_by(5)
    stall.done(ticket, "layout")

    assert stall.measured_s(ticket) == [105.0]


def test_two_servers_on_one_journal_take_one_jump_out_once(stall: Stall):
    other = Desks(open_store(stall.folder), Clock(system=stall.hands))
    ticket = stall.open().begin()

    stall.hands.go_by(100)
    stall.hands.set_by(600)
    other.at("quay").carry_out(read_command({"id": "b", "kind": "artist_in", "data": {"artist": "a2"}}))
    stall.hands.go_by(20)
    stall.done(ticket, "layout")
    other.close()

    assert stall.measured_s(ticket) == [120.0]


# Sleep


def test_a_lid_closed_over_a_stage_is_time_that_went_by(stall: Stall):
    ticket = stall.open().begin()

    stall.hands.go_by(300, asleep=True)
    stall.done(ticket, "layout")

    assert stall.measured_s(ticket) == [300.0]
    assert stall.by_the_system() == []


# The board comes up with a wrong clock


def test_a_stage_over_a_crash_is_right_once_the_board_has_found_the_time(stall: Stall):
    ticket = stall.open().begin()
    stall.hands.go_by(60)
    right = stall.hands.wall_at

    stall.killed(down_s=120, comes_up=IN_1970)
    stall.hands.go_by(240)
    stall.hands.set_to(right + timedelta(seconds=120 + 240))
    stall.hands.go_by(30)
    stall.done(ticket, "layout")

    assert stall.measured_s(ticket) == [60 + 120 + 240 + 30]
    assert stall.by_the_system() == []


def test_a_stage_begun_while_the_time_is_lost_is_right_too(stall: Stall):
    ticket = stall.open().begin()
    stall.hands.go_by(60)
    right = stall.hands.wall_at

    stall.killed(down_s=120, comes_up=IN_1970)
    stall.hands.go_by(10)
    stall.done(ticket, "layout")
    stall.hands.go_by(200)
    stall.hands.set_to(right + timedelta(seconds=120 + 210))
    stall.hands.go_by(50)
    stall.done(ticket, "likeness")

    shown, likeness = stall.measured_s(ticket)
    assert likeness == 250.0
    assert 0 < shown <= 60 + 120 + 10  # how long the board was down, nobody could know at that tap


def test_a_jump_after_the_time_was_found_is_taken_out_of_the_old_stage_as_well(stall: Stall):
    ticket = stall.open().begin()
    right = stall.hands.wall_at

    stall.killed(down_s=60, comes_up=IN_1970)
    stall.hands.set_to(right + timedelta(seconds=60))
    stall.hands.go_by(30)
    stall.desk.standing()
    stall.say("walked_away", style=None, sitters=1, ready_by=None)
    stall.hands.set_by(3600)
    stall.hands.go_by(30)
    stall.done(ticket, "layout")

    assert stall.measured_s(ticket) == [120.0]


def test_a_board_in_1970_goes_on_from_its_last_line_promises_nothing_and_says_so(stall: Stall):
    stall.open()
    last_at = stall.desk.standing(wait_s=10).booth.last_at

    stall.killed(down_s=60, comes_up=IN_1970)
    events = stall.say("ordered", style="ink-head", sitters=1)
    standing = stall.desk.standing(wait_s=10)

    assert (standing.clock and standing.clock.why, standing.tells_time) == (EARLY, False)
    assert standing.as_of == last_at == events[0].at
    assert [event.kind for event in events] == ["ordered"]


def test_a_first_start_in_1970_writes_no_line_in_1970_and_is_right_once_the_time_is_found(tmp_path: Path):
    stall = Stall(tmp_path, at=IN_1970)
    stall.open()
    ticket = stall.begin()

    stall.hands.go_by(60)
    stall.hands.set_to(NOW)
    stall.hands.go_by(60)
    stall.done(ticket, "layout")

    ats = [event.at for event in stall.events()]
    assert WRITTEN_AT <= min(ats) <= max(ats) == NOW + timedelta(seconds=60)
    assert stall.measured_s(ticket) == [120.0]
    assert not [event for event in stall.events() if isinstance(event.data, Promised)]
    assert stall.desk.clock_doubt() is None
    _never_goes_back(stall)
    stall.desks.close()


def test_a_first_start_in_1970_opens_no_day(tmp_path: Path):
    store = open_store(tmp_path)

    serve.first_start(store, Clock(system=Hands(IN_1970)))

    with store.reading() as connection:
        kinds = [event.kind for event in journal.events(connection, SLUG)]
    store.close()
    assert kinds == ["set_up"]


def test_a_board_whose_battery_clock_shows_2036_writes_nothing_of_2036(stall: Stall):
    stall.open()

    stall.killed(down_s=60, comes_up=datetime(2036, 2, 7, 6, 28, tzinfo=UTC))
    ticket = stall.begin()
    stall.hands.go_by(100)
    stall.hands.set_to(NOW + timedelta(seconds=160))
    stall.hands.go_by(20)
    stall.done(ticket, "layout")

    assert max(event.at for event in stall.events()) == NOW + timedelta(seconds=180)
    assert stall.measured_s(ticket) == [120.0]


def test_while_the_time_is_lost_a_hand_can_say_it_and_times_are_promised_again(stall: Stall):
    stall.open()
    stall.killed(down_s=600, comes_up=IN_1970)

    done = stall.desk.set_clock(NOW + timedelta(seconds=600))
    events = stall.say("ordered", style="ink-head", sitters=1)

    assert done
    assert [event.kind for event in events] == ["ordered", "promised"]
    assert events[0].at == NOW + timedelta(seconds=600)


def test_an_hours_old_clock_that_a_board_kept_is_known_to_be_wrong(stall: Stall):
    stall.open()
    stall.hands.go_by(1800)
    stall.say("walked_away", style=None, sitters=1, ready_by=None)

    stall.killed(down_s=60, comes_up=NOW)
    wrong = stall.desk.clock_doubt()

    assert wrong is not None
    assert (wrong.why, wrong.tells_time) == (BEHIND, False)


# Set back


def test_a_clock_set_back_while_a_stage_runs_takes_nothing_from_it(stall: Stall):
    ticket = stall.open().begin()

    stall.hands.go_by(100)
    stall.hands.set_by(-58 * MINUTE_S)
    stall.hands.go_by(20)
    stall.done(ticket, "layout")

    wrong = stall.desk.clock_doubt()
    assert stall.measured_s(ticket) == [120.0]
    assert wrong is not None
    assert (wrong.why, wrong.ahead_s) == (AHEAD, 58 * MINUTE_S)


def test_a_clock_that_was_wrong_before_anything_was_written_today_is_right_at_once(stall: Stall):
    stall.hands.go_by(24 * 3600)
    stall.hands.set_by(3600)
    stall.desk.clock.now()

    stall.hands.set_by(-3600)
    stall.open()

    assert stall.events()[-1].at == NOW + timedelta(hours=24)
    assert stall.desk.clock_doubt() is None


def test_after_a_night_the_booths_time_is_the_clocks_again(stall: Stall):
    stall.open()
    stall.hands.set_by(-58 * MINUTE_S)
    stall.say("day_closed")

    stall.hands.go_by(15 * 3600)
    stall.open()

    assert stall.events()[-1].at == stall.hands.wall_at
    assert stall.desk.clock_doubt() is None


def test_while_a_pencil_is_down_only_for_a_moment_time_does_not_fall_back_into_what_was_written(stall: Stall):
    ticket = stall.open().begin()
    stall.hands.set_by(-600)
    stall.hands.go_by(60)

    stall.say("paused", ticket=ticket, why="counter")
    stall.hands.go_by(60)
    stall.say("resumed", ticket=ticket)
    stall.hands.go_by(60)
    stall.done(ticket, "layout")

    assert stall.measured_s(ticket) == [120.0]


# Taps from out of reach


def test_a_tap_that_claims_to_be_a_year_old_ends_its_stage_no_earlier_than_it_began(stall: Stall):
    ticket = stall.open().begin()
    stall.hands.go_by(100)

    stall.done(ticket, "layout", ago_s=366 * 86_400)

    assert stall.measured_s(ticket) == [0.0]
    assert not stage_times(stall.desk.ticket(ticket))[0].trusted


def test_a_tap_older_than_a_year_is_malformed(stall: Stall):
    from portraitq.core.errors import Malformed

    with pytest.raises(Malformed, match="ago_s"):
        read_command({"id": "x", "kind": "day_closed", "data": {}, "ago_s": 366 * 86_400 + 1})


def test_an_order_with_a_time_told_before_the_clock_went_wrong_is_taken_without_a_promise(stall: Stall):
    stall.open()
    told = stall.desk.quote("ink-head", 1).promise_at
    stall.killed(down_s=60, comes_up=IN_1970)

    taken = stall.desk.take_order(Command("o", Order(style="ink-head", sitters=1, ready_by=told)), NewCard(), ())

    assert (taken.number, taken.ready_by, taken.later_than_told) == (1, None, False)


# Any order of all of it


def test_days_of_clocks_set_at_random_hold_what_scripts_jumps_asks():
    played = subprocess.run(
        [sys.executable, str(ROOT / "scripts" / "jumps.py"), "--sequences", "8", "--steps", "40", "--seed", "7"],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )

    assert played.stdout.endswith("All of it held.\n"), played.stdout + played.stderr
    assert played.returncode == 0
    assert "sequences: 8\n" in played.stdout


STEPS = st.one_of(
    st.tuples(st.just("goes by"), st.floats(0, 20_000)),
    st.tuples(st.just("sleeps"), st.floats(0, 20_000)),
    st.tuples(st.just("is set by"), st.floats(-1e6, 1e6)),
    st.tuples(st.just("is set to"), st.sampled_from([0.0, -1e12, 2_085_978_496.0, 1e12, NOW.timestamp()])),
    st.tuples(st.just("was written until"), st.floats(0, 1e5)),
)


@given(steps=st.lists(STEPS, max_size=30), starts=st.sampled_from([0.0, NOW.timestamp(), 2_085_978_496.0]))
def test_whatever_happens_to_a_clock_time_goes_on_by_what_went_by_and_by_the_jumps_that_are_told(
    steps: list[tuple[str, float]], starts: float
):
    hands = Hands(datetime.fromtimestamp(starts, UTC))
    clock = Clock(system=hands)
    for what, amount in steps:
        before, true_s, jumps = clock.now(), hands.true_s, len(clock.jumps())
        if what == "was written until":
            written_at = before + timedelta(seconds=amount)
            assert clock.not_before(written_at) >= written_at
            continue
        if what == "is set by":
            hands.set_by(amount)
        elif what == "is set to":
            hands.set_by(amount - hands.wall_s())
        else:
            hands.go_by(amount, asleep=what == "sleeps")
        went_s = (clock.now() - before).total_seconds() - (hands.true_s - true_s)
        told_s = sum((jump.to_at - jump.from_at).total_seconds() for jump in clock.jumps()[jumps:])
        assert abs(went_s - told_s) <= JUMP_S + 0.001
        assert clock.now().year < 2036
