"""What a learner is told in words: whose invented drain, what staff charted, and afterwards what was truly so."""

from __future__ import annotations

from dataclasses import dataclass

from slackwater.assessment.assessment import Assessment
from slackwater.simulate import Stay
from slackwater.teach.draw import Drawn

BANNER = "Practice: an invented drain. Not a patient."
CAUTION = (
    "What is right here is what the simulator knows and the file says; it is no advice for a patient. At the bedside "
    "your unit's own rules and a licensed professional who has seen the patient decide."
)

SIGNS = frozenset({
    "resp rate", "heart rate", "systolic", "temperature", "spo2", "weight", "length at skin", "pain rest", "pain cough",
    "breathing", "distress",
})  # fmt: skip

FAULT_WORDS = {
    "blocked": "a clot in the tube", "kinked": "a kink", "clamped": "a clamp", "capped": "a cap on the tube end",
    "loop": "a loop full of fluid", "open_circuit": "the tube was apart", "off": "the pump stood still",
    "battery": "the unit had no charge", "weak_pump": "a wet filter took the suction",
    "connector_leak": "air at a joint",
    "limb_blocked": "one limb was shut", "tissue": "air went into the tissues", "dropout": "rows were lost",
    "blank": "values were lost", "stuck": "a reading stood still", "zero_shift": "the sensor's zero was wrong",
    "drift": "the sensor's zero drifted", "clock_forward": "the clock ran ahead", "clock_back": "the clock ran behind",
    "exchange": "the unit was being exchanged", "dst": "the wall clock changed its hour",
}  # fmt: skip


@dataclass(frozen=True)
class ChartRow:
    """One charted row as known by then, the newest first in `chart_rows`."""

    time_ms: int
    item: str
    value: str
    note: str

    @property
    def sign(self) -> bool:
        """One of the patient's signs, no row of drain or fluid."""
        return self.item in SIGNS


def whose(found: Assessment) -> str:
    """Age, operation and drain in a line."""
    e = found.episode
    age = "age not told" if e.age_years is None else f"{e.age_years:g} years"
    operation = (e.operation_kind or "no operation told").replace("_", " ")
    parts = [age, f"operation: {operation}", f"drain 1, {e.side or 'side not told'}, {e.space or 'space not told'}"]
    if e.breathing == "invasive":
        parts.append("on a ventilator")
    if e.shares_unit_with:
        parts.append("a second drain in the same space on the same unit")
    return "; ".join(parts)


def chart_rows(found: Assessment) -> tuple[ChartRow, ...]:
    """What staff had charted by then."""
    rows = (
        ChartRow(
            one.time, one.item.replace("_", " "), one.text.replace("_", " ") or "blank", one.note or "",
        )
        for one in found.chart.entries
    )  # fmt: skip
    return tuple(sorted(rows, key=lambda row: -row.time_ms))


def charge_says(drawn: Drawn, moment: int) -> str:
    """The charge shown, what the unit runs on a full one, and the rule's margin; '' where no way is asked about."""
    walk, margin = drawn.exercise.walk_min, drawn.exercise.margin
    if walk is None or margin is None:
        return ""
    shown = drawn.charge_percent(moment)
    charge = "no charge shown" if shown is None else f"{shown:g} % charge shown"
    return (
        f"On the unit: {charge}. By its own past discharges a full charge of this one runs "
        f"{drawn.stay.scenario.unit.battery_runs_min:g} min; a nominal figure is not this battery's. "
        f"The way there and back is planned for {walk:g} min. The rule (an example): {margin.told}."
    )


def truth_says(stay: Stay, minute: int) -> str:
    """What was truly so at the end of a minute, by the simulator."""
    truth = stay.truth
    leaky = 20.0 * float(truth.conductance_ml_per_min_per_cmh2o[max(0, minute - 29) : minute + 1].mean())
    lung = "no air left the lung at rest"
    if leaky >= 0.5:  # at one suction, so that behind a shut tube, too, it is told how leaky the lung is
        lung = f"the lung leaked at rest, about {leaky:.0f} mL/min at 20 cmH2O"
    if truth.effort_conductance_ml_per_min_per_cmh2o[minute] > 0.0:
        lung += ", more with a cough or a walk"
    way = "open" if truth.tube_open[minute] else "not open"
    wrong = [FAULT_WORDS[name] for name in truth.faults[minute]]
    return (
        f"In truth {lung}; the way to the unit was {way}; the swing at the unit was "
        f"{truth.swing_cmh2o[minute]:.1f} cmH2O{'; ' + ', '.join(wrong) if wrong else ''}."
    )
