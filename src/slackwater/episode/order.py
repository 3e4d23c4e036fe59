"""An order of suction as typed: its exact level, what stops it, what must be asked, and the sentence to read back.

It never rounds and never mends what was typed. The numbers below decide what is asked, never what may be ordered:
that is the rule's range. They are ours, argued in docs/definitions.md.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from slackwater.episode.episode import OPERATIONS
from slackwater.episode.spelling import meant, plain_word
from slackwater.episode.values import NONE_ADDED
from slackwater.errors import QuantityError
from slackwater.quantities.suction import SuctionRange, digits, exactly, rounded, side_by_side
from slackwater.quantities.units import Quantity, parse_quantity, unit

# A level in [5, 50) cmH2O taken ten times too large or too small leaves [5, 50): every such slip is asked about.
ASKED_BELOW_CMH2O = 5
ASKED_FROM_CMH2O = 50
TEN_AT_LEAST, TEN_AT_MOST = 8.0, 12.5  # times another level: about ten times it
NEAR_MMHG = 0.01  # of the ratio 1.36 to the last order: 20 after 15 cmH2O, 1.33, is not asked about
NEAR_MMHG_MEASURED = 0.06  # of the same to what was delivered, which wobbles

NO_RANGE = "No rule of this unit says which levels are allowed: the level was not held against a range."
PNEUMONECTOMY = (
    "Suction is not added after pneumonectomy: the mediastinum may shift. Ask the surgeon, by your local policy."
)
PNEUMONECTOMY_SEAL = "After pneumonectomy even a water seal may shift the mediastinum: as your local policy says."


@dataclass(frozen=True)
class Known:
    """What is known when an order is typed. None is not known."""

    operation: str | None = None  # kind, as the episode has it
    allowed: SuctionRange | None = None  # of the rule; None: no range is checked, and that is said
    rule: str = ""  # the rule's name and version
    last: Quantity | None = None  # the order in force
    last_is_none_added: bool = False
    delivered_cmh2o: float | None = None  # measured lately, suction negative


@dataclass(frozen=True)
class Remark:
    """Something that stops an order, or that must be answered. `wants`, of a question: `level` (level and unit, typed
    once more) or `operation` (what was done, by the word of the list)."""

    id: str
    text: str
    wants: str = ""


@dataclass(frozen=True)
class SuctionOrder:
    """An order as understood. It may be given once `stops` is empty and `unanswered` of its answers is too."""

    level: str  # digits with their sign, or none_added: what the record keeps
    unit: str  # as written; empty for none_added
    quantity: Quantity | None  # suction negative, exact; None: none is added
    beside: tuple[str, ...]  # the four units; empty for none_added
    stops: tuple[Remark, ...]
    questions: tuple[Remark, ...]
    notes: tuple[str, ...]
    reading_back: str

    @property
    def cmh2o(self) -> Fraction | None:
        """Exact, suction negative; None: none is added."""
        return None if self.quantity is None else self.quantity.value


def suction_order(level: str, unit_name: str, known: Known) -> SuctionOrder:
    """Read an order: a level with its unit, or none_added without one.

    A minus sign is not needed, since nobody orders a pressure above the room's; a plus sign is asked about.
    Raises QuantityError, naming `level` or `unit`, for what is no number or has no unit of pressure.

    >>> suction_order("20", "kPa", Known(operation="lobectomy")).questions[0].id
    'factor_ten'
    """
    if plain_word(level) == NONE_ADDED:
        return _none_added(unit_name, known)
    typed = level_of(level, unit_name)
    if typed is None:
        raise QuantityError("no level is typed", where="level", mend="Write e.g. -20 with its unit, or none_added.")
    quantity = Quantity(-abs(typed.value), typed.unit)
    beside = side_by_side(quantity)
    return SuctionOrder(
        level=digits(quantity.written),
        unit=typed.unit.symbol,
        quantity=quantity,
        beside=beside,
        stops=tuple(_stops(quantity, known)),
        questions=tuple(_questions(typed, level, known)),
        notes=tuple(_notes(quantity, known)),
        reading_back=f"Suction {exactly(quantity)}: {', '.join(_others(beside, quantity))}.{_change(quantity, known)}",
    )


def level_of(level: str | None, unit_name: str | None) -> Quantity | None:
    """A level as typed or as recorded, with its sign; None for nothing and for none_added.

    The unit may stand with the number. Raises QuantityError naming `level` or `unit`.
    """
    text, name = (level or "").strip(), (unit_name or "").strip()
    if not text or plain_word(text) == NONE_ADDED:
        return None
    if name:
        try:
            unit(name, "pressure")
        except QuantityError as error:
            raise QuantityError(error.what, where="unit", mend=error.mend) from None
    try:
        return parse_quantity(f"{text} {name}", "pressure")
    except QuantityError as error:
        raise QuantityError(error.what, where="level" if name else "level or unit", mend=error.mend) from None


def unanswered(order: SuctionOrder, answers: Mapping[str, str]) -> dict[str, str]:
    """What is still to be answered, by the question's id: what is missing or wrong with the answer typed.

    `level` is answered by typing level and unit again; `operation` by its word, which may itself stop the order.
    """
    found = {}
    for question in order.questions:
        answer = answers.get(question.id, "").strip()
        if not answer:
            found[question.id] = "Answer it to go on."
        elif question.wants == "level":
            if not _same(answer, order):
                found[question.id] = f"{answer[:40]!r} is not the order: type it again with its unit, or mend it above."
        elif "pneumonec" in plain_word(answer):
            found[question.id] = PNEUMONECTOMY
        elif plain_word(answer) not in OPERATIONS:
            found[question.id] = meant(plain_word(answer), OPERATIONS)
    return found


def _same(answer: str, order: SuctionOrder) -> bool:
    try:
        again = level_of(answer, "")
    except QuantityError:
        return False
    return again is not None and again.unit == unit(order.unit) and -abs(again.value) == order.cmh2o


def _none_added(unit_name: str, known: Known) -> SuctionOrder:
    if unit_name.strip():
        raise QuantityError("none_added takes no unit", where="unit", mend="Empty it.")
    notes = (PNEUMONECTOMY_SEAL,) if _pneumonectomy(known.operation) else ()
    reading = "No suction is added: water seal or gravity."
    return SuctionOrder(NONE_ADDED, "", None, (), (), (), notes, reading)


def _stops(quantity: Quantity, known: Known) -> list[Remark]:
    found = []
    if not quantity.value:
        found.append(Remark("zero", "A level of zero is no order. Write none_added where no suction is to be added."))
    elif _pneumonectomy(known.operation):
        found.append(Remark("pneumonectomy", PNEUMONECTOMY))
    if quantity.value and known.allowed is not None and not known.allowed.holds(quantity.value):
        rule = f" by {known.rule}" if known.rule else ""
        text = f"{exactly(quantity)} is outside what is allowed{rule}: {known.allowed.told}."
        found.append(Remark("range", text + _inside_instead(quantity, known.allowed)))
    return found


def _inside_instead(quantity: Quantity, allowed: SuctionRange) -> str:
    """The same digits in the other unit, where those would be allowed."""
    other = _other_unit(quantity)
    if other is None or not allowed.holds(other.value):
        return ""
    return f" Was {exactly(other)} meant?"


def _other_unit(quantity: Quantity) -> Quantity | None:
    """The same digits in the unit about ten times larger or smaller."""
    swap = {"kPa": "cmH2O", "cmH2O": "kPa", "hPa": "kPa", "mbar": "kPa"}.get(quantity.unit.symbol)
    return None if swap is None else Quantity(quantity.written * unit(swap).factor, unit(swap))


def _questions(typed: Quantity, text: str, known: Known) -> list[Remark]:
    size = abs(typed.value)
    quantity = Quantity(-size, typed.unit)
    if not size:
        return []
    found = []
    if text.strip().startswith("+"):
        asked = f"{text.strip()} was typed with a plus sign, a pressure above the room's. Is suction meant?"
        found.append(Remark("sign", f"{asked} Then type {exactly(quantity)} again.", "level"))
    against = _ten_times(quantity, known)
    if against or size < ASKED_BELOW_CMH2O or size >= ASKED_FROM_CMH2O:
        found.append(Remark("factor_ten", _ten_text(quantity, against), "level"))
    mercury = _mercury(quantity, known)
    if mercury:
        found.append(Remark("mercury", f"{mercury} If not, type {exactly(quantity)} again.", "level"))
    if known.operation is None:
        text = "Which operation was done is not recorded. After pneumonectomy no suction is added. What was done?"
        found.append(Remark("operation", text, "operation"))
    return found


def _references(known: Known) -> list[tuple[str, Fraction]]:
    """What the order is held against: (words, size in cmH2O)."""
    found = []
    if known.last is not None and known.last.value:
        found.append(
            (f"the last order, {exactly(Quantity(-abs(known.last.value), known.last.unit))}", known.last.value)
        )
    if known.delivered_cmh2o is not None and abs(known.delivered_cmh2o) >= 1:
        measured = Fraction(known.delivered_cmh2o)
        found.append((f"what is delivered, {rounded(measured, 'cmH2O')}", measured))
    return [(words, abs(value)) for words, value in found]


def _ten_times(quantity: Quantity, known: Known) -> str:
    for words, reference in _references(known):
        ratio = abs(quantity.value) / reference
        if TEN_AT_LEAST <= ratio <= TEN_AT_MOST:
            return f"about ten times {words}"
        if TEN_AT_LEAST <= 1 / ratio <= TEN_AT_MOST:
            return f"about a tenth of {words}"
    return ""


def _ten_text(quantity: Quantity, against: str) -> str:
    other = _other_unit(quantity)
    told = ", ".join(side_by_side(quantity))
    low = f"every level under {ASKED_BELOW_CMH2O} cmH2O is asked about"
    high = f"every level from {ASKED_FROM_CMH2O} cmH2O on is asked about"
    why = f"it is {against}" if against else low if abs(quantity.value) < ASKED_BELOW_CMH2O else high
    instead = f" Is {exactly(other)} meant?" if other is not None else ""
    return f"{told}: {why}.{instead} If not, type {exactly(quantity)} again."


def _mercury(quantity: Quantity, known: Known) -> str:
    """The question whether mmHg and cmH2O were taken for each other; empty where nothing speaks for it."""
    factor = unit("mmHg").factor
    size, symbol = abs(quantity.value), quantity.unit.symbol
    in_play = symbol == "mmHg" or (known.last is not None and known.last.unit.symbol == "mmHg")
    for words, reference in _references(known):
        measured = words.startswith("what is delivered")
        if measured and not in_play:
            continue
        near = NEAR_MMHG_MEASURED if measured else NEAR_MMHG
        for ratio, verb in ((size / reference, "stronger than"), (reference / size, "weaker than")):
            if abs(ratio / factor - 1) <= near:
                other = "cmH2O" if symbol == "mmHg" else "mmHg"
                return (
                    f"{exactly(quantity)} is 1.36 times {verb} {words}: so mmHg and cmH2O differ. "
                    f"Is {digits(quantity.written)} {other} meant?"
                )
    return ""


def _notes(quantity: Quantity, known: Known) -> list[str]:
    if known.allowed is None:
        return [NO_RANGE]
    near = known.allowed.settable(quantity.value)
    step = known.allowed.step
    if near is None or step is None:
        return []
    told = f"{rounded(near, step.unit.symbol)} ({rounded(near, 'cmH2O')})"
    return [f"In steps of {exactly(step)} the nearest that can be set is {told}; the order stays."]


def _others(beside: tuple[str, ...], quantity: Quantity) -> list[str]:
    own = quantity.unit.symbol
    return [text for text in beside if own not in text]


def _change(quantity: Quantity, known: Known) -> str:
    """Against the order in force, in words that no sign can turn round."""
    if known.last_is_none_added:
        return " Until now no suction was added."
    if known.last is None or not known.last.value:
        return ""
    before = exactly(Quantity(-abs(known.last.value), known.last.unit))
    size, was = abs(quantity.value), abs(known.last.value)
    word = "stronger than" if size > was else "weaker than" if size < was else "as strong as"
    return f" It is {word} the last order, {before}."


def _pneumonectomy(operation: str | None) -> bool:
    return operation is not None and "pneumonec" in operation
