"""What a chart may say: every item, whose it is, and what its value can be."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Item:
    """One thing staff chart.

    subject: `drain`, `space` or `patient`, whom an entry speaks of. kind: `number` (with a unit of
    `dimension`), `word`, `suction` (a pressure, or `none_added`), `bubbling` (none, or a letter and
    a size), `oxygen` (air, or how much with its unit) or `text`. `lowest` and `highest` are limits of
    meaning, in the internal unit (of suction: of its size), never of what is normal. `many`: several
    different entries may be true of one moment.
    """

    name: str
    subject: str
    kind: str
    words: tuple[str, ...] = ()
    dimension: str = ""
    lowest: float | None = None
    highest: float | None = None
    whole: bool = False
    many: bool = False


def _amount(name: str, subject: str = "drain") -> Item:
    return Item(name, subject, "number", dimension="volume", lowest=0)


def _word(name: str, subject: str, *words: str, many: bool = False) -> Item:
    return Item(name, subject, "word", words=words, many=many)


def _reading(name: str, dimension: str, highest: float | None = None, lowest: float | None = 0) -> Item:
    return Item(name, "patient", "number", dimension=dimension, lowest=lowest, highest=highest)


# What nobody at a bedside would dispute; common practice, no source. Beyond them a unit was mixed up, or a digit.
LIGHTEST_KG = 0.1
COLDEST_CEL, WARMEST_CEL = 25, 45  # of a living body
MOST_SUCTION_CMH2O = 1000  # about the pressure of the air around us

_ALL = (
    # Fluid. `fluid_output` is the amount since the previous entry of that drain.
    _amount("fluid_output"),
    _amount("canister_level"),
    _word("canister", "drain", "changed"),
    _amount("instilled"),
    _amount("drained_before"),
    _word(
        "fluid_appearance", "drain",
        "serous", "haemoserous", "bloody", "clotted", "purulent", "turbid", "chylous", "bilious", "feed",
    ),
    # Air
    Item("air_leak_read", "drain", "number", dimension="flow", lowest=0),
    Item("bubbling", "drain", "bubbling"),
    _word("cough", "drain", "leak", "no_leak", "not_looked"),
    _word("walk", "drain", "leak", "no_leak", "not_looked"),
    _word("swing", "drain", "present", "reduced", "absent"),
    _word("tube_open", "drain", "yes", "no"),
    # Suction and handling
    Item("suction_ordered", "drain", "suction", dimension="pressure", highest=MOST_SUCTION_CMH2O),
    Item("suction_delivered", "drain", "suction", dimension="pressure", highest=MOST_SUCTION_CMH2O),
    _word("clamp", "drain", "on", "off"),
    _word(
        "tubing", "drain",
        "checked", "kinked", "milked", "flushed", "capped", "apart", "reconnected", many=True,
    ),
    _word("suction_unit", "drain", "off", "on", "exchanged", "fell", "tilted", "charging", many=True),
    Item("length_at_skin", "drain", "number", dimension="length", lowest=0),
    Item("site", "drain", "text", many=True),
    # Patient
    _word("chest_xray", "space", "expanded", "space_stable", "space_new_or_larger", "not_reviewed"),
    Item("surgical_emphysema", "patient", "number", dimension="plain", lowest=0, highest=5, whole=True),
    _word("breathing", "patient", "own", "high_flow", "niv_cpap", "invasive"),
    _word("distress", "patient", "yes", "no"),
    _reading("spo2", "share", highest=100),
    Item("oxygen", "patient", "oxygen"),
    _reading("resp_rate", "rate"),
    _reading("heart_rate", "rate"),
    _reading("systolic", "pressure"),
    _reading("temperature", "temperature", lowest=COLDEST_CEL, highest=WARMEST_CEL),
    _word("consciousness", "patient", "alert", "confused", "voice", "pain", "unresponsive"),
    # What an early-warning score must know of the patient beside the readings.
    _word("spo2_scale", "patient", "scale_1", "scale_2"),
    _word("pregnant", "patient", "yes", "no"),
    _reading("weight", "mass", lowest=LIGHTEST_KG),
    _reading("pain_rest", "plain", highest=10),
    _reading("pain_cough", "plain", highest=10),
    # Before and while the patient is at home with a drain.
    _word("home_help", "patient", "yes", "no"),
    _word("home_phone", "patient", "yes", "no"),
    _word("home_taught", "patient", "yes", "no"),
    _word("home_spares", "patient", "yes", "no"),
    Item("note", "patient", "text", many=True),
)  # fmt: skip

ITEMS: dict[str, Item] = {item.name: item for item in _ALL}
