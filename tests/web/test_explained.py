"""Why this time, in words: what an artist reads of a quote, and that nothing odd ever stands there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from portraitq.core.booth import Booth, fold
from portraitq.forecast.explain import explain, explain_order, explain_past
from portraitq.forecast.pace import pace_of
from portraitq.forecast.quotes import quotes_of_tickets
from portraitq.forecast.replay import read_journal
from portraitq.web.explained import Explained, afterwards, explained
from tests.builders import Told, a_booth, a_set_up, artist

JOURNALS = sorted((Path(__file__).parents[1] / "journals").glob("*.jsonl"))
ALONE = a_set_up(artists=[artist("a1", "ink-head", "chalk-half")])
JARGON = re.compile(r"quantile|percentile|scenario|median|deviation|interval|posterior|prior|log|nan|None|inf\b", re.I)


def why(told: Told, id: str, now: str | None = None) -> Explained:
    at = told.at(now) if now else told.booth.last_at
    assert at is not None
    return explained(explain(told.booth, pace_of(told.booth), at, id))


def lines(of: Explained, heading: str) -> list[str]:
    found = [part.lines for part in of.parts if part.heading == heading]
    return [line.replace("\u00a0", " ") for line in found[0]] if found else []


@pytest.mark.parametrize("journal", JOURNALS, ids=lambda path: path.stem)
def test_after_every_line_everything_said_is_a_sentence_without_jargon(journal: Path):
    events, booth, pace = read_journal(journal), Booth(), None
    for event in events:
        booth = fold(booth, [event])
        pace = pace_of(booth, pace)
        waiting = [id for id in (*booth.easels.values(), *booth.queue) if booth.tickets[id].finished_at is None]
        quoted = quotes_of_tickets(booth, pace, event.at, waiting)
        for id in waiting:
            if quoted[id].artist is None:
                continue
            said = explained(explain(booth, pace, event.at, id))

            assert said.parts[0].heading == "The time"
            for line in (line for part in said.parts for line in part.lines):
                assert re.fullmatch(r"[A-Z0-9].*\.", line), line
                assert not JARGON.search(line), line
                assert not re.search(r"  | ,| \.|\d{4,}", line), line


def test_the_time_is_the_quotes_own():
    told = a_booth(ALONE).ordered("T1")
    quote = quotes_of_tickets(told.booth, pace_of(told.booth), told.booth.last_at, ["T1"])["T1"]
    zone = told.booth.zone

    window, half, promise = lines(why(told, "T1"), "The time")

    assert window.startswith("Ready about 10:")
    assert half == f"In half of all cases it is ready by {quote.median_at.astimezone(zone):%H:%M}."
    assert promise == (
        f"Promise: {quote.promise_at.astimezone(zone):%H:%M}, chosen so that 85 of 100 promises are kept."
    )


def test_the_title_says_which_portrait_and_the_foot_when_and_by_whose_clocks():
    told = a_booth(ALONE).ordered("T1", sitters=2, at="10:00")

    said = why(told, "T1", "10:05")

    assert said.title == "Number 1 · Ink head · 2 sitters"
    assert said.as_of == "As of 11:05 on Saturday 6 June 2026, by the clocks of Europe/Lisbon."


def test_an_order_not_yet_taken_has_no_number():
    told = a_booth(ALONE).ordered("T1")
    asked = explain_order(told.booth, pace_of(told.booth), told.at(), style="chalk-half", sitters=1, artist="a1")

    said = explained(asked)

    assert said.title == "A portrait ordered now · Chalk half"
    assert lines(said, "Its own drawing")[0].startswith("Easel a1, who was asked for, begins it about ")


def test_what_comes_before_it_is_told_with_its_stage_its_rest_and_its_clock_times():
    told = a_booth(ALONE).ordered("T1", "T2", "T3").started("T1", at="10:00").stage_done("T1", at="10:02")

    first, second, between = lines(why(told, "T3", "10:05"), "Before it")

    assert re.fullmatch(
        r"Number 1 \(Ink head\) is on the easel of Easel a1: stage 2 of 3, Likeness, drawn for 3 min so far\. "
        r"It still needs \d+ min \(\d+ to \d+ min\) and is ready about 11:\d\d\.",
        first,
    )
    assert re.fullmatch(
        r"Number 2 \(Ink head\) takes \d+ min \(\d+ to \d+ min\), drawn by Easel a1 from about 11:\d\d to 11:\d\d\.",
        second,
    )
    assert between == "Between two portraits Easel a1 needs 1 min 10 s (40 s to 2 min 10 s)."


def test_the_next_one_has_nothing_before_it_and_the_one_on_the_easel_no_such_part():
    told = a_booth(ALONE).ordered("T1", "T2")

    assert lines(why(told, "T1"), "Before it") == ["Nothing: it is the next one for Easel a1."]
    assert lines(why(told.started("T1"), "T1"), "Before it") == []


def test_those_on_other_easels_are_named_in_one_line():
    told = a_booth().ordered("T1", "T2").started("T1", "a1", at="10:00").started("T2", "a2", at="10:00")
    told = told.taps("layout 10:02:00", "likeness 10:08:00", id="T1").ordered("T3", at="10:09")

    said = lines(why(told, "T3"), "Before it")

    assert said[-1] == "Number 2 is most likely drawn by Easel a2. Who is free first takes the next one."


def test_a_number_of_another_day_is_told_with_its_day():
    told = a_booth(ALONE).ordered("T1").day_closed(at="18:00").day_opened("2026-06-07").artist_in("a1").ordered("T2")

    assert lines(why(told, "T2"), "Before it")[0].startswith("Number 1 of Sat (Ink head) takes ")


def test_a_pause_and_a_touch_up_are_told():
    told = a_booth(ALONE).ordered("T1", "T2").started("T1", at="10:00").paused("T1", "supplies", at="10:02")
    resting = lines(why(told, "T2", "10:07"), "Before it")[0]
    told = told.resumed("T1").drawn("T1").touched_up("T1", at="10:20")
    touched_up = lines(why(told, "T2", "10:21"), "Before it")[0]

    assert "drawn for 2 min so far; paused for 5 min by now (supplies)." in resting
    assert "is on the easel of Easel a1: a touch-up, 1 min so far." in touched_up


def test_stages_are_told_with_the_guess_beside_them():
    told = a_booth(ALONE).ordered("T1", "T2").started("T1", at="10:00").taps("layout 10:02:30")

    assert lines(why(told, "T2"), "Its own drawing")[1:] == [
        "Layout: usually 1 min 40 s, as guessed.",
        "Likeness: usually 6 min 20 s, as guessed.",
        "Finish: usually 1 min 50 s, as guessed.",
        "Measured from 1 portrait of this style by Easel a1.",
    ]
    assert "Layout: done in 2 min 30 s (usually 1 min 40 s)." in lines(why(told, "T1"), "Its own drawing")


def test_where_nothing_was_measured_the_guesses_are_named():
    told = a_booth(ALONE).ordered("T1")

    said = why(told, "T1")

    assert lines(said, "Its own drawing")[-1] == "From the guesses: no Ink head by Easel a1 is measured yet."
    assert lines(said, "Promises so far") == ["No promise has come due yet."]


def test_holds_breaks_and_absence_are_told():
    told = a_booth(ALONE).day_closed(at="10:00").day_opened("2026-06-07", a1=("12:03", "12:43")).artist_in("a1")
    told = told.ordered("T1", "T2", "T3", at="12:00").held("T2", "photo", at="12:00").artist_out("a1", at="12:01")

    last, held = lines(why(told, "T3"), "What else counts"), lines(why(told, "T2"), "What else counts")

    assert last[0].startswith("Number 2 is held and passed over.")
    assert last[1].startswith("Easel a1 is not in. The time counts on a beginning at about ")
    assert last[2].startswith("The break of Easel a1 from 13:03 to 13:43 comes before it is ready in ")
    assert held[0] == "It is held: the photo is to be taken again. The time is as though it were released now."


def test_a_break_within_a_portrait_explains_its_late_end():
    told = a_booth(ALONE).day_closed(at="10:00").day_opened("2026-06-07", a1=("12:03", "12:43")).artist_in("a1")
    told = told.ordered("T1", "T2", style="chalk-half", at="12:00")

    said = why(told, "T2")

    assert lines(said, "Before it")[0].endswith(", a break in between.")
    assert any(re.fullmatch(r"Breaks make it \d+ min later\.", line) for line in lines(said, "What else counts"))


def test_closing_time_is_told_by_day_and_by_night():
    told = a_booth(ALONE, closes="12:10").ordered(*(f"T{n}" for n in range(1, 9)), at="12:00")
    by_day = lines(why(told, "T8"), "What else counts")[0]
    by_night = lines(why(told.day_closed(at="12:10"), "T8", "20:00"), "What else counts")[0]

    assert by_day == "The booth closes at 13:10. In all cases it is not begun by then, but from Sun 10:00 on."
    assert by_night == "The day is not open. The time takes it that the booth opens at Sun 10:00."


def test_a_told_promise_is_told_with_its_chance_and_one_that_went_by_as_such():
    told = a_booth(ALONE).ordered("T1", at="10:00").promised("T1", "10:12")

    early, late = lines(why(told, "T1"), "How sure")[0], lines(why(told, "T1", "10:13"), "How sure")[0]

    assert re.fullmatch(r"The customer was told 11:12: that holds in \d\d of 100 cases\.", early)
    assert late == "The customer was told 11:12: that time has passed."


def test_a_promise_not_yet_told_is_told_with_the_chance_it_would_have():
    told = a_booth(ALONE).ordered("T1", "T2", at="10:00")

    first = lines(why(told, "T2"), "How sure")[0]

    assert re.fullmatch(r"A promise for 11:\d\d would hold in (?:8[5-9]|9\d|more than 95) of 100 cases\.", first)


def test_past_promises_are_told_by_how_many_were_kept_and_how_early():
    told = a_booth(ALONE).ordered("T1", "T2", "T3", at="10:00").promised("T1", "10:30").promised("T2", "10:20")
    told = told.drawn("T1", at="10:18").drawn("T2", at="10:24")

    said = lines(why(told, "T3", "10:40"), "Promises so far")

    assert said == ["1 of the last 2 were kept. On average they were ready 4 min before their time."]


def test_afterwards_a_past_quote_is_held_against_what_happened():
    told = a_booth(ALONE).ordered("T1", "T2", at="10:00").drawn("T1", at="11:40")

    ready, never = (afterwards(explain_past(told.events, id)).lines[0] for id in ("T1", "T2"))

    assert re.fullmatch(r"It was ready at 12:40, 1 h \d\d min after the promise\.", ready.replace("\u00a0", " "))
    assert never == "It never became ready."


def test_numbers_stay_with_their_units():
    said = " ".join(line for part in why(a_booth(ALONE).ordered("T1", "T2"), "T2").parts for line in part.lines)

    assert not re.search(r"\d (?:min|h|s|%)\b", said)
