"""What was observed and worked out, as Observations: now, as totals, and minute by minute. All are preliminary."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.assessment import last_minute
from slackwater.assessment.document import stamp
from slackwater.export.codes import CODE
from slackwater.export.material import Material
from slackwater.export.parts import Names, Resource, absent, component, measured, notes, period, quantity, to
from slackwater.leak.words import REASONS
from slackwater.quantities.spans import DAY_MS, MINUTE_MS
from slackwater.reading.log import NONE

PLACES = 3  # of a number in a trend: the thousandths on which decisions are made
GAP, ABOVE = "E", "U"  # FHIR R4, SampledData: no valid value; above the upper limit of detection
NOTHING = "nothing was recorded: not a reading of zero"
_MEAN = "mean of what the unit recorded, weighted by time"
_SUM = "sum of charted amounts, else of the unit's own counter, as bounds"
METHODS = {
    "air-flow": _MEAN, "pressure": _MEAN, "air-flow-by-minute": _MEAN, "pressure-by-minute": _MEAN,
    "leak-by-minute": "filter over recorded flow and pressure, learnt from simulated stays: an estimate",
    "swing": "95th less 5th percentile of the recorded pressure", "fluid-24-h": _SUM, "fluid-so-far": _SUM,
    "doubtful-minutes": "traps looked for in the record: docs/doubts.md",
    "rule-status": "the rule's clauses and guards held against what was recorded",
}  # fmt: skip
"""How each is worked out."""


@dataclass(frozen=True)
class Told:
    """What every Observation of this export carries. `metrics`: of the one unit that served; else empty."""

    of: Material
    names: Names
    who: Resource
    drain: Resource
    metrics: dict[str, Resource]

    def observation(self, name: str, when: dict[str, Any], value: dict[str, Any], **more: Any) -> Resource:
        """`when` and `value`: effective[x], and value[x] or why it is absent."""
        place = " ".join(word for word in (self.of.found.episode.side, self.of.found.episode.space) if word)
        out: Resource = {
            "resourceType": "Observation", "id": self.names.now(name), "status": "preliminary",
            "code": CODE[name].concept, "subject": to(self.who), "focus": [to(self.drain)], **when, **value,
            "note": notes(self.of.found.cautions), "method": {"text": METHODS[name]},
            **{key: part for key, part in more.items() if part},
        }  # fmt: skip
        if place:
            out["bodySite"] = {"text": place}
        return out


def last_values(told: Told) -> list[Resource]:
    """Air flow, pressure and swing in the last recorded minute."""
    found = told.of.found
    leak = found.leak_trace
    k = last_minute(leak, found.facts.length)
    when: dict[str, Any]
    if leak is None or k is None:
        when = {"effectiveDateTime": stamp(found.as_of_ms)}
        return [told.observation(name, when, measured(None, "", NOTHING)) for name in ("air-flow", "pressure", "swing")]
    start = leak.minutes.start_ms + k * MINUTE_MS
    when = {"effectivePeriod": period(start, start + MINUTE_MS)}
    metrics = told.metrics
    return [
        _air_flow(told, when),
        told.observation(
            "pressure", when, measured(float(leak.minutes.pressure[k]), "cmH2O", NOTHING),
            device=to(metrics["pressure"]) if metrics else None,
        ),
        told.observation("swing", when, measured(float(leak.breath.swing[k]), "cmH2O", "cannot be told here")),
    ]  # fmt: skip


def _air_flow(told: Told, when: dict[str, Any]) -> Resource:
    """The leak now: recorded flow with its whole step, what it says, and how sure."""
    now = told.of.found.leak
    why = NOTHING if now.reason in ("", "missing") else f"recorded, but in doubt: {now.reason}"
    value = measured(now.mid, "mL/min", why, "unknown" if now.reason in ("", "missing") else "error")
    parts = [component("leak-state", {"valueString": now.state.replace("_", " ")})]
    if now.mid is not None:
        parts += [
            component("lowest", measured(now.low, "mL/min", NOTHING)),
            component("highest", measured(now.high, "mL/min", "no upper bound is known")),
        ]
    if now.p is not None:
        parts.append(component("chance-at-limit", {"valueQuantity": quantity(now.p, "")}))
        parts.append(component("leak-limit", measured(now.limit, "mL/min", "no limit")))
    if now.reason:
        parts.append(component("in-doubt", {"valueString": now.reason}))
    metric = told.metrics.get("air-flow")
    return told.observation("air-flow", when, value, component=parts, device=to(metric) if metric else None)


def fluid(told: Told) -> list[Resource]:
    """Totals up to the last entry: of 24 h, and from connection. What was not charted leaves them open, upwards."""
    found = told.of.found
    amounts = found.facts.amounts.get(("fluid_output", "drain"))
    names = ("fluid-24-h", "fluid-so-far")
    when: dict[str, Any]
    if amounts is None or not len(amounts.entry_ends_ms):
        when = {"effectiveDateTime": stamp(found.as_of_ms)}
        return [told.observation(name, when, measured(None, "mL", "no fluid was charted or counted")) for name in names]
    end = int(amounts.entry_ends_ms[-1])
    since = found.facts.connected_ms
    out = []
    for name, window in zip(names, (DAY_MS, None if since is None or since >= end else end - since), strict=True):
        if window is None:
            when = {"effectivePeriod": period(None, end)}
            out.append(told.observation(name, when, measured(None, "mL", "since when is not recorded")))
            continue
        low, high = (float(bound[0]) for bound in amounts.totals(np.array([end], np.int64), window))
        out.append(told.observation(name, {"effectivePeriod": period(end - window, end)}, _total(low, high)))
    return out


def _total(low: float, high: float) -> dict[str, Any]:
    """A number, a range, or not known with what is sure. A lower bound of zero says nothing, and is left out."""
    if low == high:
        return {"valueQuantity": quantity(low, "mL")}
    if np.isfinite(high):
        return {"valueRange": {"low": quantity(low, "mL"), "high": quantity(high, "mL")}}
    out: dict[str, Any] = {"dataAbsentReason": absent("not all of the time was charted")}
    if low > 0:
        out["component"] = [component("at-least", {"valueQuantity": quantity(low, "mL")})]
    return out


def trends(told: Told) -> list[Resource]:
    """Minute by minute: recorded flow, recorded pressure, and the leak where it can be judged."""
    leak = told.of.found.leak_trace
    if leak is None or not len(leak.minutes):
        return []
    minutes = leak.minutes
    ceiling = _ceiling(told.of)
    flow = sampled(minutes.flow, "mL/min", lowest=0, highest=ceiling)
    made = [
        ("air-flow-by-minute", "air-flow", flow),
        ("leak-by-minute", "", sampled(leak.mid, "mL/min", lowest=0)),
        ("pressure-by-minute", "pressure", sampled(minutes.pressure, "cmH2O")),
    ]
    when = {"effectivePeriod": period(minutes.start_ms, minutes.start_ms + len(minutes) * MINUTE_MS)}
    return [
        told.observation(
            name, when, {"valueSampledData": data}, device=to(told.metrics[metric]) if metric in told.metrics else None
        )
        for name, metric, data in made
    ]


def sampled(
    values: NDArray[np.float64], symbol: str, *, lowest: float | None = None, highest: float | None = None
) -> dict[str, Any]:
    """SampledData of one value a minute: `E` where there is none, `U` at the most that the unit can show."""
    words = [
        GAP if value != value else ABOVE if highest is not None and value >= highest else _short(value)
        for value in values.tolist()
    ]
    out: dict[str, Any] = {
        "origin": quantity(0.0, symbol),
        "period": MINUTE_MS,
        "dimensions": 1,
        "data": " ".join(words),
    }
    if lowest is not None:
        out["lowerLimit"] = lowest
    if highest is not None:
        out["upperLimit"] = highest
    return out


def _short(value: float) -> str:
    text = f"{value:.{PLACES}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _ceiling(of: Material) -> float | None:
    """The largest flow that the units can show, mL/min; None where one of them does not say."""
    assert of.found.trace is not None
    told = [log.flow_ceiling_ul_per_min for log in of.found.trace.logs]
    return None if NONE in told else min(told) / 1000


def doubtful(told: Told) -> list[Resource]:
    """Every stretch of minutes whose recorded flow is no evidence, with its reason."""
    leak = told.of.found.leak_trace
    if leak is None or not len(leak.minutes):
        return []
    start = leak.minutes.start_ms
    parts = [
        {
            **component("in-doubt", {"valuePeriod": period(start + a * MINUTE_MS, start + b * MINUTE_MS)}),
            "interpretation": [{"text": REASONS[code]}],
        }
        for a, b, code in runs(leak.doubt.reason)
        if REASONS[code]
    ]
    value = {} if parts else {"valueString": "none"}
    when = {"effectivePeriod": period(start, start + len(leak.minutes) * MINUTE_MS)}
    return [told.observation("doubtful-minutes", when, value, component=parts)]


def runs(codes: NDArray[np.int8]) -> Iterable[tuple[int, int, int]]:
    """Stretches of one code: first minute, the minute after the last, the code."""
    edges = [0, *(np.flatnonzero(np.diff(codes)) + 1).tolist(), len(codes)]
    return [(a, b, int(codes[a])) for a, b in pairwise(edges) if b > a]
