"""All tickets of a booth: to whoever reads them a dict, in the order of their orders."""

from hypothesis import given
from hypothesis import strategies as st

from portraitq.core.tickets import LATELY, Tickets
from tests.builders import a_booth

TICKET = a_booth().ordered("T1").ticket("T1")


def written(tickets: Tickets, *ids: str) -> Tickets:
    draft = tickets.draft()
    for id in ids:
        draft[id] = TICKET
    return draft.done()


@given(
    st.lists(st.lists(st.integers(0, 3 * LATELY), max_size=8) | st.integers(1, 2 * LATELY).map(range), max_size=8),
)
def test_however_they_were_written_they_read_like_a_dict(turns):
    tickets, plain = Tickets(), dict[str, object]()

    for turn in turns:
        ids = [f"T{number}" for number in turn]
        tickets = written(tickets, *ids)
        plain.update(dict.fromkeys(ids, TICKET))

    assert tickets == plain
    assert list(tickets) == list(plain)
    assert list(reversed(tickets)) == list(reversed(plain))
    assert (len(tickets), [*tickets.values()], [*tickets.items()]) == (len(plain), [*plain.values()], [*plain.items()])


def test_what_they_were_before_stays():
    before = written(Tickets(), "T1", "T2")

    written(before, "T3", *(f"T{number}" for number in range(4, 2 * LATELY)))

    assert list(before) == ["T1", "T2"]
    assert "T3" not in before


def test_the_newest_state_of_a_ticket_counts():
    told = a_booth().ordered(*(f"T{number}" for number in range(LATELY + 10)))

    told = told.started("T0").stage_done("T0")

    assert told.ticket("T0").stages_done == 1
    assert next(iter(told.booth.tickets)) == "T0"
