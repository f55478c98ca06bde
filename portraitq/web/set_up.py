"""Set-up: the booth, its styles and artists; house rules; the network; addresses for tablets.

The set-up itself is one form and one `set_up` command; what is typed is `set_up_draft.py`'s. House rules (typed:
`house_rules_form.py`) and network are not in the journal, and each has a small form of its own.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, available_timezones

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from iso4217 import Currency
from markupsafe import Markup

from portraitq.core.commands import Command
from portraitq.core.errors import Malformed, Refused
from portraitq.core.events import SetUp, print_data, to_json
from portraitq.store import cards, settings
from portraitq.ticket import qr
from portraitq.ticket.wifi import wifi_text
from portraitq.web import back_ups, here, house_rules_form, kept_data, trust
from portraitq.web.back_ups import BackUpsView
from portraitq.web.hand_over import NETWORK_NAME, NETWORK_PASSWORD
from portraitq.web.house_rules_form import RulesDraft
from portraitq.web.set_up_draft import Draft, Errors, built, changed, draft_of, idle_styles, read
from portraitq.web.staff import owner_only

if TYPE_CHECKING:
    from portraitq.desk import Desk

SAVE = "save"
SAID = {
    "saved": "Saved. The quotes follow from now on.",
    "same": "Nothing was different, so nothing was written.",
    "rules": "The house rules were saved. The easels follow at once.",
    "usual-rules": "The usual words and minutes stand again. When photos are erased stays as it was.",
    "network": "The network was saved. Slips show it from now on.",
    "no-network": "The network was taken off the slips.",
    **back_ups.SAID,
}
OVERTAKEN = (
    "Somebody else changed the set-up since this page was loaded. What you typed still stands below: "
    "save again to put it in place of theirs, or load the page anew to see theirs."
)

blueprint = Blueprint("set_up", __name__)


@dataclass(frozen=True)
class Screen:
    """An address that a tablet opens, as text and as a QR."""

    name: str
    address: str
    qr: Markup


@dataclass(frozen=True)
class NetworkForm:
    """The network that customers join, its QR, and what is wrong with it."""

    name: str
    password: str
    qr: Markup
    errors: Errors


@dataclass(frozen=True)
class SetUpView:
    """The whole page. `focus` is the id of the element where the hand goes on."""

    draft: Draft
    errors: Errors
    based_on: str
    focus: str
    said: str
    idle: tuple[str, ...]
    is_open: bool
    zones: tuple[str, ...]
    currencies: tuple[str, ...]
    screens: tuple[Screen, ...]
    rules: RulesDraft
    kept_now: str
    kept: tuple[tuple[str, tuple[kept_data.Row, ...]], ...]
    network: NetworkForm
    back_ups: BackUpsView


@blueprint.get("/<booth>/set-up")
@owner_only
def show(booth: str) -> ResponseReturnValue:
    """The set-up as it stands."""
    return _page(here.desk_at(booth), said=SAID.get(request.args.get("said", ""), ""))


@blueprint.post("/<booth>/set-up")
@owner_only
def change(booth: str) -> ResponseReturnValue:
    """Add, remove or move a row, which writes nothing yet; or save, which writes one `set_up`."""
    desk = here.desk_at(booth)
    draft, do = read(request.form.to_dict(flat=False)), request.form.get("do", SAVE)
    based_on = request.form.get("based_on", "")
    if do != SAVE:
        return _page(desk, draft=draft, based_on=based_on, focus=changed(draft, do))
    new, errors = built(draft)
    if new is None:
        return _page(desk, draft=draft, errors=errors, based_on=based_on, focus=_first(errors)), 422
    before = _set_up(desk)
    if new == before:
        return redirect(url_for("set_up.show", booth=booth, said="same"), 303)
    if based_on != _mark(before):
        return _page(desk, draft=draft, errors={"form": OVERTAKEN}), 409
    if errors := _other_money(desk, before, new):
        return _page(desk, draft=draft, errors=errors, based_on=based_on, focus=_first(errors)), 409
    try:
        desk.carry_out(Command(f"set-up-{secrets.token_hex(8)}", new))
    except Refused as no:
        return _page(desk, draft=draft, errors={"form": str(no)}, based_on=based_on), 409
    return redirect(url_for("set_up.show", booth=booth, said="saved"), 303)


def _other_money(desk: Desk, before: SetUp, new: SetUp) -> Errors:
    """Why the currency stays: every amount of the journal is a bare number in it."""
    if new.booth.currency == before.booth.currency or not desk.standing(wait_s=0).booth.tickets:
        return {}
    return {
        "booth-currency": f"The orders of this booth are in {before.booth.currency}: keep it. For another currency "
        "start a booth of its own, with another folder (--data)."
    }


@blueprint.post("/<booth>/set-up/house-rules")
@owner_only
def house_rules(booth: str) -> ResponseReturnValue:
    """Write the house rules, or put the usual words and minutes back."""
    desk = here.desk_at(booth)
    if request.form.get("do") == "usual":
        desk.change_house_rules(house_rules_form.usual(desk.house_rules()))
        return redirect(url_for("set_up.show", booth=booth, said="usual-rules", _anchor="house-rules"), 303)
    draft = house_rules_form.read(request.form)
    new, errors = house_rules_form.built(draft)
    if new is None:
        return _page(desk, rules=replace(draft, errors=errors), focus=_first(errors)), 422
    desk.change_house_rules(new)
    return redirect(url_for("set_up.show", booth=booth, said="rules", _anchor="house-rules"), 303)


@blueprint.post("/<booth>/set-up/network")
@owner_only
def network(booth: str) -> ResponseReturnValue:
    """Keep the network that slips invite customers to join; an empty name takes it off."""
    desk = here.desk_at(booth)
    name, password = request.form.get("name", "").strip(), request.form.get("password", "")
    if name:
        try:
            wifi_text(name, password or None)
        except Malformed as wrong:
            where = "network-name" if wrong.field == "ssid" else "network-password"
            form = NetworkForm(name, password, Markup(), {where: str(wrong)})
            return _page(desk, network=form, focus=where), 422
    with desk.store.writing() as connection:
        settings.put(connection, NETWORK_NAME, name)
        settings.put(connection, NETWORK_PASSWORD, password if name else "")
    said = "network" if name else "no-network"
    return redirect(url_for("set_up.show", booth=booth, said=said, _anchor="network"), 303)


def set_up_view(desk: Desk, before: SetUp) -> SetUpView:
    """The page as it is when nothing was typed yet; `before` is the set-up of now."""
    with desk.store.reading() as connection:
        name = settings.get(connection, NETWORK_NAME) or ""
        password = settings.get(connection, NETWORK_PASSWORD) or ""
        of_whom = cards.personal(connection, desk.slug)
    rules = desk.house_rules()
    return SetUpView(
        draft=draft_of(before),
        errors={},
        based_on=_mark(before),
        focus="",
        said="",
        idle=tuple(idle_styles(before)),
        is_open=desk.standing().booth.day is not None,
        zones=("UTC", *sorted(one for one in available_timezones() if "/" in one and not one.startswith("Etc/"))),
        currencies=tuple(sorted(str(one.code) for one in Currency)),
        screens=tuple(_screens(desk.slug, before)),
        rules=house_rules_form.draft_of(rules),
        kept_now=kept_data.kept_now(len(of_whom)),
        kept=kept_data.kept_view(rules, is_on_a_server=not desk.store.is_sqlite),
        network=NetworkForm(name, password, _network_qr(name, password), {}),
        back_ups=back_ups.view_of(here.desks().back_ups, ZoneInfo(before.booth.zone)),
    )


def _page(desk: Desk, **other: object) -> str:
    """The page, with what is different from a fresh one."""
    view = replace(set_up_view(desk, _set_up(desk)), **other)  # type: ignore[arg-type]
    return render_template("set_up.html", view=view, slug=desk.slug)


def _set_up(desk: Desk) -> SetUp:
    found = desk.standing().booth.set_up
    if found is None:  # a booth begins with its set-up, so this cannot be
        raise Refused("The booth has no set-up yet.")
    return found


def _mark(set_up: SetUp) -> str:
    """Names the content of a set-up, so that two people who edit it at once notice."""
    return hashlib.sha256(to_json(print_data(set_up)).encode()).hexdigest()[:16]


def _first(errors: Errors) -> str:
    return "" if "form" in errors else next(iter(errors), "")


def _screens(slug: str, set_up: SetUp) -> list[Screen]:
    tablets, anybody = trust.address_for_tablets(), here.address()
    places = [
        ("Counter", tablets, "counter"),
        *((f"Easel: {artist.name}", tablets, f"easel/{artist.id}") for artist in set_up.artists),
        ("Wall", anybody, "wall"),  # a television can seldom be told to trust a certificate
    ]
    return [_screen(name, f"{address}/{slug}/{place}") for name, address, place in places]


def _screen(name: str, address: str) -> Screen:
    return Screen(name, address, Markup(qr.as_svg(address, title=f"QR to open {name} on another device")))


def _network_qr(name: str, password: str) -> Markup:
    if not name:
        return Markup()
    return Markup(qr.as_svg(wifi_text(name, password or None), title=f"QR to join the Wi-Fi network {name}"))
