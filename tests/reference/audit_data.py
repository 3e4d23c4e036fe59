"""The tables that the statistics of an audit are held against; sources and licences in the NOTICE.md beside each."""

from __future__ import annotations

import csv
import gzip
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from slackwater.audit.statistics.ends import Ends, count_ends

REAL = Path(__file__).parents[1] / "data" / "real"
Column = NDArray[np.float64]


def table(name: str) -> list[dict[str, str]]:
    with gzip.open(REAL / f"{name}.csv.gz", "rt", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def numbers(rows: list[dict[str, str]], name: str) -> Column:
    return np.array([float(row[name]) for row in rows])


def computed_in_r() -> Any:
    return json.loads((REAL / "survival_reference" / "reference_values.json").read_text("utf-8"))


@dataclass(frozen=True, eq=False)
class Cohort:
    times: NDArray[np.int64]
    ends: NDArray[np.int64]
    group: list[str]
    causes: int

    def counts(self, group: str | None = None) -> Ends:
        chosen = np.array([group in (None, name) for name in self.group])
        return count_ends(self.times[chosen], self.ends[chosen], self.causes)


def lung() -> Cohort:
    """Days; 1 dead."""
    rows = table("survival_reference/lung")
    dead = numbers(rows, "status") == 2
    return Cohort(numbers(rows, "time").astype(np.int64), dead.astype(np.int64), [row["sex"] for row in rows], 1)


def mgus2() -> Cohort:
    """Months; 1 progressed, 2 dead without."""
    rows = table("survival_reference/mgus2")
    progressed = numbers(rows, "pstat") == 1
    times = np.where(progressed, numbers(rows, "ptime"), numbers(rows, "futime")).astype(np.int64)
    ends = np.where(progressed, 1, 2 * numbers(rows, "death")).astype(np.int64)
    return Cohort(times, ends, [row["sex"] for row in rows], 2)


def melanoma() -> Cohort:
    """Days; 1 dead of it, 2 dead of another cause."""
    rows = table("survival_reference/melanoma")
    status = numbers(rows, "status").astype(np.int64)
    return Cohort(numbers(rows, "time").astype(np.int64), status, [row["sex"] for row in rows], 2)
