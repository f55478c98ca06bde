"""What the first screen of the day book answers, where the answer turns on the day."""

from __future__ import annotations

import pytest

from portraitq.web.day_answers import Advice, Answer, Answers
from portraitq.web.day_words import DayWords
from tests.builders import Told, a_booth, instant
from tests.daybook.test_figures import figures_of


def answers_of(told: Told, advice: tuple[Advice, ...] | None = (), now: str = "18:05") -> dict[str, Answer]:
    words = DayWords("quay", told.booth, figures_of(told, now=instant(now)))
    return {answer.question: answer for answer in Answers(words, advice).all()}


def easel_of(told: Told) -> Answer:
    return next(answer for question, answer in answers_of(told).items() if "easel" in question)


def busy(told: Told, gap_s: int, style: str = "ink-head") -> Told:
    """Six portraits of ten minutes ordered at once, one artist, `gap_s` between two."""
    told = told.ordered(*(f"T{n}" for n in range(6)), style=style, at="09:00:00")
    at_s = 0
    for n in range(6):
        told = told.started(f"T{n}", "a1", at=clock(at_s)).stages_all_done(f"T{n}", at=clock(at_s + 600))
        told = told.finished(f"T{n}", at=clock(at_s + 600))
        at_s += 600 + gap_s
    return told.day_closed(at=clock(at_s))


def clock(seconds: int) -> str:
    return f"{9 + seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def one_easel() -> Told:
    return Told().set_up(at="08:00").day_opened().artist_in("a1", at="09:00:00")


def test_easels_that_were_full_while_people_waited_speak_for_another():
    answer = easel_of(busy(one_easel(), gap_s=60))

    # the last of six is begun after 55 min of 66; in these 50 min were drawn: five portraits
    assert answer.question == "Shall I bring a second easel?"
    assert answer.headline == "It may pay: the easels were full while people waited"
    assert answer.said == (
        "Somebody waited for 55 min of 1 h 06 min; of the time at the easels that could draw for them, "
        "91\u00a0% was drawn."
    )
    assert answer.more == "/quay/daybook/plan"


def test_easels_that_stood_still_while_people_waited_speak_against_it():
    answer = easel_of(busy(one_easel(), gap_s=600))

    assert answer.headline == "Not before the easels draw more while people wait"
    assert "for them, 50\u00a0% was drawn." in answer.said


def test_an_easel_that_does_not_draw_what_people_waited_for_does_not_speak_against_it():
    answer = easel_of(busy(a_booth(), gap_s=60, style="chalk-half"))  # which the second artist does not draw

    assert answer.question == "Shall I bring another easel?"
    assert answer.headline == "It may pay: the easels were full while people waited"
    assert "91\u00a0% was drawn" in answer.said


def test_a_day_on_which_hardly_anybody_waited_speaks_against_it():
    told = a_booth().ordered("T1", at="10:00").drawn("T1").ordered("T2").drawn("T2").day_closed(at="18:00")

    assert easel_of(told).headline == "Hardly: there was seldom anybody waiting"
    assert easel_of(told).question == "Shall I bring another easel?"  # two artists were in


def test_where_nobody_ever_waited_nothing_speaks_for_it():
    assert easel_of(a_booth().day_closed(at="18:00")).headline == "Nobody waited"


def test_what_is_suggested_most_clearly_is_the_headline():
    advice = (Advice("Round to 5 min.", "#suggestions"), Advice("Take the times.", "#x"), Advice("And this.", "#y"))

    change = answers_of(a_booth().day_closed(at="18:00"), advice)["What should I change?"]

    assert (change.headline, change.said, change.more) == ("Round to 5 min.", "Take the times.", "#suggestions")


def test_guesses_that_are_off_are_named_where_nothing_is_suggested():
    told = one_easel()
    for n in range(5):
        told = told.ordered(f"T{n}").started(f"T{n}", "a1").drawn(f"T{n}")  # a minute a stage

    change = answers_of(told.day_closed(at="18:00"))["What should I change?"]

    assert change.headline == "3 guesses are off by more than 15\u00a0%"
    # 60 s against 100, 380 and 110
    assert [(figure.name, figure.value) for figure in change.figures] == [
        ("Ink head: Likeness", "−84\u00a0% (n = 5)"),
        ("Ink head: Finish", "−45\u00a0% (n = 5)"),
        ("Ink head: Layout", "−40\u00a0% (n = 5)"),
    ]


@pytest.mark.parametrize(("advice", "said"), [((), "No suggestion has enough behind it"), (None, "of the last day")])
def test_a_day_that_speaks_for_no_change_says_so(advice: tuple[Advice, ...] | None, said: str):
    change = answers_of(a_booth().day_closed(at="18:00"), advice)["What should I change?"]

    assert change.headline == "Nothing stands out"
    assert said in change.said


def test_an_empty_day_answers_all_five():
    found = answers_of(Told().set_up(at="08:00").day_opened(), now="09:30")

    assert [answer.headline for answer in found.values()] == [
        "0 portraits finished, €0.00 came in",
        "Nobody was at an easel",
        "No promise was given",
        "Nothing stands out",
        "Nobody waited",
    ]
