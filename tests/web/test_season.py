"""Days and seasons as the booth's people see them."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

import pytest

from portraitq import kept_days
from portraitq.daybook import plots
from tests.builders import Told
from tests.daybook.evening import quay_day
from tests.daybook.quick_season import a_season
from tests.web.conftest import Web, make_web

SEASON = a_season(12, portraits=5, seed=3).lines


@pytest.fixture(scope="module")
def web(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Web]:
    """One service for all of these, which only look: `season` is a booth of 12 days."""
    made = make_web(tmp_path_factory.mktemp("season"))
    made.desks.import_journal("season", SEASON)
    yield made
    made.app.extensions["portraitq-live"].close()
    made.desks.close()


@pytest.fixture(autouse=True)
def nothing_is_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pictures are `tests/daybook/test_plots.py`'s; here their sentences and tables are read."""
    monkeypatch.setattr("portraitq.web.charts.svg", lambda plot: "<svg></svg>")


def text_of(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html.replace("\u00a0", " ").replace("&#39;", "'")))


def opened(web: Web, asked: str = "", slug: str = "season") -> str:
    web.sign_in()
    answer = web.client.get(f"/{slug}/daybook/season{asked}")
    assert answer.status_code == 200
    return answer.get_data(as_text=True)


def test_it_is_not_for_strangers(web: Web):
    answer = web.app.test_client().get("/quay/daybook/season")

    assert answer.status_code == 303
    assert "/sign-in" in answer.headers["Location"]


def test_before_the_first_day_is_closed_it_says_what_will_stand_there(web: Web):
    web.sign_in()

    page = text_of(web.client.get("/quay/daybook/season").get_data(as_text=True))

    assert "No day has been closed yet" in page


@pytest.mark.parametrize(
    "asked", ["?with=range&from=0001-01-01", "?with=range&to=9999-12-31", "?with=day&from=0001-01-01"]
)
def test_days_at_the_ends_of_the_calendar_are_only_days_without_trading(web: Web, asked: str):
    assert "The other: from" in opened(web, asked)


def test_no_level_of_heading_is_left_out(web: Web):
    assert '<h2 class="answer__question">' in opened(web)
    assert '<h3 class="answer__question">' in opened(web, "?with=artist")


def test_six_questions_are_answered_with_n_and_intervals(web: Web):
    page = text_of(opened(web))

    assert "1 Apr – 12 Apr 2026" in page
    assert "12 days of trading." in page
    for question in ("How much is drawn?", "Does the pace change?", "Was the word kept?", "Who leaves?",
                     "Which hours pay?", "What does each style earn?"):  # fmt: skip
        assert question in page
    finished = sum('"kind":"finished"' in line for line in SEASON)
    assert f"{finished} portraits in all; 95 % interval of the mean" in page
    assert f"{finished / 12:.1f} portraits a day" in page


def test_the_hand_worked_day_says_its_figures_and_claims_nothing(web: Web):
    web.desks.import_journal("hand-worked", quay_day().lines)

    page = text_of(opened(web, slug="hand-worked"))

    assert "5.0 portraits a day" in page
    assert "5 portraits in all; too few days for an interval." in page
    assert "1 day: too few to tell a trend (5 are needed)." in page
    assert "50 % of promises kept" in page  # 3 of 6, as on the day's own page
    assert "Said 85 %: too few to tell" in page
    # T3 was told 65 min; the one who left was told nothing
    assert "Told over an hour, or less: 1 and 6, too few to hold against each other (10 each are needed)." in page
    assert "An hour counts once it was open on 3 days." in page
    assert "€101.00" in page


def test_the_days_are_added_up_in_a_sentence_and_under_their_table(web: Web):
    lines = [json.loads(line) for line in SEASON]
    cents = sum(line["data"]["amount"] for line in lines if line["kind"] == "paid")
    finished = sum(line["kind"] == "finished" for line in lines)
    left = sum(line["kind"] == "walked_away" for line in lines)
    asked = left + sum(line["kind"] == "ordered" for line in lines)

    page = opened(web)

    together = text_of(re.findall("<tfoot>(.*?)</tfoot>", page, re.DOTALL)[-1])
    assert f"€{cents / 100:,.2f} came in, €{cents / 1200:,.2f} (€" in text_of(page)
    assert together.strip().startswith(f"Together {finished} €{cents / 100:,.2f} ")
    assert f" {left} of {asked} " in together
    one_day = opened(web, "?from=2026-04-01&to=2026-04-01")
    assert "<tfoot>" not in one_day
    assert re.search(r"€[\d,.]+ came in\.", text_of(one_day))


def test_each_day_leads_to_its_own_page(web: Web):
    page = opened(web)

    found = re.findall(r'href="(/season/daybook\?day=[\d-]+)"', page)

    assert len(found) == 12
    assert web.client.get(found[0]).status_code == 200


def test_every_chart_says_n_and_has_its_table(web: Web):
    page = opened(web)

    charts = re.findall(r'<figure class="chart-of" id="([\w-]+)">(.*?)</figure>', page, re.DOTALL)

    assert [name for name, _ in charts] == ["throughput", "pace-0", "pace-1", "ahead", "left", "hours", "styles"]
    for name, chart in charts:
        assert re.search(r"\bn = [\d,]+", chart), name
        assert "<tbody>" in chart, name


def test_of_one_artist_only_what_is_theirs_is_told(web: Web):
    page = text_of(opened(web, "?artist=a2"))

    assert "12 days with Easel a2 at the easel." in page
    assert "Who leaves?" not in page
    assert "Easel a2: measured time against the guess" in page
    assert "Easel a1: measured time against the guess" not in page


def test_two_ranges_stand_beside_each_other_the_days_before_unless_asked(web: Web):
    page = text_of(opened(web, "?with=range&from=2026-04-07&to=2026-04-12"))

    assert "7 Apr – 12 Apr 2026 beside 1 Apr – 6 Apr 2026" in page
    assert "n = 6 days and 6 days." in page
    assert "Of those who asked, left" in page
    assert re.search(r"Takings a day €[\d.]+ €[\d.]+ [+−]€[\d.]+ \([+−]€[\d.]+ to [+−]€[\d.]+\) may be luck", page)


def test_a_day_stands_beside_the_same_weekday_before_without_an_interval_of_days(web: Web):
    page = text_of(opened(web, "?with=day&from=2026-04-11"))

    assert "11 Apr 2026 beside 4 Apr 2026" in page
    assert "A day has no scatter of days" in page
    assert re.search(r"Portraits finished a day \d\.0 \d\.0 [+−]\d\.\d too few to tell", page)


def test_two_artists_stand_beside_each_other(web: Web):
    page = text_of(opened(web, "?with=artist&artist=a2"))

    assert "Easel a2 beside Easel a1" in page
    assert "Paid for what was finished on a day" in page
    assert "Of those who asked, left" not in page


def test_days_on_both_sides_are_told(web: Web):
    page = text_of(opened(web, "?with=range&from=2026-04-01&to=2026-04-08&other_from=2026-04-05&other_to=2026-04-12"))

    assert "4 days are on both sides" in page


def test_days_on_which_the_booth_did_not_trade_are_empty_not_wrong(web: Web):
    page = text_of(opened(web, "?from=2025-01-01&to=2025-12-31"))

    assert "0 days of trading." in page
    assert "The booth did not trade on these days." in page


def test_the_day_that_is_open_is_not_counted_and_that_is_said(web: Web):
    told = Told().set_up(at="08:00").day_opened().artist_in("a1").ordered("T1").day_closed()
    told = told.day_opened(day="2026-06-07").artist_in("a1").ordered("T2")
    web.desks.import_journal("open", told.lines)

    page = text_of(opened(web, slug="open"))

    assert "1 day of trading. The day that is still open is not counted." in page


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("?from=yesterday", "from: a day such as 2026-06-06 was expected, not 'yesterday'."),
        ("?to=2026-13-01", "to: a day such as 2026-06-06 was expected"),
        ("?artist=nobody", "artist: an artist of this booth was expected (a1, a2), not 'nobody'."),
        ("?with=weather", "with: day, range, artist or nothing was expected."),
    ],
)
def test_what_cannot_be_meant_is_refused_in_one_sentence(web: Web, asked: str, said: str):
    opened(web)

    answer = web.client.get(f"/season/daybook/season{asked}")

    assert answer.status_code == 422
    assert said in text_of(answer.get_data(as_text=True))


def test_a_second_look_reckons_the_last_day_alone(web: Web, monkeypatch: pytest.MonkeyPatch):
    opened(web)
    reckoned = []
    real = kept_days.summary_of
    monkeypatch.setattr(kept_days, "summary_of", lambda *given: (reckoned.append(given[1].day), real(*given))[1])

    opened(web)

    assert reckoned == ["2026-04-12"]


def test_a_long_season_is_shown_week_by_week(web: Web):
    from portraitq.daybook.attendance import attendances
    from portraitq.daybook.day_summary import summary_of
    from portraitq.daybook.days import days_of
    from portraitq.daybook.season import season_of
    from portraitq.daybook.touched import tickets_of
    from portraitq.web.season_plots import throughput

    told = a_season(50, portraits=2)
    booth, days = told.booth, days_of(told.booth)
    among = tickets_of(booth, days, {day.day for day in days})
    season = season_of(
        summary_of(booth, day, among[day.day].values(), attendances(told.events), told.at) for day in days
    )

    plot = throughput(season)

    points = next(part for part in plot.parts if isinstance(part, plots.Points))
    assert plot.x.label == "Week from"
    assert points.xs[:2] == ("30 Mar", "6 Apr")  # 1 April 2026 is a Wednesday
    assert sum(int(row[1]) for row in plot.table.rows) == 50
