"""How much fluid drained: intervals with bounds, and bounded totals over any window.

Missing is never zero: where nothing can be said of a stretch, its upper bound is infinite.
"""

from slackwater.episode.fluid.charted import fluid_intervals
from slackwater.episode.fluid.counter import fluid_from_counter
from slackwater.episode.fluid.record import FluidInterval, FluidRecord, Instilled
from slackwater.episode.fluid.totals import (
    Bounds,
    last_entry_end,
    last_entry_end_over_drains,
    total,
    total_over_drains,
    totals_at,
)

__all__ = [
    "Bounds",
    "FluidInterval",
    "FluidRecord",
    "Instilled",
    "fluid_from_counter",
    "fluid_intervals",
    "last_entry_end",
    "last_entry_end_over_drains",
    "total",
    "total_over_drains",
    "totals_at",
]
