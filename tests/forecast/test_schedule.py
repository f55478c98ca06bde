"""The booth as it stands and the pace of its hands, turned into ready times."""

import math
from dataclasses import replace
from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from portraitq.core.events import SetUp, read_data
from portraitq.forecast.hand import EXACT, GENERAL, knowing, stranger
from portraitq.forecast.interruptions import Lags
from portraitq.forecast.lognormal import Z90, LogTime
from portraitq.forecast.pace import Mind, Pace, known_exactly
from portraitq.forecast.schedule import NEVER_S, Scenarios
from tests.builders import Told, a_journal, artist, instant

TO_THE_SECOND = LogTime.exactly(70, 1e-9)


def a_style(id: str, *stages: tuple[float, float]) -> dict[str, object]:
    """A style whose guesses are exactly log-normal: (median, sigma) a stage."""
    return {
        "id": id,
        "name": id,
        "price": 1800,
        "stages": [
            {
                "id": f"s{number}",
                "name": f"Stage {number}",
                "quick_s": median * math.exp(-Z90 * sigma),
                "usual_s": median,
                "slow_s": median * math.exp(Z90 * sigma),
                "per_sitter": True,
            }
            for number, (median, sigma) in enumerate(stages, start=1)
        ],
    }


def set_up(styles, artists) -> SetUp:
    booth = {
        "name": "Quayside Portraits",
        "zone": "Europe/Lisbon",
        "currency": "EUR",
        "confidence": 0.85,
        "round_to_s": 300,
    }
    turnaround = {"quick_s": 40, "usual_s": 70, "slow_s": 150}
    data = read_data("set_up", {"booth": booth, "styles": styles, "artists": artists, "turnaround": turnaround})
    assert isinstance(data, SetUp)
    return data


SHARP = a_style("ink", (100, 0.0), (380, 0.0), (110, 0.0))
QUICK = a_style("chalk", (200, 0.0))


def sharp_pace(turnaround: LogTime | None = None) -> Pace:
    """Every stage takes exactly its usual time, nobody is interrupted, and nobody needs a turnaround."""
    return known_exactly(lags=Lags(turnaround=turnaround, idle=None, met=0, unsaid_met=0))


def a_day(*artists, opens: str = "09:00", closes: str = "18:00", **breaks: tuple[str, str]) -> Told:
    told = a_journal().set_up(set_up([SHARP, QUICK], list(artists) or [artist("a1", "ink", "chalk")]))
    return told.day_opened(opens=opens, closes=closes, **breaks)


def ready(told: Told, now: str, pace: Pace | None = None, **which: str) -> dict[str, str]:
    """ticket -> median ready time on the clock, UTC."""
    at = told.at(now)
    found = Scenarios(told.booth, pace or sharp_pace(), at, n=200).outlooks
    return {
        id: f"{at + timedelta(seconds=round(float(np.median(each.ready_s)))):%d %H:%M:%S}" for id, each in found.items()
    }


def test_a_break_waits_for_the_stage_in_hand_and_ends_when_it_was_planned_to():
    told = a_day(a1=("12:00", "12:30")).artist_in("a1").ordered("T1", style="ink", at="11:54:00")

    told = told.started("T1", at="11:55:00")

    # by hand: 11:56:40, then 12:03:00 (finished first), break to 12:30, then 110 s. The guesses' least spread
    # (0.02 of a stage) moves the median by less than a second
    assert ready(told, "11:55:00") == {"T1": "06 12:31:50"}


def test_the_queue_is_drawn_in_its_order_with_a_turnaround_between():
    told = a_day().artist_in("a1").ordered("T1", "T2", style="chalk", at="09:30:00")

    assert ready(told, "09:30:00", sharp_pace(TO_THE_SECOND)) == {"T1": "06 09:33:20", "T2": "06 09:37:50"}


def test_it_says_when_each_portrait_is_begun_and_0_for_what_is_on_an_easel():
    told = a_day().artist_in("a1").ordered("T1", "T2", "T3", style="chalk", at="09:30:00")
    told = told.started("T1", at="09:30:00")

    found = Scenarios(told.booth, sharp_pace(TO_THE_SECOND), told.at("09:30:00"), n=200).outlooks

    assert {id: round(float(np.median(each.begins_s))) for id, each in found.items()} == {"T1": 0, "T2": 270, "T3": 540}


def test_a_moved_ticket_is_quoted_in_its_new_place():
    told = (
        a_day()
        .artist_in("a1")
        .ordered("T1", "T2", style="chalk", at="09:30:00")
        .moved("T2", before="T1", at="09:30:00")
    )

    assert ready(told, "09:30:00") == {"T2": "06 09:33:20", "T1": "06 09:36:40"}


def test_a_held_ticket_is_quoted_as_though_released_now_and_holds_nobody_up():
    told = a_day().artist_in("a1").ordered("T1", "T2", style="chalk", at="09:30:00").held("T1", at="09:30:00")

    assert ready(told, "09:30:00") == {"T1": "06 09:33:20", "T2": "06 09:33:20"}


def holds_of(seconds: float) -> Pace:
    pace = sharp_pace()
    return replace(pace, lags=replace(pace.lags, hold=LogTime.exactly(seconds, 1e-6)))


def test_a_held_ticket_takes_its_place_again_once_it_is_released():
    told = a_day().artist_in("a1").ordered("T1", "T2", "T3", style="chalk", at="09:30:00").held("T1", at="09:30:00")

    soon, later = (ready(told, "09:30:00", holds_of(seconds)) for seconds in (150, 250))

    assert (soon["T2"], soon["T3"]) == ("06 09:33:20", "06 09:40:00")  # released while T2 is drawn, it goes before T3
    assert (later["T2"], later["T3"]) == ("06 09:33:20", "06 09:36:40")


def test_one_who_asks_now_comes_after_what_is_released_by_then_and_asking_changes_nothing():
    told = a_day().artist_in("a1").ordered("T1", "T2", style="chalk", at="09:30:00").held("T1", at="09:30:00")
    scenarios = Scenarios(told.booth, holds_of(150), instant("09:30:00"))
    style = told.booth.set_up.style("chalk")

    asked = [float(np.median(scenarios.asked(style, 1, None, "now").ready_s)) for _ in range(2)]

    assert asked == [pytest.approx(600, abs=1)] * 2


def test_a_held_ticket_of_which_no_end_is_in_sight_keeps_nobody_waiting():
    told = a_day().artist_in("a1").ordered("T1", "T2", "T3", style="chalk", at="09:30:00").held("T1", at="09:30:00")

    assert ready(told, "09:30:00", holds_of(1e6))["T3"] == "06 09:36:40"


def test_a_request_waits_for_its_artist_and_others_pass():
    told = a_day(artist("a1", "chalk"), artist("a2", "chalk")).artist_in("a1", "a2")
    told = told.ordered("T1", style="chalk", at="09:30:00").started("T1", "a1", at="09:30:00")

    told = told.ordered("T2", style="chalk", artist="a1", at="09:30:00").ordered("T3", style="chalk", at="09:30:00")

    assert ready(told, "09:30:00") == {"T1": "06 09:33:20", "T2": "06 09:36:40", "T3": "06 09:33:20"}


def test_a_style_that_one_artist_draws_waits_for_that_artist():
    told = a_day(artist("a1", "ink", "chalk"), artist("a2", "chalk")).artist_in("a1", "a2")
    told = told.ordered("T1", style="chalk", at="09:30:00").started("T1", "a1", at="09:30:00")

    told = told.ordered("T2", style="ink", at="09:30:00")

    assert ready(told, "09:30:00")["T2"] == "06 09:43:10"


def test_no_portrait_is_begun_after_closing_and_the_next_day_opens_at_the_same_clock_time():
    told = a_day(closes="09:32").artist_in("a1").ordered("T1", "T2", style="chalk", at="09:30:00")

    assert ready(told, "09:30:00") == {"T1": "06 09:33:20", "T2": "07 09:03:20"}


def test_the_next_opening_is_by_the_booths_own_clocks_when_they_change():
    told = a_journal().set_up(set_up([QUICK], [artist("a1", "chalk")]), at=instant("08:00", "2026-10-24"))
    told = told.day_opened("2026-10-24", opens="09:00", closes="18:00").artist_in("a1")

    told = told.ordered("T1", style="chalk", at=instant("17:00", "2026-10-24")).day_closed(
        at=instant("18:00", "2026-10-24")
    )

    # summer time ends that night in Lisbon (tzdata 2026f): 10:00 on the clocks is 09:00 UTC before and 10:00 after
    (ready_s,) = [
        each.ready_s for each in Scenarios(told.booth, sharp_pace(), told.at("20:00"), n=200).outlooks.values()
    ]
    opens_at = told.at("20:00") + timedelta(seconds=float(np.median(ready_s)) - 200)
    assert opens_at.astimezone(ZoneInfo("Europe/Lisbon")).strftime("%d %H:%M") == "25 10:00"


def test_a_portrait_paused_for_the_planned_break_goes_on_when_that_ends():
    told = (
        a_day(a1=("12:00", "12:30"))
        .artist_in("a1")
        .ordered("T1", style="chalk", at="11:55:00")
        .started("T1", at="11:59:00")
    )

    told = told.paused("T1", "break", at="12:00:00")

    assert ready(told, "12:10:00") == {"T1": "06 12:32:20"}


def test_an_artist_out_for_the_planned_break_comes_back_when_it_ends():
    told = a_day(a1=("12:00", "12:30")).artist_in("a1").artist_out("a1", at="12:00:00")

    told = told.ordered("T1", style="chalk", at="12:05:00")

    assert ready(told, "12:05:00") == {"T1": "06 12:33:20"}


def two_who_went_for_their_break() -> Told:
    told = a_day(artist("a1", "chalk"), artist("a2", "chalk"), a1=("12:00", "12:30"), a2=("12:00", "12:30"))
    return told.artist_in("a1", "a2").artist_out("a1", at="12:00:00").artist_out("a2", at="12:00:00")


def test_one_who_is_not_back_a_minute_after_the_break_is_expected_at_any_moment():
    told = two_who_went_for_their_break().artist_in("a2", at="12:30:30")

    told = told.ordered("T1", "T2", style="chalk", at="12:31:00")

    # a2 is in and takes the first; a1 is a minute late
    assert ready(told, "12:31:00") == {"T1": "06 12:34:20", "T2": "06 12:35:20"}


def test_one_who_is_not_back_long_after_the_break_is_not_counted_on_while_another_may_draw_it():
    told = two_who_went_for_their_break().artist_in("a2", at="12:30:30")

    told = told.ordered("T1", "T2", style="chalk", at="12:55:00")

    assert ready(told, "12:55:00") == {"T1": "06 12:58:20", "T2": "06 13:01:40"}


def test_a_portrait_left_on_the_easel_over_a_break_goes_on_soon_after_it():
    told = a_day(a1=("12:00", "12:30")).artist_in("a1").ordered("T1", style="chalk", at="11:55:00")
    told = told.started("T1", at="11:58:20").paused("T1", "break", at="12:00:00").artist_out("a1", at="12:00:00")

    (ready_at,) = ready(told, "12:31:00").values()

    assert "06 12:32:40" <= ready_at <= "06 12:50:00"


def test_an_artist_who_went_for_the_day_is_not_counted_on_while_another_may_draw_it():
    told = a_day(artist("a1", "chalk"), artist("a2", "chalk")).artist_in("a1", "a2").artist_out("a2", at="14:00:00")

    told = told.ordered("T1", "T2", style="chalk", at="14:30:00")

    assert ready(told, "14:30:00") == {"T1": "06 14:33:20", "T2": "06 14:36:40"}


def test_when_nobody_is_in_somebody_is_expected_in_five_minutes():
    told = a_day().ordered("T1", style="chalk", at="14:30:00")

    assert ready(told, "14:30:00") == {"T1": "06 14:38:20"}


def test_a_portrait_that_nobody_here_draws_is_promised_to_nobody():
    told = a_day(artist("a1", "ink")).artist_in("a1").ordered("T1", style="chalk", at="14:30:00")

    outlook = Scenarios(told.booth, sharp_pace(), told.at("14:30:00"), n=10).outlooks["T1"]

    assert outlook.artist is None
    assert np.all(outlook.ready_s == NEVER_S)


def test_a_portrait_that_was_put_back_needs_only_what_is_left():
    told = a_day().artist_in("a1").ordered("T1", style="ink", at="09:30:00").started("T1", at="09:30:00")

    told = told.taps("s1 09:31:40").put_back("T1", at="09:31:40")

    assert ready(told, "09:40:00") == {"T1": "06 09:48:10"}


def test_a_touch_up_is_awaited_before_the_next_portrait():
    told = a_day().artist_in("a1").ordered("T1", "T2", style="chalk", at="09:00:00").started("T1", at="09:01:00")
    told = told.taps("s1 09:05:00").finished("T1", at="09:05:00").touched_up("T1", at="09:06:00")

    found = Scenarios(told.booth, sharp_pace(), told.at("09:06:00"), n=200).outlooks

    assert np.all(found["T2"].ready_s > found["T1"].ready_s + 180)


def test_a_portrait_takes_as_long_as_in_the_hand_that_draws_it():
    told = a_day(artist("a1", "chalk"), artist("a2", "chalk")).artist_in("a1", "a2")
    told = told.ordered("T1", "T2", "T3", style="chalk", at="09:30:00")
    usual = knowing(stranger(EXACT), told.ticket("T1").style, EXACT)
    slow = replace(usual, mean=usual.mean + math.log(2) * (np.arange(len(usual.mean)) == GENERAL))

    twice_as_slow = replace(sharp_pace(), minds=(Mind(EXACT, {"a1": slow}),))

    # a1 begins T1; a2 draws T2 and T3 one after the other in the same time
    assert ready(told, "09:30:00", twice_as_slow) == {"T1": "06 09:36:40", "T2": "06 09:33:20", "T3": "06 09:36:40"}


def test_a_sketchs_own_effect_goes_as_far_as_it_does_at_the_easel_that_draws_it():
    told = a_day(artist("a1", "chalk"), artist("a2", "chalk")).artist_in("a1", "a2")
    told = told.ordered("T1", "T2", style="chalk", at="09:30:00")
    moody = Mind(replace(EXACT, sketch=0.2), credit={"a2": 10.0})

    found = Scenarios(
        told.booth, replace(sharp_pace(), minds=(Mind(EXACT), moody)), told.at("09:30:00"), n=500
    ).outlooks

    steady, wavering = (float(np.log(found[id].ready_s).std()) for id in ("T1", "T2"))
    assert steady < 0.03
    assert wavering == pytest.approx(0.2, rel=0.05)


def test_many_interruptions_of_one_portrait_add_up():
    told = a_day().artist_in("a1").ordered("T1", style="ink", at="09:30:00")
    pause = LogTime.exactly(60, 1e-9)
    lags = Lags(turnaround=None, idle=None, met=3e12, over_s=1e12 * 590, all_pauses=pause, unsaid_met=0)

    found = Scenarios(told.booth, known_exactly(lags=lags), told.at("09:30:00"), n=20_000).outlooks["T1"]

    # Poisson with mean 3, cut off at six, which takes 0.05 pauses off the mean
    assert found.ready_s.mean() == pytest.approx(590 + 60 * (3 - 0.0507), abs=4 * 60 * math.sqrt(3 / 20_000))


def test_a_clock_that_runs_on_is_counted_as_often_as_it_was_met():
    told = a_day().artist_in("a1").ordered("T1", style="ink", at="09:30:00")
    unsaid = LogTime.exactly(1000, 1e-9)
    lags = Lags(turnaround=None, idle=None, met=1e-9, over_s=5900, unsaid=unsaid, unsaid_met=1.0)

    found = Scenarios(told.booth, known_exactly(lags=lags), told.at("09:30:00"), n=20_000).outlooks["T1"]

    # once in ten portraits of 590 s: not at all with e^-0.1
    assert np.mean(found.ready_s > 1000) == pytest.approx(1 - math.exp(-0.1), abs=0.01)


def test_interruptions_make_it_later_by_as_much_as_they_take():
    told = a_day().artist_in("a1").ordered("T1", style="ink", at="09:30:00")
    pause = LogTime.exactly(60, 1e-9)
    lags = Lags(turnaround=None, idle=None, met=1e12, over_s=1e12 * 590, all_pauses=pause, unsaid_met=0)

    found = Scenarios(told.booth, known_exactly(lags=lags), told.at("09:30:00"), n=20_000).outlooks["T1"]

    # one pause of 60 s a portrait of 590 s on average: Poisson, so none at all with e⁻¹
    assert found.ready_s.mean() == pytest.approx(650, abs=4 * 60 / math.sqrt(20_000))
    assert np.mean(found.ready_s < 620) == pytest.approx(math.exp(-1), abs=0.02)


def test_an_easels_first_stages_tell_of_the_rest_of_the_sketch():
    told = a_day().artist_in("a1").ordered("T1", "T2", style="ink", at="09:30:00").started("T1", at="09:30:00")
    slow, usual = told.taps("s1 09:35:00"), told.taps("s1 09:31:40")

    after_slow = Scenarios(slow.booth, Pace(), slow.at("09:35:00"), n=500).outlooks
    after_usual = Scenarios(usual.booth, Pace(), usual.at("09:31:40"), n=500).outlooks

    assert np.median(after_slow["T1"].ready_s) > np.median(after_usual["T1"].ready_s)


def test_once_the_day_is_closed_what_is_on_an_easel_waits_for_the_next_opening():
    told = a_day().artist_in("a1").ordered("T1", style="chalk", at="17:40:00").started("T1", at="17:50:00")
    told = told.day_closed(at="18:00:00")

    closed_at = instant("18:30:00")
    ready_s = Scenarios(told.booth, known_exactly(), closed_at).outlooks["T1"].ready_s

    assert ready_s.min() > (instant("09:00:00", "2026-06-07") - closed_at).total_seconds()


# A tap that was forgotten

THREE = ((100, 0.4), (380, 0.35), (110, 0.4))


def running_for(ran_s: float, forgets: float, catches_up: float = 0.75) -> np.ndarray:
    """(n,) seconds until a portrait is ready whose first stage is in hand by its taps, for `ran_s` already."""
    told = a_journal().set_up(set_up([a_style("ink", *THREE)], [artist("a1", "ink")])).day_opened().artist_in("a1")
    told = told.ordered("T1", style="ink", at="09:30:00").started("T1", at="09:30:00")
    lags = Lags(turnaround=None, idle=None, met=0, unsaid_met=0, forgot=forgets, missed=forgets / catches_up, ends=1)
    now = told.at("09:30:00") + timedelta(seconds=ran_s)
    return Scenarios(told.booth, known_exactly(lags=lags), now).outlooks["T1"].ready_s


def the_same_story(ran_s: float, forgets: float, catches_up: float, n: int = 400_000) -> np.ndarray:
    """As `running_for`, told by brute force: draw the whole portrait and its taps, keep those without a tap so far."""
    chance = np.random.default_rng(np.random.SFC64(1))
    ends_s = np.cumsum([median * np.exp(sigma * chance.standard_normal(n)) for median, sigma in THREE], axis=0)
    untapped = (ends_s[0] > ran_s) | (chance.random(n) < forgets)
    untapped &= (ends_s[1] > ran_s) | (chance.random(n) >= catches_up)
    untapped &= ends_s[2] > ran_s  # who finishes says so
    return ends_s[2, untapped] - ran_s


TENTHS = (0.1, 0.25, 0.5, 0.75, 0.9)


@pytest.mark.parametrize(("forgets", "catches_up"), [(0.3, 0.75), (0.05, 0.5), (0.3, 0.3)])
@pytest.mark.parametrize("ran_s", [40, 90, 150, 220, 300])
def test_where_taps_are_forgotten_the_rest_is_what_brute_force_gives(ran_s: float, forgets: float, catches_up: float):
    found = np.quantile(running_for(ran_s, forgets, catches_up), TENTHS)

    expected = np.quantile(the_same_story(ran_s, forgets, catches_up), TENTHS)
    assert found == pytest.approx(expected, rel=0.05, abs=20)


@pytest.mark.parametrize("ran_s", [400, 500, 700])
def test_long_past_any_tap_the_rest_is_nearly_what_brute_force_gives(ran_s: float):
    found, never = (np.quantile(running_for(ran_s, forgets, 0.3), TENTHS) for forgets in (0.3, 0.0))

    expected = np.quantile(the_same_story(ran_s, 0.3, 0.3), TENTHS)
    assert np.all(np.abs(found - expected) < 0.15 * np.abs(never - expected))


def test_a_stage_that_runs_much_longer_than_usual_is_over_where_taps_are_forgotten():
    often, never = (running_for(300, forgets) for forgets in (0.2, 0.0))

    assert np.median(often) < 0.7 * np.median(never)


def test_the_more_often_taps_are_forgotten_the_nearer_its_end_it_is():
    medians = [float(np.median(running_for(160, forgets))) for forgets in (0.0, 0.01, 0.05, 0.2, 0.5)]

    assert medians == sorted(medians, reverse=True)


def test_a_stage_that_runs_no_longer_than_usual_is_hardly_thought_to_be_over():
    often, never = (running_for(60, forgets) for forgets in (0.1, 0.0))

    assert np.median(often) == pytest.approx(np.median(never), rel=0.02)


def test_the_last_stage_in_hand_is_never_thought_to_be_over():
    told = a_day().artist_in("a1").ordered("T1", style="chalk", at="09:30:00").started("T1", at="09:30:00")
    forgets, never = (
        known_exactly(lags=Lags(turnaround=None, idle=None, met=0, unsaid_met=0, forgot=forgot)) for forgot in (15.0, 0)
    )

    often, as_ever = (Scenarios(told.booth, pace, told.at("09:40:00")).outlooks["T1"] for pace in (forgets, never))

    assert np.array_equal(often.ready_s, as_ever.ready_s)


def test_a_portrait_that_was_just_begun_is_quoted_the_same_however_often_taps_are_forgotten():
    assert np.array_equal(running_for(0, 0.5), running_for(0, 0.0))


def test_that_a_stage_may_be_over_makes_nobody_slower():
    told = a_day().artist_in("a1").ordered("T1", "T2", style="ink", at="09:30:00").started("T1", at="09:30:00")
    lags = {
        forgets: Lags(turnaround=None, idle=None, met=0, unsaid_met=0, forgot=30 * forgets) for forgets in (0.0, 0.3)
    }

    takes_s = []
    for each in lags.values():
        found = Scenarios(told.booth, replace(Pace(), lags=each), told.at("09:37:00")).outlooks["T2"]
        takes_s.append(float(np.median(found.ready_s - found.begins_s)))

    assert takes_s[1] < takes_s[0], "a first stage that runs for seven minutes is slow only if it still runs"
