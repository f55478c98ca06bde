"""The page that plans a day: its form, its run, its answer."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable
from datetime import timedelta

import pytest

from portraitq.core.booth import Booth
from portraitq.core.errors import Malformed
from portraitq.forecast.arrivals import typed
from portraitq.forecast.plan_answer import NewPrice, answer
from portraitq.web import plan as plan_page
from portraitq.web.plan import BUSY, Run, runs_of
from portraitq.web.plan_form import from_shell, prefilled, read_plan
from portraitq.web.planned import plan_said, table, two_plans
from tests.builders import INK_HEAD, Told, a_booth, a_set_up, artist
from tests.forecast.test_plan import BOTH, CHALK, INK, PACE, RECORD, a_plan
from tests.web.conftest import Web

PLAN = "/quay/daybook/plan"
QUICKLY = {"days": "20"}


def wait_for(run: Run, is_so: Callable[[], bool]) -> None:
    for _ in range(6000):
        if is_so():
            return
        threading.Event().wait(0.01)
    raise AssertionError(f"waited for {run.name} in vain, which is {run.state}")


def the_form(web: Web, **changed: str) -> dict[str, str]:
    form = prefilled(web.desk.standing().booth) | {"asked": "typed"} | QUICKLY | changed
    return {field: value for field, value in form.items() if value != "-"} | {"token": web.token()}


def begun(web: Web, **changed: str) -> Run:
    answer = web.client.post(PLAN, data=the_form(web, **changed))
    assert answer.status_code == 303, answer.get_data(as_text=True)
    run = runs_of(web.desk).found(answer.headers["Location"].rsplit("=", 1)[1])
    assert run is not None
    return run


def page_of(web: Web, address: str) -> str:
    answer = web.client.get(address)
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", answer.get_data(as_text=True))


def test_the_page_is_for_the_booths_people(web: Web):
    assert web.client.get(PLAN).status_code == 303
    assert web.client.post(PLAN).status_code == 303


def test_the_form_is_filled_in_from_the_set_up(web: Web):
    web.sign_in()

    page = page_of(web, PLAN)

    set_up = web.desk.standing().booth.set_up
    assert set_up is not None
    assert all(style.name in page for style in set_up.styles)
    assert f'name="confidence" value="{100 * set_up.booth.confidence:g}"' in page
    assert 'aria-current="page">Plan a day' in page


def test_a_plan_is_played_and_answered_first(web: Web):
    web.sign_in()

    run = begun(web)
    wait_for(run, lambda: run.state != "running")

    page = page_of(web, f"{PLAN}?run={run.id}")
    assert re.search(r"About \d+ portraits \(\d+ to \d+\) and €[\d,]+ \(€[\d,]+ to €[\d,]+\) on such a day", page)
    assert page.index("plan__headline") < page.index('name="from"')
    assert "One more easel" in page
    assert "A plan is no promise" in page
    assert page.count("<svg") >= 4
    assert web.client.get(f"{PLAN}/{run.id}").status_code == 200


def test_the_same_plan_is_not_played_twice_and_two_stand_side_by_side(web: Web):
    web.sign_in()
    first = begun(web)
    wait_for(first, lambda: first.state == "done")
    second = begun(web, times="2")
    wait_for(second, lambda: second.state == "done")

    assert begun(web).id == first.id
    page = page_of(web, f"{PLAN}?run={first.id}&beside={second.id}")
    assert "Plan 2 against Plan 1" in page
    assert "the difference is surer than either plan" in page


def test_one_plan_at_a_time_and_it_can_be_stopped(web: Web, monkeypatch: pytest.MonkeyPatch):
    begins, goes_on = threading.Event(), threading.Event()

    def slow(*arguments: object) -> None:
        told = arguments[-1]
        begins.set()
        goes_on.wait(60)
        told(1, 2)  # type: ignore[operator]

    monkeypatch.setattr(plan_page, "answer", slow)
    web.sign_in()
    run = begun(web)
    assert begins.wait(60)

    other = web.client.post(PLAN, data=the_form(web, times="3"))
    assert other.status_code == 409
    assert BUSY in other.get_data(as_text=True)
    assert "<progress" in page_of(web, f"{PLAN}/{run.id}")

    assert web.client.post(f"{PLAN}/{run.id}/stop", data={"token": web.token()}).status_code == 303
    goes_on.set()
    wait_for(run, lambda: run.state == "stopped")
    assert "Stopped before it was done." in page_of(web, f"{PLAN}?run={run.id}")


def test_what_goes_wrong_inside_is_said_calmly_and_another_plan_can_begin(web: Web, monkeypatch: pytest.MonkeyPatch):
    def breaks(*arguments: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(plan_page, "answer", breaks)
    web.sign_in()
    run = begun(web)
    wait_for(run, lambda: run.state == "failed")

    assert "Something went wrong inside." in page_of(web, f"{PLAN}?run={run.id}")
    assert begun(web, times="2").id != run.id


def test_a_plan_that_is_kept_no_more_says_so(web: Web):
    web.sign_in()

    assert "not kept any more" in page_of(web, f"{PLAN}?run=0000")
    assert web.client.get(f"{PLAN}/0000").status_code == 404


def test_what_was_typed_stays_when_a_field_is_wrong(web: Web):
    web.sign_in()

    answer = web.client.post(PLAN, data=the_form(web, **{"from": "noon", "times": "1.25"}))

    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert "a time such as 18:00 was expected, not &#39;noon&#39;" in page
    assert 'name="times" value="1.25"' in page


# What is typed


def a_fortnight() -> Told:
    """Saturday and Sunday, four orders each in an hour, more on Sunday."""
    told = a_booth(day="2026-06-06")
    for day, orders in (("2026-06-06", 4), ("2026-06-07", 8)):
        told = told if day.endswith("06") else told.day_opened(day, "09:00", "18:00", a1=("12:00", "12:30"))
        for number in range(orders):
            told = told.ordered(f"{day[-2:]}-{number}", at=told.at() + timedelta(minutes=10))
        told = told.day_closed(at="18:00")
    return told


BOOTH = a_fortnight().booth


def read(**changed: str):
    return read_plan(prefilled(BOOTH) | changed, BOOTH)


def test_left_as_it_is_everything_is_as_the_record_has_it():
    plan = read().plan

    # Lisbon in June is an hour ahead of UTC
    assert (plan.opens_min, plan.lasts_s) == (600, 9 * 3600)
    assert plan.artists == BOTH
    assert plan.offered == (INK, CHALK)
    assert plan.breaks == (("a1", 10_800, 12_600),)
    assert (plan.asked.days, plan.asked.asked) == (2, 12)
    assert not plan.wishes.mix.is_given
    assert plan.confidence == 0.85


def test_a_break_of_the_last_day_goes_with_hours_that_have_no_room_for_it():
    assert read(to="12:00").plan.breaks == ()


@pytest.mark.parametrize(("asked", "people"), [("2026-06-06", 4), ("sunday", 8), ("record", 12)])
def test_a_day_can_be_like_others(asked, people):
    found = read(asked=asked, times="1.5").plan.asked

    assert found.asked == people
    assert found.factor == 1.5


def test_what_is_typed_is_taken_as_it_stands():
    form = {
        "asked": "typed",
        "orders": "1 2,3;4",
        "from": "22:00",
        "to": "1:30",
        f"mix-{INK}": "75",
        f"mix-{CHALK}": "25",
    }
    form |= {
        "sitters": "80, 20",
        "patience": "half",
        "half": "45",
        "from-a1": "23:30",
        "to-a1": "0:15",
        f"price-{INK}": "19.50",
    }

    plan = read(**form).plan

    assert plan.asked == typed([1, 2, 3, 4], 3.5 * 3600)
    assert plan.wishes.mix.shares == (0.75, 0.25)
    assert plan.wishes.mix.is_given
    assert plan.wishes.sitters[INK].shares == (0.8, 0.2)
    assert plan.patience.half_s == 2700
    assert plan.breaks == (("a1", 5400, 8100),)
    assert plan.prices[INK] == 1950


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("to", "10:05", "15 minutes or more"),
        ("from", "25:00", "a time such as 18:00"),
        ("times", "-1", "a number from 0 to 20"),
        ("times", "nan", "a number from 0 to 20"),
        ("confidence", "100", "a number from 50 to 99 %"),
        ("days", "1.5", "a whole number"),
        ("days", "99999", "a number from 1 to 5000"),
        ("sitters", "0, 0", "one of them above 0"),
        ("sitters", "many", "sitters: numbers such as 3, 4, 5 were expected, not 'many'."),
        ("seed", "-1", "a number from 0 to 2147483647 was"),
        ("asked", "2026-06-08", "a day that the booth traded on"),
        ("to-a1", "11:00", "a break within the day"),
        ("new-price", "dear", "an amount"),
        ("keep", "101", "a number from 0 to 100"),
        (f"price-{INK}", "-3", "a price of 0 or more"),
        (f"mix-{INK}", "-", "a number from 0 to 1000"),
    ],
)
def test_what_is_wrong_is_told_by_its_field(field, value, said):
    with pytest.raises(Malformed, match=re.escape(said)) as no:
        read(**{field: value})

    assert no.value.field == field
    assert str(no.value).count(f"{field}:") == 1


def test_what_is_wrong_stands_beside_its_field_in_its_own_words(web: Web):
    web.sign_in()

    nobody = web.client.post(PLAN, data=the_form(web, **{"in-a1": "-", "in-a2": "-"})).get_data(as_text=True)
    seed = web.client.post(PLAN, data=the_form(web, seed="-1")).get_data(as_text=True)

    assert '<p class="refusal">Nobody is there: tick at least one artist.</p>' in nobody
    assert re.search(r'<details class="plan__part" open><summary>How it is played.*id="seed-about"', seed, re.DOTALL)


def test_a_day_that_says_nothing_of_who_asks_leaves_the_table_to_be_typed():
    booth = a_booth().day_closed().booth

    form = prefilled(booth)

    assert form["asked"] == "typed"
    assert read_plan(form, booth).plan.asked.total > 0


def test_a_table_must_have_a_number_for_each_hour():
    with pytest.raises(Malformed, match="9 numbers were expected") as no:
        read(asked="typed", orders="3, 4")

    assert no.value.field == "orders"


def test_more_people_than_can_be_planned_are_refused():
    with pytest.raises(Malformed, match="at most 600 people"):
        read(asked="typed", orders=", ".join(["90"] * 9))


def test_more_than_can_be_played_in_a_sitting_is_refused_with_how_many_days_can():
    busy = {"asked": "typed", "orders": ", ".join(["60"] * 9)}

    with pytest.raises(Malformed, match=r"540 people on each of 5000 days .* choose at most 1111 days") as no:
        read(**busy, days="5000")

    assert no.value.field == "days"
    assert read(**busy, days="1111").days == 1111


def test_a_hall_full_of_easels_is_played_on_fewer_days():
    hall = a_hall(easels=100)
    busy = {**prefilled(hall), "asked": "typed", "orders": ", ".join(["60"] * 8), "from": "10:00", "to": "18:00"}

    # 480 people at 100 easels cost 25 times as much as at four: 600 000 / 25 / 480 = 50
    with pytest.raises(Malformed, match=r"480 people on each of 1000 days at 100 easels .* choose at most 50 days"):
        read_plan(busy, hall)

    assert read_plan({**busy, "days": "50"}, hall).days == 50


def a_hall(easels: int) -> Booth:
    names = [f"a{number}" for number in range(easels)]
    return Told().set_up(a_set_up([INK_HEAD], [artist(name, "ink-head") for name in names]), at="08:00").booth


def test_somebody_must_draw_something():
    form = prefilled(BOOTH)

    with pytest.raises(Malformed, match="tick at least one artist"):
        read_plan({field: value for field, value in form.items() if not field.startswith("in-")}, BOOTH)
    with pytest.raises(Malformed, match="No style is on offer"):
        read_plan({field: value for field, value in form.items() if not field.startswith("on-")}, BOOTH)


def test_the_shell_says_the_same_as_the_form():
    options = {
        "opens": "11:00",
        "easels": "a2",
        "style_mix": f"{INK}=1",
        "breaks": ("a2=13:00-13:30",),
        "confidence": "0.9",
    }

    plan = read_plan(from_shell(options, BOOTH), BOOTH).plan

    assert (plan.opens_min, plan.artists, plan.offered) == (660, ("a2",), (INK,))
    assert plan.breaks == (("a2", 7200, 9000),)
    assert plan.confidence == pytest.approx(0.9)


# What is said


def test_the_answer_is_said_in_sentences_with_their_ranges():
    found = answer(RECORD.booth, PACE, a_plan(9.0), 60, 1, NewPrice(INK, 2000))

    said = plan_said(found)

    finished = found.figures.of("finished")
    assert said.headline.startswith(f"About {round(finished.mean)} portraits (")
    easel, style, price = said.changes
    assert "would bring about" in easel.said
    assert "Chalk half" in style.title
    assert "It pays as long as more than 90 %" in price.said
    assert any(
        "No break is planned" in each for each in plan_said(answer(RECORD.booth, PACE, a_long_day(), 5, 1)).cautions
    )
    assert {plot.name for plot in said.plots} == {"people", "waits", "kept"}
    assert "Last orders" in table(found)


@pytest.mark.parametrize(
    ("opens", "closes", "played", "unknown"),
    [
        ("6:00", "24:00", "from 06:00 to 24:00 with", "not open from 06:00 to 10:00 and from 19:00 to 24:00: as many"),
        ("17:00", "2:30", "from 17:00 to 02:30 of the next day with", "from 19:00 to 02:30 of the next day: as many"),
    ],
)
def test_hours_that_the_record_knows_nothing_of_are_named(opens: str, closes: str, played: str, unknown: str):
    plan = read(**{"from": opens, "to": closes, "from-a1": "", "to-a1": ""}).plan

    said = plan_said(answer(BOOTH, PACE, plan, 3, 1))

    assert played in said.said
    assert any(unknown in each for each in said.cautions)
    known = plan_said(answer(BOOTH, PACE, read().plan, 3, 1))
    assert not any("not open" in each for each in known.cautions)


def a_long_day():
    return a_plan(lasts_s=8 * 3600.0, asked=typed([2.0] * 8, 8 * 3600.0))


def test_plans_that_were_not_played_alike_are_not_compared():
    one, other = (answer(RECORD.booth, PACE, a_plan(2.0), 5, seed) for seed in (1, 2))

    assert two_plans(one, other) == ()
    assert two_plans(one, one)[0].more == "0 (0 to 0)"
