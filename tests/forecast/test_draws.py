"""Chance by name."""

import numpy as np
import pytest

from portraitq.forecast.draws import exponential_rows, exponentials, normal_rows, normals

ROWS = ("normals T1", normals("T1", 6)), ("exponentials T1", exponentials("T1", 6)), ("normals T2", normals("T2", 6))


def test_a_name_always_gets_the_same_draws_and_another_name_others():
    assert np.array_equal(normals("T1", 3), normals("T1", 3))
    assert not np.array_equal(normals("T1", 3), normals("T2", 3))


def test_asked_for_more_the_first_rows_stay():
    assert np.array_equal(normals("T1", 9)[:4], normals("T1", 4))


def test_every_row_has_one_draw_in_each_stratum():
    row = np.sort(normals("T1", 1, 1000)[0])

    # the standard normal's own quartiles, and its variance but for what the outermost strata lose
    assert row[249:251].mean() == pytest.approx(-0.6744898, abs=0.002)
    assert row.var() == pytest.approx(1, abs=0.01)
    assert np.sort(exponentials("T1", 1, 1000)[0])[499:501].mean() == pytest.approx(np.log(2), abs=0.002)


def test_rows_go_their_own_ways():
    together = np.concatenate([rows for _, rows in ROWS])

    off = np.abs(np.corrcoef(together)[~np.eye(len(together), dtype=bool)])

    assert off.max() < 5 / np.sqrt(together.shape[1])  # 5 standard errors of a correlation of independent draws


def test_rows_in_the_pool_are_the_same_draws_and_nobody_writes_to_them():
    for rows, table in ((normal_rows("T1", 3), normals("T1", 3)), (exponential_rows("T1", 3), exponentials("T1", 3))):
        assert np.array_equal(rows, table)
        assert not any(row.flags.writeable for row in rows)
        assert table.flags.writeable
