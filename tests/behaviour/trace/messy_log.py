"""Logs as chance makes them, for laws that must hold for any log."""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import strategies as st

from behaviour.trace.made_log import HOUR, NOON, made_log
from slackwater.reading.log import Log
from slackwater.trace.minutes import minutes
from slackwater.trace.types import Minutes, Trace

FLOWS = st.sampled_from([None, 0, 10, 20, 300])


@st.composite
def messy_logs(draw: st.DrawFn, most: int = 40, **more: Any) -> Log:
    """Stamps in tenths of a second: repeats, steps back, jitter, combs and gaps as chance has it."""
    steps = draw(st.lists(st.sampled_from([10, 10, 10, 9, 11, 5, 3, 7, 0, -10, -13, -47, 100, 640]), max_size=most))
    stamps = np.cumsum([0, *steps]) / 10
    flow = draw(st.lists(FLOWS, min_size=len(stamps), max_size=len(stamps)))
    doubtful = draw(st.sets(st.integers(0, len(stamps) - 1), max_size=2)) if draw(st.booleans()) else set()
    fields = {
        "marks": draw(st.sampled_from(["start", "end"])),
        "every_declared": draw(st.booleans()),
        "doubtful": sorted(doubtful),
        "since": NOON + draw(st.integers(-90_000, 90_000)),
    }
    return made_log(stamps.tolist(), flow, **(fields | more))


@st.composite
def honest_logs(draw: st.DrawFn) -> Log:
    """Jitter and gaps, but a clock that runs forwards and no repeats."""
    steps = draw(st.lists(st.sampled_from([10, 10, 9, 11, 14, 16, 20, 700]), min_size=1, max_size=60))
    flow = draw(st.lists(FLOWS, min_size=len(steps) + 1, max_size=len(steps) + 1))
    marks = draw(st.sampled_from(["start", "end"]))
    return made_log((np.cumsum([0, *steps]) / 10).tolist(), flow, marks=marks)


def window(trace: Trace) -> Minutes:
    """The minutes of the hours around noon."""
    return minutes(trace, NOON - HOUR, NOON + HOUR)
