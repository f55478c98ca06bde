"""The desk: one place where commands are decided, written, folded, re-quoted and published."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import Connection

from portraitq import house_rules
from portraitq.clock import Clock
from portraitq.core.booth import Booth, fold
from portraitq.core.commands import Command, Order
from portraitq.core.errors import Malformed, Refused, RefusedLine
from portraitq.core.events import (
    ArtistIn,
    Cancelled,
    Collected,
    Data,
    DayClosed,
    Erased,
    Ordered,
    Paid,
    Promised,
    StageDone,
    Started,
    WalkedAway,
    print_instant,
    print_line,
)
from portraitq.desk import Desk, Desks, NewCard, NoSuchBooth, NoSuchTicket, Standing
from portraitq.forecast.learning import Learned, read_on
from portraitq.forecast.pace import pace_of
from portraitq.forecast.quotes import quotes_of_tickets
from portraitq.house_rules import HouseRules
from portraitq.store import cards, journal, photos
from portraitq.store.store import FILE_NAME, Store, StoreError, open_store
from tests.builders import a_booth, a_set_up, instant
from tests.postgres import Postgres

NOW = instant("09:30")


@dataclass(frozen=True)
class Picture:
    jpeg: bytes = b"\xff\xd8 the whole face"
    small_jpeg: bytes = b"\xff\xd8 the small face"
    width_px: int = 1200
    height_px: int = 1600


ON_BOTH = pytest.mark.parametrize("store", ["sqlite", "postgresql"], indirect=True)


@pytest.fixture
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Store:
    """In a file, and on a server too for what `ON_BOTH` marks."""
    if getattr(request, "param", "sqlite") == "sqlite":
        return open_store(tmp_path)
    server: Postgres = request.getfixturevalue("postgres")
    return open_store(server.emptied())


def _opened_again(store: Store) -> Store:
    """As another process opens it."""
    return open_store(store.engine.url.render_as_string(hide_password=False))


@pytest.fixture
def desks(store: Store) -> Iterator[Desks]:
    opened = Desks(store, Clock(start_at=NOW))
    opened.import_journal("quayside", a_booth().lines)
    yield opened
    opened.close()


@pytest.fixture
def desk(desks: Desks) -> Desk:
    return desks.at("quayside")


def _say(desk: Desk, data: Data, id: str = "tap-1") -> int:
    return desk.carry_out(Command(id, data)).seq


def _order(desk: Desk, id: str = "order-1", **fields: object) -> str:
    order = Order.model_validate({"style": "ink-head", "sitters": 1, **fields})
    return desk.take_order(Command(id, order), NewCard(), ()).ticket


def _lines(desk: Desk) -> list[str]:
    with desk.store.reading() as connection:
        return journal.lines(connection, desk.slug)


def test_a_command_is_on_disk_when_it_is_answered(desk: Desk) -> None:
    outcome = desk.carry_out(Command("tap-1", WalkedAway(style=None, sitters=1, ready_by=None)))

    assert _lines(desk)[-1] == print_line(outcome.events[-1])
    assert outcome.seq == desk.standing().seq == len(_lines(desk))


@ON_BOTH
def test_the_same_command_sent_again_gets_the_same_answer_and_happens_once(desk: Desk) -> None:
    first = desk.carry_out(Command("tap-1", WalkedAway(style=None, sitters=1, ready_by=None)))
    again = desk.carry_out(Command("tap-1", WalkedAway(style=None, sitters=1, ready_by=None)))

    assert (again.seq, again.events) == (first.seq, first.events)
    assert (first.is_repeat, again.is_repeat) == (False, True)
    assert len(_lines(desk)) == first.seq


def test_a_refused_command_changes_nothing(desk: Desk) -> None:
    before, lines = desk.standing().booth, _lines(desk)

    with pytest.raises(Refused, match="no ticket"):
        _say(desk, Started(ticket="T9", artist="a1"))

    assert desk.standing().booth == before
    assert _lines(desk) == lines


@ON_BOTH
def test_an_order_its_promise_its_card_and_its_photos_are_kept_together(desk: Desk) -> None:
    card = NewCard(name="Anouk", note="freckles in", is_child=True, consent_by="mother")

    taken = desk.take_order(Command("order-1", Order(style="ink-head", sitters=1)), card, [Picture(), Picture()])

    assert [type(event.data) for event in taken.outcome.events] == [Ordered, Promised]
    assert taken.number == 1
    assert taken.ready_by is not None
    assert taken.ready_by > NOW
    kept = desk.cards([taken.ticket])[taken.ticket]
    assert (kept.name, kept.note, kept.consent_by, kept.code) == ("Anouk", "freckles in", "mother", taken.code)
    assert len(desk.photo_refs([taken.ticket])[taken.ticket]) == 2


@ON_BOTH
def test_an_order_that_is_refused_keeps_neither_card_nor_photo(desk: Desk, store: Store) -> None:
    with pytest.raises(Refused, match="no style"):
        desk.take_order(Command("order-1", Order(style="oil", sitters=1)), NewCard(name="Anouk"), [Picture()])

    assert desk.cards(["T1"]) == {}
    assert desk.photo_refs(["T1"]) == {}


def test_an_order_sent_twice_is_one_ticket_with_one_code(desk: Desk) -> None:
    command = Command("order-1", Order(style="ink-head", sitters=1))

    first = desk.take_order(command, NewCard(), [Picture()])
    again = desk.take_order(command, NewCard(), [Picture()])

    assert (again.ticket, again.code, again.ready_by) == (first.ticket, first.code, first.ready_by)
    assert len(desk.photo_refs(["T1"])["T1"]) == 1


def test_what_was_told_a_moment_ago_stands_while_it_is_nearly_as_sure(desk: Desk) -> None:
    told = desk.quote("ink-head", 1).promise_at

    taken = desk.take_order(Command("order-1", Order(style="ink-head", sitters=1, ready_by=told)), NewCard(), ())

    assert (taken.ready_by, taken.later_than_told) == (told, False)


def test_a_promise_that_can_no_longer_be_kept_is_not_given(desk: Desk) -> None:
    told = desk.quote("ink-head", 1).promise_at
    for count in range(6):
        _order(desk, f"before-{count}", style="chalk-half", sitters=2)
        _order(desk, f"also-before-{count}", sitters=2)

    taken = desk.take_order(Command("order-1", Order(style="ink-head", sitters=1, ready_by=told)), NewCard(), ())

    assert taken.later_than_told
    assert taken.ready_by is not None
    assert taken.ready_by > told


def test_an_order_whose_told_time_has_passed_meanwhile_is_taken_with_a_new_one(desk: Desk) -> None:
    told = NOW - timedelta(minutes=5)  # a laptop slept between the quote and the touch

    taken = desk.take_order(Command("order-1", Order(style="ink-head", sitters=1, ready_by=told)), NewCard(), ())

    assert taken.later_than_told
    assert taken.ready_by is not None
    assert taken.ready_by > NOW


def test_an_order_is_quoted_as_a_replay_of_the_journal_will_quote_it(desk: Desk) -> None:
    for number in range(3):
        id = _order(desk, f"order-{number}", artist="a1")
        _say(desk, Started(ticket=id, artist="a1"), f"start-{number}")
        for stage in ("layout", "likeness", "finish"):
            _say(desk, StageDone(ticket=id, stage=stage), f"{stage}-{number}")
    id = _order(desk, "order-last")

    standing = desk.standing(wait_s=5)

    with desk.store.reading() as connection:
        learned = read_on(Learned(), journal.events(connection, desk.slug))
    assert standing.pace.calibration == learned.pace.calibration
    assert learned.pace.calibration.settled == 3
    as_replayed = quotes_of_tickets(learned.booth, learned.pace, standing.forecast.as_of, [id])[id]
    assert standing.forecast.tickets[id] == as_replayed
    assert (
        standing.forecast.tickets[id]
        != quotes_of_tickets(learned.booth, pace_of(learned.booth), standing.forecast.as_of, [id])[id]
    ), "which past quotes have not corrected"


def test_after_a_restart_the_desk_has_learned_the_same_from_its_quotes(desks: Desks, tmp_path: Path) -> None:
    desk = desks.at("quayside")
    id = _order(desk, artist="a1")
    _say(desk, Started(ticket=id, artist="a1"), "start")
    for stage in ("layout", "likeness", "finish"):
        _say(desk, StageDone(ticket=id, stage=stage), stage)
    _order(desk, "order-last")
    before = desk.standing(wait_s=5).pace

    again = Desks(open_store(tmp_path), Clock(start_at=NOW))

    assert again.at("quayside").standing().pace.calibration == before.calibration
    assert again.at("quayside").standing().pace.lags == before.lags
    again.close()


def test_a_quote_changes_nothing(desk: Desk) -> None:
    before = _lines(desk)

    quote = desk.quote("ink-head", 2, "a1")

    assert quote.promise_at > NOW
    assert _lines(desk) == before


@pytest.mark.parametrize(
    ("asked", "reason"),
    [
        ({"style": "oil", "sitters": 1}, "no style"),
        ({"style": "ink-head", "sitters": 1, "artist": "a9"}, "no artist"),
        ({"style": "chalk-half", "sitters": 1, "artist": "a2"}, "does not draw"),
    ],
)
def test_a_quote_for_what_the_booth_does_not_draw_is_refused(desk: Desk, asked: dict[str, object], reason: str) -> None:
    with pytest.raises(Refused, match=reason):
        desk.quote(**asked)  # type: ignore[arg-type]


def test_every_change_is_published_with_quotes_for_every_ticket_that_waits(desks: Desks, desk: Desk) -> None:
    heard: list[Standing] = []
    news = threading.Event()

    def hear(_: Desk, standing: Standing) -> None:
        heard.append(standing)
        news.set()

    desks.listen(hear)

    id = _order(desk)

    assert news.wait(5)
    assert heard[-1].seq == desk.standing().seq
    assert heard[-1].forecast.tickets[id].promise_at > NOW


@ON_BOTH
def test_many_taps_at_once_are_all_kept_once_and_in_order(desk: Desk) -> None:
    taps = [Command(f"tap-{count}", WalkedAway(style=None, sitters=1, ready_by=None)) for count in range(60)]

    with ThreadPoolExecutor(12) as hands:
        outcomes = list(hands.map(desk.carry_out, [*taps, *taps]))

    assert len({outcome.seq for outcome in outcomes}) == 60
    assert sum(outcome.is_repeat for outcome in outcomes) == 60
    with desk.store.reading() as connection:
        events = journal.events(connection, desk.slug)
    assert fold(Booth(), events) == desk.standing(wait_s=5).booth


def test_re_quotes_of_many_taps_are_done_together(desks: Desks, desk: Desk) -> None:
    seen: list[int] = []
    desks.listen(lambda _, standing: seen.append(standing.seq))

    for count in range(80):
        _say(desk, WalkedAway(style=None, sitters=1, ready_by=None), f"tap-{count}")
    last = desk.standing(wait_s=5).seq

    assert seen[-1] == last
    assert seen == sorted(seen)


@ON_BOTH
def test_what_is_sent_to_two_servers_at_once_is_kept_once_and_in_order_by_whoever_was_quicker(desk: Desk) -> None:
    other = Desks(_opened_again(desk.store), Clock(start_at=NOW))
    taps = [Command(f"tap-{count}", WalkedAway(style=None, sitters=1, ready_by=None)) for count in range(24)]
    at_both = [(one, tap) for tap in taps for one in (desk, other.at("quayside"))]

    with ThreadPoolExecutor(8) as hands:
        seqs = list(hands.map(lambda sent: sent[0].carry_out(sent[1]).seq, at_both))

    assert seqs[::2] == seqs[1::2], "both answer the same"
    with desk.store.reading() as connection:
        events = journal.events(connection, desk.slug)
    assert sorted(event.id for event in events[-24:]) == sorted(tap.id for tap in taps)
    assert fold(Booth(), events).seq == len(events)
    other.close()


@ON_BOTH
def test_two_desks_on_one_store_take_turns_and_see_each_other(desk: Desk) -> None:
    other = Desks(_opened_again(desk.store), Clock(start_at=NOW))
    beside = other.at("quayside")

    first = _order(desk, "from-one")
    second = _order(beside, "from-the-other")
    third = _order(desk, "from-one-again")

    assert [first, second, third] == ["T1", "T2", "T3"]
    beside.refresh()
    desk.refresh()
    assert _order(beside, "from-the-other-again") == "T4"
    other.close()


@pytest.mark.parametrize("said", ["", "   "])
@pytest.mark.parametrize("pictures", [[], [Picture()]], ids=["from life", "with a photo"])
def test_no_child_sits_on_nobodys_word(desk: Desk, said: str, pictures: list[Picture]) -> None:
    order, child = Command("order-1", Order(style="ink-head", sitters=3)), NewCard(is_child=True, consent_by=said)
    seq = desk.standing(wait_s=10).seq

    with pytest.raises(Malformed, match="which parent or guardian agreed") as no:
        desk.take_order(order, child, pictures)

    assert no.value.field == "consent_by"
    assert desk.standing(wait_s=10).seq == seq


def test_who_agreed_cannot_be_taken_off_the_card_of_a_child_nor_a_child_be_added_without(desk: Desk) -> None:
    child = NewCard(name="Anouk", is_child=True, consent_by="her mother, and Bo's father")
    order = Command("order-1", Order(style="ink-head", sitters=2))
    id = desk.take_order(order, child, [Picture()]).ticket
    other = desk.take_order(Command("order-2", Order(style="ink-head", sitters=1)), NewCard(name="Bo"), []).ticket

    for ticket, change in ((id, {"name": "Ana", "consent_by": " "}), (other, {"name": "Ana", "is_child": True})):
        with pytest.raises(Malformed, match="which parent or guardian agreed"):
            desk.change_card(ticket, **change)

    assert desk.cards([id])[id].consent_by == "her mother, and Bo's father"
    assert [desk.cards([one])[one].name for one in (id, other)] == ["Anouk", "Bo"]


def test_a_child_of_an_older_card_on_which_nobody_agreed_gets_no_more_photos(desk: Desk) -> None:
    id = desk.take_order(Command("order-1", Order(style="ink-head", sitters=1)), NewCard(), []).ticket
    with desk.store.writing() as connection:
        cards.change(connection, desk.slug, id, is_child=True)

    with pytest.raises(Malformed, match="which parent or guardian agreed"):
        desk.add_photo(id, Picture())

    assert desk.photo_refs([id]) == {}


def test_erasing_leaves_the_journal_whole_and_no_byte_of_the_person_in_any_file(desk: Desk, tmp_path: Path) -> None:
    card = NewCard(name="Anouk-of-the-quay", contact="0612-345-678", note="freckles-in-please")
    id = desk.take_order(Command("order-1", Order(style="ink-head", sitters=1)), card, [Picture()]).ticket

    _say(desk, Erased(ticket=id))

    kept = b"".join(file.read_bytes() for file in tmp_path.iterdir() if file.name.startswith(FILE_NAME))
    for secret in (b"Anouk-of-the-quay", b"0612-345-678", b"freckles-in-please", Picture.jpeg, Picture.small_jpeg):
        assert secret not in kept
    assert desk.ticket(id).is_erased
    assert desk.cards([id])[id].is_erased


def test_what_another_process_erased_while_the_log_was_read_is_scrubbed_here(desk: Desk, tmp_path: Path) -> None:
    card = NewCard(name="Anouk-of-the-quay")
    id = desk.take_order(Command("order-1", Order(style="ink-head", sitters=1)), card, [Picture()]).ticket
    desk.tidy()
    other = Desks(open_store(tmp_path), Clock(start_at=desk.clock.now()))

    with desk.store.reading() as reader:
        reader.exec_driver_sql("SELECT name FROM cards").all()
        other.at("quayside").carry_out(Command("erase-1", Erased(ticket=id)))
        other.close()
        was_left = _still_there(tmp_path)
    desk.refresh()
    _eventually(lambda: desk.ticket(id).is_erased)

    assert was_left
    _eventually(lambda: desk.tidy() == [] and not _still_there(tmp_path))


def _still_there(folder: Path) -> bool:
    return any(b"Anouk-of-the-quay" in file.read_bytes() for file in folder.iterdir() if file.is_file())


def test_closing_the_day_erases_those_who_were_served_and_nobody_else(desk: Desk, tmp_path: Path) -> None:
    def ordered(name: str) -> str:
        order = Command(f"order-{name}", Order(style="ink-head", sitters=1))
        return desk.take_order(order, NewCard(name=f"{name}-of-the-quay"), [Picture()]).ticket

    left, gone, waits = ordered("Left"), ordered("Gone"), ordered("Waits")
    _say(desk, Cancelled(ticket=left, why="customer"), "cancel")
    _say(desk, Started(ticket=gone, artist="a1"), "start")
    for stage in ("layout", "likeness", "finish"):
        _say(desk, StageDone(ticket=gone, stage=stage), stage)
    _say(desk, Collected(ticket=gone), "collect")

    _say(desk, DayClosed(), "close")

    assert {id for id in (left, gone, waits) if desk.ticket(id).is_erased} == {left, gone}
    assert desk.cards([waits])[waits].name == "Waits-of-the-quay"
    assert list(desk.photo_refs([left, gone, waits])) == [waits]
    kept = b"".join(file.read_bytes() for file in tmp_path.iterdir() if file.name.startswith(FILE_NAME))
    assert b"Left-of-the-quay" not in kept
    assert b"Gone-of-the-quay" not in kept


def _served(desk: Desk, name: str, at: str | None = None) -> str:
    """A ticket with a card and a photo, drawn and handed over; `at` that time of the day."""
    order = Command(f"order-{name}", Order(style="ink-head", sitters=1))
    id = desk.take_order(order, NewCard(name=f"{name}-of-the-quay", contact=f"{name}-called"), [Picture()]).ticket
    _say(desk, Started(ticket=id, artist="a1"), f"start-{name}")
    for stage in ("layout", "likeness", "finish"):
        _say(desk, StageDone(ticket=id, stage=stage), f"{stage}-{name}")
    if at:
        desk.clock.skip_to(instant(at))
    _say(desk, Collected(ticket=id), f"collect-{name}")
    return id


def test_by_hours_those_served_are_erased_in_time_and_not_when_the_day_is_closed(desk: Desk, tmp_path: Path) -> None:
    desk.change_house_rules(HouseRules(keep_h=2))
    early, late = _served(desk, "Early", "11:00"), _served(desk, "Late", "12:00")
    desk.clock.skip_to(instant("13:00:01"))

    _say(desk, DayClosed(), "close")
    at_closing = [id for id in (early, late) if desk.ticket(id).is_erased]
    desk.clock.skip_to(instant("14:00:01"))
    erased = desk.tidy()

    assert (at_closing, erased) == ([early], [late])
    assert desk.photo_refs([early, late]) == {}
    kept = b"".join(file.read_bytes() for file in tmp_path.iterdir())
    for secret in (b"Early-of-the-quay", b"Late-of-the-quay", b"Late-called", Picture.jpeg, Picture.small_jpeg):
        assert secret not in kept


def test_the_desk_erases_in_time_by_itself_and_the_screens_hear_of_it(desks: Desks, desk: Desk) -> None:
    desk.change_house_rules(HouseRules(keep_h=1))
    id, is_erased = _served(desk, "Anouk", "11:00"), threading.Event()
    desks.listen(lambda _, standing: is_erased.set() if standing.booth.tickets[id].is_erased else None)

    desk.clock.skip_to(instant("12:00:30"))
    desk.refresh()

    assert is_erased.wait(timeout=10)


def test_what_was_due_while_the_service_was_stopped_is_erased_when_it_starts(desks: Desks, tmp_path: Path) -> None:
    desk = desks.at("quayside")
    id = _served(desk, "Anouk", "11:00")
    with desk.store.writing() as connection:
        photos.add(connection, "quayside", photos.LOOSE, Picture(), came_at=print_instant(NOW))
    desk.change_house_rules(HouseRules(keep_h=1))
    desk.close()

    again, is_erased = Desks(open_store(tmp_path), Clock(start_at=instant("20:00"))), threading.Event()
    again.listen(lambda _, standing: is_erased.set() if standing.booth.tickets[id].is_erased else None)
    again.at("quayside").refresh()

    assert is_erased.wait(timeout=10)
    assert again.at("quayside").tidy() == []
    assert Picture.jpeg not in b"".join(file.read_bytes() for file in tmp_path.iterdir())
    again.close()


def test_a_round_that_fails_is_told_and_the_next_one_goes_on_while_quotes_go_on_too(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    desk.change_house_rules(HouseRules(keep_h=1))
    id = _served(desk, "Anouk", "11:00")

    def full(_connection: Connection, _booth: str, _ticket: str) -> None:
        raise StoreError("The disk is full.")

    with monkeypatch.context() as broken:
        broken.setattr(cards, "erase", full)
        desk.clock.skip_to(instant("12:00:30"))
        seq = _say(desk, WalkedAway(style=None, sitters=1, ready_by=None), "asked")
        assert desk.standing(wait_s=10).seq == seq
        _eventually(lambda: "The disk is full." in caplog.text)

    assert not desk.ticket(id).is_erased
    assert desk.tidy() == [id]


def test_closing_the_day_stands_even_where_erasing_fails_and_is_made_up_for(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    id = _served(desk, "Anouk")
    with monkeypatch.context() as broken:
        broken.setattr(cards, "erase", lambda *_: (_ for _ in ()).throw(StoreError("The disk is full.")))
        _say(desk, DayClosed(), "close")

    assert "The disk is full." in caplog.text
    assert desk.tidy() == [id]


@ON_BOTH
def test_two_servers_that_find_the_same_due_write_it_once(desk: Desk) -> None:
    id = _served(desk, "Anouk", "11:00")
    other = Desks(_opened_again(desk.store), Clock(start_at=instant("11:00:01")))
    with desk.store.writing() as connection:
        house_rules.put(connection, desk.slug, HouseRules(keep_h=1))
    desk.clock.skip_to(instant("12:30"))
    other.clock.skip_to(instant("12:30"))

    with ThreadPoolExecutor(2) as both:
        list(both.map(lambda one: one.tidy(), (desk, other.at("quayside"))))

    assert sum('"kind":"erased"' in line for line in _lines(desk)) == 1
    assert desk.cards([id])[id].is_erased
    other.close()


def test_what_another_server_erases_while_this_one_looks_is_written_once(
    desk: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    id = _served(desk, "Anouk", "11:00")
    desk.change_house_rules(HouseRules(keep_h=1))
    other = Desks(open_store(tmp_path), Clock(start_at=instant("11:00:01"))).at("quayside")
    desk.clock.skip_to(instant("12:30"))
    other.clock.skip_to(instant("12:30"))
    looked = cards.personal

    def looked_before_the_other_did(connection: Connection, booth: str) -> set[str]:
        kept = set(looked(connection, booth))
        monkeypatch.setattr(cards, "personal", looked)
        other.tidy()
        desk.refresh()
        while not desk.ticket(id).is_erased:
            threading.Event().wait(0.01)
        return kept

    monkeypatch.setattr(cards, "personal", looked_before_the_other_did)
    desk.tidy()

    assert sum('"kind":"erased"' in line for line in _lines(desk)) == 1
    other.close()


def test_what_nobody_collected_is_erased_by_the_booths_limit_and_waits_on_without_it(desk: Desk) -> None:
    desk.change_house_rules(HouseRules(uncollected_days=2))
    order = Command("order-1", Order(style="ink-head", sitters=1))
    id = desk.take_order(order, NewCard(name="Anouk"), [Picture()]).ticket
    _say(desk, Started(ticket=id, artist="a1"), "start")
    for stage in ("layout", "likeness", "finish"):
        _say(desk, StageDone(ticket=id, stage=stage), stage)
    _say(desk, DayClosed(), "close")

    desk.clock.skip_to(desk.clock.now() + timedelta(days=1))
    desk.tidy()
    before = desk.ticket(id).is_erased
    desk.clock.skip_to(desk.clock.now() + timedelta(days=1))
    desk.tidy()

    assert (before, desk.ticket(id).is_erased) == (False, True)
    assert desk.photo_refs([id]) == {}
    _say(desk, Collected(ticket=id), "collect")
    assert desk.ticket(id).was_collected


def test_a_day_that_nobody_closed_keeps_nobody_for_ever(desk: Desk) -> None:
    id = _served(desk, "Anouk", "11:00")
    closes_at = desk.standing(wait_s=10).booth.days[-1].closes_at

    desk.clock.skip_to(closes_at + timedelta(hours=11, minutes=59))
    desk.tidy()
    before = desk.ticket(id).is_erased
    desk.clock.skip_to(closes_at + timedelta(hours=12, seconds=1))
    desk.tidy()

    assert (before, desk.ticket(id).is_erased) == (False, True)


def test_a_loose_photo_of_a_clock_that_was_wrong_does_not_stay_until_that_year(desk: Desk) -> None:
    with desk.store.writing() as connection:
        photos.add(connection, desk.slug, photos.LOOSE, Picture(), came_at="2099-01-01T00:00:00.000Z")
        soon = print_instant(desk.clock.now() + timedelta(minutes=30))
        kept = photos.add(connection, desk.slug, photos.LOOSE, Picture(), came_at=soon)

    desk.tidy()

    with desk.store.reading() as connection:
        left = connection.exec_driver_sql("SELECT id FROM photos").scalars().all()
    assert left == [kept]


def test_the_photo_of_an_order_that_was_never_finished_goes_after_an_hour(desk: Desk, tmp_path: Path) -> None:
    with desk.store.writing() as connection:
        photos.add(connection, desk.slug, photos.LOOSE, Picture(), came_at=print_instant(NOW))
        photos.add(connection, "arcade", photos.LOOSE, Picture(b"another booth's"), came_at=print_instant(NOW))

    desk.clock.skip_to(NOW + timedelta(minutes=59))
    desk.tidy()
    still = photos_of(tmp_path)
    desk.clock.skip_to(NOW + timedelta(minutes=61))
    desk.tidy()

    assert Picture.jpeg in still
    assert Picture.jpeg not in photos_of(tmp_path)
    assert b"another booth's" in photos_of(tmp_path)


def photos_of(folder: Path) -> bytes:
    return b"".join(file.read_bytes() for file in folder.iterdir())


def test_an_imported_journal_whose_people_are_unknown_is_left_alone(desks: Desks) -> None:
    told = a_booth().ordered("T1").drawn("T1", "A4").collected("T1").day_closed()
    desk = desks.import_journal("arcade", told.lines)

    desk.tidy()

    assert len(_lines(desk)) == len(told.lines)


def _eventually(is_so: Callable[[], bool]) -> None:
    """Wait until `is_so`, at most ten seconds."""
    waited = threading.Event()
    for _ in range(200):
        if is_so():
            return
        waited.wait(0.05)
    assert is_so()


def test_closing_a_day_of_imported_tickets_writes_nothing_but_the_closing(desks: Desks) -> None:
    told = a_booth().ordered("T1").drawn("T1", "A4").collected("T1")
    desk = desks.import_journal("arcade", told.lines)

    _say(desk, DayClosed(), "close")

    assert len(_lines(desk)) == len(told.lines) + 1


def test_a_photo_can_be_added_and_removed_until_the_portrait_is_finished(desk: Desk) -> None:
    id = _order(desk)

    photo = desk.add_photo(id, Picture())
    assert [ref.id for ref in desk.photo_refs([id])[id]] == [photo]
    assert desk.remove_photo(id, photo)
    assert desk.photo_refs([id]) == {}

    _say(desk, Started(ticket=id, artist="a1"), "start")
    for stage in ("layout", "likeness", "finish"):
        _say(desk, StageDone(ticket=id, stage=stage), stage)
    with pytest.raises(Refused, match="still to be drawn"):
        desk.add_photo(id, Picture())


def test_an_order_takes_its_photos_in_the_order_in_which_they_were_sent(desk: Desk) -> None:
    early, late = (desk.add_photo(photos.LOOSE, Picture()) for _ in range(2))

    taken = desk.take_order(
        Command("order-1", Order(style="ink-head", sitters=1)), NewCard(), [late, Picture(width_px=99), early]
    )

    kept = desk.photo_refs([taken.ticket])[taken.ticket]
    assert [ref.id for ref in kept[::2]] == [late, early]
    assert kept[1].width_px == 99


@pytest.mark.parametrize("gone", ["never there", "removed", "of another order"])
def test_an_order_whose_photo_is_gone_is_refused_naming_it_and_nothing_is_taken(desk: Desk, gone: str) -> None:
    order = Command("order-1", Order(style="ink-head", sitters=1))
    here, missing = (desk.add_photo(photos.LOOSE, Picture()) for _ in range(2))
    if gone == "removed":
        desk.remove_photo(photos.LOOSE, missing)
    elif gone == "of another order":
        desk.take_order(Command("another", Order(style="ink-head", sitters=1)), NewCard(), [missing])
    before = _lines(desk)

    with pytest.raises(Malformed, match="here no more") as no:
        desk.take_order(order, NewCard(name="Anouk"), [here, missing if gone != "never there" else "no-such-photo"])

    assert no.value.field == "photo.1"
    assert _lines(desk) == before
    assert desk.photo_refs([photos.LOOSE])[photos.LOOSE][0].id == here
    assert desk.take_order(order, NewCard(), [here]).number == (2 if gone == "of another order" else 1)


def test_an_order_sent_twice_keeps_the_photos_it_claimed(desk: Desk) -> None:
    order, photo = Command("order-1", Order(style="ink-head", sitters=1)), desk.add_photo(photos.LOOSE, Picture())

    first, again = (desk.take_order(order, NewCard(), [photo]) for _ in range(2))

    assert again.outcome.is_repeat
    assert [ref.id for ref in desk.photo_refs([first.ticket])[first.ticket]] == [photo]


@ON_BOTH
def test_a_photo_sent_twice_is_kept_once(desk: Desk) -> None:
    id = _order(desk)

    ids = [desk.add_photo(id, Picture(), id="made-by-the-device-1") for _ in range(2)]

    assert ids == ["made-by-the-device-1"] * 2
    assert len(desk.photo_refs([id])[id]) == 1


def test_a_photo_taken_again_takes_the_place_of_the_first_which_is_gone_to_the_last_byte(
    desk: Desk, tmp_path: Path
) -> None:
    id = _order(desk)
    first, second = desk.add_photo(id, Picture(jpeg=b"the blurred one" * 99)), desk.add_photo(id, Picture())

    better = desk.add_photo(id, Picture(), instead_of=first)

    assert [ref.id for ref in desk.photo_refs([id])[id]] == [better, second]
    assert not any(b"the blurred one" in file.read_bytes() for file in tmp_path.iterdir() if file.is_file())


def test_everything_is_found_again_after_a_restart_the_running_stage_included(desks: Desks, tmp_path: Path) -> None:
    desk = desks.at("quayside")
    id = _order(desk)
    _say(desk, Started(ticket=id, artist="a1"), "start")
    before = desk.standing(wait_s=5).booth

    again = Desks(open_store(tmp_path), Clock(start_at=NOW + timedelta(minutes=3)))

    found = again.at("quayside").standing(wait_s=5)
    assert found.booth == before
    assert found.forecast.tickets[id].median_at > NOW
    again.close()


def test_a_board_that_starts_with_a_clock_that_is_behind_takes_orders_from_the_last_line_on(
    desks: Desks, tmp_path: Path
) -> None:
    _order(desks.at("quayside"))
    last_at = desks.at("quayside").standing(wait_s=5).booth.last_at
    assert last_at is not None

    again = Desks(open_store(tmp_path), Clock(start_at=NOW - timedelta(hours=5)))
    taken = again.at("quayside").take_order(Command("later", Order(style="ink-head", sitters=1)), NewCard(), ())

    assert taken.outcome.events[0].at >= last_at
    assert taken.ready_by is not None
    assert taken.ready_by > last_at
    assert again.at("quayside").clock.now() > last_at  # time goes on, so that stages are still measured
    again.close()


def test_a_promise_that_slips_is_marked_until_a_new_time_is_told(desk: Desk) -> None:
    id = _order(desk)
    assert desk.standing(wait_s=5).slips == {}
    desk.clock.skip_to(NOW + timedelta(hours=2))
    _say(desk, WalkedAway(style=None, sitters=1, ready_by=None), "left")

    slip = desk.standing(wait_s=5).slips[id]
    _say(desk, Promised(ticket=id, ready_by=slip.new_ready_by, confidence=0.85), "told")

    assert slip.ready_by < NOW + timedelta(hours=2) < slip.new_ready_by
    assert desk.standing(wait_s=5).slips == {}


def test_a_mark_remembers_since_when_it_stands_and_begins_anew_after_a_restart(desks: Desks, tmp_path: Path) -> None:
    desk = desks.at("quayside")
    id = _order(desk)
    desk.clock.skip_to(NOW + timedelta(hours=2))
    _say(desk, WalkedAway(style=None, sitters=1, ready_by=None), "left")
    first = desk.standing(wait_s=5).slips[id]
    desk.clock.skip_to(NOW + timedelta(hours=2, minutes=1))
    _say(desk, WalkedAway(style=None, sitters=1, ready_by=None), "left-again")

    again = Desks(open_store(tmp_path), Clock(start_at=NOW + timedelta(hours=2, minutes=5)))

    assert desk.standing(wait_s=5).slips[id].marked_at == first.marked_at
    assert again.at("quayside").standing(wait_s=5).slips[id].marked_at >= NOW + timedelta(hours=2, minutes=5)
    again.close()


def test_a_journal_of_nonsense_makes_no_booth(desks: Desks) -> None:
    lines = [*a_booth().lines, '{"seq":99}']

    with pytest.raises(RefusedLine, match=f"line {len(lines)}"):
        desks.import_journal("arcade", lines)

    assert desks.slugs() == ["quayside"]
    with desks.store.reading() as connection:
        assert journal.booths(connection) == ["quayside"]


def test_a_booth_is_made_once_and_unknown_ones_are_said_to_be_unknown(desks: Desks) -> None:
    desks.create("arcade", a_set_up())

    with pytest.raises(Refused, match="already"):
        desks.create("arcade", a_set_up())
    with pytest.raises(NoSuchBooth):
        desks.at("nowhere")
    with pytest.raises(NoSuchTicket):
        desks.at("arcade").ticket("T1")


@ON_BOTH
def test_imported_tickets_have_codes_and_export_gives_the_very_same_bytes(desks: Desks) -> None:
    told = a_booth().ordered("T1").drawn("T1", "A4").collected("T1")

    desk = desks.import_journal("arcade", told.lines)

    assert _lines(desk) == told.lines
    code = desk.cards(["T1"])["T1"].code
    assert desks.by_code(code) == (desk, "T1")
    assert desks.by_code("NOSUCHCODE") is None


def test_money_and_presence_are_commands_like_any_other(desk: Desk) -> None:
    id = _order(desk)

    _say(desk, Paid(ticket=id, amount=1800, how="cash"), "pay")

    assert desk.ticket(id).due == 0
    with pytest.raises(Refused, match="in already"):
        _say(desk, ArtistIn(artist="a1"), "in")
