"""Every drain of a cohort in figures, each by the rule that judges it."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from functools import partial

import polars

from slackwater.audit.cohort import Cohort, part_of, read_case
from slackwater.audit.engines import Failed, Over, each
from slackwater.audit.measures import Asked, Measured, measured
from slackwater.audit.rules import ByRule


def measure(cohort: Cohort, by: ByRule, asked: Asked, over: Over = map) -> Iterator[Measured | Failed]:
    """Every drain of the cohort, in order."""
    yield from each(over, partial(_measured, cohort, by, asked), cohort.drains)


def _measured(cohort: Cohort, by: ByRule, asked: Asked, drain: str) -> Measured:
    case = read_case(cohort.shelf, drain)
    rule = by.needed(case.about.protocol_sha256, drain)
    try:
        chart = polars.read_parquet(io.BytesIO(cohort.shelf.get(f"{part_of(drain)}/chart.parquet")))
    except OSError:
        chart = None
    return measured(case, rule, asked, chart)


def forecasts_kept(cohort: Cohort, drains: Iterable[Measured]) -> polars.DataFrame | None:
    """What was foretold of these drains, with `drain` and `patient`; None where the cohort keeps nothing of the kind.

    It was told by the rule that stood then, whichever rule judges the drain now.
    """
    parts = []
    for one in drains:
        try:
            kept = polars.read_parquet(io.BytesIO(cohort.shelf.get(f"{part_of(one.about.drain)}/forecasts.parquet")))
        except OSError:
            continue
        if kept.is_empty():
            continue
        whose = (polars.lit(one.about.drain).alias("drain"), polars.lit(one.about.patient).alias("patient"))
        parts.append(kept.with_columns(*whose))
    return polars.concat(parts) if parts else None
