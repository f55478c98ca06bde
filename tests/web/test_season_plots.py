"""The tables beside the charts of a season."""

from __future__ import annotations

import pytest

from portraitq.daybook.earnings import StyleEarns
from portraitq.daybook.ratios import Ratio
from portraitq.web import season_plots


@pytest.mark.parametrize(("easel_s", "said"), [(2 * 3390, "57 min"), (2 * 7440, "2 h 04 min"), (2 * 2070, "35 min")])
def test_the_time_of_a_portrait_is_said_as_every_other_time_is(easel_s: int, said: str):
    earns = StyleEarns("ink-head", 2, 0, easel_s / 3600, 3600, Ratio(1, 1912.0, None))

    table = season_plots.styles([earns], ["Ink head"], "EUR", "").table

    assert table is not None
    assert table.rows[0][3] == said
