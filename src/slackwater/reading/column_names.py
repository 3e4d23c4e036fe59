"""What a column's name says: which quantity it holds, and the unit, sign, zone or kind it states."""

from __future__ import annotations

import re

from slackwater.errors import LayoutError
from slackwater.quantities import Unit
from slackwater.reading.header import known_unit
from slackwater.reading.zones import Zone, zone

# Words as exports in several languages use them; a name plays a role if it holds one of its words.
_WORDS = {
    "time": """time date datetime timestamp ts stamp when clock day datum zeit uhrzeit zeitpunkt heure
        fecha hora ora epoch elapsed seconds t""",
    "flow": "flow airflow air leak leakage leck leckage fluss fistel débit debit fuite flujo fuga flusso perdita",
    "pressure": """pressure press vac vacuum suction druck sog unterdruck pression aspiration presion
        presión vuoto pressione aspirazione""",
    "fluid": """fluid drainage volume vol collected canister sekret flüssigkeit fluessigkeit menge
        liquide liquido""",
    "battery": "battery batt akku batterie bateria batteria",
    "mains": "mains netz netzbetrieb ac secteur",
    "state": "state status mode modus zustand betriebsart",
    "serial": "serial sn seriennummer serialnumber",
}
ROLES: dict[str, frozenset[str]] = {role: frozenset(words.split()) for role, words in _WORDS.items()}
SET_WORDS = frozenset(
    {"set", "setpoint", "target", "goal", "wanted", "soll", "sollwert", "ordered", "preset", "consigne"}
)
LOW_WORDS = frozenset({"min", "minimum", "low", "lowest", "tief"})
HIGH_WORDS = frozenset({"max", "maximum", "peak", "high", "highest", "top", "hoch"})

_WORD = re.compile(r"[^\W\d_]+")
_CAMEL = re.compile(r"(?<=[a-zäöüß])(?=[A-Z])")
_SUFFIXES = {
    "flow": (("ml_per_min", "mL/min"), ("ml_min", "mL/min"), ("l_per_min", "L/min"), ("l_min", "L/min")),
    "pressure": (("cmh2o", "cmH2O"), ("kpa", "kPa"), ("hpa", "hPa"), ("mbar", "mbar"), ("mmhg", "mmHg")),
    "volume": (("ml", "mL"),),
    "share": (("percent", "%"),),
}
_SIGN = re.compile(
    r"suction\s*(?:is|=|:)?\s*(negative|positive)|(negative|positive)\s*suction|suction\s*(?:is|=|:)?\s*([-+−])(?![0-9])",
    re.IGNORECASE,
)
_KINDS = {"mean": "mean", "avg": "mean", "average": "mean", "mittel": "mean", "mittelwert": "mean"} | {
    "sample": "sample",
    "instant": "sample",
    "spot": "sample",
    "instantaneous": "sample",
}
_MARKS = {"end": "end", "ende": "end", "start": "start", "begin": "start", "beginn": "start"}


def words_of(name: str) -> list[str]:
    """The words of a name outside its brackets, in lower case.

    >>> words_of("FlowMax [mL/min]")
    ['flow', 'max']
    """
    return [word.lower() for word in _WORD.findall(_CAMEL.sub(" ", _outside(name)))]


def roles_of(name: str) -> set[str]:
    """The roles that a name could play: by its words, or by the kind of unit it states."""
    said = words_of(name)
    roles = {role for role, known in ROLES.items() if known & set(said)}
    if not roles:
        roles = {kind for kind in ("flow", "pressure") if stated_unit(name, kind) is not None}
    return roles


def stated_unit(name: str, dimension: str) -> Unit | None:
    """The unit that a name states: in brackets, after a comma or space, or as a suffix.

    >>> stated_unit("Vac (kPa)", "pressure").symbol
    'kPa'
    >>> stated_unit("flow_ml_per_min", "flow").symbol
    'mL/min'
    """
    inside = _inside(name)
    for text in (inside, *re.split(r"[\s,;]+", inside)):
        found = known_unit(text, dimension) if text else None
        if found is not None:
            return found
    tail = re.split(r"[\s,;:]+", name.strip())
    if len(tail) > 1 and (found := known_unit(tail[-1], dimension)) is not None:
        return found
    for suffix, symbol in _SUFFIXES.get(dimension, ()):
        if name.lower().endswith("_" + suffix):
            return known_unit(symbol, dimension)
    return None


def stated_sign(name: str) -> str:
    """'negative' or 'positive' where a name says which sign suction has, else ''.

    >>> stated_sign("pressure [cmH2O, suction negative]")
    'negative'
    """
    match = _SIGN.search(name)
    if match is None:
        return ""
    said = (match[1] or match[2] or match[3]).lower()
    return {"-": "negative", "−": "negative", "+": "positive"}.get(said, said)


def stated_zone(name: str) -> Zone | None:
    """The zone that a stamp's column states in brackets or as its last word, e.g. 'time [UTC]'."""
    for text in (*re.split(r"[\s,;]+", _inside(name)), *name.split()[-1:]):
        if text in ("UTC", "GMT", "Z") or "/" in text or re.fullmatch(r"[+-][0-9]{2}:[0-9]{2}", text):
            try:
                return zone("UTC" if text in ("GMT", "Z") else text)
            except LayoutError:
                continue
    return None


def stated_marks(name: str) -> str:
    """'end' or 'start' where a stamp's column says which end of its interval it marks, else ''."""
    found = {_MARKS[word] for word in _all_words(name) if word in _MARKS}
    return found.pop() if len(found) == 1 else ""


def stated_statistic(name: str) -> str:
    """'mean' or 'sample' where a flow's column says so, else ''."""
    found = {_KINDS[word] for word in _all_words(name) if word in _KINDS}
    return found.pop() if len(found) == 1 else ""


def _all_words(name: str) -> list[str]:
    return [word.lower() for word in _WORD.findall(_CAMEL.sub(" ", name))]


def _inside(name: str) -> str:
    """What stands in the brackets at the end of a name; brackets of a UCUM code stay whole."""
    match = re.search(r"[\[(]((?:[^\[\]()]|\[[^\[\]]*\])*)[\])]\s*$", name)
    return match[1].strip() if match else ""


def _outside(name: str) -> str:
    return re.sub(r"[\[(].*$", "", name)
