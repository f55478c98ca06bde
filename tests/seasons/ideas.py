"""What each idea of the forecast is worth: seasons forecast again with it switched off.

    python -m tests.seasons.ideas [JOURNAL …] [--idea IDEA …] [--truth TRUTH …] [--seed N …]

A Markdown table, an idea a line: mean CRPS with the idea off over that with all ideas on, after the first two days and
in them, as the mean over the seasons with its standard error, and the season that misses the idea most; the share of
unrounded 85 % quantiles kept after the first two days, its mean and the worst season's distance from 85 %; the KS
distance of the PIT, its mean and the worst. Above 1 the idea helps. Journals are taken beside the simulated seasons;
`--truth` without a name leaves those out. Everything takes eleven minutes of two cores, `--seed 1` five and a half.
"""

from __future__ import annotations

import argparse
import math
import statistics
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from portraitq.core.events import Event
from portraitq.forecast.replay import read_journal, replay
from portraitq.forecast.score import score_rows
from tests.seasons.compare import CONFIDENCE, PROCESSES, part
from tests.seasons.simulate import simulate
from tests.seasons.switches import IDEAS, switched_off
from tests.seasons.truths import TRUTHS

ALL_ON = "all on"
SEEDS = (1, 2)
Where = tuple[str, int | None]  # a truth and its seed, or the path of a journal


@dataclass(frozen=True)
class Figures:
    """One season's, without one idea: mean CRPS in seconds, share of quantiles kept after the first days, KS."""

    first_crps_s: float
    after_crps_s: float
    after_kept: float
    ks: float


def figures(where: Where, idea: str) -> Figures:
    """The figures of that season without that idea, or with all."""
    events = _events(where)
    with switched_off(*([] if idea == ALL_ON else [idea])):
        rows = list(replay(events))
    first, after = (score_rows(part(events, rows, is_first), CONFIDENCE) for is_first in (True, False))
    return Figures(first["crps_s"], after["crps_s"], after["quantile_kept"], score_rows(rows, CONFIDENCE)["ks"])


@lru_cache(maxsize=2)
def _events(where: Where) -> Sequence[Event]:
    name, seed = where
    return read_journal(name) if seed is None else simulate(TRUTHS[name], seed).events


HEADINGS = ("switched off", "after", "worst season", "first two days", "kept after", "off by", "KS", "worst KS")


def row(idea: str, found: dict[Where, Figures], all_on: dict[Where, Figures]) -> list[str]:
    """One line of the table."""
    after = {where: own.after_crps_s / all_on[where].after_crps_s for where, own in found.items()}
    first = [own.first_crps_s / all_on[where].first_crps_s for where, own in found.items()]
    missed = max(after, key=lambda where: after[where])
    kept = [own.after_kept for own in found.values()]
    ks = [own.ks for own in found.values()]
    return [
        idea,
        _mean(list(after.values())) if idea != ALL_ON else "1",
        f"{_named(missed)} {after[missed]:.3f}" if idea != ALL_ON else "",
        _mean(first) if idea != ALL_ON else "1",
        f"{statistics.fmean(kept):.3f}",
        f"{max(abs(each - CONFIDENCE) for each in kept):.3f}",
        f"{statistics.fmean(ks):.3f}",
        f"{max(ks):.3f}",
    ]


def _mean(ratios: Sequence[float]) -> str:
    error = statistics.stdev(ratios) / math.sqrt(len(ratios)) if len(ratios) > 1 else math.nan
    return f"{statistics.fmean(ratios):.3f} ± {error:.3f}"


def _named(where: Where) -> str:
    name, seed = where
    return Path(name).stem if seed is None else f"{name} {seed}"


def _line(cells: Sequence[str]) -> str:
    return f"| {' | '.join(cells)} |"


def main() -> None:
    """Read the command line, forecast, print."""
    read = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    read.add_argument("journals", nargs="*", metavar="JOURNAL", help="past journals, taken as seasons too")
    read.add_argument("--idea", nargs="+", choices=IDEAS, default=list(IDEAS), metavar="IDEA", help="; ".join(IDEAS))
    read.add_argument("--truth", nargs="*", choices=TRUTHS, default=list(TRUTHS), metavar="TRUTH")
    read.add_argument("--seed", type=int, nargs="+", default=list(SEEDS), help="one season of each truth a seed")
    asked = read.parse_args()
    seasons: list[Where] = [(path, None) for path in asked.journals]
    seasons += [(name, seed) for name in reversed(asked.truth) for seed in asked.seed]  # the longest stand last
    ideas = [ALL_ON, *asked.idea]
    jobs = [(where, idea) for where in seasons for idea in ideas]
    with ProcessPoolExecutor(PROCESSES) as workers:
        found: dict[tuple[Where, str], Figures] = {}
        for job, own in zip(jobs, workers.map(figures, *zip(*jobs, strict=True)), strict=True):
            found[job] = own
            print(f"\r{len(found)} of {len(jobs)}", end="", file=sys.stderr, flush=True)
    of_idea = {idea: {where: found[where, idea] for where in seasons} for idea in ideas}
    rows = [row(idea, of_idea[idea], of_idea[ALL_ON]) for idea in ideas]
    rows[1:] = sorted(rows[1:], key=lambda cells: cells[1], reverse=True)
    print(file=sys.stderr)
    print("\n".join(map(_line, (HEADINGS, ["---"] * len(HEADINGS), *rows))))


if __name__ == "__main__":
    main()
