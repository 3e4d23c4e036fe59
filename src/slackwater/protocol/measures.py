"""The measures a rule may name: what each is, its unit, its usual scope and its words."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Measure:
    """One nameable measure.

    kind: `signal` (recorded all the time), `amount` (adds up over a window), `number` and `word`
    (charted or derived at moments), `span` (a length of time that has run up to now), `since`
    (time since a named event).
    """

    name: str
    kind: str
    dimension: str  # of quantities; "" for words
    scope: str  # drain, space or patient: the usual one
    about: str
    words: tuple[str, ...] = ()
    shown: tuple[str, ...] = ()  # words that count as 'shown'
    pending: tuple[str, ...] = ()  # words that say 'not yet looked at'


APPEARANCES = (
    "serous", "haemoserous", "bloody", "clotted", "purulent", "turbid", "chylous", "bilious", "feed",
)  # fmt: skip

_EFFORT = ("leak", "no_leak", "not_looked")

_ALL = (
    # recorded all the time
    Measure("air_leak", "signal", "flow", "space", "air flow recorded by the unit, all drains of the pleural space"),
    # added up
    Measure("fluid_output", "amount", "volume", "space", "fluid drained: charted amounts, or the unit's counter"),
    # charted at moments
    Measure("air_leak_read", "number", "flow", "drain", "a spot reading of air flow that staff charted"),
    Measure("fluid_appearance", "word", "", "space", "what the fluid looked like", APPEARANCES),
    Measure(
        "chest_xray", "word", "", "patient", "the chest film as reviewed",
        words=("expanded", "space_stable", "space_new_or_larger", "not_reviewed"),
        shown=("expanded", "space_stable"), pending=("not_reviewed",),
    ),
    Measure(
        "swing", "word", "", "drain", "swing as charted",
        words=("present", "reduced", "absent"), shown=("present", "reduced"),
    ),
    Measure("tube_open", "word", "", "drain", "tube charted open", ("yes", "no"), shown=("yes",)),
    Measure("bubbling", "word", "", "drain", "bubbling through a water seal", ("none", "FE", "E", "I", "C")),
    Measure("cough", "word", "", "space", "leak looked for with a cough", _EFFORT, pending=("not_looked",)),
    Measure("walk", "word", "", "space", "leak looked for with a walk", _EFFORT, pending=("not_looked",)),
    Measure("surgical_emphysema", "number", "plain", "patient", "extent of surgical emphysema, 0 to 5"),
    Measure("emphysema_rise", "number", "plain", "patient", "grades of emphysema above the last lower entry"),
    Measure(
        "breathing", "word", "", "patient", "support of breathing",
        words=("own", "high_flow", "niv_cpap", "invasive"),
    ),
    Measure("distress", "word", "", "patient", "respiratory distress", ("yes", "no"), shown=("yes",)),
    Measure("home_help", "word", "", "patient", "somebody at home can help", ("yes", "no"), shown=("yes",)),
    Measure("home_phone", "word", "", "patient", "the ward can be rung at any hour", ("yes", "no"), shown=("yes",)),
    Measure("home_taught", "word", "", "patient", "shown what to do, and done by them", ("yes", "no"), shown=("yes",)),
    Measure("home_spares", "word", "", "patient", "spares handed over", ("yes", "no"), shown=("yes",)),
    Measure("spo2", "number", "share", "patient", "oxygen saturation"),
    Measure("resp_rate", "number", "rate", "patient", "breathing rate"),
    Measure("heart_rate", "number", "rate", "patient", "heart rate"),
    Measure("systolic", "number", "pressure", "patient", "systolic blood pressure"),
    Measure("temperature", "number", "temperature", "patient", "body temperature"),
    Measure("pain_rest", "number", "plain", "patient", "pain at rest, 0 to 10"),
    Measure("pain_cough", "number", "plain", "patient", "pain on coughing, 0 to 10"),
    # lengths of time
    Measure("hours_since", "since", "time", "patient", "time since the event that `of` names"),
    Measure("clamped_for", "span", "time", "drain", "how long the drain has been clamped"),
    Measure("suction_short_for", "span", "time", "drain", "how long suction has been short of the order"),
    Measure("positive_pressure_for", "span", "time", "drain", "how long pressure at the unit has been above zero"),
    Measure("open_circuit_for", "span", "time", "drain", "how long the circuit has looked open, or the leak huge"),
    Measure("output_stopped_for", "span", "time", "drain", "how long charted output has been zero after running"),
)  # fmt: skip

MEASURES: dict[str, Measure] = {measure.name: measure for measure in _ALL}

EVENTS = (
    "connected", "operation.end", "suction_change", "clamp_trial", "clamp_on", "clamp_off", "reconnection",
    "unit_exchange", "tube_flushed",
)  # fmt: skip

WAYS_OPEN = ("swing", "air", "fluid", "charted")

REMOVED = "removed"  # the drain is out
SCHEDULE_EVENTS = (*EVENTS, REMOVED)
