"""How often a waiting portrait was passed over, told move by move."""

from portraitq.core.booth import import_lines
from portraitq.core.passed_over import begun_before, in_order, passed_over
from tests.builders import Told, a_booth, a_set_up, artist


def three() -> Told:
    return a_booth(a_set_up(artists=[artist("a1", "ink-head")])).ordered("T1", "T2", "T3")


def test_where_nothing_was_moved_nobody_is_passed_over():
    assert passed_over(three().drawn("T1").booth) == {"T2": 0, "T3": 0}


def test_a_later_order_put_before_two_passes_both_and_is_not_passed_itself():
    assert passed_over(three().moved("T3", "T1").booth) == {"T3": 0, "T1": 1, "T2": 1}


def test_an_earlier_order_moved_down_is_passed_by_those_behind_which_it_went():
    assert passed_over(three().moved("T1").booth) == {"T2": 0, "T3": 0, "T1": 2}


def test_an_earlier_order_put_before_a_later_one_passes_nobody():
    told = three().moved("T3", "T1").moved("T2", "T3")

    assert passed_over(told.booth) == {"T2": 0, "T3": 0, "T1": 1 + 1}


def test_moving_back_is_as_though_nothing_had_been():
    assert passed_over(three().moved("T3", "T1").moved("T3").booth) == {"T1": 0, "T2": 0, "T3": 0}


def test_who_was_begun_before_it_stays_counted():
    told = three().moved("T3", "T1").drawn("T3").ordered("T4").moved("T4", "T1")

    assert begun_before(told.booth) == {"T4": 0, "T1": 1, "T2": 1}
    assert passed_over(told.booth) == {"T4": 0, "T1": 2, "T2": 2}


def test_a_portrait_that_was_begun_put_back_and_begun_again_counts_once():
    told = three().moved("T3", "T1").started("T3").put_back("T3").started("T3")

    assert passed_over(told.booth) == {"T1": 1, "T2": 1}


def test_what_is_begun_while_the_first_is_held_or_asked_of_another_passes_nobody_over():
    held = three().held("T1").drawn("T2")
    asked = a_booth().ordered("T1", artist="a1").ordered("T2").started("T2", "a2")

    assert passed_over(held.booth) == {"T1": 0, "T3": 0}
    assert passed_over(asked.booth) == {"T1": 0}


def test_a_portrait_put_back_stands_before_those_who_came_earlier_without_passing_them():
    told = three().held("T1").started("T2").put_back("T2")

    assert told.booth.queue == ("T2", "T1", "T3")
    assert passed_over(told.booth) == {"T2": 0, "T1": 0, "T3": 0}


def test_a_move_before_one_that_went_home_long_ago_is_passed_by():
    told = three().moved("T2", "T1").cancelled("T1").drawn("T2").cancelled("T3").ordered("T4", "T5")

    assert passed_over(told.booth) == {"T4": 0, "T5": 0}


def test_another_order_is_counted_beside_what_was_begun():
    told = three().moved("T3", "T1").drawn("T3").ordered("T4", "T5")

    assert in_order(told.booth, ("T5", "T4", "T2", "T1"), begun_before(told.booth)) == {
        "T5": 0,
        "T4": 1,
        "T2": 1 + 2,
        "T1": 1 + 3,
    }


def test_an_empty_queue_has_nobody_to_pass_over():
    assert passed_over(import_lines([])[0]) == {}
