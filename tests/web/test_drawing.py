"""What the template is told about a photo to draw from, and that the tools are the same for hand, key and menu."""

from __future__ import annotations

import re
from io import BytesIO

import pytest

from portraitq.photo import views
from portraitq.photo.face import read_faces
from portraitq.photo.intake import take_in
from portraitq.store.photos import PhotoRef
from portraitq.web import drawing
from portraitq.web.drawing import TOOLKIT, drawn
from portraitq.web.views import render_view
from tests.web.conftest import Web, jpeg

OF_THE_PEDAL = {"PageDown", "PageUp", "ArrowUp", "ArrowDown", "ArrowLeft", "ArrowRight", "Enter", "Space", "P"}
OF_PRESENTERS = {"B", ".", "F5", "Escape"}  # black screen, slide show
TWO_FACES = "[[0.1,0.2,0.2,0.3],[0.6,0.2,0.2,0.3]]"


def easel_html(web: Web) -> str:
    with web.app.app_context():
        return render_view("easel", web.desk, "a1", web.desk.standing(wait_s=10)).html


@pytest.mark.parametrize(("faces", "eyes"), [("", 1), ("[[0.1,0.2,0.2,0.3]]", 1), (TWO_FACES, 2)])
def test_there_are_eyes_for_each_marked_face_and_for_the_middle_where_none_is_marked(faces: str, eyes: int):
    (photo,) = drawn([PhotoRef("p1", 900, 1200, faces)])

    assert photo.eyes == eyes
    assert f"eyes-{eyes}" in views.names(read_faces(faces))


def test_the_version_changes_with_the_marked_faces_alone():
    unmarked, marked, again, other = drawn(
        PhotoRef(id, 900, 1200, faces)
        for id, faces in (("p1", ""), ("p1", TWO_FACES), ("p2", TWO_FACES), ("p1", "[[0.1,0.2,0.2,0.3]]"))
    )

    assert marked.version == again.version
    assert len({unmarked.version, marked.version, other.version}) == 3


def test_every_tool_has_a_key_of_its_own_and_none_of_the_pedals():
    keys = [tool.key for tool in TOOLKIT.all]

    assert len(set(keys)) == len(keys)
    assert not (OF_THE_PEDAL | OF_PRESENTERS) & set(keys)


def test_every_picture_that_the_server_makes_has_a_tool():
    tools = {tool.name for tool in TOOLKIT.tools}

    assert {name for name in views.names(()) if not name.startswith("eyes")} | {"eyes", "colours"} <= tools


def test_a_phone_finds_every_page_of_tools_in_two_rows_of_four():
    on_page = {
        page: [tool for tool in (*TOOLKIT.tools, *TOOLKIT.sides) if tool.page == page] for page, _ in TOOLKIT.pages
    }

    assert {page: len(tools) <= 8 for page, tools in on_page.items()} == {"look": True, "lines": True, "zoom": True}
    assert sum(map(len, on_page.values())) == len(TOOLKIT.tools) + len(TOOLKIT.sides)


def test_the_menu_tells_every_key(web: Web):
    web.sign_in()

    menu = web.client.get("/quay/easel/a1").get_data(as_text=True)

    told = re.findall(r"<kbd>(.+?)</kbd>", menu[menu.index("Keys for the photo") :])
    assert told == [tool.key.replace("<", "&lt;") for tool in TOOLKIT.all]


def test_without_a_photo_there_are_no_tools(web: Web):
    web.order()

    html = easel_html(web)

    assert "drawn from life" in html
    assert "data-tool=" not in html


def test_a_photo_brings_its_tools_its_size_and_its_version(web: Web):
    ticket = web.order()
    id = web.desk.add_photo(ticket, take_in(BytesIO(jpeg(900, 1200))))

    html = easel_html(web)

    (photo,) = drawn(web.desk.photo_refs([ticket])[ticket])
    place = re.search(rf'<div class="sketch__photo" data-photo="{id}"[^>]*>', html)
    assert place is not None
    for said in ('data-width="900"', 'data-height="1200"', 'data-eyes="1"', f'data-version="{photo.version}"'):
        assert said in place[0]
    for tool in TOOLKIT.tools:
        assert f'data-tool="{tool.name}"' in html


def test_a_picture_is_never_part_of_the_fragment(web: Web):
    """A push goes to whoever watches; the picture itself goes only to who asks for it signed in."""
    ticket = web.order()
    web.desk.add_photo(ticket, take_in(BytesIO(jpeg())))

    html = easel_html(web)

    assert "<img" not in html
    assert "base64" not in html


def test_tools_that_stay_say_so_to_a_screen_reader(web: Web):
    ticket = web.order()
    web.desk.add_photo(ticket, take_in(BytesIO(jpeg())))

    html = easel_html(web)

    for tool in TOOLKIT.tools:
        button = re.search(rf'<button[^>]*data-tool="{re.escape(tool.name)}"[^>]*>', html)
        assert button is not None
        assert ("aria-pressed" in button[0]) is (tool.kind == drawing.STAYS)
