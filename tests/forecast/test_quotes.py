"""What the booth says, and that it does not say something else a minute later without a reason."""

from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portraitq.forecast.pace import pace_of
from portraitq.forecast.quotes import Quote, forecast, quote_order, quotes_of_tickets
from tests.builders import Told, a_booth, a_journal, a_set_up, artist, style

MILLISECOND = timedelta(milliseconds=1)


def quotes(told: Told, now: str | None = None) -> dict[str, Quote]:
    at = told.at(now) if now else told.booth.last_at
    assert at is not None
    return dict(forecast(told.booth, pace_of(told.booth), at).tickets)


def test_a_booth_without_a_set_up_has_nothing_to_say():
    said = forecast(a_journal().booth, pace_of(a_journal().booth), a_booth().at("10:00"))

    assert (dict(said.tickets), dict(said.order_now)) == ({}, {})


def test_a_closed_booth_quotes_its_next_opening():
    told = a_booth().day_closed(at="18:00")

    said = forecast(told.booth, pace_of(told.booth), told.at("20:00"))

    assert said.order_now["ink-head"].ready_at_quantiles[0.05] > told.at("20:00") + timedelta(hours=13)


def test_every_open_ticket_has_a_quote_and_no_other():
    told = a_booth().ordered("T1", "T2", "T3", "T4", "T5").drawn("T1").started("T2").held("T4").cancelled("T5")

    assert sorted(quotes(told)) == ["T2", "T3", "T4"]


def test_a_quotes_parts_agree_with_each_other():
    told = a_booth().ordered("T1", "T2").started("T1").promised("T2", "11:00")

    quote = quotes(told)["T2"]

    assert list(quote.ready_at_quantiles.values()) == sorted(quote.ready_at_quantiles.values())
    assert quote.window == (quote.ready_at_quantiles[0.2], quote.ready_at_quantiles[0.8])
    assert quote.ready_at_quantiles[0.8] <= quote.promise_at
    assert quote.promise_at.second == 0
    assert quote.promise_at.minute % 5 == 0
    assert quote.chance_kept is not None
    assert 0 <= quote.chance_kept <= 1
    assert quotes(told)["T1"].chance_kept is None


def test_ahead_counts_who_is_on_an_easel_and_who_waits_but_nobody_held():
    told = a_booth().ordered("T1", "T2", "T3", "T4").started("T1").held("T2")

    said = quotes(told)

    assert [said[id].ahead for id in ("T1", "T2", "T3", "T4")] == [0, 1, 1, 2]


def test_asking_what_an_order_would_get_is_what_the_wall_says_of_it():
    told = a_booth().ordered("T1", "T2", "T3").started("T1")
    pace, now = pace_of(told.booth), told.at("10:00")

    asked = quote_order(told.booth, pace, now, style="chalk-half", sitters=1, artist=None)

    assert asked == forecast(told.booth, pace, now).order_now["chalk-half"]


def test_more_sitters_take_longer():
    told = a_booth()
    pace, now = pace_of(told.booth), told.at("10:00")

    one, two = (quote_order(told.booth, pace, now, style="ink-head", sitters=n, artist=None) for n in (1, 2))

    assert two.median_at > one.median_at


def test_a_request_is_quoted_for_that_artist():
    told = a_booth().ordered("T1").started("T1", "a2")

    asked = quote_order(told.booth, pace_of(told.booth), told.at("10:00"), style="ink-head", sitters=1, artist="a2")

    assert asked.artist == "a2"


def test_an_unknown_style_is_no_quote():
    with pytest.raises(KeyError):
        quote_order(
            a_booth().booth, pace_of(a_booth().booth), a_booth().at("10:00"), style="oil", sitters=1, artist=None
        )


def test_the_same_question_gets_the_same_answer():
    told = a_booth().ordered("T1", "T2", "T3").started("T1").started("T2")

    assert quotes(told, "10:00") == quotes(told, "10:00")


def test_the_quote_of_some_tickets_is_that_of_the_whole_forecast():
    told = a_booth().ordered("T1", "T2", "T3").started("T1")

    some = quotes_of_tickets(told.booth, pace_of(told.booth), told.at("10:00"), ["T3", "T1", "nobody"])

    assert dict(some) == {id: quotes(told, "10:00")[id] for id in ("T3", "T1")}


def test_while_the_easels_rest_a_quote_only_moves_with_the_clock():
    told = a_booth().ordered("T1", "T2", at="09:30").started("T1", "a1", at="09:30").artist_out("a2", at="09:30")
    told = told.ordered("T3", at="09:30")
    now = told.booth.last_at
    assert now is not None

    before = forecast(told.booth, pace_of(told.booth), now).tickets["T3"]
    after = forecast(told.booth, pace_of(told.booth), now + timedelta(seconds=1)).tickets["T3"]

    # one second of a stage that still runs: the quote moves by less than that second, up or down
    assert abs(after.median_at - before.median_at) < timedelta(seconds=1)


@settings(max_examples=25)
@given(
    styles=st.lists(st.sampled_from(["ink-head", "chalk-half"]), min_size=1, max_size=6),
    begun=st.integers(0, 2),
    last=st.sampled_from(["ink-head", "chalk-half"]),
)
def test_one_more_in_the_queue_makes_nobody_before_it_later(styles, begun, last):
    told = a_booth()
    for number, one in enumerate(styles, start=1):
        told = told.ordered(f"T{number}", style=one, at="10:00")
    for who in ("a1", "a2")[:begun]:
        first = told.booth.next_for(who)
        if first is not None:
            told = told.started(first.id, who, at="10:00")

    longer = told.ordered("Tlast", style=last, at="10:00")

    before, after = quotes(told, "10:00"), quotes(longer, "10:00")
    assert {id: after[id].ready_at_quantiles for id in before} == {
        id: each.ready_at_quantiles for id, each in before.items()
    }


@settings(max_examples=25)
@given(waits_s=st.integers(0, 40_000))
def test_however_long_a_stage_runs_it_is_never_said_to_be_done(waits_s):
    told = a_booth(closes="23:00").ordered("T1", at="09:30").started("T1", at="09:30")
    now = told.at("09:30") + timedelta(seconds=waits_s)

    quote = forecast(told.booth, pace_of(told.booth), now).tickets["T1"]

    assert all(at > now for at in quote.ready_at_quantiles.values())


def test_a_stage_far_past_its_usual_time_is_expected_to_run_on():
    told = a_booth().ordered("T1", at="09:30").started("T1", at="09:30")

    late, later = (quotes(told, now)["T1"].median_at - told.at(now) for now in ("09:45", "10:30"))

    assert later > late


def test_the_wildest_guesses_still_give_instants():
    wild = style("oil", [("all", 60.0, True)])
    wild["stages"][0] |= {"quick_s": 1, "usual_s": 86_400, "slow_s": 366 * 86_400}
    told = a_booth(a_set_up([wild], [artist("a1", "oil")])).ordered(
        *(f"T{n}" for n in range(9)), style="oil", sitters=12
    )

    said = quotes(told.started("T0"))

    assert all(
        list(each.ready_at_quantiles.values()) == sorted(each.ready_at_quantiles.values()) for each in said.values()
    )


def test_a_touch_up_breaks_no_promise_that_was_kept():
    told = a_booth().ordered("T1").promised("T1", "10:00").drawn("T1").touched_up("T1")

    quote = quotes(told, "11:00")["T1"]

    assert quote.chance_kept is None
    assert quote.median_at > told.at("11:00")
