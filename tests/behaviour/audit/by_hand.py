"""Past drains written by hand, so that every figure can be worked out on paper. All invented.

Moments are minutes after the drain was connected, at 20:00 UTC on Monday 4 March 2041.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

import numpy as np

from slackwater.audit.case import About, Case, Hold, Outcome
from slackwater.leak.words import MISSING
from slackwater.protocol.facts import Facts, Sighting, Signal
from slackwater.protocol.load import load_protocol
from slackwater.quantities.spans import MINUTE_MS

START = datetime(2041, 3, 4, 20, 0, tzinfo=UTC)
START_MS = round(START.timestamp() * 1000)
LEAK = 1000.0  # mL/min: one minute of it lifts any mean of ten over the limit
DAY = 24 * 60

AIR_ALONE = """
name = "by-hand"
version = "1"
status = "example"
source = "invented for the tests"
guards = "none"
[applies]
[evidence]
data_age = "1 h"
gaps = "0 min"
restart_on = []
[[removal]]
id = "air"
measure = "air_leak"
bin = "10 min"
is = "below"
limit = "50 mL/min"
lasting = "1 h"
"""
RULE = load_protocol(
    (
        AIR_ALONE
        + """[[removal]]
id = "film"
measure = "chest_xray"
is = "shown"
within = "48 h"
[[removal]]
id = "oxygen"
measure = "spo2"
is = "at_least"
limit = "92 %"
within = "48 h"
[[schedule]]
item = "tube_open"
every = "4 h"
"""
    ).encode(),
    "by-hand.toml",
)


def ms(minute: float) -> int:
    return START_MS + round(minute * MINUTE_MS)


def flow(*parts: tuple[float | None, int]) -> list[float | None]:
    """(mL/min or None for not recorded, minutes), one after the other."""
    return [value for value, minutes in parts for _ in range(minutes)]


def a_drain(
    recorded: Sequence[float | None], *, out: float | None = None, kind: str | None = "planned",
    film: Sequence[tuple[float, str]] = ((0, "expanded"),), oxygen: Sequence[tuple[float, float]] = ((0, 96.0),),
    holds: Sequence[tuple[str, float, float | None]] = (), operation: float | None = -60, connected: bool = True,
    name: str = "d-1", order: int = 1, back: float | None = None, followed: float | None = None,
    pressure: Sequence[float] = (), ordered: Sequence[tuple[float, float]] = (), reason: Sequence[int] = (),
    because: str | None = None, **about: Any,
) -> Case:  # fmt: skip
    """A case on a grid of as many minutes as are recorded; out: when it came out, else it is still in."""
    n = len(recorded)
    known = np.array([value is not None for value in recorded], np.bool_)
    value = np.array([0.0 if one is None else one for one in recorded])
    high = np.where(known, value, np.inf)
    signal = Signal(value, high, value, high, value, high, known, ~known, False, False, 1.0, False)
    films = tuple(Sighting(ms(at), word=word, line=k) for k, (at, word) in enumerate(film, 1))
    spo2 = tuple(Sighting(ms(at), low=share, high=share, line=k) for k, (at, share) in enumerate(oxygen, 1))
    scopes = ("drain", "space", "patient")
    facts = Facts(
        now_ms=ms(max(n, out or 0)), grid_start_ms=START_MS, length=n, data_until_ms=ms(n),
        connected_ms=START_MS if connected else None, signals={("air_leak", scope): signal for scope in scopes},
        sightings={(name, scope): seen for name, seen in (("chest_xray", films), ("spo2", spo2)) for scope in scopes},
        events={"connected": (START_MS,)},
        about={"indication": "lung_resection", "operation.end": None if operation is None else float(ms(operation))},
    )  # fmt: skip
    codes = np.array(reason, np.int8) if len(reason) else np.where(known, 0, MISSING).astype(np.int8)
    outcome = Outcome(
        None if out is None else ms(out), None if out is None else kind, because,
        tuple(Hold(why, ms(a), None if b is None else ms(b)) for why, a, b in holds),
        None if back is None else ms(back), None if followed is None else ms(followed),
    )  # fmt: skip
    blank = np.full(n, np.nan)
    told = About(name, about.pop("patient", f"p-{name}"), indication="lung_resection", order=order, **about)
    return Case(
        told, outcome, facts, {}, blank, np.zeros(n, np.bool_), np.array(pressure or blank, np.float64), codes,
        np.where(known, value, np.nan), ordered=tuple((ms(at), level) for at, level in ordered),
    )  # fmt: skip
