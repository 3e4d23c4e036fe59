"""What the forecast said at moments of a past stay, as it would have been told then, and what came.

Each moment is judged anew with what was known by then, so nothing later is in what was told. What came is worked out
looking back, by the same rule; where the record is silent it is told between which moments it came.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars

from slackwater.assessment.assess import assess
from slackwater.assessment.assessment import Assessment
from slackwater.forecast.whole import BY_HOURS, SHARES, Hours
from slackwater.protocol.evaluation import Judged
from slackwater.protocol.status import HOLDS, Codes, Status, all_of_codes
from slackwater.quantities.spans import HOUR_MS, MINUTE_MS

EVERY_MS = 12 * HOUR_MS  # between moments. Ours
MOST = 40  # moments of one stay, 20 days: a moment costs some 50 ms. Ours
WHOLE = "whole"
KINDS = ("signal", "amount", "since")  # measures that can be forecast; the others wait on a person
NO_LOG = "no log by then"

QUANTILES = tuple(f"{name}_h" for name in SHARES)
CHANCES = tuple(f"by_{hours}h" for hours in BY_HOURS)
SCHEMA = {
    "moment_ms": polars.Int64, "data_until_ms": polars.Int64, "whose": polars.String, "measure": polars.String,
    "held": polars.Boolean, **dict.fromkeys((*QUANTILES, *CHANCES), polars.Float64),
    "withheld_because": polars.String, "horizon_h": polars.Float64, "came_h": polars.Float64,
    "followed_h": polars.Float64, "not_before_h": polars.Float64, "numbers": polars.String,
}  # fmt: skip


@dataclass(frozen=True)
class Came:
    """Hours from the end of the data at the moment. came_h: to when the record shows that it held, None: it does not.

    followed_h: where it does not, to the last minute at which the record says so. not_before_h: up to when it surely
    had not come; less than the others where the record is silent in between.
    """

    came_h: float | None
    followed_h: float | None
    not_before_h: float


def forecasts_table(found: Assessment, from_ms: int, until_ms: int, by_ms: int = 0) -> polars.DataFrame:
    """One row a moment for each clause that can be forecast, and for all of them together. Schema: docs/cohort.md.

    found: the stay, judged looking back, as of its end. Empty where no rule for removal judged it.
    """
    rows = []
    if found.overall is not None:
        for moment in range(from_ms + EVERY_MS, min(until_ms, from_ms + EVERY_MS * MOST + 1), EVERY_MS):
            rows += _told(found, moment, until_ms)
    frame = polars.DataFrame(rows, schema=SCHEMA)
    return frame.with_columns(polars.col("moment_ms", "data_until_ms") + by_ms)


def _told(found: Assessment, moment_ms: int, until_ms: int) -> list[dict[str, Any]]:
    """The rows of one moment."""
    assert found.evaluation is not None
    then = assess(
        found.trace.logs if found.trace is not None else (), chart=found.chart, episode=found.episode,
        protocol=found.evaluation.protocol, now_ms=moment_ms, zone=found.zone, model=found.model,
    )  # fmt: skip
    said = then.forecast
    at: dict[str, Any] = {"moment_ms": moment_ms, "data_until_ms": then.data_until_ms}
    if said is None or then.evaluation is None or then.data_until_ms is None:
        return [{**at, "whose": WHOLE, "withheld_because": NO_LOG, "held": False}]
    at |= {"horizon_h": said.horizon_h, "numbers": said.provenance}
    now = {one.id: one for one in then.evaluation.criteria if _can_be(one) and one.id in said.clauses}
    later = {one.id: one.timeline for one in found.evaluation.criteria if one.id in now}

    def row(hours: Hours, whose: str, measure: str | None, timeline: Codes, *, held: bool) -> dict[str, Any]:
        came = came_of(found, timeline, then.data_until_ms or moment_ms, until_ms)
        return {
            **at, "whose": whose, "measure": measure, "held": held, **_hours(hours), "came_h": came.came_h,
            "followed_h": came.followed_h, "not_before_h": came.not_before_h,
        }  # fmt: skip

    rows = [
        row(said.clauses[id_], id_, _measure(one), later[id_], held=one.status in HOLDS) for id_, one in now.items()
    ]
    if now:
        together = all_of_codes(later.values(), found.facts.length)
        rows.append(row(said.whole, WHOLE, None, together, held=all(one.status in HOLDS for one in now.values())))
    return rows


def _can_be(one: Judged) -> bool:
    return one.clause is not None and one.clause.measure.kind in KINDS


def _measure(one: Judged) -> str | None:
    return None if one.clause is None else one.clause.measure_name


def _hours(hours: Hours) -> Mapping[str, Any]:
    quantiles, chances = hours.quantiles or {}, hours.probability_by_hours or {}
    return {
        **{f"{name}_h": quantiles.get(name) for name in SHARES},
        **{f"by_{hour}h": chances.get(hour) for hour in BY_HOURS}, "withheld_because": hours.withheld_because,
    }  # fmt: skip


def came_of(found: Assessment, timeline: Codes, base_ms: int, until_ms: int) -> Came:
    """When it held from `base_ms` on, looking back: `timeline` is its status at the end of every minute of the stay.

    What the record cannot tell counts for neither; a clause that is no longer asked ends what is known of it.
    """
    start = found.facts.grid_start_ms
    behind = int(np.clip((until_ms - start) // MINUTE_MS, 0, len(timeline)))
    first = max((base_ms - start) // MINUTE_MS - 1, 0)  # the last minute that had ended by then
    codes = timeline[first:behind]

    def hours(k: int) -> float:
        return max((start + (first + k + 1) * MINUTE_MS - base_ms) / HOUR_MS, 0.0)

    met = np.flatnonzero(np.isin(codes, HOLDS))
    other = np.flatnonzero(codes != Status.NOT_MET)
    not_met = np.flatnonzero(codes == Status.NOT_MET)
    last = hours(int(not_met[-1])) if len(not_met) else 0.0
    sure = hours(int(other[0])) if len(other) else last
    return Came(hours(int(met[0])), None, sure) if len(met) else Came(None, last, min(sure, last))
