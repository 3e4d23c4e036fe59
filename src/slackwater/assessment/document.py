"""The assessment as one JSON object: the same for every screen, sheet and export."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import numpy as np

from slackwater.assessment.assessment import Assessment, LeakNow
from slackwater.assessment.suction_steps import Side
from slackwater.forecast.whole import Forecast, Hours
from slackwater.protocol.evaluation import Judged, Span, Value
from slackwater.trace.types import Trace

SCHEMA = "slackwater-assessment-1"


def stamp(ms: int | None) -> str | None:
    """An instant as ISO 8601 in UTC with Z; whole seconds unless it has a fraction.

    >>> stamp(0)
    '1970-01-01T00:00:00Z'
    """
    if ms is None:
        return None
    moment = datetime.fromtimestamp(ms // 1000, UTC)
    fraction = f".{ms % 1000:03d}" if ms % 1000 else ""
    return f"{moment:%Y-%m-%dT%H:%M:%S}{fraction}Z"


def number(value: float | None) -> float | None:
    """A float for JSON: None for 'not known' and 'no bound', never NaN; -0 is 0."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), 6) + 0.0


def document(found: Assessment) -> dict[str, Any]:
    """The JSON object of `assessment.schema.json`. Times are UTC; quantities carry their unit."""
    judged = found.evaluation
    rule = judged.protocol if judged is not None else None
    removal = judged is not None and bool(judged.protocol.removal)
    return {
        "schema": SCHEMA,
        "as_of": stamp(found.as_of_ms),
        "as_of_last_reading": found.as_of_last_reading,
        "data_until": stamp(found.data_until_ms),
        "drain": _drain(found),
        "protocol": None
        if rule is None
        else {
            "name": rule.name, "version": rule.version, "status": rule.status, "sha256": rule.sha256,
            "approved_by": rule.approved_by, "source": rule.source, "guards_waived": rule.guards_waived,
        },
        "population": None
        if judged is None
        else {"status": judged.population.status.word, "reasons": list(judged.population.reasons)},
        "overall": found.overall.word if found.overall is not None else None,
        "met_since": stamp(judged.met_since_ms) if judged is not None and removal else None,
        "first_met": stamp(judged.first_met_ms) if judged is not None and removal else None,
        "guards": _all(judged.guards, found) if judged is not None else [],
        "criteria": _all(judged.criteria, found) if judged is not None else [],
        "step_down": {
            "overall": judged.step_down_overall.word if judged.step_down_overall is not None else None,
            "criteria": _all(judged.step_down, found),
        }
        if judged is not None
        else None,
        "escalation": _all(judged.escalation, found) if judged is not None else [],
        "warnings": list(found.warnings),
        "waiting_for": list(found.waiting_for),
        "schedule": [
            {
                "item": due.item, "every_s": due.every_s, "last": stamp(due.last_ms), "due": stamp(due.due_ms),
                "overdue": due.overdue, "because": due.because or None,
            }
            for due in found.schedule
        ],
        "leak": _leak(found.leak),
        "forecast": _forecast(found.forecast),
        "suction_steps": [
            {
                "at": stamp(step.at_ms), "minutes": step.minutes, "before": _side(step.before),
                "after": _side(step.after),
            }
            for step in found.suction_steps
        ],
        "ledger": _ledger(found),
        "history": _history(found.trace),
        "notes": _notes(found),
        "cautions": [{"id": caution.id, "text": caution.text} for caution in found.cautions],
    }  # fmt: skip


def _drain(found: Assessment) -> dict[str, Any]:
    episode = found.episode
    return {
        "patient": episode.patient_id, "number": episode.drain_number, "side": episode.side, "space": episode.space,
        "site": episode.site, "connected_at": stamp(episode.connected_at),
    }  # fmt: skip


def _all(parts: tuple[Judged, ...], found: Assessment) -> list[dict[str, Any]]:
    return [_judged(part, found) for part in parts]


def _judged(part: Judged, found: Assessment) -> dict[str, Any]:
    clause = part.clause
    out: dict[str, Any] = {
        "id": part.id,
        "status": part.status.word,
        "value": _value(part.value),
        "limit": clause.limit_text if clause is not None else None,
        "since": stamp(part.since_ms),
        "needs": [{"what": need.what, "by_when": stamp(need.by_ms)} for need in part.needs],
        "evidence": [_span(span, found) for span in part.evidence],
        "note": part.note or None,
    }
    if clause is not None:
        out |= {"measure": clause.measure_name, "scope": clause.scope, "is": clause.comparison, "source": clause.source}
        out |= {"say": clause.say} if clause.say else {}
    if part.run is not None:
        out["run"] = {
            "since": stamp(part.run.since_ms),
            "lasted_s": number(part.run.seconds),
            "possibly_s": number(part.run.possible_seconds),
            "needed_s": number(part.run.needed_seconds),
            "covered": number(part.run.covered),
            "missing_minutes": part.run.missing_minutes,
        }
    return out


def _value(value: Value | None) -> dict[str, Any] | None:
    if value is None:
        return None
    if value.word is not None or (not value.unit and value.low is None):
        return {"word": value.word}
    return {"low": number(value.low), "high": number(value.high), "unit": value.unit}


def _span(span: Span, found: Assessment) -> dict[str, Any]:
    rows = rows_of(span, found)
    return {"from": stamp(span.from_ms), "to": stamp(span.to_ms), "why": span.why or None, "rows": rows}


def rows_of(span: Span, found: Assessment) -> list[dict[str, Any]]:
    """The rows that a stretch of evidence rests on: {file, from_line, to_line}; neighbours in the chart as one."""
    rows: list[dict[str, Any]] = []
    for line in sorted(set(span.lines)):
        if rows and line == rows[-1]["to_line"] + 1:
            rows[-1]["to_line"] = line
        else:
            rows.append({"file": found.chart.name, "from_line": line, "to_line": line})
    if span.traced and found.trace is not None:
        rows += _rows(found.trace, span.from_ms, span.to_ms)
    return rows


def _rows(trace: Trace, from_ms: int, to_ms: int) -> list[dict[str, Any]]:
    """The lines of each log whose readings overlap the stretch."""
    first = int(np.searchsorted(trace.end_ms, from_ms, side="right"))
    last = int(np.searchsorted(trace.start_ms, max(to_ms, from_ms + 1), side="left"))
    found = []
    for index in np.unique(trace.log[first:last]):
        lines = trace.line[first:last][trace.log[first:last] == index]
        found.append({"file": trace.logs[int(index)].name, "from_line": int(lines.min()), "to_line": int(lines.max())})
    return found


def _leak(leak: LeakNow) -> dict[str, Any]:
    return {
        "state": leak.state, "p": number(leak.p), "limit": number(leak.limit), "low": number(leak.low),
        "mid": number(leak.mid), "high": number(leak.high), "unit": "mL/min", "pattern": leak.pattern,
        "pattern_says": leak.pattern_says or None, "reason": leak.reason, "at": stamp(leak.at_ms),
    }  # fmt: skip


def _forecast(estimate: Forecast | None) -> dict[str, Any]:
    """Hours from `data_until` by clause and for all clauses that can be forecast."""
    if estimate is None:
        why = "without a removal rule and a log there is nothing to forecast"
        return {
            "clauses": {}, "withheld": {}, "whole": None, "probability_by_hours": None, "withheld_because": why,
            "waiting_on_person": [], "outlasts_day_5": None, "horizon_h": None, "provenance": None,
        }  # fmt: skip
    late = estimate.outlasts_day_5
    return {
        "clauses": {
            id_: None if hours.quantiles is None else {**hours.quantiles, "probability_by_hours": _by(hours)}
            for id_, hours in estimate.clauses.items()
        },
        "withheld": {id_: h.withheld_because for id_, h in estimate.clauses.items() if h.withheld_because},
        "whole": None if estimate.whole.quantiles is None else dict(estimate.whole.quantiles),
        "probability_by_hours": _by(estimate.whole),
        "withheld_because": estimate.whole.withheld_because,
        "waiting_on_person": list(estimate.waiting_on_person),
        "outlasts_day_5": {
            "chance": late.chance, "clock": late.clock, "at": stamp(late.at_ms),
            "withheld_because": late.withheld_because,
        },
        "horizon_h": estimate.horizon_h,
        "provenance": estimate.provenance,
    }  # fmt: skip


def _side(side: Side | None) -> dict[str, Any] | None:
    if side is None:
        return None
    return {
        "from": stamp(side.from_ms), "to": stamp(side.to_ms), "pressure_cmh2o": number(side.pressure),
        "flow_ml_per_min": number(side.flow), "largest_ml_per_min": number(side.largest),
        "conductance_ml_per_min_per_cmh2o": number(side.conductance),
    }  # fmt: skip


def _by(hours: Hours) -> dict[str, float] | None:
    if hours.probability_by_hours is None:
        return None
    return {str(hour): chance for hour, chance in hours.probability_by_hours.items()}


def _ledger(found: Assessment) -> dict[str, Any]:
    ledger, chart = found.ledger, found.chart
    return {
        "rows_read": ledger.read, "used": ledger.used, "refused": ledger.refused, "duplicate": ledger.duplicate,
        "conflicting": ledger.conflicting,
        "first_refused": [{"line": row.line, "column": row.column, "why": row.why} for row in ledger.first_refused],
        "logs": [{"name": log.name, "sha256": log.sha256} for log in (found.trace.logs if found.trace else ())],
        "chart": {
            "name": chart.name or None, "sha256": chart.sha256 or None, "rows_read": chart.read, "used": chart.used,
            "refused": chart.refused, "duplicate": chart.duplicate, "conflicting": chart.conflicting,
        },
    }  # fmt: skip


def _history(trace: Trace | None) -> list[Mapping[str, Any]]:
    if trace is None:
        return []
    return [
        {"name": step.name, "version": step.version, "arguments": step.arguments, "touched": step.touched}
        for step in trace.history
    ]


def _notes(found: Assessment) -> list[str]:
    notes = [*found.notes, *found.chart.notes]
    for log in found.trace.logs if found.trace else ():
        notes += [f"{log.name}: {note}" for note in log.notes]
    return notes
