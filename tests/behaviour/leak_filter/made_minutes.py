"""Minutes made up for the filter: a unit that prints in steps, on steady suction."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from slackwater.leak.filter.run import Seen


def made_minutes(
    flow_ml_per_min: Sequence[float], *, step: float = 5.0, suction_cmh2o: float | Sequence[float] = 20.0,
    unusable: Sequence[int] = (), burst: Sequence[int] = (), bursts_visible: bool = True,
) -> Seen:  # fmt: skip
    """Minutes whose printed flow is `flow`, rounded to the nearest step; `unusable` and `burst` name minutes."""
    flow = np.round(np.asarray(flow_ml_per_min, dtype=np.float64) / step) * step
    usable = np.ones(len(flow), dtype=np.bool_)
    usable[list(unusable)] = False
    bursts = np.full(len(flow), 0 if bursts_visible else -1, dtype=np.int8)
    bursts[list(burst)] = 1
    drive = np.broadcast_to(np.asarray(suction_cmh2o, dtype=np.float64), flow.shape).copy()
    return Seen(flow, np.maximum(flow - step / 2, 0.0), flow + step / 2, drive, usable, bursts)
