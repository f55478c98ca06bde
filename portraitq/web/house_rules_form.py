"""The house rules as they are typed: every field a text, so that nothing that somebody wrote is lost when one is wrong.

`draft_of` spreads the rules out, `read` takes them from a form, and `built` makes them again, or says beside which
fields what is wrong.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from portraitq.erasing import FORGOTTEN
from portraitq.house_rules import (
    KEEP_LONGEST_H,
    LONGEST_TEXT,
    PASSED_OVER_MOST,
    REST_LONGEST_MIN,
    UNCOLLECTED_LONGEST_DAYS,
    HouseRules,
)

Errors = dict[str, str]

KEEP_USUAL_H = 24  # stands in the field until somebody chooses hours
AT_CLOSE, HOURS = "close", "hours"
TEXTS = ("between", "rest", "care")


@dataclass(frozen=True)
class RulesDraft:
    """The rules as typed; `keep` is "close" or "hours". `errors` are by the id of the element that is wrong."""

    between: str
    rest_after_min: str
    rest: str
    care: str
    keep: str
    keep_h: str
    uncollected_days: str
    passed_over_most: str
    errors: Errors = field(default_factory=dict)
    longest: int = LONGEST_TEXT


def draft_of(rules: HouseRules) -> RulesDraft:
    """The rules as they stand, ready to be changed."""
    return RulesDraft(
        between=rules.between,
        rest_after_min=str(rules.rest_after_min),
        rest=rules.rest,
        care=rules.care,
        keep=AT_CLOSE if rules.keep_h is None else HOURS,
        keep_h=str(rules.keep_h or KEEP_USUAL_H),
        uncollected_days=str(rules.uncollected_days or ""),
        passed_over_most=str(rules.passed_over_most),
    )


def read(form: Mapping[str, str]) -> RulesDraft:
    """What came in, as it was typed. Browsers send line breaks in their own way."""

    def typed(name: str) -> str:
        return form.get(name, "").replace("\r\n", "\n").strip()

    return RulesDraft(
        between=typed("between"),
        rest_after_min=typed("rest_after_min"),
        rest=typed("rest"),
        care=typed("care"),
        keep=typed("keep"),
        keep_h=typed("keep_h"),
        uncollected_days=typed("uncollected_days"),
        passed_over_most=typed("passed_over_most"),
    )


def built(draft: RulesDraft) -> tuple[HouseRules | None, Errors]:
    """The rules, or None and what is wrong beside which field."""
    errors: Errors = {}
    for name in TEXTS:
        if (length := len(getattr(draft, name))) > LONGEST_TEXT:
            errors[f"rules-{name}"] = f"At most {LONGEST_TEXT} characters were expected, not {length}."
    rest_after_min = _whole(draft.rest_after_min, 0, REST_LONGEST_MIN)
    if rest_after_min is None:
        errors["rules-rest-after"] = f"Whole minutes from 0 to {REST_LONGEST_MIN} were expected; 0 for never."
    passed_over_most = _whole(draft.passed_over_most, 0, PASSED_OVER_MOST)
    if passed_over_most is None:
        errors["rules-passed-over"] = f"A whole number from 0 to {PASSED_OVER_MOST} was expected; 0 for nobody."
    keep_h = None
    if draft.keep == HOURS:
        keep_h = _whole(draft.keep_h, 1, KEEP_LONGEST_H)
        if keep_h is None:
            errors["rules-keep-h"] = f"Whole hours from 1 to {KEEP_LONGEST_H} were expected."
    elif draft.keep != AT_CLOSE:
        errors["rules-keep-close"] = "Choose when photos and names are erased."
    uncollected_days = None
    if draft.uncollected_days:
        uncollected_days = _whole(draft.uncollected_days, 1, UNCOLLECTED_LONGEST_DAYS)
        if uncollected_days is None:
            errors["rules-uncollected-days"] = (
                f"Whole days from 1 to {UNCOLLECTED_LONGEST_DAYS} were expected; empty for no limit."
            )
    if errors or rest_after_min is None or passed_over_most is None:
        return None, errors
    return HouseRules(
        between=draft.between,
        rest_after_min=rest_after_min,
        rest=draft.rest,
        care=draft.care,
        keep_h=keep_h,
        uncollected_days=uncollected_days,
        passed_over_most=passed_over_most,
    ), {}


def usual(now: HouseRules) -> HouseRules:
    """The usual words and minutes. When things are erased stays as it is: one touch must erase nothing."""
    return HouseRules(keep_h=now.keep_h, uncollected_days=now.uncollected_days)


def keep_said(rules: HouseRules) -> str:
    """When what is known of a person goes, in one or two sentences."""
    served = "Name, contact, note and photos of a portrait that was handed over or cancelled are erased"
    return f"{served} {_after_that(rules)}. {uncollected_said(rules)}"


def customer_said(rules: HouseRules) -> str:
    """The same for whoever holds the ticket, in one sentence."""
    if rules.keep_h is None:
        return "Your photo and whatever else you told us are erased when we close the day you collect."
    return f"Your photo and whatever else you told us are erased {_hours(rules.keep_h)} after you collect."


def slip_said(rules: HouseRules) -> str:
    """The same on a slip, where there is little room."""
    if rules.keep_h is None:
        return "Your photo is erased when we close the day you collect."
    return f"Your photo is erased {_hours(rules.keep_h)} after you collect."


def uncollected_said(rules: HouseRules) -> str:
    """What becomes of a portrait's data that nobody comes for."""
    if rules.uncollected_days is None:
        return "A portrait that nobody collects keeps them until it is handed over or cancelled."
    days = "a day" if rules.uncollected_days == 1 else f"{rules.uncollected_days} days"
    return f"A portrait that nobody collects keeps them for {days} on the rack."


def _after_that(rules: HouseRules) -> str:
    if rules.keep_h is not None:
        return f"{_hours(rules.keep_h)} after that"
    forgotten_h = round(FORGOTTEN.total_seconds() / 3600)
    return f"when the day is closed, or {forgotten_h} hours after its closing time where nobody closes it"


def _hours(hours: int) -> str:
    return "1 hour" if hours == 1 else f"{hours} hours"


def _whole(text: str, least: int, most: int) -> int | None:
    """The whole number that `text` says, or None where it is none or outside its bounds."""
    if not (text.isascii() and text.isdigit() and len(text) <= len(str(most)) + 2):
        return None
    return number if least <= (number := int(text)) <= most else None
