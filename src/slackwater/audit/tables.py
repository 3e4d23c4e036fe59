"""A case as tables of columns, and back without losing a digit; schema: docs/cohort.md.

Times are moved by a whole number of minutes when a case is de-identified, which changes no conclusion.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any, NamedTuple

import numpy as np
import polars
from numpy.typing import NDArray

from slackwater.audit.case import About, Case, Hold, Outcome
from slackwater.episode.fluid.record import UNKNOWN_START, FluidRecord
from slackwater.episode.space import SCOPES
from slackwater.leak.words import REASONS
from slackwater.protocol.facts import Facts, Sighting, Signal, Try, Veto
from slackwater.quantities.spans import MINUTE_MS

BOUNDS = ("mean_low", "mean_high", "peak_low", "peak_high", "trough_low", "trough_high")
INTERVALS = ("start_ms", "end_ms", "low_ul", "high_ul", "unbounded", "status")
INSTANTS_ABOUT = ("operation.end", "drain.connected_at")

Sheet = Mapping[str, Any]


def minutes_table(case: Case, by_ms: int = 0) -> polars.DataFrame:
    """One row a minute: what was recorded, why not, and the bounds that clauses on air are decided on."""
    facts = case.facts
    signal = next(iter(facts.signals.values()), None)
    start = facts.grid_start_ms + by_ms
    columns: dict[str, Any] = {
        "minute": start + MINUTE_MS * np.arange(facts.length, dtype=np.int64),
        "flow_ml_per_min": _maybe(case.flow),
        "pressure_cmh2o": _maybe(case.pressure),
        "reason": polars.Series([REASONS[code] for code in case.reason], dtype=polars.Enum(REASONS)),
        "burst_ml_per_min": _maybe(case.burst),
        "cough": case.cough,
    }
    if signal is not None:
        columns |= {f"{name}_ml_per_min": getattr(signal, name) for name in BOUNDS}
        columns |= {"known": signal.known, "tolerable": signal.tolerable}
    return polars.DataFrame(columns)


def moments_table(case: Case, by_ms: int = 0) -> polars.DataFrame:
    """Everything that stands at a moment: sightings, events, the tube shown open or shut, efforts, vetoes, orders."""
    facts = case.facts
    rows: list[dict[str, Any]] = []

    def put(kind: str, name: str, at: int, to: int | None = None, **more: Any) -> None:
        rows.append({"kind": kind, "name": name, "time_ms": at + by_ms, "to_ms": None if to is None else to + by_ms,
                     **more})  # fmt: skip

    for (name, scope), seen in facts.sightings.items():
        for one in seen:
            put("sighting", name, one.time_ms, scope=scope, low=_number(one.low), high=_number(one.high),
                word=one.word, conflict=one.conflict, line=one.line)  # fmt: skip
    for name, times in facts.events.items():
        for at in times:
            put("event", name, at)
    for how, shown in facts.shown_open.items():
        for at in shown.tolist():
            put("open", how, at)
    for at in facts.shown_shut.tolist():
        put("shut", "", at)
    for effort in facts.tries:
        put("try", effort.source, effort.time_ms, word=None if effort.seen is None else str(effort.seen))
    for veto in facts.vetoes:
        put("veto", veto.reason, veto.from_ms, veto.until_ms)
    for at, level in case.ordered:
        put("ordered", "", at, low=level, high=level)
    schema = {
        "kind": polars.String, "name": polars.String, "scope": polars.String, "time_ms": polars.Int64,
        "to_ms": polars.Int64, "low": polars.Float64, "high": polars.Float64, "word": polars.String,
        "conflict": polars.Boolean, "line": polars.Int32,
    }  # fmt: skip
    return polars.DataFrame(rows, schema=schema)


def fluid_table(case: Case, by_ms: int = 0) -> polars.DataFrame:
    """One row an interval in which fluid drained, by scope and drain."""
    parts = [
        polars.DataFrame(
            {
                "start_ms": np.where(record.start_ms == UNKNOWN_START, UNKNOWN_START, record.start_ms + by_ms),
                "end_ms": record.end_ms + by_ms, "low_ul": record.low_ul, "high_ul": record.high_ul,
                "unbounded": record.unbounded, "status": record.status,
            }
        ).with_columns(
            scope=polars.lit(scope), place=polars.lit(place), drain=polars.lit(record.drain, polars.String),
            source=polars.lit(record.source),
        )
        for scope, records in case.records.items()
        for place, record in enumerate(records)
    ]  # fmt: skip
    return polars.concat(parts) if parts else polars.DataFrame()


def sheet_of(case: Case, by_ms: int = 0) -> dict[str, Any]:
    """What is said once of a drain, as JSON."""
    facts, outcome = case.facts, case.outcome
    signal = next(iter(facts.signals.values()), None)

    def moved(at: int | None) -> int | None:
        return None if at is None else at + by_ms

    return {
        "about": asdict(case.about),
        "outcome": {
            "removed_ms": moved(outcome.removed_ms), "removal": outcome.removal,
            "against_rule_because": outcome.against_rule_because, "back_ms": moved(outcome.back_ms),
            "followed_until_ms": moved(outcome.followed_until_ms),
            "holds": [
                {"reason": hold.reason, "from_ms": hold.from_ms + by_ms, "to_ms": moved(hold.to_ms)}
                for hold in outcome.holds
            ],
        },
        "facts": {
            "now_ms": facts.now_ms + by_ms, "grid_start_ms": facts.grid_start_ms + by_ms, "length": facts.length,
            "data_until_ms": moved(facts.data_until_ms), "connected_ms": moved(facts.connected_ms),
            "cough_visible": facts.cough_visible, "weight_kg": facts.weight_kg,
            "about": {
                name: moved(int(value)) if name in INSTANTS_ABOUT and isinstance(value, int | float) else value
                for name, value in facts.about.items()
            },
        },
        "signal": None if signal is None else {
            "top_open": signal.top_open, "bottom_open": signal.bottom_open, "reading_s": signal.reading_s,
            "means": signal.means,
        },
        "events": sorted(facts.events), "ways_open": sorted(facts.shown_open),
        "sightings": sorted({name for name, _ in facts.sightings}),
        "step_ml_per_min": case.step_ml_per_min,
    }  # fmt: skip


def case_from(sheet: Sheet, minutes: polars.DataFrame, moments: polars.DataFrame, fluid: polars.DataFrame) -> Case:
    """The case that these tables were made from."""
    told, outcome = sheet["facts"], dict(sheet["outcome"])
    holds = tuple(Hold(**one) for one in outcome.pop("holds"))
    found = _by_kind(moments)
    events, shown = _by_name(found["event"]), _shown(moments)
    facts = Facts(
        now_ms=told["now_ms"], grid_start_ms=told["grid_start_ms"], length=told["length"],
        data_until_ms=told["data_until_ms"], connected_ms=told["connected_ms"], signals=_signals(sheet, minutes),
        sightings=_sightings(sheet, found["sighting"]),
        events={name: tuple(events.get(name, [])) for name in sheet["events"]},
        shown_open={how: np.array(shown.get(how, []), np.int64) for how in sheet["ways_open"]},
        shown_shut=np.array([one.time_ms for one in found["shut"]], np.int64),
        tries=tuple(
            Try(one.time_ms, {"True": True, "False": False}.get(one.word or ""), one.name) for one in found["try"]
        ),
        cough_visible=told["cough_visible"],
        vetoes=tuple(Veto(one.time_ms, one.to_ms, one.name) for one in found["veto"]),
        weight_kg=told["weight_kg"], about=told["about"],
    )  # fmt: skip
    return Case(
        about=About(**sheet["about"]), outcome=Outcome(holds=holds, **outcome), facts=facts, records=_records(fluid),
        burst=_floats(minutes, "burst_ml_per_min"), cough=minutes["cough"].to_numpy(),
        pressure=_floats(minutes, "pressure_cmh2o"), reason=minutes["reason"].to_physical().to_numpy().astype(np.int8),
        flow=_floats(minutes, "flow_ml_per_min"), step_ml_per_min=sheet["step_ml_per_min"],
        ordered=tuple((one.time_ms, _known(one.low)) for one in found["ordered"]),
    )  # fmt: skip


class _Moment(NamedTuple):
    """A row of the table of moments, less its kind; None: not said of this kind."""

    name: str
    scope: str
    time_ms: int
    to_ms: int | None
    low: float | None
    high: float | None
    word: str | None
    conflict: bool | None
    line: int | None


def _by_kind(moments: polars.DataFrame) -> Mapping[str, list[_Moment]]:
    """Column by column: a frame for each kind costs more than its rows."""
    columns = [moments[name].to_list() for name in ("kind", *_Moment._fields)]
    found: dict[str, list[_Moment]] = defaultdict(list)
    for kind, *row in zip(*columns, strict=True):
        if kind != "open":
            found[kind].append(_Moment(*row))
    return found


def _shown(moments: polars.DataFrame) -> dict[str, list[int]]:
    """The moments at which the tube was shown open, by how. They may be one a minute, so no row is made of them."""
    found: dict[str, list[int]] = defaultdict(list)
    for kind, how, at in zip(*(moments[name].to_list() for name in ("kind", "name", "time_ms")), strict=True):
        if kind == "open":
            found[how].append(at)
    return found


def _signals(sheet: Sheet, minutes: polars.DataFrame) -> dict[tuple[str, str], Signal]:
    if sheet["signal"] is None:
        return {}
    columns: dict[str, Any] = {name: minutes[f"{name}_ml_per_min"].to_numpy() for name in BOUNDS}
    columns |= {name: minutes[name].to_numpy() for name in ("known", "tolerable")}
    signal = Signal(**columns, **sheet["signal"])
    return {("air_leak", scope): signal for scope in SCOPES}


def _sightings(sheet: Sheet, rows: Sequence[_Moment]) -> dict[tuple[str, str], tuple[Sighting, ...]]:
    found: dict[tuple[str, str], list[Sighting]] = {(n, s): [] for n in sheet["sightings"] for s in SCOPES}
    for one in rows:
        sighting = Sighting(one.time_ms, _known(one.low), _known(one.high), one.word, bool(one.conflict), one.line or 0)
        found[one.name, one.scope].append(sighting)
    return {key: tuple(seen) for key, seen in found.items()}


def _records(fluid: polars.DataFrame) -> dict[str, tuple[FluidRecord, ...]]:
    found: dict[str, list[FluidRecord]] = {}
    if not len(fluid):
        return {}
    rows: dict[tuple[str, int], list[int]] = {}
    for row, key in enumerate(zip(fluid["scope"].to_list(), fluid["place"].to_list(), strict=True)):
        rows.setdefault(key, []).append(row)
    columns = {name: fluid[name].to_numpy() for name in INTERVALS}
    drains, sources = fluid["drain"], fluid["source"]
    for (scope, _), mine in rows.items():
        parts: dict[str, Any] = {name: column[mine] for name, column in columns.items()}
        found.setdefault(scope, []).append(FluidRecord(drains[mine[0]], sources[mine[0]], **parts))
    return {scope: tuple(records) for scope, records in found.items()}


def _by_name(rows: Sequence[_Moment]) -> dict[str, list[int]]:
    """Their times by name, in their order."""
    found: dict[str, list[int]] = {}
    for one in rows:
        found.setdefault(one.name, []).append(one.time_ms)
    return found


def _maybe(values: NDArray[np.float64]) -> polars.Series:
    """NaN as null: nothing was recorded."""
    return polars.Series(values, dtype=polars.Float64).fill_nan(None)


def _floats(table: polars.DataFrame, name: str) -> NDArray[np.float64]:
    return table[name].to_numpy().astype(np.float64, copy=False)  # null becomes NaN


def _known(value: float | None) -> float:
    return math.nan if value is None else value


def _number(value: float) -> float | None:
    return None if math.isnan(value) else value
