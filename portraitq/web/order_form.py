"""The form of a new order: what it offers, what a quote says beside each style, and how it is read when it comes in."""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from werkzeug.datastructures import FileStorage

from portraitq import consent
from portraitq.core.commands import Command, Order, read_command
from portraitq.core.errors import Malformed, Refused
from portraitq.core.events import Paid, SetUp, Style
from portraitq.darkroom import develop
from portraitq.desk import NewCard
from portraitq.forecast.quotes import Offer
from portraitq.photo.intake import Photo
from portraitq.web.last_orders import FAR_OFF, ForToday, for_today, instead
from portraitq.web.quoted import NOBODY, QuoteSaid, names_a_time, quote_said, quote_without_a_clock
from portraitq.web.said import money, plain_amount, read_money

if TYPE_CHECKING:
    from portraitq.desk import Desk, Standing

MOST_SITTERS = 12
FRESH_ENOUGH = timedelta(minutes=1)
LONGEST_NAME, LONGEST_CONTACT, LONGEST_NOTE = 80, 200, 1000
LONGEST_CONSENT = 200  # of several children each has somebody
LONGEST_ID = 58  # six letters are left for what belongs to the order, its payment
MOST_PHOTOS = 12
ALONG, REFUSED = "", "-"  # in the place of a kept photo's id
HOW = {"cash": "cash", "card": "card", "other": "another way"}


@dataclass(frozen=True)
class StyleCard:
    """One style to choose: its price, and who draws it."""

    id: str
    name: str
    price: str
    amount: str
    artists: tuple[str, ...]


@dataclass(frozen=True)
class StyleQuote:
    """What is said beside one style: a quote, or why there is none.

    today     until when it can be promised for today, in the last hours of the day
    instead   once it is chosen: that it is not, and what else is possible
    """

    style: str
    quote: QuoteSaid | None
    no: str = ""
    today: ForToday = FAR_OFF
    instead: str = ""


@dataclass(frozen=True)
class OrderForm:
    """What a new order can be made of; `id` is the command's, for browsers that make none themselves."""

    id: str
    styles: tuple[StyleCard, ...]
    artists: tuple[tuple[str, str, str], ...]
    currency: str
    most_sitters: int = MOST_SITTERS

    @property
    def only_style(self) -> str:
        """The style that needs no choosing."""
        return self.styles[0].id if len(self.styles) == 1 else ""


@dataclass(frozen=True)
class Read:
    """An order as it came in: the command, the card beside it, and what was paid at once (or None)."""

    command: Command
    card: NewCard
    paid: Command | None


def order_form(set_up: SetUp) -> OrderForm:
    """What the booth draws, and by whom."""
    currency = set_up.booth.currency
    draws = {style.id: tuple(a.id for a in set_up.artists if style.id in a.styles) for style in set_up.styles}
    styles = tuple(
        StyleCard(s.id, s.name, money(s.price, currency), plain_amount(s.price, currency), draws[s.id])
        for s in set_up.styles
        if draws[s.id]
    )
    shared = any(len(style.artists) > 1 for style in styles)
    artists = tuple((a.id, a.name, " ".join(a.styles)) for a in set_up.artists if a.styles) if shared else ()
    return OrderForm(fresh_id(), styles, artists, currency)


def fresh_id() -> str:
    """An id for a command that a page is about to send."""
    return secrets.token_urlsafe(12)


def quotes(desk: Desk, sitters: int, artist: str | None) -> tuple[StyleQuote, ...]:
    """What a portrait ordered now would be quoted, for every style. Changes nothing."""
    standing, now = desk.standing(wait_s=0), desk.clock.now()
    if (set_up := standing.booth.set_up) is None:
        return ()
    if is_asked_already(standing, sitters, artist, now):
        seen = standing.forecast
        offered: dict[str, Offer | Refused] = {
            style: Offer(quote, seen.last_orders.get(style)) for style, quote in seen.order_now.items()
        }
        if len(offered) < len(set_up.styles):
            offered = {**desk.offers(sitters, artist), **offered}
    else:
        offered = dict(desk.offers(sitters, artist))
    return tuple(_style_quote(style, offered, standing, now) for style in set_up.styles if style.id in offered)


def _style_quote(style: Style, offered: Mapping[str, Offer | Refused], standing: Standing, now: datetime) -> StyleQuote:
    offer = offered[style.id]
    if isinstance(offer, Refused):
        return StyleQuote(style.id, None, str(offer))
    if not names_a_time(offer.quote):
        return StyleQuote(style.id, None, f"{NOBODY.capitalize()}.")
    if not standing.tells_time:
        return StyleQuote(style.id, quote_without_a_clock(offer.quote, now))
    return StyleQuote(
        style.id,
        quote_said(offer.quote, standing.booth.zone, now),
        today=for_today(standing, offer.last_order, offer.quote, now),
        instead=instead(standing, style.id, offered, now),
    )


def is_asked_already(standing: Standing, sitters: int, artist: str | None, now: datetime) -> bool:
    """Whether the forecast has asked itself what such an order would get, not too long ago."""
    is_fresh = now - standing.as_of < FRESH_ENOUGH  # after a sleep under a closed lid it is not
    return sitters == 1 and artist is None and standing.booth.day is not None and is_fresh


def read_sitters(text: str) -> int:
    """How many sitters the form says, 1 to 12; Malformed otherwise."""
    if text.strip().isascii() and text.strip().isdigit() and 1 <= int(text) <= MOST_SITTERS:
        return int(text)
    raise Malformed(
        f"sitters: 1 to {MOST_SITTERS} fit into one portrait, not {text[:20]!r}. For more, take two orders.", "sitters"
    )


def read_order(form: Mapping[str, str], set_up: SetUp, by: str) -> Read:
    """The order that came in; Malformed names the field that is wrong."""
    id = form.get("id") or fresh_id()
    if len(id) > LONGEST_ID:
        raise Malformed(f"id: at most {LONGEST_ID} characters were expected, not {len(id)}.", "id")
    if not form.get("style"):
        raise Malformed("Choose a style first.", "style")
    currency, price = set_up.booth.currency, form.get("price", "").strip()
    asked = {
        "style": form["style"],
        "sitters": read_sitters(form.get("sitters") or "1"),
        "artist": form.get("artist") or None,
        "price": _amount(price, currency, "price") if price else None,
        "ready_by": form.get("ready_by") or None,
    }
    command = _read({"id": id, "kind": "ordered", "data": asked}, by)
    assert isinstance(command.data, Order)
    return Read(command, read_card(form), _paid_at_once(form, command, set_up))


def read_card(form: Mapping[str, str]) -> NewCard:
    """Name, contact, note and consent; Malformed names the field that is too long or missing."""
    card = NewCard(
        name=_text(form, "name", LONGEST_NAME),
        contact=_text(form, "contact", LONGEST_CONTACT),
        note=_text(form, "note", LONGEST_NOTE),
        is_child="is_child" in form,
        consent_by=_text(form, "consent_by", LONGEST_CONSENT) if "is_child" in form else "",
    )
    consent.need(card.is_child, card.consent_by)
    return card


def read_paid(form: Mapping[str, str], ticket: str, currency: str, id: str, by: str) -> Command:
    """A payment, or with `refund` in the form money given back; Malformed names the field."""
    amount = _amount(form.get("amount", ""), currency, "amount")
    if amount <= 0:
        raise Malformed("amount: more than 0 was expected.", "amount")
    amount = -amount if "refund" in form else amount
    return _read({"id": id, "kind": "paid", "data": {"ticket": ticket, "amount": amount, "how": form.get("how")}}, by)


def read_photos(files: list[FileStorage]) -> list[Photo]:
    """The photos that came with a form; Malformed says in `field` which of them (`photo.0`) is none."""
    sent = [file for file in files if file.filename]
    if len(sent) > MOST_PHOTOS:
        raise Malformed(f"photo: at most {MOST_PHOTOS} photos belong to one portrait, not {len(sent)}.", "photo")
    taken = []
    for place, file in enumerate(sent):
        try:
            taken.append(develop(file.stream))  # type: ignore[arg-type]
        except Malformed as no:
            raise Malformed(str(no), f"photo.{place}") from no
    return taken


def read_order_photos(kept: Sequence[str], files: list[FileStorage]) -> list[Photo | str]:
    """The photos of an order in their order: ids of those that came before it, and those that come with it.

    kept      for each photo the id of a loose one, `ALONG` for the next of the files, `REFUSED` for one refused before
    files     those for which `kept` has no place come last
    Raises    Malformed, field `photo.` and the place, for one that is no photo or was refused before
    """
    sent = iter([file for file in files if file.filename])
    asked: list[str | FileStorage | None] = [next(sent, None) if one == ALONG else one for one in kept]
    found = [one for one in [*asked, *sent] if one is not None]
    if len(found) > MOST_PHOTOS:
        raise Malformed(f"photo: at most {MOST_PHOTOS} photos belong to one portrait, not {len(found)}.", "photo")
    photos: list[Photo | str] = []
    for place, one in enumerate(found):
        if one == REFUSED:
            raise Malformed("This photo was refused: take it again, or remove it.", f"photo.{place}")
        if isinstance(one, str):
            photos.append(one)
            continue
        try:
            photos += read_photos([one])
        except Malformed as no:
            raise Malformed(str(no), f"photo.{place}") from no
    return photos


def paid_for(read: Read, ticket: str) -> Command | None:
    """What was paid with the order, now that its ticket is known."""
    if read.paid is None or not isinstance(read.paid.data, Paid):
        return None
    return Command(read.paid.id, read.paid.data.model_copy(update={"ticket": ticket}), read.paid.by)


def _paid_at_once(form: Mapping[str, str], order: Command, set_up: SetUp) -> Command | None:
    how = form.get("how", "")
    if not how or how == "later":
        return None
    assert isinstance(order.data, Order)
    style = set_up.style(order.data.style)
    price = order.data.price if order.data.price is not None else style.price if style else 0
    amount = form.get("amount", "").strip()
    cents = _amount(amount, set_up.booth.currency, "amount") if amount else price
    if cents == 0:
        return None
    return _read(
        {"id": f"{order.id}-paid", "kind": "paid", "data": {"ticket": "T0", "amount": cents, "how": how}}, order.by
    )


def _amount(text: str, currency: str, field: str) -> int:
    cents = read_money(text, currency, field)
    if cents < 0:
        raise Malformed(f"{field}: an amount from 0 on was expected, not {text[:20]!r}.", field)
    return cents


def _text(form: Mapping[str, str], field: str, longest: int) -> str:
    text = " ".join(form.get(field, "").split()) if field != "note" else form.get(field, "").strip()
    if len(text) > longest:
        raise Malformed(f"{field}: at most {longest} characters were expected, not {len(text)}.", field)
    return text


def _read(sent: dict[str, object], by: str) -> Command:
    """A command out of a form; the field of a refusal is called as in the form."""
    try:
        return read_command(sent, by)
    except Malformed as no:
        field = no.field.removeprefix("data.")
        raise Malformed(str(no).removeprefix("data."), field) from no
