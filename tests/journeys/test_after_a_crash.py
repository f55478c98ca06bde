"""The power goes in mid-stage: what was acknowledged is there, what ran runs on, and no page has to be reloaded."""

from __future__ import annotations

import shutil
import time

from playwright.sync_api import expect

from portraitq.core.timing import stage_times
from tests.journeys.conftest import Screens
from tests.journeys.orders import (
    ARTIST,
    a_phone_photo,
    counter_of,
    easel_of,
    large_field,
    order,
    phone_with,
    photo_address,
    wall_of,
)
from tests.journeys.screens import Screen
from tests.journeys.served import Journal, Served

ONE_STAGE_S = 3.5  # taps closer than 3 s are taken for one burst that catches up what was forgotten


def test_after_a_kill_in_mid_stage_everything_is_found_and_the_portrait_is_finished(
    served: Served, screens: Screens
) -> None:
    counter = counter_of(served, screens("counter"))
    easel = easel_of(served, screens("easel"))
    wall = wall_of(served, screens("wall", 1920, 1080))
    given = order(counter, a_phone_photo())
    phone = phone_with(given.address, screens("phone", 360, 740, is_mobile=True))
    large_field(easel, "I am here")
    large_field(easel, "Start number 1")
    tapped_s = time.monotonic()
    large_field(easel, "Layout done")
    phone.says("Stage 2 of 3: Likeness.")
    began_s = time.monotonic()
    expect(wall.part(".wall__easels")).to_contain_text("Likeness")
    followers = (easel, wall, phone)
    before = {screen.name: (screen.loads, screen.lines) for screen in followers}

    the_power_goes(served, (counter, *followers))
    served.start()

    everything_is_found(served, easel, photo_address(easel), screens("second easel"))
    for screen in followers:
        screen.wait_for_its_line()
    draw_on(easel, began_s)
    at_least_s = time.monotonic() - began_s
    large_field(easel, "Likeness done")
    phone.says("Stage 3 of 3: Shading and signature.")
    at_most_s = time.monotonic() - tapped_s
    expect(wall.part(".wall__easels")).to_contain_text("Shading and signature")
    draw_on(easel, time.monotonic())
    large_field(easel, "Signed: rack it")
    large_field(easel, "A1")
    expect(wall.part(".wall__ready .number")).to_have_text("1")
    phone.says("It is ready")
    for screen in followers:  # by themselves: over a new line, in the same page
        loads, lines = before[screen.name]
        assert screen.loads == loads
        assert screen.lines > lines
    journal = served.journal()
    assert journal.wrongly_kept([*counter.acknowledged, *easel.acknowledged]) == []
    the_stages_took(journal, at_least_s, at_most_s)
    assert "database: sound" in served.command_line("check")


def the_power_goes(served: Served, screens: tuple[Screen, ...]) -> None:
    """kill -9, and every page knows that its line is dead."""
    for screen in screens:
        screen.may_be_cut_off = True
    served.kill()
    for screen in screens:
        screen.wait_until(lambda screen=screen: not screen.is_connected())  # type: ignore[misc]


def everything_is_found(served: Served, easel: Screen, photo: str, second: Screen) -> None:
    """A page loaded anew shows the same stage in hand, the photo, and the way on: nobody signs in again for it."""
    assert easel.context.request.get(photo).ok
    second.context.add_cookies(easel.context.cookies())  # type: ignore[arg-type]
    second.open(f"{served.booth}/easel/{ARTIST}")
    expect(second.part("[data-main]:visible")).to_contain_text("Likeness done")
    expect(second.part(".sketch__head .number")).to_have_text("1")
    photo_address(second)


def draw_on(easel: Screen, since_s: float) -> None:
    """Let the stage last long enough to be measured by itself."""
    easel.wait_until(lambda: time.monotonic() - since_s > ONE_STAGE_S)


def the_stages_took(journal: Journal, at_least_s: float, at_most_s: float) -> None:
    """The hand drew on while the service was down: that time counts as drawn, and no other."""
    ticket = journal.booth.tickets["T1"]
    measured = {one.stages: one.total_s for one in stage_times(ticket, journal.booth.days)}
    assert ticket.place == "ready"
    assert [event.data.stage for event in journal.of_kind("stage_done", "T1")] == ["layout", "likeness", "shading"]
    assert at_least_s <= measured[("likeness",)] <= at_most_s


def test_a_tap_on_the_easel_while_the_service_is_down_is_sent_once_with_its_age(
    served: Served, screens: Screens
) -> None:
    ticket = served.order()["ticket"]
    served.do("artist_in", artist=ARTIST, by=f"easel:{ARTIST}")
    easel = easel_of(served, screens("easel"))
    large_field(easel, "Start number 1")
    easel.wait_until(lambda: len(easel.acknowledged) == 1)
    the_power_goes(served, (easel,))

    before_s = time.monotonic()
    large_field(easel, "Layout done")
    tapped_s = time.monotonic()
    expect(easel.part("#unsent")).to_contain_text("1 tap is not sent yet")
    expect(easel.part("[data-main]:visible")).to_contain_text("Likeness done")  # the hand goes on meanwhile
    down_s = time.monotonic() - tapped_s
    served.start()
    expect(easel.part("#unsent")).to_be_hidden()
    easel.wait_until(lambda: len(easel.acknowledged) == 2)

    sent = served.journal().of_kind("stage_done", ticket)
    assert [event.data.stage for event in sent] == ["layout"]
    assert [event.id for event in sent] == easel.acknowledged[1:]
    assert down_s <= sent[0].ago_s <= time.monotonic() - before_s


def test_when_a_backup_is_put_back_an_open_wall_shows_what_the_backup_knows(served: Served, screens: Screens) -> None:
    served.order()
    served.stop()
    data, backup = served.folder / "data", served.folder / "backup"
    shutil.copytree(data, backup)
    served.start()
    wall = wall_of(served, screens("wall", 1920, 1080))
    served.order()
    expect(wall.part(".wall__next .number")).to_have_text(["1", "2"])
    wall.may_be_cut_off = True
    served.stop()
    shutil.rmtree(data)
    backup.rename(data)

    served.start()
    wall.page.evaluate(
        "dispatchEvent(new Event('online'))"
    )  # as a browser says when the network is back: no need to wait

    expect(wall.part(".wall__next .number")).to_have_text(["1"])
    assert wall.loads == 1
