"""What staff write in the chart: made from the truth, by a nurse who may be sparse or late."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

import numpy as np

from slackwater.simulate.fault import Fault
from slackwater.simulate.log_text import places
from slackwater.simulate.nurse import Nurse
from slackwater.simulate.scenario import Scenario
from slackwater.simulate.sensor import SensedRows
from slackwater.simulate.si import PASCAL_PER_UNIT, BoolArray, FloatArray
from slackwater.simulate.suction import ordered
from slackwater.simulate.truth import Truth

EFFORT_SHOWS_ML_PER_MIN = 15.0
"""Air on cough is seen when the leak that opens is at least this, at 20 cmH2O (ours)."""


@dataclass(frozen=True)
class ChartEntry:
    """One line: `at_s` and `recorded_s` are seconds after connection; value None is a blank."""

    at_s: float
    item: str
    value: str | None
    unit: str = ""
    note: str = ""
    recorded_s: float | None = None
    drain: str = "1"
    by: str = "nurse"


@dataclass(frozen=True)
class Witnessed:
    """What staff could see: the truth at the bedside, the unit's display, the fluid."""

    scenario: Scenario
    truth: Truth
    rows: SensedRows
    fluid_ml: FloatArray
    asleep: BoolArray
    breaths_per_min: FloatArray
    local_hour: FloatArray


def check_times_s(
    nurse: Nurse, local_hour: FloatArray, must_h: Sequence[float], rng: np.random.Generator
) -> list[float]:
    """When the drain is looked at, seconds after connection; `must_h` are added as they are."""
    hours = local_hour.size / 60.0
    times = [0.5 + float(rng.uniform(0.0, 0.3))]
    while times[-1] < hours:
        times.append(times[-1] + nurse.check_h * float(rng.uniform(0.9, 1.08)))
    kept = [t for t in times if t < hours - 0.1]
    if not nurse.night_checks:
        kept = [t for t in kept if 6.0 <= local_hour[int(t * 60.0)] < 23.0]
    kept = [t for t in kept if rng.random() >= nurse.skips]
    return sorted({float(round(t * 60.0)) * 60.0 for t in (*kept, *must_h)})


def write_chart(seen: Witnessed, checks_s: Sequence[float], rng: np.random.Generator) -> tuple[ChartEntry, ...]:
    """Every entry of the stay, by time."""
    entries: list[ChartEntry] = []
    for part in (
        _suction(seen),
        _checks(seen, checks_s, rng),
        _fluid(seen, rng),
        _films(seen, rng),
        _observations(seen, rng),
        _events(seen),
    ):
        entries += part
    nurse = seen.scenario.nurse
    late = [
        e
        if e.recorded_s is not None or rng.random() >= nurse.late
        else ChartEntry(
            e.at_s,
            e.item,
            e.value,
            e.unit,
            e.note,
            round((e.at_s + nurse.late_min * 60.0 * float(rng.uniform(0.4, 1.6))) / 60.0) * 60.0,
            e.drain,
            e.by,
        )
        for e in entries
    ]
    return tuple(sorted(late, key=lambda e: (e.at_s, e.item)))


def _minute(seen: Witnessed, at_s: float) -> int:
    return min(int(at_s / 60.0), seen.truth.minutes - 1)


def _suction(seen: Witnessed) -> Iterator[ChartEntry]:
    for step in seen.scenario.suction:
        at_s = step.at_h * 3600.0
        if step.level is None:
            yield ChartEntry(at_s, "suction_ordered", "none_added", by="doctor")
        else:
            yield ChartEntry(at_s, "suction_ordered", f"{-step.level:g}", step.unit, by="doctor")


def _display(seen: Witnessed, at_s: float) -> tuple[str, str] | None:
    """Flow and pressure the unit shows, mean of the last minute; None if it shows nothing."""
    rows, unit = seen.rows, seen.scenario.unit
    first, last = np.searchsorted(rows.end_s, (at_s - 60.0, at_s), side="right")
    here = slice(int(min(first, last - 1)), int(last))
    shown = rows.present[here] & ~rows.flow_blank[here] & ~rows.pressure_blank[here]
    if last < 1 or not shown.any():
        return None
    step = unit.flow_step_ml_per_min
    # A minus is not charted: nobody reads air going in.
    flow = max(0, round(float(rows.flow_ml_per_min[here][shown].mean()) / step)) * step
    pressure = float(rows.pressure_pa[here][shown].mean()) / PASCAL_PER_UNIT[unit.pressure_unit]
    digits = min(places(unit.pressure_step), 1)
    return f"{flow:g}", f"{pressure:.{digits}f}"


def _swing_word(swing_cmh2o: float) -> str:
    if swing_cmh2o < 0.3:
        return "absent"
    return "reduced" if swing_cmh2o < 0.8 else "present"


def _checks(seen: Witnessed, checks_s: Sequence[float], rng: np.random.Generator) -> Iterator[ChartEntry]:
    scenario, truth, nurse = seen.scenario, seen.truth, seen.scenario.nurse
    gravity = "none_added"
    for at_s in checks_s:
        minute = _minute(seen, at_s)
        open_way = bool(truth.tube_open[minute])
        swing = _swing_word(float(truth.swing_cmh2o[minute]))
        yield ChartEntry(at_s, "swing", swing)
        shown = _display(seen, at_s)
        if shown is not None:
            flow, pressure = shown
            yield ChartEntry(at_s, "air_leak_read", flow, "mL/min")
            if ordered(scenario.suction, at_s).level is None:
                yield ChartEntry(at_s, "suction_delivered", gravity, note=f"{pressure} shown")
            else:
                unit = scenario.unit.pressure_unit
                yield ChartEntry(at_s, "suction_delivered", pressure, unit)
        if rng.random() < nurse.looks_at_cough:
            opens = (
                truth.conductance_ml_per_min_per_cmh2o[minute] + truth.effort_conductance_ml_per_min_per_cmh2o[minute]
            ) * 20.0
            leak = open_way and opens >= EFFORT_SHOWS_ML_PER_MIN
            if rng.random() < nurse.misreads:
                leak = not leak
            yield ChartEntry(at_s + 60.0, "cough", "leak" if leak else "no_leak")
        else:
            yield ChartEntry(at_s + 60.0, "cough", "not_looked")
        if swing != "absent":
            yield ChartEntry(at_s + 120.0, "tube_open", "yes", note="swings")
        yield ChartEntry(at_s + 120.0, "tubing", "checked")
        yield ChartEntry(at_s + 120.0, "surgical_emphysema", _emphysema(seen, at_s))


def _emphysema(seen: Witnessed, at_s: float) -> str:
    for fault in seen.scenario.faults:
        if fault.kind == "tissue" and at_s >= fault.start_s:
            along = (at_s - fault.start_s) / max(fault.end_s - fault.start_s, 1.0)
            return str(min(5, 1 + int(along * 5.0)))
    return "0"


def _fluid(seen: Witnessed, rng: np.random.Generator) -> Iterator[ChartEntry]:
    nurse, plan = seen.scenario.nurse, seen.scenario.fluid
    hours, at_h, before_ml, canister_ml = seen.truth.minutes / 60.0, 0.0, 0.0, 0.0
    while True:
        at_h += nurse.fluid_first_h if at_h < nurse.first_day_h else nurse.fluid_h
        if at_h > hours:
            return
        if rng.random() < nurse.skips:
            continue  # the next entry then covers both intervals
        at_s = at_h * 3600.0
        total = float(seen.fluid_ml[_minute(seen, at_s - 60.0)])
        amount = round((total - before_ml) / 5.0) * 5
        if rng.random() < nurse.blanks:
            yield ChartEntry(at_s, "fluid_output", None, "mL")
            before_ml = total
            continue
        yield ChartEntry(at_s, "fluid_output", str(amount), "mL")
        before_ml = total
        canister_ml += amount
        yield ChartEntry(at_s, "canister_level", str(round(canister_ml)), "mL")
        if canister_ml > 600.0:
            yield ChartEntry(at_s + 60.0, "canister", "changed")
            canister_ml = 0.0
        if amount > 0:
            yield ChartEntry(at_s, "fluid_appearance", plan.appearance(at_h))


def _films(seen: Witnessed, rng: np.random.Generator) -> Iterator[ChartEntry]:
    hour, minutes = seen.local_hour, seen.truth.minutes
    due = [4.0]
    if seen.scenario.nurse.xray_each_day:
        mornings = np.flatnonzero((hour[1:] >= 7.5) & (hour[:-1] < 7.5))
        due += [m / 60.0 for m in mornings.tolist()]
    due += [s.at_h + 4.0 for s in seen.scenario.suction[1:]]
    for at_h in sorted(due):
        taken_h = at_h + float(rng.uniform(0.0, 0.8))
        minute = round(taken_h * 60.0)
        if minute >= minutes:
            continue
        air = float(seen.truth.space_ml[minute])
        found = "expanded"
        if air > 120.0:
            found = "space_new_or_larger"
        elif air > 40.0:
            found = "space_stable"
        yield ChartEntry(minute * 60.0, "chest_xray", found, by="doctor")


def _observations(seen: Witnessed, rng: np.random.Generator) -> Iterator[ChartEntry]:
    nurse, age = seen.scenario.nurse, seen.scenario.patient.age_years
    at_h, warm = 1.0, 36.8
    while at_h * 60.0 < seen.truth.minutes:
        at_s = float(round(at_h * 60.0)) * 60.0
        minute = _minute(seen, at_s)
        at_h += nurse.observe_h * float(rng.uniform(0.92, 1.08))
        if rng.random() < nurse.skips:
            continue
        air = float(seen.truth.space_ml[minute])
        ill = min(air / 500.0, 1.0)
        warm += 0.4 * (36.9 - warm) + float(rng.normal(0.0, 0.15))
        yield ChartEntry(at_s, "spo2", f"{min(99.0, 95.5 - 6.0 * ill + rng.normal(0, 0.9)):.0f}", "%")
        yield ChartEntry(at_s, "resp_rate", f"{seen.breaths_per_min[minute] + 8.0 * ill:.0f}", "/min")
        yield ChartEntry(at_s, "heart_rate", f"{82 + 25 * ill + rng.normal(0, 6):.0f}", "/min")
        yield ChartEntry(at_s, "systolic", f"{100 + 0.4 * age + rng.normal(0, 9):.0f}", "mmHg")
        yield ChartEntry(at_s, "temperature", f"{warm:.1f}", "Cel")
        yield ChartEntry(at_s, "distress", "yes" if ill > 0.8 else "no")
        if not seen.asleep[minute]:
            pain = max(0.0, 4.0 * float(np.exp(-at_h / 60.0)) + float(rng.normal(0.0, 0.8)))
            yield ChartEntry(at_s, "pain_rest", f"{pain:.0f}")
            yield ChartEntry(at_s, "pain_cough", f"{min(10.0, pain + 2.0):.0f}")
    yield ChartEntry(1800.0, "weight", f"{seen.scenario.patient.weight_kg:g}", "kg")
    yield ChartEntry(1800.0, "length_at_skin", "14", "cm")
    yield ChartEntry(600.0, "breathing", seen.scenario.patient.breathing)


_FOUND = {
    "kinked": (("tubing", "kinked"), ("tubing", "checked")),
    "blocked": (("tubing", "milked"), ("tubing", "checked")),
    "loop": (("tubing", "checked"), ("tubing", "checked")),
}


def _events(seen: Witnessed) -> Iterator[ChartEntry]:
    """Faults staff noticed, written at the time they were noticed."""
    end_s = seen.truth.minutes * 60.0
    for fault in seen.scenario.faults:
        if fault.charted:
            for entry in _event(fault):
                if entry.at_s < end_s:
                    yield entry
    exchange = seen.scenario.exchange
    if exchange is not None:
        yield ChartEntry(exchange.at_h * 3600.0, "suction_unit", "exchanged")


def _event(fault: Fault) -> Iterator[ChartEntry]:
    start, end = _whole_minute(fault.start_s), _whole_minute(fault.end_s)
    if fault.kind in _FOUND:
        (item, value), (after_item, after) = _FOUND[fault.kind]
        # Found, and mended, at the end: nobody knew before.
        yield ChartEntry(end, item, value, note="straightened" if value == "kinked" else "")
        yield ChartEntry(end + 60.0, after_item, after)
        yield ChartEntry(end + 120.0, "tube_open", "yes", note="swings again")
    elif fault.kind == "clamped":
        yield ChartEntry(start, "clamp", "on", note="trial")
        yield ChartEntry(end, "clamp", "off", note="trial")
    elif fault.kind == "open_circuit":
        yield ChartEntry(start + 60.0, "tubing", "apart")
        yield ChartEntry(end, "tubing", "reconnected")
    elif fault.kind == "capped":
        yield ChartEntry(start, "tubing", "capped")
        yield ChartEntry(end, "tubing", "reconnected")
    elif fault.kind in ("off", "battery"):
        yield ChartEntry(start, "suction_unit", "off")
        yield ChartEntry(end, "suction_unit", "on", note="on charge" if fault.kind == "battery" else "")


def _whole_minute(seconds: float) -> float:
    return float(round(seconds / 60.0)) * 60.0


def chart_csv(entries: Sequence[ChartEntry], start_s: int, zone: tzinfo, local: bool) -> str:
    """The chart file. Times with offset, or (`local`) bare wall-clock times."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["time", "item", "value", "unit", "note", "drain", "recorded", "by"])
    for e in entries:
        recorded = "" if e.recorded_s is None else _when(start_s + e.recorded_s, zone, local)
        value = "" if e.value is None else e.value
        writer.writerow([_when(start_s + e.at_s, zone, local), e.item, value, e.unit, e.note, e.drain, recorded, e.by])
    return out.getvalue()


def _when(instant_s: float, zone: tzinfo, local: bool) -> str:
    moment = datetime.fromtimestamp(int(instant_s), UTC).astimezone(zone)
    return (moment.replace(tzinfo=None) if local else moment).isoformat()
