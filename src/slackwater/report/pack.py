"""The picture's data, ready for JSON: minutes for the first sight, every single reading once, packed.

Nothing is smoothed and what is missing is null, never 0. Times are UTC ms; suction is negative.
"""

from __future__ import annotations

from datetime import tzinfo
from typing import Any

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.assessment import Assessment
from slackwater.episode.space import entries_for
from slackwater.leak.state import LeakTrace
from slackwater.leak.words import REASONS, STATES, WAYS_OPEN
from slackwater.protocol.rule import Clause
from slackwater.quantities.spans import DAY_MS, MINUTE_MS, format_span
from slackwater.reading.zones import Zone, zone
from slackwater.report.columns import Column, column, size_of
from slackwater.report.extent import minutes_shown, not_judged
from slackwater.report.fluid import fluid_record, fluid_steps
from slackwater.report.marks import marks
from slackwater.report.runs import runs
from slackwater.report.told import hourly_table, picture_sentence
from slackwater.report.words import REASON_SENTENCES, REASON_WORDS, amount
from slackwater.trace.types import NONE, Trace

__all__ = ["SCRIPTS", "STYLES", "hourly_table", "packed", "picture_sentence"]

# What a page needs of `assets` to show the picture, in this order.
SCRIPTS = ("uplot/uPlot.iife.min.js", "lanes-data.js", "lanes-paint.js", "lanes.js")
STYLES = ("uplot/uPlot.min.css", "lanes.css")

FORMAT = "slackwater-lanes-1"
MOST_LEVELS = 60_000  # different flows that are kept as printed; a log with more is drawn in tenths of 1 mL/min (ours)
BYTES_A_READING = 500_000 / 432_000  # aimed at: half a megabyte for five days at one reading a second (ours)
PRESSURE_STEPS = (100, 200, 500)  # thousandths of cmH2O; the first is drawn unless the pack would be too large (ours)
STATE_WORDS = {"cannot_tell": "cannot tell", "quiet": "below limit", "leaking": "leaking"}


def packed(found: Assessment, ward: tzinfo | None = None, *, readings: bool = True) -> dict[str, Any]:
    """Everything that the lanes draw. `ward`: whose clock they show; None: the assessment's own.

    Without `readings` only minutes: a tenth of the work, and what the first sight needs.
    """
    start, count = minutes_shown(found)
    until = start + max(count, 1) * MINUTE_MS
    why_not = not_judged(found)
    return {
        "format": FORMAT,
        "from": start,
        "until": until,
        "data_until": found.data_until_ms,
        "as_of": found.as_of_ms,
        "zone": _offsets(_ward(found, ward), start, until),
        "limit": _limit(found),
        "judged_against": _judged_against(found),
        "not_judged": why_not,
        "words": {
            "states": [STATE_WORDS[word] for word in STATES],
            "reasons": [[word, REASON_WORDS[word], REASON_SENTENCES[word]] for word in REASONS],
            "open": [_OPEN[word] for word in WAYS_OPEN],
        },
        "minutes": {"count": count, **_minutes(found.leak_trace, count, judged=why_not is None)},
        "readings": _readings(found.trace, start, until) if readings else None,
        "suction": {"ordered": ordered(found)},
        "fluid": _fluid(found),
        "events": [
            {"at": mark.at_ms, "kind": mark.kind, "words": mark.words, "rank": mark.rank}
            for mark in marks(found)
            if start <= mark.at_ms <= until
        ],
        "runs": [
            {
                "from": run.from_ms, "until": run.until_ms, "needed_s": run.needed_s, "now": run.now,
                "words": run.words,
            }
            for run in runs(found)
        ],
    }  # fmt: skip


_OPEN = {
    "": "", "swing": "tube shown open by the swing", "air": "tube shown open by air that answers breathing or cough",
    "fluid": "fluid moving", "charted": "tube charted open",
}  # fmt: skip


# --- the ward's clock -----------------------------------------------------------------------------


def _ward(found: Assessment, ward: tzinfo | None) -> Zone:
    if ward is not None:
        return Zone(str(ward), ward)
    own = (found.trace.logs[0].clock_zone if found.trace is not None else "") or "UTC"
    return zone(found.zone if found.zone != "UTC" else str(own))


def _offsets(ward: Zone, start: int, until: int) -> dict[str, Any]:
    """[from when, minutes ahead of UTC] of every offset in force about the stay."""
    first, last = start - 2 * DAY_MS, until + 2 * DAY_MS
    steps = [(first, ward.offset_ms(first)), *((c.at_ms, c.after_ms) for c in ward.changes(first, last))]
    return {"name": ward.name, "offsets": [[at, offset // MINUTE_MS] for at, offset in steps]}


# --- the limit ------------------------------------------------------------------------------------


def _air_clause(found: Assessment) -> Clause | None:
    return None if found.evaluation is None else found.evaluation.protocol.air_clause


def _limit(found: Assessment) -> dict[str, Any] | None:
    """The rule's limit of air leak; None where no rule has one, or none is judged."""
    clause = _air_clause(found)
    if clause is None or clause.limit is None or (found.leak_trace is not None and not_judged(found)):
        return None
    mean = f", {clause.bin_min}-min mean" if clause.bin_min else ", every reading"
    return {
        "ml_per_min": clause.limit, "lasting_s": clause.lasting_s,
        "words": f"{clause.comparison.replace('_', ' ')} {clause.limit_text}",
        "more": f"{clause.comparison.replace('_', ' ')} {clause.limit_text}{mean}"
        + (f" for {format_span(clause.lasting_s)}" if clause.lasting_s else ""),
    }  # fmt: skip


def _judged_against(found: Assessment) -> str:
    """What 'leaking' and 'below limit' are held against."""
    if found.leak_trace is None:
        return ""
    limit = f"{amount(found.leak_trace.limit_ml_per_min)} mL/min"
    return limit if _limit(found) is not None else f"{limit} (one step of the display, no clinical limit)"


# --- minutes --------------------------------------------------------------------------------------


def _minutes(leak: LeakTrace | None, count: int, *, judged: bool) -> dict[str, Any]:
    """The columns of the minute table that the picture shows; None for one that holds nothing at all."""
    if leak is None:
        names = ("flow", "flow_low", "flow_high", "flow_min", "flow_max", "low", "mid", "high", "pressure", "set",
                 "swing", "covered", "state", "reason", "open")  # fmt: skip
        return dict.fromkeys(names)
    m = leak.minutes
    floats = {
        "flow": (m.flow, 1), "flow_low": (m.flow_low, 3), "flow_high": (m.flow_high, 3), "flow_min": (m.flow_min, 3),
        "flow_max": (m.flow_max, 3), "low": (leak.low, 1), "mid": (leak.mid, 1), "high": (leak.high, 1),
        "pressure": (m.pressure, 1), "set": (m.set_suction, 1), "swing": (leak.breath.swing, 1),
        "covered": (np.floor(m.covered * 100) / 100, 2),
    }  # fmt: skip
    if not judged:
        nothing = np.full(len(m), np.nan)
        floats |= dict.fromkeys(("low", "mid", "high"), (nothing, 0))
    codes = {"state": leak.state, "reason": leak.reason, "open": leak.open_shown}
    return {
        **{name: numbers(values[:count], places) for name, (values, places) in floats.items()},
        **{name: "".join(map(str, code[:count].tolist())) if judged else None for name, code in codes.items()},
    }


def numbers(values: NDArray[np.float64], places: int) -> list[float | None] | None:
    """A column for JSON: null where nothing was recorded, whole numbers short; None if it is all null."""
    if not np.isfinite(values).any():
        return None
    rounded = np.round(values, places) + 0.0
    return [None if v != v else int(v) if v == int(v) else v for v in rounded.tolist()]


# --- single readings ------------------------------------------------------------------------------


def _readings(trace: Trace | None, start: int, until: int) -> dict[str, Any] | None:
    """Every row once: evenly spaced stretches [start, every, count] and the channels in steps of their own."""
    if trace is None:
        return None
    first = int(np.searchsorted(trace.end_ms, start, side="right"))
    shown = slice(first, int(np.searchsorted(trace.start_ms, until, side="left")))
    begins, lasting, held = _stretches(trace.start_ms[shown], trace.end_ms[shown])
    out: dict[str, Any] = {
        "from": start, "rows": int(held.sum()),
        "begins": column(begins - start), "every_ms": column(lasting), "held": column(held),
        "flow": _flow(trace.flow_ul_per_min[shown]),
        "flow_max": None if trace.flow_max_ul_per_min is None else _flow(trace.flow_max_ul_per_min[shown]),
    }  # fmt: skip
    left = BYTES_A_READING * out["rows"] - packed_size(out)
    out["pressure"] = None if trace.pressure_mcmh2o is None else _pressure(trace.pressure_mcmh2o[shown], left)
    return out


def _stretches(
    start_ms: NDArray[np.int64], end_ms: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """(begin, length of a row, number of rows) of each stretch of rows as long as one another with nothing between."""
    lasting = end_ms - start_ms
    fresh = np.ones(len(lasting), dtype=np.bool_)
    fresh[1:] = (start_ms[1:] != end_ms[:-1]) | (lasting[1:] != lasting[:-1])
    first = np.flatnonzero(fresh)
    return start_ms[first], lasting[first], np.diff(first, append=len(lasting))


def _flow(values: NDArray[np.int32]) -> dict[str, Any]:
    told = _in_levels(values, 1)
    return told if len(told["levels"]) <= MOST_LEVELS else _in_levels(values, 100)


def _pressure(values: NDArray[np.int32], most_bytes: float) -> dict[str, Any]:
    """In tenths of cmH2O; more coarsely where that takes more room than is left. Words never rest on it."""
    for step in PRESSURE_STEPS:
        told = _in_levels(values, step)
        if size_of(told["at"]) <= most_bytes:
            break
    return told


def _in_levels(values: NDArray[np.int32], step: int) -> dict[str, Any]:
    """Which of the different values each row holds, counted from 1; 0 is none."""
    none = values == NONE
    levels, at = np.unique(np.rint(values[~none] / step).astype(np.int64), return_inverse=True)
    index = np.zeros(len(values), dtype=np.int64)
    index[~none] = at + 1
    return {"levels": [round(level * step / 1000, 3) for level in levels.tolist()], "at": column(index)}


def packed_size(readings: dict[str, Any]) -> int:
    """Bytes of all columns before base64."""
    found: list[Column] = [readings[name] for name in ("begins", "every_ms", "held")]
    found += [readings[name]["at"] for name in ("flow", "flow_max", "pressure") if readings.get(name)]
    return sum(size_of(one) for one in found)


# --- suction and fluid ----------------------------------------------------------------------------


def ordered(found: Assessment) -> list[list[Any]]:
    """Suction as charted: [from when, cmH2O or null where the entry does not tell, as written]."""
    out: list[list[Any]] = []
    for entry in entries_for(found.chart, "drain", found.episode).of("suction_ordered"):
        level = 0.0 if entry.value == "none_added" else entry.value if isinstance(entry.value, float) else None
        told = not entry.conflict and level is not None
        out.append([entry.time, level if told else None, entry.text.replace("_", " ") if told else "not told"])
    return out


def _fluid(found: Assessment) -> dict[str, Any]:
    record = fluid_record(found)
    changed = entries_for(found.chart, "drain", found.episode).of("canister")
    return {
        "source": record.source,
        "steps": [[step.at_ms, step.ml, step.at_least] for step in fluid_steps(record)],
        "changes": [entry.time for entry in changed],
    }
