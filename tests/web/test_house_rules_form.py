"""The house rules as they are typed, and the part of the set-up page where that is done."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portraitq.house_rules import HouseRules
from portraitq.web.house_rules_form import (
    AT_CLOSE,
    HOURS,
    built,
    customer_said,
    draft_of,
    keep_said,
    read,
    slip_said,
    usual,
)
from tests.web.conftest import Web

PAGE, RULES = "/quay/set-up", "/quay/set-up/house-rules"
OWN = {
    "between": "Wash the brush.\r\nChange the water.",
    "rest_after_min": "45",
    "rest": "Look at the boats.",
    "care": "Read the can.",
    "keep": HOURS,
    "keep_h": "6",
    "uncollected_days": "30",
    "passed_over_most": "3",
}
text = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=400).map(str.strip)
rules = st.builds(
    HouseRules,
    between=text,
    rest_after_min=st.integers(0, 600),
    rest=text,
    care=text,
    keep_h=st.none() | st.integers(1, 72),
    uncollected_days=st.none() | st.integers(1, 365),
    passed_over_most=st.integers(0, 20),
)


@given(rules)
def test_rules_that_are_shown_and_sent_back_are_the_same(some: HouseRules) -> None:
    draft = draft_of(some)
    form = {name: getattr(draft, name) for name in OWN}

    assert built(read(form)) == (some, {})


@pytest.mark.parametrize(
    ("typed", "where", "sentence"),
    [
        ({"rest_after_min": "an hour"}, "rules-rest-after", "Whole minutes from 0 to 600"),
        ({"rest_after_min": "601"}, "rules-rest-after", "Whole minutes from 0 to 600"),
        ({"rest_after_min": "-5"}, "rules-rest-after", "Whole minutes from 0 to 600"),
        ({"passed_over_most": "21"}, "rules-passed-over", "A whole number from 0 to 20"),
        ({"passed_over_most": "few"}, "rules-passed-over", "A whole number from 0 to 20"),
        ({"keep_h": "0"}, "rules-keep-h", "Whole hours from 1 to 72"),
        ({"keep_h": "1.5"}, "rules-keep-h", "Whole hours from 1 to 72"),
        ({"keep_h": ""}, "rules-keep-h", "Whole hours from 1 to 72"),
        ({"keep": "for ever"}, "rules-keep-close", "Choose when"),
        ({"care": "x" * 401}, "rules-care", "At most 400 characters were expected, not 401"),
        ({"uncollected_days": "0"}, "rules-uncollected-days", "1 to 365"),
        ({"uncollected_days": "366"}, "rules-uncollected-days", "empty for no limit"),
        ({"between": "x" * 999}, "rules-between", "not 999"),
        ({"rest": "x" * 999}, "rules-rest", "not 999"),
    ],
)
def test_a_wrong_field_is_named_with_what_was_expected(typed: dict[str, str], where: str, sentence: str) -> None:
    new, errors = built(read({**OWN, **typed}))

    assert new is None
    assert list(errors) == [where]
    assert sentence in errors[where]


def test_the_hours_are_not_looked_at_while_the_close_of_the_day_is_chosen() -> None:
    new, errors = built(read({**OWN, "keep": AT_CLOSE, "keep_h": "nonsense"}))

    assert errors == {}
    assert new is not None
    assert new.keep_h is None


def test_the_usual_words_come_back_and_nothing_is_erased_sooner_by_that() -> None:
    own = HouseRules(between="", rest_after_min=0, care="", keep_h=6, uncollected_days=30)

    assert usual(own) == HouseRules(keep_h=6, uncollected_days=30)


@pytest.mark.parametrize(
    ("rules", "said"),
    [
        (HouseRules(), "erased when the day is closed, or 12 hours after its closing time where nobody closes it."),
        (HouseRules(keep_h=1), "cancelled are erased 1 hour after that."),
        (HouseRules(keep_h=6), "cancelled are erased 6 hours after that."),
        (HouseRules(), "A portrait that nobody collects keeps them until it is handed over or cancelled."),
        (HouseRules(uncollected_days=1), "A portrait that nobody collects keeps them for a day on the rack."),
        (HouseRules(uncollected_days=30), "A portrait that nobody collects keeps them for 30 days on the rack."),
    ],
)
def test_when_things_go_is_said_in_two_sentences(rules: HouseRules, said: str) -> None:
    assert said in keep_said(rules)


@pytest.mark.parametrize(
    ("rules", "until"),
    [
        (HouseRules(), "when we close the day you collect."),
        (HouseRules(keep_h=1), "1 hour after you collect."),
        (HouseRules(keep_h=6), "6 hours after you collect."),
    ],
)
def test_customers_are_told_the_same_rule_on_their_page_and_on_paper(rules: HouseRules, until: str) -> None:
    assert customer_said(rules) == f"Your photo and whatever else you told us are erased {until}"
    assert slip_said(rules) == f"Your photo is erased {until}"


def _shown(page: str) -> dict[str, Any]:
    """What a browser would send of the form as it stands."""
    form = re.search(r'<form[^>]*action="/quay/set-up/house-rules".*?</form>', page, re.DOTALL)
    assert form
    found = {
        name: unescape(value)
        for name, value in re.findall(r'<textarea[^>]*name="(\w+)"[^>]*>\n(.*?)</textarea>', form[0], re.DOTALL)
    }
    for tag in re.findall(r"<input[^>]+>", form[0]):
        about = dict(re.findall(r'([\w-]+)="([^"]*)"', tag))
        if about.get("type") != "radio" or " checked" in tag:
            found[about["name"]] = unescape(about.get("value", ""))
    return found


def _page(web: Web) -> str:
    web.sign_in()
    return web.client.get(PAGE).get_data(as_text=True)


def test_house_rules_are_not_for_strangers_or_foreign_pages(web: Web) -> None:
    stranger = web.client.post(RULES, data=OWN)
    web.sign_in()
    foreign = web.client.post(RULES, data=OWN)

    assert stranger.location.startswith("/sign-in")
    assert foreign.status_code == 403
    assert web.desk.house_rules() == HouseRules()


def test_saved_rules_stand_on_the_page_and_in_the_privacy_part(web: Web) -> None:
    token = _shown(_page(web))["token"]

    answer = web.client.post(RULES, data={**OWN, "token": token}, follow_redirects=True)
    page = answer.get_data(as_text=True)

    assert web.desk.house_rules() == HouseRules(
        between="Wash the brush.\nChange the water.",
        rest_after_min=45,
        rest="Look at the boats.",
        care="Read the can.",
        keep_h=6,
        uncollected_days=30,
        passed_over_most=3,
    )
    assert "The house rules were saved" in page
    assert "are erased 6 hours after that." in page
    assert {**_shown(page), "token": ""} == {**OWN, "between": OWN["between"].replace("\r\n", "\n"), "token": ""}


def test_nothing_typed_is_lost_where_a_field_is_wrong(web: Web) -> None:
    token = _shown(_page(web))["token"]

    answer = web.client.post(RULES, data={**OWN, "token": token, "rest_after_min": "soon", "care": "<b>Mind!</b>"})
    page = answer.get_data(as_text=True)

    assert answer.status_code == 422
    assert web.desk.house_rules() == HouseRules()
    shown = _shown(page)
    assert (shown["rest_after_min"], shown["care"], shown["keep_h"]) == ("soon", "<b>Mind!</b>", "6")
    assert 'href="#rules-rest-after"' in page
    assert "Whole minutes from 0 to 600 were expected" in page


def test_one_tap_puts_the_usual_words_back(web: Web) -> None:
    web.desk.change_house_rules(HouseRules(between="Wash the brush.", care="", keep_h=6))
    token = _shown(_page(web))["token"]

    web.client.post(RULES, data={"token": token, "do": "usual"})

    assert web.desk.house_rules() == HouseRules(keep_h=6)


def test_the_page_says_plainly_that_rules_for_photos_of_children_differ(web: Web) -> None:
    page = _page(web)

    rules, care = page.index('id="house-rules"'), page.index('id="care"')
    found = [one.start() for one in re.finditer("Rules for photos of children differ from place to place", page)]
    assert len(found) == 1
    assert rules < found[0] < page.index('id="screens"')
    assert page.index("A child sits with the yes of a parent or guardian") > care


def test_the_screens_are_told_when_the_rules_change(web: Web) -> None:
    heard = set()
    web.desk.standing(wait_s=10)  # what is still being quoted would tell them too
    web.desks.listen(lambda desk, standing: heard.add(desk.slug))

    web.desk.change_house_rules(HouseRules(between="Wash the brush."))

    assert heard == {"quay"}


def test_closing_the_day_says_what_it_erases(web: Web) -> None:
    web.sign_in()
    closes = web.client.get("/quay/counter/day?sheet=1").get_data(as_text=True)
    web.desk.change_house_rules(HouseRules(keep_h=6))
    later = web.client.get("/quay/counter/day?sheet=1").get_data(as_text=True)

    assert "are erased when the day is closed, or" in closes
    assert "What is still to be drawn keeps them." in closes
    assert "are erased 6 hours after that." in later
