"""Every drain of a cohort in figures, each by the rule that judges it."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial

import polars

from slackwater.audit.cohort import Cohort, part_of, read_case
from slackwater.audit.engines import Failed, Over, each
from slackwater.audit.measures import Asked, Measured, measured
from slackwater.errors import UsageError
from slackwater.protocol.rule import Protocol


@dataclass(frozen=True)
class ByRule:
    """Which rule judges which drain: one for all, or each its own by the hash of the rule that was pinned to it."""

    one: Protocol | None = None
    pinned: Mapping[str, Protocol] | None = None

    def of(self, sha256: str | None) -> Protocol | None:
        return self.one if self.one is not None or sha256 is None or self.pinned is None else self.pinned.get(sha256)


def measure(cohort: Cohort, by: ByRule, asked: Asked, over: Over = map) -> Iterator[Measured | Failed]:
    """Every drain of the cohort, in order."""
    yield from each(over, partial(_measured, cohort, by, asked), cohort.drains)


def _measured(cohort: Cohort, by: ByRule, asked: Asked, drain: str) -> Measured:
    case = read_case(cohort.shelf, drain)
    rule = by.of(case.about.protocol_sha256)
    if rule is None:
        what = "has no rule pinned to it that is known here"
        raise UsageError(what, where=drain, mend="Give --protocol.")
    try:
        chart = polars.read_parquet(io.BytesIO(cohort.shelf.get(f"{part_of(drain)}/chart.parquet")))
    except OSError:
        chart = None
    return measured(case, rule, asked, chart)
