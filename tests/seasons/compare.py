"""The forecast beside the oracle and the plain ways, on simulated seasons.

    python -m tests.seasons.compare [TRUTH …] [--seed N …] [--without IDEA …] [--json] [--worst N]

One line a season: CRPS of the forecast over the oracle's, in the first two days and after; over "mean × place" and the
best of the three plain ways (whole season); the share of unrounded quantiles and of rounded promises kept; the KS
distance of the PIT, and in brackets the oracle's own. The oracle's rows do not depend on the forecast: they are kept in
the temporary folder under a hash of the truth, the seed and the source of these modules. `--worst N` also lists the
tickets that cost the forecast most beside the oracle: one that is carried over the night outweighs a day's quotes.
`--without IDEA` does without ideas of the forecast; `ideas.py` tries them one after the other.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import pickle
import statistics
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path

from portraitq.core.events import DayOpened, Event
from portraitq.forecast.promise import LEVELS
from portraitq.forecast.replay import QuoteRow, replay
from portraitq.forecast.score import FIRST_DAYS, plain_ways, score_rows
from tests.seasons.oracle import oracle_rows
from tests.seasons.simulate import Season, simulate
from tests.seasons.switches import IDEAS, switched_off
from tests.seasons.truth import Truth
from tests.seasons.truths import TRUTHS

CONFIDENCE = 0.85
PROCESSES = 2
KEPT_IN = Path(tempfile.gettempdir()) / "portraitq-seasons"
SOURCES = "|".join(  # read as the modules are, so that an edit meanwhile is not taken for what runs
    (Path(__file__).parent / name).read_text(encoding="utf-8")
    for name in ("laws.py", "truth.py", "simulate.py", "oracle.py")
)


@dataclass(frozen=True)
class Compared:
    """The figures of one season; ratios of CRPS, shares kept, KS distances, seconds of earliness."""

    name: str
    seed: int
    n: int
    crps_s: float
    oracle_crps_s: float
    first_to_oracle: float
    after_to_oracle: float
    to_mean_by_place: float
    to_best_plain: float
    after_to_best_plain: float
    best_plain: str
    first_kept: float
    after_kept: float
    oracle_after_kept: float
    promise_kept: float
    earliness_s: float
    ks: float
    oracle_ks: float
    worst: tuple[str, ...] = ()


def compare(truth: Truth, seed: int, worst: int = 0, without: Sequence[str] = ()) -> Compared:
    """Simulate that season and score the forecast (without some of its ideas), the oracle and the plain ways on it."""
    season = simulate(truth, seed)
    with switched_off(*without):
        ours = list(replay(season.events))
    oracle, plain_rows = kept_oracle_rows(season), plain_ways(season.events)
    plain = {way: _crps(rows) for way, rows in plain_rows.items()}
    best = min(plain, key=lambda way: plain[way])
    later_plain = min(_crps(part(season.events, rows, False)) for rows in plain_rows.values())
    first, after = (part(season.events, ours, is_first) for is_first in (True, False))
    oracle_first, oracle_after = (part(season.events, oracle, is_first) for is_first in (True, False))
    all_of, whole = score_rows(ours, CONFIDENCE), score_rows(oracle, CONFIDENCE)
    return Compared(
        name=truth.name,
        seed=seed,
        n=all_of["n"],
        crps_s=all_of["crps_s"],
        oracle_crps_s=whole["crps_s"],
        first_to_oracle=_crps(first) / _crps(oracle_first),
        after_to_oracle=_crps(after) / _crps(oracle_after),
        to_mean_by_place=all_of["crps_s"] / plain["mean × place"],
        to_best_plain=all_of["crps_s"] / plain[best],
        after_to_best_plain=_crps(after) / later_plain,
        best_plain=best,
        first_kept=score_rows(first, CONFIDENCE)["quantile_kept"],
        after_kept=score_rows(after, CONFIDENCE)["quantile_kept"],
        oracle_after_kept=score_rows(oracle_after, CONFIDENCE)["quantile_kept"],
        promise_kept=all_of["promise_kept"],
        earliness_s=all_of["earliness_s"],
        ks=all_of["ks"],
        oracle_ks=whole["ks"],
        worst=tuple(_costliest(ours, oracle)[:worst]) if worst else (),
    )


def _costliest(ours: Sequence[QuoteRow], oracle: Sequence[QuoteRow]) -> list[str]:
    """The scored tickets, those first whose CRPS is furthest above the oracle's, each in a line."""
    said = {row.ticket: row for row in oracle}
    pairs = [(mine, said[mine.ticket]) for mine in ours if mine.ready_at]
    costs = sorted(((_crps([mine]) - _crps([theirs]), mine, theirs) for mine, theirs in pairs), key=lambda c: -c[0])
    return [
        f"  {mine.ticket:>5} {mine.at:%d %H:%M} ready {mine.ready_at:%d %H:%M}, {cost:.0f} s more; 10, 50, 90 %: "
        f"ours {_said(mine)}, oracle {_said(theirs)}"
        for cost, mine, theirs in costs
    ]


def _said(row: QuoteRow) -> str:
    return ", ".join(f"{row.quantiles[LEVELS.index(level)]:%d %H:%M}" for level in (0.1, 0.5, 0.9))


def kept_oracle_rows(season: Season) -> list[QuoteRow]:
    """The oracle's rows of that season, computed once for each state of the sources."""
    said = f"{season.truth!r}|{season.seed}|{SOURCES}"
    path = KEPT_IN / f"{hashlib.sha256(said.encode()).hexdigest()[:24]}.pickle"
    if path.exists():
        found: list[QuoteRow] = pickle.loads(path.read_bytes())
        return found
    rows = oracle_rows(season)
    KEPT_IN.mkdir(exist_ok=True)
    unfinished = path.with_suffix(f".{season.seed}.part")
    unfinished.write_bytes(pickle.dumps(rows))
    unfinished.replace(path)
    return rows


def _crps(rows: Sequence[QuoteRow]) -> float:
    return float(score_rows(rows, CONFIDENCE)["crps_s"])


def part(events: Sequence[Event], rows: Sequence[QuoteRow], is_first: bool) -> list[QuoteRow]:
    """The rows of the first two days of trading, or those after."""
    opened = [event.happened_at for event in events if isinstance(event.data, DayOpened)]
    if len(opened) <= FIRST_DAYS:
        return list(rows)
    return [row for row in rows if (row.at < opened[FIRST_DAYS]) == is_first]


HEADINGS = (
    f"{'season':<22}{'n':>5}{'CRPS s':>8}{'oracle':>8}{'first':>8}{'after':>8}{'×place':>8}{'best':>7}{'(after)':>8}"
    f"{'q first':>9}{'q after':>9}{'(orc)':>8}{'promise':>9}{'early s':>9}{'KS':>7}{'(orc)':>8}"
)


def line(found: Compared) -> str:
    """One season as a line of the table."""
    return (
        f"{found.name + ' ' + str(found.seed):<22}{found.n:>5}{found.crps_s:>8.0f}{found.oracle_crps_s:>8.0f}"
        f"{found.first_to_oracle:>8.2f}{found.after_to_oracle:>8.3f}{found.to_mean_by_place:>8.2f}"
        f"{found.to_best_plain:>7.2f}{found.after_to_best_plain:>8.2f}{found.first_kept:>9.3f}{found.after_kept:>9.3f}"
        f"{found.oracle_after_kept:>8.3f}{found.promise_kept:>9.3f}{found.earliness_s:>9.0f}{found.ks:>7.3f}"
        f"{found.oracle_ks:>8.3f}"
    )


def summary(found: Sequence[Compared]) -> str:
    """Means and worst of the seasons."""
    mean = statistics.fmean
    return (
        f"mean of {len(found)} seasons: first {mean(c.first_to_oracle for c in found):.3f}, after "
        f"{mean(c.after_to_oracle for c in found):.3f} (worst {max(c.after_to_oracle for c in found):.3f}), "
        f"×place worst {max(c.to_mean_by_place for c in found):.2f}, "
        f"best plain worst {max(c.to_best_plain for c in found):.2f}, "
        f"quantile kept first {mean(c.first_kept for c in found):.3f}, after {mean(c.after_kept for c in found):.3f} "
        f"({min(c.after_kept for c in found):.3f}–{max(c.after_kept for c in found):.3f}; oracle "
        f"{mean(c.oracle_after_kept for c in found):.3f}, {min(c.oracle_after_kept for c in found):.3f}–"
        f"{max(c.oracle_after_kept for c in found):.3f}), KS worst {max(c.ks for c in found):.3f} (oracle "
        f"{max(c.oracle_ks for c in found):.3f})"
    )


def main() -> None:
    """Read the command line, compare, print."""
    read = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    read.add_argument("names", nargs="*", metavar="TRUTH", help=f"of {', '.join(TRUTHS)}; left out, all")
    read.add_argument("--seed", type=int, nargs="+", default=[1], help="one season a seed; default 1")
    read.add_argument("--json", action="store_true", help="print a list of objects instead of the table")
    read.add_argument("--worst", type=int, default=0, help="so many tickets of each season that cost most")
    read.add_argument("--without", nargs="+", choices=IDEAS, default=[], metavar="IDEA", help="; ".join(IDEAS))
    asked = read.parse_args()
    unknown = [name for name in asked.names if name not in TRUTHS]
    if unknown:
        read.error(f"there is no truth called {unknown[0]}; there are {', '.join(TRUTHS)}")
    seasons = [
        (TRUTHS[name], seed, asked.worst, asked.without) for name in asked.names or TRUTHS for seed in asked.seed
    ]
    found = []
    with ProcessPoolExecutor(PROCESSES) as workers:
        if not asked.json:
            print(HEADINGS, flush=True)
        for compared in workers.map(compare, *zip(*seasons, strict=True)):
            found.append(compared)
            if not asked.json:
                print("\n".join((line(compared), *compared.worst)), flush=True)
    print(json.dumps([asdict(each) for each in found], ensure_ascii=False, indent=1) if asked.json else summary(found))


if __name__ == "__main__":
    main()
