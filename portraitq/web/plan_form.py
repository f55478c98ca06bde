"""A plan as it is typed, on the page and in the shell: what stands there to begin with, and what is read out of it.

Whatever is left as the record has it stays as uncertain as the record leaves it; what is typed is taken as it stands.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from portraitq.core.booth import Booth, TradingDay
from portraitq.core.errors import Malformed
from portraitq.core.events import SetUp
from portraitq.forecast.arrivals import Expected, counted, hours_of, typed
from portraitq.forecast.patience import ENDLESS, Patience, patience_of
from portraitq.forecast.plan import MANY_EASELS, MOST_ASKED, MOST_DAYS, MOST_PLAYED, Plan
from portraitq.forecast.plan_answer import NewPrice
from portraitq.forecast.wishes import Mix, Wishes, given_sitters, typed_mix, wishes_of
from portraitq.web.said import plain_amount, read_money

CLOCK = re.compile(r"([01]?\d|2[0-4]):([0-5]\d)", re.ASCII)
DAY_MIN, SHORTEST_MIN = 24 * 60, 15
RECORD, TYPED = "record", "typed"
LEARNED, HALF, ENDLESSLY = "learned", "half", "endless"
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
LAST_DAYS = 60  # of the record that are looked at; older fairs say little of the next
GUESSED_AN_HOUR = 3.0  # people, where there is no record at all (common practice, no source)
HIGHEST_SEED = 2**31 - 1


@dataclass(frozen=True)
class Typed:
    """What a form says: the plan, the price to try, how many days and from which seed."""

    plan: Plan
    new_price: NewPrice | None
    days: int
    seed: int


def traded_days(booth: Booth) -> tuple[TradingDay, ...]:
    """The days of the record that are over, the last LAST_DAYS of them."""
    return tuple(day for day in booth.days if day.closed_at is not None)[-LAST_DAYS:]


def prefilled(booth: Booth) -> dict[str, str]:
    """Every field as the record of `booth` has it."""
    set_up = _set_up_of(booth)
    opens, closes = _usual_hours(booth)
    wishes = wishes_of(booth)
    lasts_s = 60.0 * ((closes - opens) % DAY_MIN or DAY_MIN)
    asked = counted(booth, traded_days(booth), opens, lasts_s)
    fields = {
        "from": _clock(opens),
        "to": _clock(closes),
        "asked": TYPED if asked is None else RECORD,
        "times": "1",
        "orders": _orders(asked, lasts_s),
        "sitters": ", ".join(_percent(share) for share in _sitters(wishes).shares),
        "confidence": f"{100 * set_up.booth.confidence:g}",
        "patience": LEARNED,
        "half": f"{patience_of(booth).half_s / 60:.0f}",
        "days": "1000",
        "seed": "1",
    }
    currency = set_up.booth.currency
    for style, share in zip(set_up.styles, wishes.mix.shares, strict=True):
        draws = any(style.id in artist.styles for artist in set_up.artists)
        fields |= {f"mix-{style.id}": _percent(share), f"price-{style.id}": plain_amount(style.price, currency)}
        fields |= {f"on-{style.id}": "on"} if draws else {}
    last = booth.days[-1] if booth.days else None
    for artist in set_up.artists:
        fields[f"in-{artist.id}"] = "on"
        own = [each for each in last.breaks if each.artist == artist.id] if last else []
        for field, at in (("from", own[0].begins_at), ("to", own[0].ends_at)) if own else ():
            fields[f"{field}-{artist.id}"] = at.astimezone(booth.zone).strftime("%H:%M")
    if set_up.styles:
        usual = max(zip(wishes.mix.shares, set_up.styles, strict=True), key=lambda one: one[0])[1]
        dearer = max(round(usual.price * 1.1 / 100) * 100, usual.price + 1)
        fields |= {"new-style": usual.id, "new-price": plain_amount(dearer, currency), "keep": "100"}
    return fields


def read_plan(form: Mapping[str, str], booth: Booth) -> Typed:
    """The plan that `form` says; Malformed names the field that is wrong."""
    set_up, before = _set_up_of(booth), prefilled(booth)
    opens = _minutes(form, "from")
    closes = _minutes(form, "to")
    lasts_min = (closes - opens) % DAY_MIN or DAY_MIN
    if lasts_min < SHORTEST_MIN:
        raise Malformed(f"to: a day of {SHORTEST_MIN} minutes or more was expected.", "to")
    lasts_s = 60.0 * lasts_min
    artists = tuple(artist.id for artist in set_up.artists if f"in-{artist.id}" in form)
    if not artists:
        raise Malformed("Nobody is there: tick at least one artist.", "artists")
    offered = tuple(style.id for style in set_up.styles if f"on-{style.id}" in form)
    if not offered:
        raise Malformed("No style is on offer: tick at least one.", "styles")
    plan = Plan(
        opens_min=opens,
        lasts_s=lasts_s,
        asked=_asked(form, booth, opens, lasts_s),
        wishes=_wishes(form, before, booth, set_up),
        patience=_patience(form, booth),
        artists=artists,
        offered=offered,
        confidence=_number(form, "confidence", 50, 99, "%") / 100,
        breaks=_breaks(form, before, artists, opens, lasts_min),
        prices={style.id: _price(form, f"price-{style.id}", set_up, style.price) for style in set_up.styles},
    )
    days, seed = _number(form, "days", 1, MOST_DAYS, "days"), _number(form, "seed", 0, HIGHEST_SEED, "")
    for field, number in (("days", days), ("seed", seed)):
        if number != int(number):
            raise Malformed(f"{field}: a whole number was expected, not {number:g}.", field)
    heavier = max(len(artists) / MANY_EASELS, 1.0)
    if (people := plan.asked.total) * days * heavier > MOST_PLAYED:
        fit, so_many = MOST_PLAYED / heavier / people, f"{people:.0f} people on each of {days:.0f} days"
        so_many += f" at {len(artists)} easels" if heavier > 1 else ""
        raise Malformed(f"days: {so_many} would take too long to play: choose at most {math.floor(fit)} days.", "days")
    return Typed(plan, _new_price(form, set_up, offered), int(days), int(seed))


def from_shell(typed: Mapping[str, Any], booth: Booth) -> dict[str, str]:
    """The form that options of the shell fill in; what they leave out is as the record has it."""
    form, set_up = prefilled(booth), _set_up_of(booth)
    form["new-price"] = ""
    for option, field in (("opens", "from"), ("closes", "to"), ("times", "times"), ("days", "days"), ("seed", "seed")):
        if typed.get(option) is not None:
            form[field] = typed[option]
    if typed.get("orders") is not None and typed.get("like") is not None:
        raise Malformed("--orders and --like both say how many people ask: give one of them.", "orders")
    if typed.get("orders") is not None:
        form |= {"asked": TYPED, "orders": typed["orders"]}
    elif typed.get("like") is not None:
        form["asked"] = typed["like"]
    elif form["asked"] == TYPED:
        raise Malformed("--orders: the record does not say yet how many ask, so say how many do each hour.", "orders")
    artists, styles = [one.id for one in set_up.artists], [style.id for style in set_up.styles]
    if typed.get("easels") is not None:
        _tick(form, "in", [each.strip() for each in typed["easels"].split(",")], artists, "--easels")
    if typed.get("style_mix") is not None:
        shares = dict(_pair(each, "--style-mix", "ink-head=0.6") for each in typed["style_mix"].split(","))
        _tick(form, "on", list(shares), styles, "--style-mix")
        form |= {f"mix-{id}": shares.get(id, "0") for id in styles}
    if typed.get("sitters") is not None:
        form["sitters"] = typed["sitters"]
    for each in typed.get("breaks") or ():
        artist, span = _pair(each, "--break", "a1=12:00-12:30")
        begins, _, ends = span.partition("-")
        form |= {f"from-{_known(artist, artists, '--break')}": begins, f"to-{artist}": ends}
    for each in typed.get("prices") or ():
        style, price = _pair(each, "--price", "ink-head=20")
        form[f"price-{_known(style, styles, '--price')}"] = price
    if typed.get("try_price") is not None:
        style, form["new-price"] = _pair(typed["try_price"], "--try-price", "ink-head=22")
        form["new-style"] = _known(style, styles, "--try-price")
    if (patience := typed.get("patience")) is not None:
        form |= {"patience": ENDLESSLY} if patience == ENDLESSLY else {"patience": HALF, "half": patience}
    if typed.get("confidence") is not None:
        share = _float(typed["confidence"].strip())
        if not 0.5 <= share <= 0.99:
            raise Malformed(
                f"--confidence: a share from 0.5 to 0.99 was expected, not {typed['confidence'][:20]!r}.", "confidence"
            )
        form["confidence"] = f"{100 * share:.10g}"
    return form


def _pair(said: str, option: str, such_as: str) -> tuple[str, str]:
    name, between, value = said.strip().partition("=")
    if not between:
        raise Malformed(f"{option}: something like {such_as} was expected, not {said[:40]!r}.", option)
    return name.strip(), value.strip()


def _known(id: str, known: Sequence[str], option: str) -> str:
    if id not in known:
        raise Malformed(f"{option}: {', '.join(known)} were expected, not {id[:32]!r}.", option)
    return id


def _tick(form: dict[str, str], kind: str, chosen: Sequence[str], known: Sequence[str], option: str) -> None:
    """Tick those chosen and nobody else."""
    ticked = {_known(id, known, option) for id in chosen}
    for id in known:
        form.pop(f"{kind}-{id}", None)
        form |= {f"{kind}-{id}": "on"} if id in ticked else {}


def _set_up_of(booth: Booth) -> SetUp:
    if booth.set_up is None or not booth.set_up.artists or not booth.set_up.styles:
        raise Malformed("There is nothing to plan with yet: say in the set-up who draws what.", "set-up")
    return booth.set_up


# How many people ask


def _asked(form: Mapping[str, str], booth: Booth, opens: int, lasts_s: float) -> Expected:
    how = form.get("asked", RECORD).strip().lower()
    if how == TYPED:
        people = _numbers(form, "orders")
        hours = len(hours_of(lasts_s)) - 1
        if len(people) != hours:
            raise Malformed(
                f"orders: {hours} numbers were expected, one for each hour from the opening on, not {len(people)}.",
                "orders",
            )
        found: Expected | None = typed(people, lasts_s)
    else:
        found = counted(booth, _like(how, booth), opens, lasts_s)
    if found is None:
        raise Malformed(
            "asked: at these hours the booth was never open on such a day. Type how many ask instead.", "asked"
        )
    if DATE.fullmatch(how):
        found = replace(found, spread=0.0)  # how busy that whole day was is known
    found = found.times(_number(form, "times", 0, 20, "times"))
    if found.total > MOST_ASKED:
        field = "orders" if how == TYPED else "times"
        raise Malformed(f"{field}: at most {MOST_ASKED} people a day can be planned, not {found.total:.0f}.", field)
    return found


DATE = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)


def _like(how: str, booth: Booth) -> Sequence[TradingDay]:
    """The days that the coming one is to be like: a date, a weekday, or all."""
    days = traded_days(booth)
    if how == RECORD:
        return days
    if how in WEEKDAYS:
        days = tuple(day for day in days if WEEKDAYS[date.fromisoformat(day.day).weekday()] == how)
    else:
        days = tuple(day for day in booth.days if day.closed_at is not None and day.day == how)
    if not days:
        raise Malformed(
            f"asked: a day that the booth traded on, such as 2026-06-06, or a weekday was expected, not {how[:20]!r}.",
            "asked",
        )
    return days


# What for, and how long they wait


def _wishes(form: Mapping[str, str], before: Mapping[str, str], booth: Booth, set_up: SetUp) -> Wishes:
    wishes = wishes_of(booth)
    fields = [f"mix-{style.id}" for style in set_up.styles]
    if any(form.get(field, before[field]).strip() != before[field] for field in fields):
        shares = {
            style.id: _number(form, field, 0, 1000, "%", before[field])
            for style, field in zip(set_up.styles, fields, strict=True)
        }
        try:
            wishes = replace(wishes, mix=typed_mix(set_up, shares))
        except ValueError as odd:
            raise Malformed(f"styles: {odd}.", "styles") from odd
    if form.get("sitters", before["sitters"]).strip() != before["sitters"]:
        shares_of_sitters = _numbers(form, "sitters")
        try:
            sitters = given_sitters(shares_of_sitters)
        except ValueError as odd:
            raise Malformed(f"sitters: {odd}.", "sitters") from odd
        wishes = replace(wishes, sitters=dict.fromkeys(wishes.styles, sitters))
    return wishes


def _sitters(wishes: Wishes) -> Mix:
    """The shares of sitters over all styles."""
    found: Counter[int] = Counter()
    for id, share in zip(wishes.styles, wishes.mix.shares, strict=True):
        for place, each in enumerate(wishes.sitters[id].shares):
            found[place] += share * each  # type: ignore[assignment]
    return Mix(tuple(found[place] for place in range(max(found) + 1)))


def _patience(form: Mapping[str, str], booth: Booth) -> Patience:
    how = form.get("patience", LEARNED)
    if how == ENDLESSLY:
        return ENDLESS
    if how == HALF:
        return Patience(60.0 * _number(form, "half", 0, 6000, "minutes"))
    return patience_of(booth)


def _new_price(form: Mapping[str, str], set_up: SetUp, offered: Sequence[str]) -> NewPrice | None:
    style = set_up.style(form.get("new-style", ""))
    if style is None or not form.get("new-price", "").strip():
        return None
    if style.id not in offered:
        raise Malformed(f'new-style: "{style.name}" is not on offer, so its price earns nothing.', "new-style")
    price = _price(form, "new-price", set_up, style.price)
    return NewPrice(style.id, price, _number(form, "keep", 0, 100, "%", "100") / 100)


# Hours, breaks, numbers


def _breaks(
    form: Mapping[str, str], before: Mapping[str, str], artists: Sequence[str], opens: int, lasts_min: int
) -> tuple[tuple[str, float, float], ...]:
    """The breaks that were typed, and those of the last day where they fall into this one."""
    found = []
    for artist in artists:
        begins, ends = f"from-{artist}", f"to-{artist}"
        if not form.get(begins, "").strip() and not form.get(ends, "").strip():
            continue
        from_min, to_min = ((_minutes(form, field) - opens) % DAY_MIN for field in (begins, ends))
        if from_min >= lasts_min and all(form[field] == before.get(field) for field in (begins, ends)):
            continue
        if from_min >= lasts_min or not from_min < to_min:
            raise Malformed(f"{ends}: a break within the day, its end after its beginning, was expected.", ends)
        found.append((artist, 60.0 * from_min, 60.0 * to_min))
    return tuple(found)


def _minutes(form: Mapping[str, str], field: str) -> int:
    found = CLOCK.fullmatch(form.get(field, "").strip())
    if found is None or int(found[1]) * 60 + int(found[2]) > DAY_MIN:
        raise Malformed(f"{field}: a time such as 18:00 was expected, not {form.get(field, '')[:20]!r}.", field)
    return (int(found[1]) * 60 + int(found[2])) % DAY_MIN


def _number(form: Mapping[str, str], field: str, least: float, most: float, unit: str, blank: str = "") -> float:
    said = (form.get(field, "").strip() or blank).removesuffix("%").replace(",", ".").strip()
    number = _float(said)
    if not least <= number <= most:
        of = f" {unit}" if unit else ""
        raise Malformed(f"{field}: a number from {least:g} to {most:.10g}{of} was expected, not {said[:20]!r}.", field)
    return number


def _numbers(form: Mapping[str, str], field: str) -> list[float]:
    """Numbers with commas or blanks between them; a comma is no decimal point here."""
    said = [each for each in re.split(r"[,;\s]+", form.get(field, "").strip()) if each]
    found = [_float(each.removesuffix("%")) for each in said]
    if not found or not all(0 <= each < math.inf for each in found):
        raise Malformed(f"{field}: numbers such as 3, 4, 5 were expected, not {form.get(field, '')[:40]!r}.", field)
    return found


def _float(said: str) -> float:
    """A number, or NaN, which is within no bounds."""
    return float(said) if re.fullmatch(r"\d{1,9}(\.\d{1,9})?", said, re.ASCII) else math.nan


def _price(form: Mapping[str, str], field: str, set_up: SetUp, blank: int) -> int:
    said = form.get(field, "").strip()
    price = read_money(said, set_up.booth.currency, field) if said else blank
    if price < 0:
        raise Malformed(f"{field}: a price of 0 or more was expected.", field)
    return price


# What the record has


def _usual_hours(booth: Booth) -> tuple[int, int]:
    """Opening and closing as on the last day, in minutes after midnight, the opening to the half hour."""
    if not booth.days:
        return 10 * 60, 18 * 60
    opened, closes = (at.astimezone(booth.zone) for at in (booth.days[-1].opened_at, booth.days[-1].closes_at))
    opens = round((60 * opened.hour + opened.minute) / 30) * 30 % DAY_MIN
    return opens, 60 * closes.hour + closes.minute


def _orders(asked: Expected | None, lasts_s: float) -> str:
    """A table to begin with, for who wants to type one."""
    means = asked.mean if asked else (GUESSED_AN_HOUR,) * (len(hours_of(lasts_s)) - 1)
    return ", ".join(f"{mean:.1f}".removesuffix(".0") for mean in means)


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02}:{minutes % 60:02}"


def _percent(share: float) -> str:
    return f"{100 * share:.0f}"
