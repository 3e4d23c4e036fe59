"""Logs as a test makes them: stamps and readings in, a `Log` as if read from a file out."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from slackwater.reading.log import NONE, Ledger, Log

SECOND = 1000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
NOON = 2_010_225_600_000  # 2033-09-13T12:00:00Z, a whole minute

CHANNELS = (
    "flow_max_ul_per_min",
    "pressure_mcmh2o",
    "pressure_min_mcmh2o",
    "pressure_max_mcmh2o",
    "set_suction_mcmh2o",
    "battery_percent",
    "mains",
    "fluid_ml",
    "state",
)


def thousandths(values: Sequence[float | None]) -> NDArray[np.int32]:
    """mL/min or cmH2O as the log holds them; None is a blank cell.

    >>> thousandths([0.5, None]).tolist()
    [500, -2147483648]
    """
    return np.array([NONE if v is None else round(v * 1000) for v in values], np.int32)


def made_log(
    seconds: Sequence[float],
    flow: Sequence[float | None],
    *,
    since: int = NOON,
    every: float = 1.0,
    step: float = 10.0,
    doubtful: Sequence[int] = (),
    refused: int = 0,
    **more: Any,
) -> Log:
    """A log stamped `seconds` after `since`, with these flows (mL/min); further fields of Log by name."""
    n = len(seconds)
    doubts = np.zeros(n, np.bool_)
    doubts[list(doubtful)] = True
    fields: dict[str, Any] = dict.fromkeys(CHANNELS)
    fields |= {
        "name": "made.csv",
        "time_ms": since + np.array([round(1000 * s) for s in seconds], np.int64),
        "line": np.arange(2, n + 2, dtype=np.int32),
        "flow_ul_per_min": thousandths(flow),
        "time_doubtful": doubts,
        "every_ms": round(1000 * every),
        "every_declared": True,
        "marks": "start",
        "statistic": "mean",
        "flow_step_ul_per_min": round(1000 * step),
        "flow_step_declared": True,
        "rounding": "nearest",
        "flow_ceiling_ul_per_min": NONE,
        "serials": ("unit 1",),
        "zone": "UTC",
        "ledger": Ledger(n + refused, n, refused),
    }
    fields |= more
    fields["sha256"] = hashlib.sha256(
        b"".join(v.tobytes() for v in fields.values() if isinstance(v, np.ndarray))
    ).hexdigest()
    for value in fields.values():
        if isinstance(value, np.ndarray):
            value.flags.writeable = False
    return Log(**fields)


def rows_of(log: Log, which: NDArray[np.int64] | Sequence[int]) -> Log:
    """The log that holds just these rows, in this order."""
    at = np.asarray(which, np.int64)
    fields = {name: getattr(log, name) for name in Log.__dataclass_fields__}
    fields |= {name: value[at] for name, value in fields.items() if isinstance(value, np.ndarray) and name != "layout"}
    fields["ledger"] = Ledger(len(at), len(at), 0)
    fields["sha256"] = hashlib.sha256(
        b"".join(v.tobytes() for v in fields.values() if isinstance(v, np.ndarray))
    ).hexdigest()
    return Log(**fields)
