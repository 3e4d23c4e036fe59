"""A unit's reading as ORU^R01 in the form of IHE PCD-01: for the simulator, and for whoever tries out the listener.

The device tree (unit, its one module, its one channel) as observations without a value, the unit's serial in OBX-18,
then each measure by the table of codes. HL7 v2.6 chapter 7, IHE PCD TF-2; from memory.
"""

from __future__ import annotations

from slackwater.errors import UsageError
from slackwater.feed.hl7_codes import UCUM, Code, Codes
from slackwater.feed.hl7_message import escaped
from slackwater.feed.hl7_reading import PARTS
from slackwater.feed.hl7_time import written
from slackwater.feed.line import Amount, Reported
from slackwater.quantities.units import unit

PROFILE = "IHE_PCD_001^IHE PCD^1.3.6.1.4.1.19376.1.6.1.1.1^ISO"
# No standard code for a drain's suction unit was found, so its tree is local.
_TREE = (("SUCTIONUNIT", "suction unit", "1.0.0.0"), ("DRAINAGE", "drainage", "1.1.0.0"), ("DRAIN", "drain", "1.1.1.0"))
_AMOUNTS = ("flow", "pressure", "set_suction", "battery", "fluid")


def oru_of(reported: Reported, codes: Codes, *, control: str, sent_ms: int, label: str | None = None) -> str:
    """One reading as a message, segments ended by CR. control: its own id. label: of the patient, where one is named.

    Raises UsageError where the table has no code for what the reading says, or other words for how it is to be read.
    """
    if (reported.marks, reported.statistic) != (codes.marks, codes.statistic):
        raise UsageError(
            f"the reading is {reported.statistic}, marks {reported.marks}", where=codes.name,
            mend="Make the table's [readings] say the same.",
        )  # fmt: skip
    by_measure = {code.measure: code for code in codes.codes.values() if code.measure}
    system = next(iter(by_measure.values())).system if by_measure else ""
    metrics = [_obx(_known(by_measure, measure, codes), *cells) for measure, *cells in _metrics(reported, by_measure)]
    tree = [
        f"|{code}^{text}^{system}|{path}|||||||X|||||||{reported.unit if place == 0 else ''}".rstrip("|")
        for place, (code, text, path) in enumerate(_TREE)
    ]
    observed = [*tree, *(metric.replace("PATH", f"1.1.1.{n}", 1) for n, metric in enumerate(metrics, start=1))]
    lines = [
        f"MSH|^~\\&|SIMULATED|||slackwater|{written(sent_ms)}||ORU^R01^ORU_R01|{escaped(control)}|P|2.6"
        f"|{reported.sequence}|||||UNICODE UTF-8|||{PROFILE}",
        # PID-5 must be there, and this program knows no names: of type U, unspecified
        *(
            []
            if label is None
            else [f"PID|||{escaped(label)}^^^{escaped(codes.authority)}^{escaped(codes.identifier)}||^^^^^^U"]
        ),
        f"OBR|1||{escaped(control)}|{_TREE[0][0]}^{_TREE[0][1]}^{system}|||{written(reported.time_ms)}",
        *(f"OBX|{number}|{cells}" for number, cells in enumerate(observed, start=1)),
    ]
    return "".join(f"{line}\r" for line in lines)


def _metrics(reported: Reported, by_measure: dict[str, Code]) -> list[tuple[str, str, str, str]]:
    """(measure, type, value, unit) of all that the reading says."""
    found: list[tuple[str, str, str, str]] = []
    for name in _AMOUNTS:
        amount: Amount | None = getattr(reported, name)
        if amount is None:
            continue
        code = by_measure.get(name)
        if code is not None and code.sign != amount.suction_is:
            amount = _turned(amount)
        parts = [(name, "value"), *((measure, part) for measure, (of, part) in PARTS.items() if of == name)]
        found += [(measure, "NM", digits, _ucum(amount.unit)) for measure, part in parts
                  if (digits := getattr(amount, part))]  # fmt: skip
    if reported.mains is not None:
        found.append(("mains", "ST", "yes" if reported.mains else "no", ""))
    if reported.state is not None:
        found.append(("state", "ST", reported.state, ""))
    return found


def _obx(code: Code, type_: str, value: str, unit_: str) -> str:
    sent = {meaning: word for word, meaning in code.words}
    if code.words and value not in sent:
        raise UsageError(f"{value!r} has no word in the table", where=code.code, mend="Enter it.")
    told_unit = f"{unit_}^{unit_}^UCUM" if unit_ else ""
    name = f"{escaped(code.code)}^{escaped(code.text)}^{escaped(code.system)}"
    return f"{type_}|{name}|PATH|{escaped(sent.get(value, value))}|{told_unit}|||||R"


def _known(by_measure: dict[str, Code], measure: str, codes: Codes) -> Code:
    if measure not in by_measure:
        raise UsageError(f"the table has no code for {measure}", where=codes.name, mend="Enter one.")
    return by_measure[measure]


def _turned(amount: Amount) -> Amount:
    """The same pressure with suction written by the other sign: what was lowest is highest then."""

    def other(digits: str) -> str:
        return digits.removeprefix("-") if digits.startswith("-") or not digits.strip("0.") else f"-{digits}"

    return Amount(
        value=other(amount.value), unit=amount.unit, min=other(amount.max), max=other(amount.min), step=amount.step,
        suction_is="positive" if amount.suction_is == "negative" else "negative",
    )  # fmt: skip


def _ucum(symbol: str) -> str:
    if symbol in UCUM:
        return symbol
    return next(code for code in sorted(UCUM) if unit(code).symbol == symbol)
