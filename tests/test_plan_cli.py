"""`portraitq plan` as somebody types it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from portraitq.desk import Desks
from portraitq.store.store import open_store
from tests.test_cli import portraitq
from tests.web.test_plan import BOOTH, CHALK, INK, a_fortnight

QUICKLY = ("--days", "20")


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plan")
    desks = Desks(open_store(folder))
    desks.import_journal("quay", a_fortnight().lines)
    desks.close()
    return folder


def test_it_prints_the_day_on_stdout_and_nothing_else(store: Path):
    result = portraitq("plan", "--data", store, "--from", "10:00", "--to", "13:00", "--orders", "3,4,5", *QUICKLY)

    assert result.exit_code == 0
    assert result.stdout.startswith("About ")
    assert "What else" in result.stdout
    assert result.stderr == ""


def test_the_same_seed_gives_the_same_figures_as_json(store: Path):
    typed = ("plan", "--data", store, "--like", "saturday", "--times", "1.5", "--easels", "a1", "--json", *QUICKLY)

    once, again, other = (json.loads(portraitq(*typed, "--seed", seed).stdout) for seed in ("7", "7", "8"))

    assert once == again
    assert once["figures"] != other["figures"]
    assert once["artists"] == ["a1"]
    assert once["learned"] == {"days": 1, "asked": 4, "told": 0}
    assert {each["kind"] for each in once["alternatives"]} == {"easel", "style"}


def test_everything_that_can_be_typed_arrives(store: Path):
    typed = ["--style-mix", f"{INK}=0.7,{CHALK}=0.3", "--sitters", "0.9,0.1", "--price", f"{INK}=20"]
    typed += ["--try-price", f"{INK}=25", "--break", "a1=13:00-13:30", "--patience", "endless", "--confidence", "0.9"]

    found = json.loads(portraitq("plan", "--data", store, *typed, "--json", *QUICKLY).stdout)

    assert found["confidence"] == pytest.approx(0.9)
    assert found["figures"]["left"]["mean"] == 0
    assert [each["what"] for each in found["alternatives"] if each["kind"] == "price"] == [INK]


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (("--from", "noon"), "a time such as 18:00"),
        (("--orders", "3,4"), "9 numbers were expected"),
        (("--orders", "3", "--like", "saturday"), "give one of them"),
        (("--like", "2031-01-01"), "a day that the booth traded on"),
        (("--easels", "a9"), "a1, a2 were expected"),
        (("--style-mix", "ink-head"), "ink-head=0.6"),
        (("--try-price", "oil=3"), "ink-head, chalk-half were expected"),
        (("--days", "0"), "a number from 1 to 5000"),
        (("--confidence", "85"), "a share from 0.5 to 0.99 was expected, not '85'"),
    ],
)
def test_what_is_typed_wrong_is_wrong_usage(store: Path, wrong: tuple[str, ...], said: str):
    result = portraitq("plan", "--data", store, *wrong)

    assert result.exit_code == 2
    assert said in result.stderr
    assert result.stdout == ""


def test_a_booth_that_is_not_there_is_refused(store: Path, tmp_path: Path):
    assert portraitq("plan", "--data", store, "--booth", "pier").exit_code == 1
    assert portraitq("plan", "--data", tmp_path / "empty").exit_code == 1
    assert len(BOOTH.days) == 2
