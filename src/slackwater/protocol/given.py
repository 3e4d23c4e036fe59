"""What a case says was recorded, as facts: a `given` table in the words of the rule, never a log."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from slackwater.errors import ProtocolError, QuantityError
from slackwater.protocol import bedside_cases
from slackwater.protocol.facts import SCOPES, Amounts, Facts, Floats, Sighting, Signal, Times, Try, Veto
from slackwater.protocol.measures import EVENTS, MEASURES, WAYS_OPEN
from slackwater.protocol.rule import Applies, Protocol
from slackwater.protocol.table import ago, known, table_at
from slackwater.quantities.spans import DAY_MS, MINUTE_MS, parse_span
from slackwater.quantities.units import parse_quantity

START_MS = 2_000_000_040_000  # an arbitrary whole minute (2033-05-18T03:34:00Z); no answer depends on it

_CHARTED = tuple(name for name, measure in MEASURES.items() if measure.kind in ("number", "word", "span"))
_EVENTS = tuple(name for name in EVENTS if name not in ("connected", "operation.end"))
_AIR = ("air_leak", "step", "rounding", "reading")
_SEEN = ("tube_open", "tube_shut", "effort", "veto")
_SIGHTED = tuple(name for name in _CHARTED if name not in _SEEN)
_GIVEN = (*_AIR, "fluid_output", "connected", "later", *_SEEN, "patient", *_EVENTS, *_SIGHTED, *bedside_cases.GIVEN)
_PATIENT = ("indication", "space", "age_years", "weight_kg", "operation_kind", "operation_end", "breathing")
_NOTHING = ("missing", "off", "clamped", "doubt")  # a stretch with no usable reading
_ROUNDINGS = ("nearest", "floor", "ceil", "unknown")


def facts_of(protocol: Protocol, given: Mapping[str, Any], where: str = "given") -> Facts:
    """The facts that a `given` table describes; who the patient is, where unsaid, lies inside the rule."""
    return _Given(protocol, given, where).facts()


class _Given:
    """One `given` table while it is turned into facts."""

    def __init__(self, protocol: Protocol, content: Mapping[str, Any], where: str) -> None:
        known(content, _GIVEN, where)
        self.protocol = protocol
        self.content = content
        self.where = where
        self.air = [(self.span("air_leak", s), v) for s, v in self.pairs("air_leak")]
        self.fluid = [(self.span("fluid_output", s), v) for s, v in self.pairs("fluid_output")]
        ran = max(sum(ms for ms, _ in self.air), sum(ms for ms, _ in self.fluid))
        self.now_ms = START_MS + ran + (self.span("later", content["later"]) if "later" in content else 0)

    def facts(self) -> Facts:
        length = (self.now_ms - START_MS) // MINUTE_MS
        connected = self.content.get("connected", "start")
        if connected not in ("start", "unknown"):
            raise self.fault("connected", f"{connected!r} is not known", 'Write "start" or "unknown".')
        connected_ms = START_MS if connected == "start" else None
        events = {
            name: tuple(sorted(self.moments(name, self.content[name]))) for name in _EVENTS if name in self.content
        }
        about, weight = self.about(connected_ms)
        end = about["operation.end"]
        if isinstance(end, float):
            events["operation.end"] = (int(end),)
        if connected_ms is not None:
            events["connected"] = (connected_ms,)
        signal, amounts = self.signal(length), self.amounts()
        return Facts(
            now_ms=self.now_ms,
            grid_start_ms=START_MS,
            length=length,
            data_until_ms=START_MS + sum(ms for ms, _ in self.air) if self.air else None,
            connected_ms=connected_ms,
            signals={("air_leak", scope): signal for scope in SCOPES} if signal is not None else {},
            amounts={("fluid_output", scope): amounts for scope in SCOPES} if amounts is not None else {},
            sightings=self.sightings(),
            events=events,
            shown_open=self.shown_open(length),
            shown_shut=self.times("tube_shut", self.content.get("tube_shut", [])),
            tries=self.tries(),
            vetoes=tuple(Veto(self.moment("veto", at), None, str(why)) for at, why in self.pairs("veto")),
            weight_kg=weight,
            about=about,
        )

    def about(self, connected_ms: int | None) -> tuple[dict[str, str | float | None], float | None]:
        """Who the patient is: as said; where unsaid, someone the rule is for. A weight is never supplied."""
        where = f"{self.where}.patient"
        said = {**_inside(self.protocol.applies), **table_at(self.content.get("patient", {}), where)}
        known(said, _PATIENT, where)
        said = {key: None if value == "unknown" else value for key, value in said.items()}
        for key in ("age_years", "weight_kg"):
            if said.get(key) is not None and (isinstance(said[key], bool) or not isinstance(said[key], int | float)):
                raise self.fault(f"patient.{key}", f"{said[key]!r} is not a number", f'Write {key} = 60, or "unknown".')
        end = said.get("operation_end")
        if end is not None:
            end = float(START_MS if end == "start" else self.moment("patient.operation_end", end))
        age, weight = (None if said.get(key) is None else float(said[key]) for key in ("age_years", "weight_kg"))
        about: dict[str, str | float | None] = {
            "indication": said.get("indication"),
            "drain.space": said.get("space"),
            "patient.age_years": age,
            "patient.weight_kg": weight,
            "operation.kind": said.get("operation_kind"),
            "operation.end": end,
            "breathing": said.get("breathing"),
            "drain.connected_at": None if connected_ms is None else float(connected_ms),
        }
        return about, weight

    def signal(self, length: int) -> Signal | None:
        """Air flow, minute by minute, from the stretches; None where the case gives no log."""
        if not self.air:
            return None
        step = self.quantity("step", self.content["step"], "flow") if "step" in self.content else None
        rounding = self.content.get("rounding", "nearest")
        if rounding not in _ROUNDINGS:
            raise self.fault("rounding", f"{rounding!r} is not known", f"Write one of: {', '.join(_ROUNDINGS)}.")
        reading_ms = self.span("reading", self.content["reading"]) if "reading" in self.content else 1000
        stretches = []
        for ms, value in self.air:
            cell = None if value in _NOTHING else _cell(self.quantity("air_leak", value, "flow"), step, rounding)
            stretches.append((ms, cell, value in ("missing", "off", "clamped")))
        columns = {
            name: np.zeros(length)
            for name in ("mean_low", "mean_high", "peak_low", "peak_high", "trough_low", "trough_high")
        }
        known, tolerable = np.zeros(length, dtype=np.bool_), np.zeros(length, dtype=np.bool_)
        for minute, pieces in enumerate(_minutes(stretches, length)):
            cells = [(ms, *cell) for ms, cell, _ in pieces if cell is not None]
            whole = sum(ms for ms, _, _ in cells) == MINUTE_MS
            doubt = any(cell is None and not bearable for _, cell, bearable in pieces)
            if doubt:  # what a doubtful minute recorded counts for nothing
                cells = []
            known[minute], tolerable[minute] = whole, not doubt
            columns["mean_low"][minute] = math.fsum(ms * low for ms, low, _ in cells) / MINUTE_MS
            columns["mean_high"][minute] = (
                math.fsum(ms * high for ms, _, high in cells) / MINUTE_MS if whole else np.inf
            )
            columns["peak_low"][minute] = max((low for _, low, _ in cells), default=0.0)
            columns["peak_high"][minute] = max(high for *_, high in cells) if whole else np.inf
            columns["trough_low"][minute] = min(low for _, low, _ in cells) if whole else 0.0
            columns["trough_high"][minute] = min((high for *_, high in cells), default=np.inf)
        open_ = step is not None
        return Signal(
            **columns, known=known, tolerable=tolerable, reading_s=reading_ms / 1000, means=True,
            top_open=open_ and rounding != "ceil", bottom_open=open_ and rounding in ("ceil", "unknown"),
        )  # fmt: skip

    def amounts(self) -> Amounts | None:
        """Charted fluid: entry after entry from connection, a blank one being unknown."""
        if not self.fluid:
            return None
        entries = []
        start = START_MS
        for ms, value in self.fluid:
            amount = None if value == "blank" else self.quantity("fluid_output", value, "volume")
            entries.append((start, start + ms, amount))
            start += ms
        ends = np.array([end for _, end, _ in entries], dtype=np.int64)
        return Amounts(lambda to, window: _totals(entries, to, window), ends)

    def sightings(self) -> dict[tuple[str, str], tuple[Sighting, ...]]:
        found = {}
        for name in _SIGHTED:
            if name not in self.content:
                continue
            seen = [self.sighting(name, at, value) for at, value in self.pairs(name)]
            ordered = tuple(sorted(seen, key=lambda sighting: sighting.time_ms))
            found.update({(name, scope): ordered for scope in SCOPES})
        return found

    def sighting(self, name: str, at: Any, value: Any) -> Sighting:
        time_ms, measure = self.moment(name, at), MEASURES[name]
        if value == "conflict":
            return Sighting(time_ms, conflict=True)
        if measure.kind == "word":
            if value not in measure.words:
                raise self.fault(
                    name, f"{value!r} is not known", f"Write one of: {', '.join(measure.words)}, conflict."
                )
            return Sighting(time_ms, word=value)
        number = self.quantity(name, value, measure.dimension)
        return Sighting(time_ms, low=number, high=number)

    def shown_open(self, length: int) -> dict[str, Times]:
        guard = self.protocol.tube_open
        said = self.content.get("tube_open", "never")
        if said == "never" or guard is None:
            return {}
        usual = "charted" if "charted" in guard.by else guard.by[0]
        if said == "shown":  # at the end of every minute, and now
            return {usual: np.append(START_MS + MINUTE_MS * np.arange(1, length + 1, dtype=np.int64), self.now_ms)}
        if isinstance(said, Mapping):
            known(said, WAYS_OPEN, f"{self.where}.tube_open")
            return {way: self.times(f"tube_open.{way}", ages) for way, ages in said.items()}
        return {usual: self.times("tube_open", said)}

    def tries(self) -> tuple[Try, ...]:
        tries = []
        for at, word in self.pairs("effort"):
            if word not in ("leak", "no_leak"):
                raise self.fault("effort", f"{word!r} is not known", 'Write "leak" or "no_leak".')
            tries.append(Try(self.moment("effort", at), word == "leak", "charted"))
        return tuple(sorted(tries, key=lambda one: one.time_ms))

    # -- small readers

    def fault(self, key: str, what: str, mend: str) -> ProtocolError:
        return ProtocolError(f"{key}: {what}", where=self.where, mend=mend)

    def pairs(self, key: str) -> list[tuple[Any, Any]]:
        value = self.content.get(key, [])
        if not isinstance(value, list) or not all(isinstance(pair, list) and len(pair) == 2 for pair in value):
            raise self.fault(key, "is not a list of pairs", f'Write {key} = [["...", "..."]].')
        return [(first, second) for first, second in value]

    def quantity(self, key: str, value: Any, dimension: str) -> float:
        if not isinstance(value, str):
            raise self.fault(
                key, f"{value!r} is not text", 'Write the number with its unit in quotes, e.g. "20 mL/min".'
            )
        try:
            return float(parse_quantity(value, dimension).value)
        except QuantityError as error:
            raise self.fault(key, error.what, error.mend) from None

    def span(self, key: str, value: Any) -> int:
        try:
            ms = round(parse_span(value) * 1000) if isinstance(value, str) else 0
        except QuantityError as error:
            raise self.fault(key, error.what, error.mend) from None
        if ms <= 0 or ms > 366 * DAY_MS:
            raise self.fault(key, f"{value!r} is no length of time", 'Write e.g. "8 h"; a year at most.')
        return ms

    def moment(self, key: str, value: Any) -> int:
        return self.now_ms - ago(value, f"{self.where}.{key}")

    def moments(self, key: str, ages: Any) -> list[int]:
        if not isinstance(ages, list):
            raise self.fault(key, "is not a list of ages", f'Write {key} = ["3 h ago"].')
        return [self.moment(key, age) for age in ages]

    def times(self, key: str, ages: Any) -> Times:
        return np.array(sorted(self.moments(key, ages)), dtype=np.int64)


def _inside(applies: Applies) -> dict[str, Any]:
    """Someone the rule is for, so that a case says only what it is about."""
    low, high = applies.min_age_years, applies.max_age_years
    age = 60.0 if high is None else high / 2
    kinds = ("lobectomy", "cardiac", "wedge", "segmentectomy")
    said: dict[str, Any] = {
        "indication": applies.indication[0] if applies.indication else None,
        "space": applies.spaces[0] if applies.spaces else "pleural",
        "age_years": age if low is None else max(age, low),
        "operation_kind": next((kind for kind in kinds if kind not in applies.excludes), None),
        "operation_end": "start",
        "breathing": next((word for word in ("own", "high_flow") if word not in applies.excludes), None),
    }
    if "cardiac_surgery" in applies.indication and "cardiac" not in applies.excludes:
        said["operation_kind"] = "cardiac"
    return said


def _cell(value: float, step: float | None, rounding: str) -> tuple[float, float]:
    """What a printed value stands for; without a step, itself.

    >>> _cell(20.0, 10.0, "nearest")
    (15.0, 25.0)
    """
    if step is None:
        return value, value
    below, above = {"nearest": (0.5, 0.5), "floor": (0.0, 1.0), "ceil": (1.0, 0.0), "unknown": (1.0, 1.0)}[rounding]
    return value - below * step, value + above * step


Cell = tuple[float, float]


def _minutes(
    stretches: Sequence[tuple[int, Cell | None, bool]], length: int
) -> list[list[tuple[int, Cell | None, bool]]]:
    """The pieces of stretches that fall into each minute; what no stretch covers was not recorded."""
    minutes: list[list[tuple[int, Cell | None, bool]]] = [[] for _ in range(length)]
    start = 0
    for ms, cell, bearable in stretches:
        end = start + ms
        for minute in range(start // MINUTE_MS, min(-(-end // MINUTE_MS), length)):
            inside = min(end, (minute + 1) * MINUTE_MS) - max(start, minute * MINUTE_MS)
            minutes[minute].append((inside, cell, bearable))
        start = end
    return minutes


def _totals(entries: Sequence[tuple[int, int, float | None]], to: Times, window: int) -> tuple[Floats, Floats]:
    """Bounds on the amount inside (to - window, to]; an entry cut by it counts between nothing and all."""
    low, high = np.zeros(len(to)), np.zeros(len(to))
    covered = np.zeros(len(to), dtype=np.int64)
    for start, end, amount in entries:
        overlap = np.minimum(to, end) - np.maximum(to - window, start)
        touched = overlap > 0
        covered += np.where(touched, overlap, 0)
        if amount is None:
            high[touched] = np.inf
            continue
        low[touched & (overlap == end - start)] += amount
        high[touched] += amount
    high[covered < window] = np.inf
    return low, high
