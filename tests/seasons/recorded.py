"""The oracle's figures of the seasons that `test_scores.py` looks at, for to compute them takes it too long.

    python -m tests.seasons.recorded

writes `oracle.json` again; needed when a truth, the simulation or the oracle has changed.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

from portraitq.forecast.replay import QuoteRow
from portraitq.forecast.score import score_rows
from tests.seasons.compare import CONFIDENCE, PROCESSES, part
from tests.seasons.oracle import oracle_rows
from tests.seasons.simulate import Season, simulate
from tests.seasons.truths import TRUTHS

SEED = 4
RECORDED = tuple(name for name in TRUTHS if name != "three-easels")  # with 62 visitors a day it takes as long as four
PATH = Path(__file__).with_name("oracle.json")


def recorded() -> dict[str, dict[str, float]]:
    """Name of a truth -> figures of the oracle on its season."""
    found: dict[str, dict[str, float]] = json.loads(PATH.read_text(encoding="utf-8"))
    return found


def figures(season: Season, rows: Sequence[QuoteRow]) -> dict[str, Any]:
    """Of quotes on that season: mean CRPS in seconds, share of quantiles and promises kept, KS, how many and lines."""
    whole = score_rows(rows, CONFIDENCE)
    first, after = (score_rows(part(season.events, rows, is_first), CONFIDENCE) for is_first in (True, False))
    return {
        "lines": len(season.events),
        "n": whole["n"],
        "first_n": first["n"],
        "crps_s": round(whole["crps_s"], 3),
        "first_crps_s": round(first["crps_s"], 3),
        "after_crps_s": round(after["crps_s"], 3),
        "first_kept": round(first["quantile_kept"], 4),
        "after_kept": round(after["quantile_kept"], 4),
        "promise_kept": round(whole["promise_kept"], 4),
        "ks": round(whole["ks"], 4),
    }


def of_oracle(name: str) -> dict[str, Any]:
    """The oracle's figures on that truth's season."""
    season = simulate(TRUTHS[name], SEED)
    return figures(season, oracle_rows(season))


def main() -> None:
    """Write them all."""
    with ProcessPoolExecutor(PROCESSES) as workers:
        found = dict(zip(RECORDED, workers.map(of_oracle, RECORDED), strict=True))
    PATH.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
