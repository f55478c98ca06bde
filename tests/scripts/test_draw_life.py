"""The picture of a ticket's life in DEVELOPERS.md is the one that rules the booth."""

import pytest

from portraitq.core.life import LIFE
from scripts.draw_life import BEGINS, ENDS, ROOT, drawn_life, life_in, with_life


def test_developers_md_shows_the_life_as_it_is():
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")

    assert life_in(page) == f"\n{drawn_life()}", "run `python scripts/draw_life.py --write`"


def test_every_step_of_the_table_is_drawn_once():
    assert drawn_life().count(" → ") == sum(len(follows) for follows in LIFE.values())


def test_an_older_life_is_replaced_and_the_rest_of_the_page_stays():
    page = f"# Title\n\n{BEGINS}\nan older life\n{ENDS}\n\nThe rest.\n"

    assert with_life(page) == f"# Title\n\n{BEGINS}\n{drawn_life()}{ENDS}\n\nThe rest.\n"


@pytest.mark.parametrize("page", ["", BEGINS, ENDS, f"{ENDS} {BEGINS}", f"{BEGINS} {ENDS} {ENDS}"])
def test_a_page_without_its_marks_is_refused(page: str):
    with pytest.raises(ValueError, match="once each, in this order"):
        with_life(page)
