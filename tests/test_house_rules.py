"""A booth's own rules, kept beside its journal."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from pydantic import ValidationError

from portraitq import house_rules
from portraitq.house_rules import HouseRules
from portraitq.store import settings
from portraitq.store.store import Store, open_store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(tmp_path)
    yield opened
    opened.close()


def test_a_booth_that_wrote_none_has_the_usual_ones_and_each_booth_its_own(store: Store) -> None:
    own = HouseRules(between="Wash the brush.", rest_after_min=0, care="", keep_h=3)

    with store.writing() as connection:
        house_rules.put(connection, "quayside", own)

        assert house_rules.of(connection, "quayside") == own
        assert house_rules.of(connection, "arcade") == HouseRules()


def test_rules_that_cannot_be_read_any_more_give_way_to_the_usual_ones_and_are_told(
    store: Store, caplog: pytest.LogCaptureFixture
) -> None:
    with store.writing() as connection:
        settings.put(connection, "house-rules:quayside", '{"keep_h": "for ever"}')

        assert house_rules.of(connection, "quayside") == HouseRules()

    assert "house rules of quayside cannot be read" in caplog.text


@pytest.mark.parametrize(
    "wrong", [{"keep_h": 0}, {"keep_h": 73}, {"rest_after_min": -1}, {"care": "x" * 401}, {"passed_over_most": 21}]
)
def test_rules_out_of_range_are_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        HouseRules(**wrong)  # type: ignore[arg-type]
