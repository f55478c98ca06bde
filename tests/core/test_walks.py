"""What holds on every day that can be told: generated walks of sensible and wild wishes through `decide` and `fold`."""

import re
from datetime import timedelta
from random import Random
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from portraitq.core.booth import Booth, fold, import_lines
from portraitq.core.commands import ASKED, Command, decide
from portraitq.core.errors import Refused
from portraitq.core.events import KINDS, Data, OfTicket, parse_line, print_line
from portraitq.core.life import ANYWHERE, IN_QUEUE, LIFE, ON_EASEL, OVER, WAITING
from tests.builders import CHALK, INK_HEAD, Told, a_booth, a_journal, a_set_up, artist, instant, style

SET_UPS = [
    a_set_up(),
    a_set_up(artists=[artist("a1", "ink-head", "chalk-half"), artist("a3", "chalk-half")], confidence=0.9),
    a_set_up(styles=[style("ink-head", [("sketch", 60.0, True)]), CHALK], zone="Australia/Lord_Howe", currency="JPY"),
    a_set_up(styles=[INK_HEAD], artists=[artist("a2", "ink-head")], name="Zoë’s “quay” \u2028 墨"),
]
SECONDS = [0, 0.250999, 1, 40, 300, 3600, -600]  # between two wishes; the last is a clock that was set back
WILD = 0.15  # share of wishes that take no heed of where a ticket is, or name what is not there
STAGES = ["layout", "likeness", "finish", "sketch", "block-in", "varnish"]
WHYS = {"paused": ["counter", "break"], "held": ["photo", "customer"], "cancelled": ["customer", "booth", "no_show"]}
OF_A_TICKET = [kind for kind, form in KINDS.items() if issubclass(form, OfTicket) and kind != "ordered"]
OFTEN = {  # how often a kind is wished for where it is one of several; those not named 3
    "stage_done": 12,
    "finished": 6,
    "started": 6,
    "collected": 4,
    "held": 2,
    "promised": 1,
    "erased": 1,
    "cancelled": 1,
}


def a_day(seed: int, wishes: int) -> Told:
    """A journal of what came of `wishes` wishes; a refusal on the way is checked and passed by."""
    chance = Random(seed)
    told = chance.choice([a_journal(), *[a_booth(set_up) for set_up in SET_UPS] * 3])
    now, twin = instant("09:00"), fold(Booth(), told.events)  # the twin shares nothing with the booth that is refused
    for _ in range(wishes):
        now += timedelta(seconds=chance.choice(SECONDS))
        wanted, ago_s = a_wish(chance, told), chance.choice([0, 0, 0, 2, 12.5])
        try:
            if type(wanted) in KINDS.values() and chance.random() < 0.3:
                # as an imported file may say it, past what a careful counter would stop
                told = told.says(wanted, ago_s=ago_s)
            else:
                told = told.tell(*decide(told.booth, Command(f"w{told.booth.seq}", wanted, "counter", ago_s), now))
        except Refused as refusal:
            assert_is_a_plain_sentence(str(refusal))
            assert told.booth == twin
        twin = fold(twin, told.events[twin.seq :])
    return told


def a_wish(chance: Random, told: Told) -> Data:
    """Something that somebody at this booth might want: mostly sensible, sometimes wild."""
    booth, artists = told.booth, ["a1", "a2", "a3"]
    if booth.day is None and chance.random() > WILD:
        kind = "day_opened" if booth.set_up else "set_up"
    elif booth.open_ids and chance.random() < 0.75:
        return a_wish_for_a_ticket(chance, told)
    else:
        kind = chance.choices(
            ["ordered", "set_up", "day_opened", "day_closed", "artist_in", "artist_out", "walked_away"],
            [10, 1, 1, 1, 4, 1, 1],
        )[0]
    fields: dict[str, Any] = {}
    match kind:
        case "set_up":
            return chance.choice(SET_UPS)
        case "day_opened":
            day = f"2026-06-{len(booth.days) + chance.randint(5, 7):02}"
            fields = {"day": day, "closes_at": "2026-06-30T18:00:00.000Z", "breaks": []}
        case "ordered":
            style, asked = chance.choice(["ink-head"] * 3 + ["chalk-half", "oil"]), chance.choice([None] * 5 + artists)
            ready_by = chance.choice([None, "2026-06-29T12:00:00.000Z"])
            fields = {"style": style, "sitters": chance.randint(1, 12), "artist": asked, "ready_by": ready_by}
        case "walked_away":
            fields = {"style": chance.choice([None, "ink-head", "oil"]), "sitters": 2, "ready_by": None}
        case "artist_in" | "artist_out":
            fields = {"artist": chance.choice(artists)}
    return ASKED[kind].model_validate(fields, by_alias=True, by_name=False)


def a_wish_for_a_ticket(chance: Random, told: Told) -> Data:
    booth, is_wild = told.booth, chance.random() < WILD
    ids = [*booth.tickets, "T99"]
    id = chance.choice(ids if is_wild else [*booth.open_ids, *list(booth.easels.values()) * 4])
    ticket = booth.tickets.get(id)
    kinds = OF_A_TICKET if is_wild or ticket is None else [*LIFE[ticket.place], *sorted(ANYWHERE)]
    kind = chance.choices(kinds, [OFTEN.get(kind, 3) for kind in kinds])[0]
    fields: dict[str, Any] = {"ticket": id}
    match kind:
        case "started" | "touched_up":
            fields["artist"] = chance.choice([*booth.here_since] if booth.here_since and not is_wild else ["a1", "a2"])
        case "stage_done" | "stage_undone":
            likely = (ticket.stage_in_hand if kind == "stage_done" else ticket.stage_last_done) if ticket else None
            fields["stage"] = likely.id if likely and not is_wild else chance.choice(STAGES)
        case "paused" | "held" | "cancelled":
            fields["why"] = chance.choice(WHYS[kind])
        case "moved":
            fields["before"] = chance.choice([None, *(ids if is_wild else booth.queue)])
        case "finished":
            fields["rack"] = chance.choice([None, "A4", "Quay 1"])
        case "paid":
            fields |= {"amount": chance.choice([-500, 0, 500, 1800]), "how": "cash"}
        case "promised":
            ready_by = chance.choice(["2026-06-06T09:30:00.000Z", "2026-06-29T09:30:00.000Z"])
            fields |= {"ready_by": ready_by, "confidence": 0.85}
    return KINDS[kind].model_validate(fields)


def assert_is_a_plain_sentence(said: str) -> None:
    assert re.match(r'[A-Z"]', said), said
    assert said.endswith("."), said
    assert not re.search(r"None|True|False|\w\(\w*=|[<>{}\[\]\\]|datetime|Error|_id|, \.", said), said
    assert len(said) < 250, said


days = st.builds(a_day, seed=st.integers(0, 2**32), wishes=st.integers(0, 200))
quick = settings(max_examples=80)


@quick
@given(days, st.data())
def test_a_fold_of_a_prefix_and_then_the_rest_is_the_fold_of_the_whole(told: Told, data: st.DataObject):
    cut = data.draw(st.integers(0, len(told.events)))

    prefix = fold(Booth(), told.events[:cut])

    assert fold(prefix, told.events[cut:]) == fold(Booth(), told.events) == told.booth


@quick
@given(days)
def test_every_line_prints_reads_back_equal_and_prints_the_same_again(told: Told):
    read = [parse_line(line) for line in told.lines]

    assert tuple(read) == told.events
    assert [print_line(event) for event in read] == told.lines


@quick
@given(days)
def test_a_journal_that_was_exported_is_imported_to_the_same_booth(told: Told):
    booth, events = import_lines(told.lines)

    assert booth == told.booth
    assert tuple(events) == told.events


@quick
@given(days)
def test_queue_easels_and_open_tickets_agree_with_where_each_ticket_is(told: Told):
    booth = Booth()
    for event in told.events:
        booth = fold(booth, [event])
        tickets = booth.tickets.values()

        assert sorted(booth.queue) == sorted(ticket.id for ticket in tickets if ticket.place in IN_QUEUE)
        assert sorted(booth.easels.items()) == sorted((t.artist, t.id) for t in tickets if t.place in ON_EASEL)
        assert list(booth.open_ids) == [ticket.id for ticket in tickets if ticket.place not in OVER]
        assert booth.seq == event.seq


@quick
@given(days)
def test_stages_done_stay_within_the_style_and_what_is_ready_has_them_all(told: Told):
    for ticket in told.booth.tickets.values():
        counted = [event.kind for event in ticket.history]
        assert ticket.stages_done == counted.count("stage_done") - counted.count("stage_undone")
        assert 0 <= ticket.stages_done <= len(ticket.style.stages)
        assert (ticket.finished_at is not None) == ("finished" in counted)
        if ticket.finished_at is not None:
            assert ticket.stage_in_hand is None


@quick
@given(days)
def test_numbers_count_up_from_1_on_each_day(told: Told):
    by_day: dict[str, list[int]] = {}
    for ticket in told.booth.tickets.values():
        by_day.setdefault(ticket.day, []).append(ticket.number)

    assert all(numbers == list(range(1, len(numbers) + 1)) for numbers in by_day.values())


@quick
@given(days)
def test_what_is_next_for_an_artist_can_be_begun_by_them(told: Told):
    booth = told.booth
    for who in booth.here_since:
        if who in booth.easels or (ticket := booth.next_for(who)) is None:
            continue

        assert ticket.place == WAITING
        assert told.started(ticket.id, who).booth.easels[who] == ticket.id
