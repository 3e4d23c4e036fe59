"""The minute table as it is written out: one row a minute, missing ones included."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.assessment import Assessment
from slackwater.errors import UsageError
from slackwater.leak.words import REASONS, STATES, WAYS_OPEN

if TYPE_CHECKING:
    import polars

_ROUND = {
    "flow_ml_per_min": 3, "flow_max_ml_per_min": 3, "pressure_cmh2o": 3, "swing_cmh2o": 3, "covered": 4, "p_leaking": 4,
    "leak_ml_per_min": 3, "leak_low_ml_per_min": 3, "leak_high_ml_per_min": 3, "conductance_ml_per_min_per_cmh2o": 4,
}  # fmt: skip


def minute_columns(found: Assessment) -> dict[str, NDArray[Any] | list[str]]:
    """Every column by its name, in order; floats hold NaN where there is nothing to say.

    Raises UsageError where there is no log.
    """
    leak = found.leak_trace
    if leak is None:
        raise UsageError("a minute table needs a log", mend="Give a log with rows before the time asked about.")
    minutes = leak.minutes
    starts = minutes.start_ms + 60_000 * np.arange(len(minutes), dtype=np.int64)
    return {
        "minute": [f"{moment}Z" for moment in np.datetime_as_string(starts.astype("datetime64[ms]"), unit="s")],
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
