"""The pack as tidy tables: a row a figure, and a row a drain."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import polars

from slackwater.audit.figures import Figure
from slackwater.audit.measures import Asked, Measured
from slackwater.audit.pack import Pack


def drains_table(drains: Sequence[Measured], asked: Asked) -> polars.DataFrame:
    """One row a drain; an empty cell is not known. It holds single drains: it is no part of what may be passed on."""
    return polars.DataFrame([_row(one, asked) for one in drains], infer_schema_length=None)


def _row(one: Measured, asked: Asked) -> dict[str, Any]:
    told, kept = one.avoidable, None if one.chart is None else list(one.chart.kept.values())
    row: dict[str, Any] = {
        "drain": one.about.drain, "patient": one.about.patient, "order": one.about.order, "ward": one.about.ward,
        "indication": one.about.indication, "operation": one.about.operation, "rule": one.rule, "pinned": one.pinned,
        "removal": one.removal, "in_h": one.in_h, "drain_days": one.drain_days, "tube_days": one.tube_days,
        "first_met_h": one.first_met_h, "met_to_end_h": one.met_to_end_h,
        "avoidable_h": None if told is None else told.surely_h,
        "avoidable_at_most_h": None if told is None else told.at_most_h,
        "avoidable_day_h": None if told is None else told.by_day_h,
        "held_h": None if told is None else float(sum(told.held_h.values())),
        "at_removal": None if one.at_removal is None else one.at_removal.word, "reason_given": one.reason_given,
        "logged_h": one.logged_h, "blocked_stretches": one.blocked,
        "suction_within_min": None if one.suction is None else one.suction.within,
        "suction_outside_min": None if one.suction is None else one.suction.outside,
        "suction_untold_min": None if one.suction is None else one.suction.untold,
        "occasions_due": None if kept is None else sum(k.due for k in kept),
        "occasions_on_time": None if kept is None else sum(k.on_time for k in kept),
        "silence_h": None if one.chart is None else one.chart.silence_h,
    }  # fmt: skip
    for ask, found in zip(asked.leaks, one.leaks, strict=True):
        row |= {f"leak_beyond_{ask.days}d": found.outcome, f"leak_last_{ask.days}d_h": found.last_h}
    row |= {f"back_within_{days}d": known for days, known in one.back.items()}
    return row


def figures_table(told: Pack) -> polars.DataFrame:
    """One row a figure, tidy: what is kept back or cannot be told is empty, and says which."""
    rows = [
        {
            "key": one.key, "figure": one.title, "heading": heading,
            "value": one.estimate.value, "low": one.estimate.low, "high": one.estimate.high,
            "unit": one.unit, "level": one.estimate.level, "method": one.estimate.method,
            "n": one.n, "of": one.of, "not_known": one.untold, "kept_back": one.kept_back, "note": one.note,
        }
        for heading, figures in (*told.figures, *_borne_out(told))
        for one in figures
    ]  # fmt: skip
    return polars.DataFrame(rows, infer_schema_length=None)


def _borne_out(told: Pack) -> Iterator[tuple[str, tuple[Figure, ...]]]:
    """Figures that stand beside a picture on the page, under their headings."""
    for part in told.forecast.groups:
        yield f"The forecast, told against came: {part.title.lower()}", part.figures
    if told.against is not None and told.against.scores is not None:
        yield "Risks of a prolonged leak, told against came", told.against.scores.figures


def forecasts_table(told: Pack) -> polars.DataFrame:
    """One row a mark of the picture: chances told against what came."""
    rows = [
        {
            "whose": group.key, "within_h": one.hours, "chance_from": one.low, "chance_to": one.high,
            "forecasts": one.forecasts, "drains": one.drains, "told": one.told, "came": one.came.value,
            "low": one.came.low, "high": one.came.high, "kept_back": one.drains is None,
        }
        for group in told.forecast.groups
        for one in group.marks
    ]  # fmt: skip
    return polars.DataFrame(rows, schema=FORECASTS)


FORECASTS = {
    "whose": polars.String, "within_h": polars.Int64, "chance_from": polars.Float64, "chance_to": polars.Float64,
    "forecasts": polars.Int64, "drains": polars.Int64, "told": polars.Float64, "came": polars.Float64,
    "low": polars.Float64, "high": polars.Float64, "kept_back": polars.Boolean,
}  # fmt: skip

COLUMNS = {
    "figures": {
        "key": "name of the definition, or begins with it", "figure": "in words", "heading": "in words",
        "value": "in `unit`", "low": "in `unit`, end of the interval", "high": "in `unit`, end of the interval",
        "unit": "h hours, d days, min minutes, % per cent", "level": "of the interval", "method": "of the interval",
        "n": "how many `of` it rests on", "of": "what is counted", "not_known": "how many more were asked",
        "kept_back": "small numbers", "note": "in words",
    },
    "forecasts": {
        "whose": "kind of clause, or all that can be forecast", "within_h": "h", "chance_from": "0 to 1",
        "chance_to": "0 to 1", "forecasts": "count", "drains": "count", "told": "mean chance, %",
        "came": "share to which it came, %", "low": "%, end of the interval", "high": "%, end of the interval",
        "kept_back": "small numbers",
    },
    "drains": {
        "drain": "pseudonym", "patient": "pseudonym", "order": "by connection", "ward": "", "indication": "",
        "operation": "", "rule": "that judged it", "pinned": "whether that rule was pinned to it", "removal": "kind",
        "in_h": "h", "drain_days": "24 h", "tube_days": "days of the calendar", "first_met_h": "h from connection",
        "met_to_end_h": "h from connection", "avoidable_h": "h, surely", "avoidable_at_most_h": "h",
        "avoidable_day_h": "h, of the sure ones", "held_h": "h under a coded hold", "at_removal": "how the rule stood",
        "reason_given": "for a removal against the rule", "logged_h": "h", "blocked_stretches": "count",
        "suction_within_min": "min", "suction_outside_min": "min", "suction_untold_min": "min, not known",
        "occasions_due": "count", "occasions_on_time": "count", "silence_h": "h",
        "leak_beyond_*d": "yes, no, followed no further, cannot tell", "leak_last_*d_h": "h from the operation's end",
        "back_within_*d": "another drain in the same space",
    },
}  # fmt: skip
