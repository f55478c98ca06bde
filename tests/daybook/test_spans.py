"""Stretches of time, and how many of them are under way at once."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portraitq.daybook.presence import area_s, count
from portraitq.daybook.spans import common, length_s, union, without

BEGINNING = datetime(2026, 6, 6, 9, tzinfo=UTC)


def minutes(begins: float, ends: float):
    return BEGINNING + timedelta(minutes=begins), BEGINNING + timedelta(minutes=ends)


spans = st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)).map(lambda pair: minutes(min(pair), max(pair))))


@given(spans, spans)
def test_what_is_common_and_what_is_left_make_the_whole(these, those):
    whole = length_s(union(these))

    assert length_s(common(these, those)) + length_s(without(these, those)) == pytest.approx(whole)
    assert common(without(these, those), those) == []


@given(spans)
def test_the_area_under_the_count_is_the_sum_of_the_lengths(these):
    # Little's law, Operations Research 9 (1961), 383–387, in its finite form
    from_at, to_at = minutes(0, 60)

    area = area_s(count(these, from_at, to_at), to_at)

    assert area == pytest.approx(sum((ends_at - begins_at).total_seconds() for begins_at, ends_at in these))


@pytest.mark.parametrize(
    ("ends", "flow_min"), [((20, 35, 35, 45, 60, 50, 80, 70), 247), ((20, 35, 37, 47, 64, 54, 86, 76), 271)]
)
def test_eight_customers_at_two_easels(ends, flow_min: int):
    # Eight customers, two servers, first free first, without turnaround and with 2 min of it; worked by hand: they
    # arrive at 0 0 5 10 12 30 31 60 and need 20 35 15 10 25 5 30 10 min
    stays = [minutes(begins, end) for begins, end in zip((0, 0, 5, 10, 12, 30, 31, 60), ends, strict=True)]
    from_at, to_at = minutes(0, max(ends))

    assert area_s(count(stays, from_at, to_at), to_at) == flow_min * 60
    assert sum((ends_at - begins_at).total_seconds() for begins_at, ends_at in stays) == flow_min * 60
