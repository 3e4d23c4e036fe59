"""What a full set asks of eyes and hands: each item with its words, and how a form becomes chart rows.

Nothing is chosen beforehand; what was not looked at is left out, which is not zero.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from slackwater.episode.items import ITEMS
from slackwater.episode.typed import Typed
from slackwater.episode.values import NONE_ADDED
from slackwater.quantities.suction import SPOKEN_IN
from slackwater.web.bedside import Rows
from slackwater.web.forms import Form

Choices = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Ask:
    """One item. `unit`: what its number is written in. `again`: what was charted before may be filled in by a tap."""

    item: str
    label: str
    choices: Choices = ()
    unit: str = ""
    hint: str = ""
    again: bool = False

    @property
    def kind(self) -> str:
        """How the form asks: by one of its own shapes, by taps, as a number or as text."""
        if self.item in ("bubbling", "suction_delivered", "oxygen", "site"):
            return self.item
        if self.choices:
            return "taps"
        return "text" if ITEMS[self.item].kind == "text" else "number"


@dataclass(frozen=True)
class Group:
    head: str
    asks: tuple[Ask, ...]


def plain_choices(item: str, **other: str) -> Choices:
    """The words of an item as people read them; `other` says some of them better."""
    return tuple((word, other.get(word, word.replace("_", " "))) for word in ITEMS[item].words)


def grades(highest: int) -> Choices:
    return tuple((str(grade), str(grade)) for grade in range(highest + 1))


PRESSURE_UNITS: Choices = tuple((symbol, symbol.replace("hPa", "hPa (mbar)")) for symbol in SPOKEN_IN)
SUCTION_UNITS: Choices = (*PRESSURE_UNITS, (NONE_ADDED, "none added (seal, gravity)"))
EFFORT = plain_choices("cough", leak="leak seen", no_leak="no leak seen", not_looked="not looked at")
XRAY = plain_choices(
    "chest_xray", expanded="lung expanded", space_stable="space, the same", space_new_or_larger="space, new or larger",
    not_reviewed="taken, not read yet",
)  # fmt: skip
# Extent as in Indian J Surg 2015;77(S2):673, five steps above none; in our words.
EMPHYSEMA = (
    ("0", "0 none"), ("1", "1 base of the neck"), ("2", "2 whole neck"), ("3", "3 below the pectoral"),
    ("4", "4 chest wall and neck"), ("5", "5 wider: face, belly, limbs"),
)  # fmt: skip

SWING = Ask("swing", "Swing", plain_choices("swing"), hint="Less or none is usual while suction is on")
TRACED = Ask(
    "tubing", "Tube traced from skin to unit",
    (("checked", "free, joints tight"), ("kinked", "kink or loop"), ("apart", "a joint came apart")),
)  # fmt: skip
OPEN = Ask(
    "tube_open", "Tube open", (("yes", "shown open"), ("no", "not open")),
    hint="Air or fluid moves in it with breath or cough",
)  # fmt: skip
COUGH = Ask("cough", "Air leak on a cough", EFFORT[:2], hint="Ask for a cough, look meanwhile")
BUBBLING = Ask(
    "bubbling", "Bubbling",
    (
        ("none", "none seen"), ("FE", "on cough only"), ("E", "breathing out"), ("I", "breathing in"),
        ("C", "all the time"),
    ),
    hint="And its size, 1 to 7",
)  # fmt: skip
FLOW_READ = Ask("air_leak_read", "Air flow on the unit's display", unit="mL/min")
SUCTION_SEEN = Ask("suction_delivered", "Suction on the unit's display", SUCTION_UNITS)
FLUID = Ask("fluid_output", "Fluid since the last entry", unit="mL")
LOOKS = Ask("fluid_appearance", "Appearance of the fluid", plain_choices("fluid_appearance"))
LEVEL = Ask("canister_level", "Canister's level", unit="mL")
SITE = Ask(
    "site", "Site and dressing",
    tuple((word, word) for word in ("dry, sealed", "soaked", "loose", "red or swollen", "anchor loose")),
)  # fmt: skip
LENGTH = Ask("length_at_skin", "Length at the skin", unit="cm", again=True)
EMPHYSEMA_ASK = Ask("surgical_emphysema", "Surgical emphysema, by touch", EMPHYSEMA)
PAIN_REST = Ask("pain_rest", "Pain at rest", grades(10))
PAIN_COUGH = Ask("pain_cough", "Pain on cough", grades(10))
BREATHING = Ask(
    "breathing", "Breathing",
    (("own", "own"), ("high_flow", "high flow"), ("niv_cpap", "mask, CPAP"), ("invasive", "ventilator")),
)  # fmt: skip
DISTRESS = Ask("distress", "Distress", (("no", "none seen"), ("yes", "yes")))
READINGS = (
    Ask("resp_rate", "Breathing rate", unit="/min"),
    Ask("spo2", "SpO2", unit="%"),
    Ask("oxygen", "Air or oxygen", (("air", "air"), ("L/min", "L/min"), ("%", "%"))),
    Ask("heart_rate", "Pulse", unit="/min"),
    Ask("systolic", "Systolic pressure", unit="mmHg"),
    Ask("temperature", "Temperature", unit="Cel"),
    Ask("consciousness", "Consciousness", plain_choices("consciousness", confused="newly confused", voice="to voice",
                                                       pain="to pain")),
)  # fmt: skip
SCALE = Ask("spo2_scale", "SpO2 scale prescribed", (("scale_1", "1"), ("scale_2", "2 (88 to 92 %)")))
PREGNANT = Ask("pregnant", "Pregnant", (("no", "no"), ("yes", "yes")))
NOTE = Ask("note", "Note")
ALL = (
    SWING, TRACED, OPEN, COUGH, BUBBLING, FLOW_READ, SUCTION_SEEN, FLUID, LOOKS, LEVEL, SITE, LENGTH, EMPHYSEMA_ASK,
    PAIN_REST, PAIN_COUGH, BREATHING, DISTRESS, *READINGS, SCALE, PREGNANT, NOTE,
)  # fmt: skip


def full_set(
    *, unit: bool, flow_live: bool, counted: bool, known: Iterable[str] = (), typed: Iterable[str] = ()
) -> tuple[Group, ...]:
    """What is asked at this drain. unit: a suction unit serves it. flow_live: its log is fresh, so nobody need read it.

    counted: the unit counts the fluid. known: items that are asked once and were. typed: items that were typed, which
    stay on the page whatever changed meanwhile.
    """
    left_out = {FLOW_READ} if flow_live or not unit else {BUBBLING}
    left_out |= ({BUBBLING} if flow_live else set()) | (set() if unit else {SUCTION_SEEN})
    left_out |= {FLUID, LEVEL} if counted else {LEVEL}
    left_out |= {ask for ask in (SCALE, PREGNANT) if ask.item in set(known)}
    left_out -= {ask for ask in ALL if ask.item in set(typed)}
    groups = (
        ("Tube", (SWING, TRACED, OPEN, COUGH, FLOW_READ, BUBBLING, SUCTION_SEEN)),
        ("Fluid", (FLUID, LOOKS, LEVEL)),
        ("Skin", (SITE, LENGTH, EMPHYSEMA_ASK)),
        ("Patient", (PAIN_REST, PAIN_COUGH, BREATHING, DISTRESS)),
        ("Readings", (*READINGS, SCALE, PREGNANT)),
        ("Anything else", (NOTE,)),
    )
    return tuple(Group(head, tuple(ask for ask in asks if ask not in left_out)) for head, asks in groups)


def typed_items(form: Form) -> set[str]:
    """Items of which anything was typed or tapped."""
    fields = [f"{ask.item}{further}" for ask in ALL for further in ("", "_unit", "_amount", "_size")]
    typed = {name for name in fields if form.said.get(name, "").strip()}
    return {ask.item for ask in ALL if any(name.startswith(ask.item) for name in typed)}


def rows_of(form: Form, asks: Iterable[Ask] = ALL) -> Rows:
    """Chart rows of what was looked at, by the field that says each; what does not fit together is a fault."""
    rows: Rows = {}
    for ask in asks:
        value = form.said.get(ask.item, "").strip()
        if ask.kind == "suction_delivered":
            _suction(form, value, rows)
        elif ask.kind == "oxygen":
            _oxygen(form, value, rows)
        elif ask.kind == "bubbling":
            _bubbling(form, value, rows)
        elif value:
            rows[ask.item] = Typed(ask.item, value, ask.unit)
        if ask.kind == "site" and (more := form.text("site_text")):
            rows["site_text"] = Typed("site", more)
    return rows


def _suction(form: Form, level: str, rows: Rows) -> None:
    unit = form.said.get("suction_delivered_unit", "")
    if unit == NONE_ADDED:
        if level:
            form.faults["suction_delivered"] = "A level and 'none added' cannot both be: keep one."
        rows["suction_delivered"] = Typed("suction_delivered", NONE_ADDED)
    elif level and not unit:
        form.faults["suction_delivered"] = f"{level[:20]} of what? Tap its unit, as the display shows it."
    elif unit and not level:
        form.faults["suction_delivered"] = "Write the level that the display shows."
    elif level:
        rows["suction_delivered"] = Typed("suction_delivered", level, unit)


def _oxygen(form: Form, how: str, rows: Rows) -> None:
    amount = form.said.get("oxygen_amount", "").strip()
    if how == "air" and amount:
        form.faults["oxygen"] = "Air, or so much oxygen: keep one."
    elif how == "air":
        rows["oxygen"] = Typed("oxygen", "air")
    elif amount and not how:
        form.faults["oxygen"] = f"{amount[:20]} of what? Tap L/min or %."
    elif how and not amount:
        form.faults["oxygen"] = "Write how much."
    elif how:
        rows["oxygen"] = Typed("oxygen", amount, how)


def _bubbling(form: Form, pattern: str, rows: Rows) -> None:
    size = form.said.get("bubbling_size", "").strip()
    if pattern == "none":
        if size:
            form.faults["bubbling"] = "None seen, and a size: keep one."
        rows["bubbling"] = Typed("bubbling", "none")
    elif bool(pattern) != bool(size):
        form.faults["bubbling"] = "Tap when it bubbles and its size, 1 to 7."
    elif pattern:
        rows["bubbling"] = Typed("bubbling", f"{pattern}{size}")
