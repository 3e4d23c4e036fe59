"""The minute table as it is written out: one row a minute, missing ones included."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.assessment import Assessment
from slackwater.leak.words import BY_CHART, BY_FLUID, CANNOT_TELL, MISSING, NOT_SHOWN, REASONS, STATES, WAYS_OPEN
from slackwater.quantities.spans import MINUTE_MS

if TYPE_CHECKING:
    import polars

_ROUND = {
    "flow_ml_per_min": 3, "flow_max_ml_per_min": 3, "pressure_cmh2o": 3, "swing_cmh2o": 3, "covered": 4, "p_leaking": 4,
    "leak_ml_per_min": 3, "leak_low_ml_per_min": 3, "leak_high_ml_per_min": 3, "conductance_ml_per_min_per_cmh2o": 4,
}  # fmt: skip

COLUMNS = (
    "minute",
    "flow_ml_per_min",
    "flow_max_ml_per_min",
    "pressure_cmh2o",
    "swing_cmh2o",
    "covered",
    "state",
    "reason",
    "open_shown",
    "p_leaking",
    "leak_ml_per_min",
    "leak_low_ml_per_min",
    "leak_high_ml_per_min",
    "conductance_ml_per_min_per_cmh2o",
)


def minute_columns(found: Assessment) -> dict[str, NDArray[Any] | list[str]]:
    """Every column by its name, in order; floats hold NaN where there is nothing to say.

    A row for every minute up to the moment asked about; without a log nothing was recorded in any.
    """
    leak = found.leak_trace
    if leak is None:
        return _nothing_recorded(found)
    minutes = leak.minutes
    columns: dict[str, NDArray[Any] | list[str]] = {
        "minute": _stamps(minutes.start_ms, len(minutes)),
        "flow_ml_per_min": minutes.flow,
        "flow_max_ml_per_min": minutes.flow_max,
        "pressure_cmh2o": minutes.pressure,
        "swing_cmh2o": leak.breath.swing,
        "covered": minutes.covered,
        "state": [STATES[code] for code in leak.state],
        "reason": [REASONS[code] for code in leak.reason],
        "open_shown": [WAYS_OPEN[code] for code in leak.open_shown],
        "p_leaking": leak.p_leaking,
        "leak_ml_per_min": leak.mid,
        "leak_low_ml_per_min": leak.low,
        "leak_high_ml_per_min": leak.high,
        "conductance_ml_per_min_per_cmh2o": leak.conductance,
    }
    return {name: column[: _rows(found, minutes.start_ms)] for name, column in columns.items()}


def _rows(found: Assessment, start_ms: int) -> int:
    """Minutes that begin before the moment asked about."""
    return max(0, -(-(found.as_of_ms - start_ms) // MINUTE_MS))


def _stamps(start_ms: int, n: int) -> list[str]:
    starts = start_ms + MINUTE_MS * np.arange(n, dtype=np.int64)
    return [f"{moment}Z" for moment in np.datetime_as_string(starts.astype("datetime64[ms]"), unit="s")]


def _nothing_recorded(found: Assessment) -> dict[str, NDArray[Any] | list[str]]:
    """From connection, or the first entry of the chart: every minute missing, with what staff saw of the tube."""
    start = found.facts.grid_start_ms
    n = _rows(found, start)
    shown = np.full(n, NOT_SHOWN, dtype=np.int8)
    for way, code in (("fluid", BY_FLUID), ("charted", BY_CHART)):
        at = (found.facts.shown_open.get(way, np.empty(0, dtype=np.int64)) - start) // MINUTE_MS
        shown[at[(at >= 0) & (at < n)]] = code
    empty = np.full(n, np.nan)
    columns: dict[str, NDArray[Any] | list[str]] = {
        "minute": _stamps(start, n), "covered": np.zeros(n), "state": [STATES[CANNOT_TELL]] * n,
        "reason": [REASONS[MISSING]] * n, "open_shown": [WAYS_OPEN[code] for code in shown],
    }  # fmt: skip
    return {name: columns.get(name, empty) for name in COLUMNS}


def minute_csv(found: Assessment) -> str:
    """The table as CSV; an empty cell is 'nothing recorded' or 'not assessable'."""
    columns = minute_columns(found)
    texts = [_texts(name, column) for name, column in columns.items()]
    lines = [",".join(columns), *(",".join(row) for row in zip(*texts, strict=True))]
    return "\n".join(lines) + "\n"


def minute_frame(found: Assessment) -> polars.DataFrame:
    """The table as typed columns, `minute` as UTC datetimes; a null is 'nothing recorded' or 'not assessable'."""
    import polars

    columns = {
        name: polars.Series(column, dtype=polars.Float64).fill_nan(None) if isinstance(column, np.ndarray) else column
        for name, column in minute_columns(found).items()
    }
    return polars.DataFrame(columns).with_columns(
        polars.col("minute").str.to_datetime("%Y-%m-%dT%H:%M:%SZ", time_zone="UTC")
    )


def _texts(name: str, column: NDArray[Any] | list[str]) -> list[str]:
    if isinstance(column, list):
        return column
    places = _ROUND[name]
    return ["" if value != value else _short(value, places) for value in column.tolist()]


def _short(value: float, places: int) -> str:
    text = f"{value:.{places}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
