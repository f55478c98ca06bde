"""Which rack place is proposed next."""

from __future__ import annotations

from portraitq.core.rack import PLACES_A_ROW, free_places
from tests.builders import a_booth


def test_an_empty_rack_is_filled_from_its_first_place():
    booth = a_booth().booth

    assert free_places(booth, 3) == ("A1", "A2", "A3")


def test_places_where_a_portrait_waits_for_its_customer_are_passed_over():
    told = a_booth().ordered("T1", "T2").drawn("T1", rack="A1").drawn("T2", rack="a3 ")

    assert free_places(told.booth, 3) == ("A2", "A4", "A5")


def test_a_place_is_free_again_once_its_portrait_was_collected():
    told = a_booth().ordered("T1").drawn("T1", rack="A1").collected("T1")

    assert free_places(told.booth, 1) == ("A1",)


def test_a_place_is_free_while_its_portrait_is_touched_up():
    told = a_booth().ordered("T1").drawn("T1", rack="A1").touched_up("T1")

    assert free_places(told.booth, 1) == ("A1",)


def test_a_full_row_leads_to_the_next():
    booth = a_booth().booth

    assert free_places(booth, PLACES_A_ROW + 1)[-1] == "B1"


def test_places_of_the_booths_own_naming_are_no_matter():
    told = a_booth().ordered("T1").drawn("T1", rack="window shelf")

    assert free_places(told.booth, 1) == ("A1",)
