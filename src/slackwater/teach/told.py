"""What a learner is told in words: whose invented drain, what staff charted, and afterwards what was truly so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from slackwater.assessment.assessment import Assessment
from slackwater.episode.types import Entry
from slackwater.protocol.sentence import sentence
from slackwater.simulate import Stay
from slackwater.teach.draw import Drawn
from slackwater.teach.exercise import Exercise, Kind

BANNER = "Practice: an invented drain. Not a patient."
CAUTION = (
    "What is right here is what the simulator knows and the file says; it is no advice for a patient. At the bedside "
    "your unit's own rules and a licensed professional who has seen the patient decide."
)

ADULT_YEARS = 16.0  # below it the weight stands beside the age: amounts are by the kilogram then (ours)
SIGNS = frozenset({
    "resp_rate", "heart_rate", "systolic", "temperature", "spo2", "weight", "length_at_skin", "pain_rest", "pain_cough",
    "breathing", "distress",
})  # fmt: skip
FEW, MANY = 8, 16  # rows shown at once; moments shown where the question names its items (ours)

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
    """One charted row as known by then, the newest first in `chart_rows`. code: the item's own name."""

    time_ms: int
    item: str
    value: str
    note: str
    code: str

    @property
    def sign(self) -> bool:
        """One of the patient's signs, no row of drain or fluid."""
        return self.code in SIGNS


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
    if e.shares_space_with and not e.shares_unit_with:
        parts.append(f"drain {' and '.join(e.shares_space_with)} in the same space, on a unit of its own")
    if e.age_years is not None and e.age_years < ADULT_YEARS:
        parts.append("no weight recorded" if e.weight_kg is None else f"{e.weight_kg:g} kg")
    return "; ".join(parts)


def chart_rows(found: Assessment) -> tuple[ChartRow, ...]:
    """What staff had charted by then; the drain is named where the row is of another one."""
    rows = (
        ChartRow(
            one.time, one.item.replace("_", " ") + _of_drain(one, found), one.text.replace("_", " ") or "blank",
            one.note or "", one.item,
        )
        for one in found.chart.entries
    )  # fmt: skip
    return tuple(sorted(rows, key=lambda row: -row.time_ms))


def _of_drain(one: Entry, found: Assessment) -> str:
    return f", drain {one.drain}" if one.drain and one.drain != found.episode.drain_number else ""


def rows_first(rows: Sequence[ChartRow]) -> tuple[ChartRow, ...]:
    """The newest of drain and fluid."""
    return tuple(row for row in rows if not row.sign)[:FEW]


@dataclass(frozen=True)
class Asked:
    """The rows that a question is about, as a table: a line a moment, the newest first; items: its columns."""

    items: tuple[str, ...]
    lines: tuple[tuple[int, tuple[str, ...]], ...]


def asked_rows(rows: Sequence[ChartRow], kind: Kind) -> Asked | None:
    """None where the kind of question names no items. A moment's two rows of one item stand in one cell."""
    if not kind.charted:
        return None
    about = [row for row in rows if row.code in kind.charted]
    items = tuple(sorted({row.item for row in about}, key=lambda item: _place(item, kind)))
    lines: dict[int, dict[str, list[str]]] = {}
    for row in about:
        lines.setdefault(row.time_ms, {}).setdefault(row.item, []).append(row.value)
    told = ((at, tuple(" / ".join(cells.get(item, ())) for item in items)) for at, cells in lines.items())
    return Asked(items, tuple(told)[:MANY])


def _place(item: str, kind: Kind) -> tuple[int, str]:
    """Where a column stands: as the kind names them, this drain's before another's."""
    name = item.split(", ")[0].replace(" ", "_")
    return kind.charted.index(name), item


def rule_says(one: Exercise) -> str:
    """The clauses that a question is about; '' where it is about none."""
    if one.protocol is None or not one.kind.asks:
        return ""
    said = "; ".join(sentence(clause).removesuffix(".") for clause in one.protocol.removal
                     if clause.measure_name in one.kind.asks)  # fmt: skip
    return f"Rule {one.protocol.name} (an example): {said}."


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
