"""ORU^R01 in the form of IHE PCD-01, or from a laboratory: what is read of it here, or all that is wrong with it.

HL7 v2.6 chapters 2 (MSH), 3 (PID), 7 (ORU, OBR, OBX); IHE PCD TF-2. From memory.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field
from datetime import UTC, tzinfo

from slackwater.episode.items import ITEMS
from slackwater.episode.typed import plain
from slackwater.episode.values import read_value
from slackwater.errors import ChartError
from slackwater.feed.hl7_codes import Code, Codes
from slackwater.feed.hl7_fault import (
    MISSING,
    NO_SUCH_WORD,
    NOBODY,
    NOT_THIS_EVENT,
    NOT_THIS_TYPE,
    NOT_THIS_USE,
    NOT_THIS_VERSION,
    SEQUENCE,
    TWICE,
    WRONG_TYPE,
    At,
    Hl7Error,
    Hl7Errors,
)
from slackwater.feed.hl7_message import Message, Segment, required, required_alone
from slackwater.feed.hl7_observation import (
    NONE_YET,
    UNDONE,
    Value,
    doubt_of,
    number_in,
    set_id,
    told_by,
    value_of,
)
from slackwater.feed.hl7_reading import Count, Observed, Placed, readings_of
from slackwater.feed.hl7_time import instant_at, offset_of

VERSIONS = ("2.3", "2.3.1", "2.4", "2.5", "2.5.1", "2.6", "2.7", "2.7.1", "2.8", "2.8.1", "2.8.2")
# What an ORU^R01 may hold; a segment of another name would be data that vanish.
_SEGMENTS = frozenset({
    "MSH", "SFT", "UAC", "PID", "PD1", "PRT", "NTE", "NK1", "ARV", "ROL", "PV1", "PV2", "ORC", "OBR", "TQ1", "TQ2",
    "CTD", "OBX", "FT1", "CTI", "SPM", "SAC", "DSC",
})  # fmt: skip
LONGEST_VALUE = 200  # characters of a result that is shown as sent
LONGEST_NAME = 199  # of a sender or a control id
MOST_FAULTS = 20  # told in one answer


@dataclass(frozen=True)
class Result:
    """One result for the patient's chart. `status`: of table 0085; D and W take the same back.

    known: an item of the chart; others are kept and shown, never used. code: as sent. value: empty only where one is
    taken back; lacks: why a correction brings none that is of use. changed_ms: when it became so (OBR-22, else MSH-7).
    """

    at: At
    item: str
    code: str
    value: str
    unit: str
    time_ms: int
    status: str
    known: bool
    changed_ms: int
    lacks: str = ""


@dataclass(frozen=True)
class Understood:
    """What a message says that is read here. `label`: of the patient, None where it names nobody. sent_ms: MSH-7."""

    sender: str
    control: str
    sent_ms: int
    label: str | None
    readings: tuple[Placed, ...]
    results: tuple[Result, ...]
    passed_over: tuple[tuple[At, str], ...]


@dataclass
class _Found:
    """What has been read so far, while the segments go by."""

    sent_ms: int
    observed: list[Observed] = field(default_factory=list)
    results: list[Result] = field(default_factory=list)
    passed: list[tuple[At, str]] = field(default_factory=list)
    faults: list[Hl7Error] = field(default_factory=list)

    @property
    def measured(self) -> bool:
        return any(one.code is not None for one in self.observed)


def understand(message: Message, codes: Codes) -> Understood:
    """Read a message by the table. Raises Hl7Errors with every segment's first fault, in order: all or nothing."""
    header = message.header
    zone, sent_ms = _check_header(header, codes)
    _check_order(message)
    found = _Found(sent_ms)
    label = None
    try:
        label = _label(message.all("PID"), codes)
    except Hl7Error as error:
        found.faults.append(error)
    group, set_ids = message.header, dict[int, At]()
    for segment in message.segments:
        try:
            if segment.name == "OBR":
                group, set_ids = segment, {}
                _check_request(segment, zone)
            elif segment.name == "OBX":
                _observation(segment, group, set_ids, zone, codes, found)
        except Hl7Error as error:
            found.faults += error.faults
    readings: tuple[Placed, ...] = ()
    if not found.faults:
        readings = _or_keep(found, message, codes)
    if found.results and label is None and not found.faults:
        found.faults.append(
            Hl7Error("is missing, and there are results for a chart", code=MISSING, at=At("PID"), mend="Send PID-3.")
        )
    if not found.faults and not readings and not found.results:
        why = found.passed[0] if found.passed else (At("OBX"), "there is no observation")
        what = f"nothing in this message is taken here: {why[1]}"
        mend = "Have the engineer enter its codes in the table."
        found.faults.append(Hl7Error(what, code=NO_SUCH_WORD, at=why[0], mend=mend))
    if found.faults:
        raise Hl7Errors(tuple(found.faults[:MOST_FAULTS]))
    return Understood(
        sender_of(header), header.only(10), sent_ms, label, readings, tuple(found.results), tuple(found.passed)
    )


def sender_of(header: Segment) -> str:
    """The sending application and facility (MSH-3, MSH-4), as people read them."""
    return " ".join(filter(None, (plain(header.text(3)), plain(header.text(4)))))


def _check_header(header: Segment, codes: Codes) -> tuple[tzinfo | None, int]:
    """MSH, field by field in the order of what would be most wrong.

    Returns the zone of times without an offset, and when it was sent: where nothing names a zone as if in UTC, for a
    sender's messages are only ever compared with its own.
    """
    type_, event, structure = (header.code(9, place) for place in (1, 2, 3))
    if not type_:
        raise Hl7Error("is missing", code=MISSING, at=header.at.of(9), mend="Send ORU^R01^ORU_R01.")
    if type_ != "ORU":
        raise Hl7Error(
            f"{type_[:20]!r} is not taken here", code=NOT_THIS_TYPE, at=header.at.of(9, 1), mend="Send ORU^R01."
        )
    if event != "R01" or structure not in ("", "ORU_R01"):
        raise Hl7Error(
            f"ORU^{event[:20]}^{structure[:20]} is not taken here", code=NOT_THIS_EVENT,
            at=header.at.of(9, 2 if event != "R01" else 3), mend="Send ORU^R01^ORU_R01.",
        )  # fmt: skip
    version = required(header, 12)
    if version not in VERSIONS:
        raise Hl7Error(
            f"version {version[:20]!r} is not read here", code=NOT_THIS_VERSION, at=header.at.of(12), mend="Send 2.6."
        )
    use = required(header, 11)
    if use not in codes.processing:
        raise Hl7Error(
            f"{use[:20]!r} is not taken here", code=NOT_THIS_USE, at=header.at.of(11),
            mend=f"Taken: {', '.join(codes.processing)}; the table of codes says which.",
        )  # fmt: skip
    sender = required(header, 3)
    if codes.senders and sender not in codes.senders:
        raise Hl7Error(
            f"{sender[:40]!r} is no sender known here", code=NOBODY, at=header.at.of(3), mend="Enter it in the table."
        )
    control = required_alone(header, 10)
    for field_, text in ((3, sender_of(header)), (10, control)):
        if len(text) > LONGEST_NAME:
            mend = f"Send {LONGEST_NAME} characters at most."
            raise Hl7Error("is too long", code=WRONG_TYPE, at=header.at.of(field_), mend=mend)
    sent = required_alone(header, 7)
    zone = offset_of(sent, header.at.of(7)) or codes.zone
    return zone, instant_at(sent, zone or UTC, header.at.of(7))


def _check_order(message: Message) -> None:
    """Segments that may be there, PID once and first, observations under a request."""
    seen: set[str] = set()
    for segment in message.segments[1:]:
        if segment.name not in _SEGMENTS and not segment.name.startswith("Z"):
            raise Hl7Error(
                "is no segment of ORU^R01", code=SEQUENCE, at=segment.at, mend="Leave it out, or mend its name."
            )
        if segment.name == "PID" and (segment.name in seen or "OBR" in seen):
            raise Hl7Error(
                "comes a second time, or after its results", code=SEQUENCE, at=segment.at,
                mend="Send one patient's results in a message.",
            )  # fmt: skip
        if segment.name == "OBX" and "OBR" not in seen:
            raise Hl7Error("stands under no OBR", code=SEQUENCE, at=segment.at, mend="Send the OBR before it.")
        seen.add(segment.name)
    for name in ("OBR", "OBX"):
        if name not in seen:
            raise Hl7Error("is missing", code=SEQUENCE, at=At(name), mend="Send it.")


def _label(pids: tuple[Segment, ...], codes: Codes) -> str | None:
    """The one identifier (PID-3) of the kind that the record's labels are."""
    if not pids:
        return None
    pid = pids[0]
    named = {
        (unicodedata.normalize("NFC", pid.code(3, 1, place)), pid.parts(3, 4, place))
        for place in range(1, pid.repetitions(3) + 1)
        if pid.code(3, 5, place) == codes.identifier
        and (not codes.authority or pid.parts(3, 4, place)[0] == codes.authority)
    }
    of = f" by {codes.authority}" if codes.authority else ""
    if not named and pid.raw(3):
        raise Hl7Error(
            f"no identifier of type {codes.identifier}{of} is there", code=NOBODY, at=pid.at.of(3), mend="Send it."
        )
    if len(named) > 1:
        raise Hl7Error(
            f"{len(named)} identifiers of type {codes.identifier}{of} are there", code=NOBODY, at=pid.at.of(3),
            mend="Name the authority in the table of codes, or send one.",
        )  # fmt: skip
    label = next(iter(named))[0] if named else ""
    if named and not label:
        raise Hl7Error("is missing", code=MISSING, at=pid.at.of(3, 1), mend="Send the number.")
    return label or None


def _check_request(obr: Segment, zone: tzinfo | None) -> None:
    required(obr, 4)
    for place in (2, 3, 4):
        for component in (1, 2, 3):
            obr.code(place, component)
    times = [instant_at(obr.only(7 + step), zone, obr.at.of(7 + step)) for step in (0, 1) if obr.raw(7 + step)]
    if len(times) == 2 and times[1] < times[0]:
        raise Hl7Error("ends before it begins", code=WRONG_TYPE, at=obr.at.of(8), mend="Mend one of the two times.")


def _observation(
    obx: Segment, obr: Segment, set_ids: dict[int, At], zone: tzinfo | None, codes: Codes, found: _Found
) -> None:
    """One OBX to what it says: a unit's measure, a result, or something that is passed over and told."""
    number = set_id(obx)
    if number is not None and number in set_ids:
        raise Hl7Error(
            f"set id {number} stands twice (as in {set_ids[number]})", code=TWICE, at=obx.at.of(1), mend="Count on."
        )
    if number is not None:
        set_ids[number] = obx.at
    required(obx, 3)
    status, value = told_by(obx)
    time = _time_of(obx, obr, zone)
    code, doubt = codes.of(obx), doubt_of(obx)
    # what is taken back needs no value
    lacks = "" if status in UNDONE else doubt or NONE_YET.get(status, "") or _no_value(code, value)
    if code is None:
        found.observed.append(Observed(obx, obr, code, time, value))
        if value is not None:
            found.passed.append((obx.at, f"{obx.raw(3)[:60]} is not in the table of codes"))
    elif code.measure and status in (*UNDONE, "C"):
        raise Hl7Error(
            "a unit's reading is not corrected by message",
            code=NO_SUCH_WORD,
            at=obx.at.of(11),
            mend="Enter why by hand.",
        )
    elif lacks and status != "C":
        found.passed.append((obx.at, f"{code.means}: {lacks}"))
    elif code.measure:
        found.observed.append(Observed(obx, obr, code, time, value))
    else:
        found.results.append(_result(obx, code, status, time, _changed(obr, zone, found), codes, lacks))


def _no_value(code: Code | None, value: Value | None) -> str:
    """Why it is none that a chart can hold."""
    if value is None:
        return "no value"
    return f"a bound ({value.text}), no value" if value.is_bound and code is not None and code.item in ITEMS else ""


def _changed(obr: Segment, zone: tzinfo | None, found: _Found) -> int:
    """When the results of a request became what they are (OBR-22), else when the message was sent."""
    return instant_at(obr.only(22), zone, obr.at.of(22)) if obr.raw(22) else found.sent_ms


def _result(
    obx: Segment, code: Code, status: str, time_ms: int | None, changed_ms: int, codes: Codes, lacks: str = ""
) -> Result:  # fmt: skip
    if time_ms is None:
        raise Hl7Error("no time is told, here or in OBR-7", code=MISSING, at=obx.at.of(14), mend="Send when it was so.")
    item, as_sent = ITEMS.get(code.item), f"{code.code}^{code.system}"
    if lacks:
        return Result(obx.at, code.item, as_sent, "", "", time_ms, status, item is not None, changed_ms, lacks)
    if item is None:
        value = value_of(obx, status)
        text = plain(value.text) if value else ""
        if len(text) > LONGEST_VALUE or obx.repetitions(5) > 1:
            raise Hl7Error("is too long a result", code=WRONG_TYPE, at=obx.at.of(5), mend="Send one short value.")
        unit = obx.code(6)
        unit = obx.code(6, 2) or unit if unit.isdigit() and len(unit) > 1 else unit
    else:
        value = None if status in UNDONE and not obx.raw(5) else number_in(obx, code.item)
        text, unit = "" if value is None else value.text, "" if value is None else codes.unit_of(obx)
        if value is not None and value.is_number:
            _check_meaning(obx, code.item, text, unit)
    return Result(obx.at, code.item, as_sent, text, unit, time_ms, status, item is not None, changed_ms)


def _check_meaning(obx: Segment, item: str, value: str, unit: str) -> None:
    try:
        read_value(ITEMS[item], value, unit)
    except ChartError as error:
        number = 6 if "unit" in error.where else 5
        raise Hl7Error(error.what, code=WRONG_TYPE, at=obx.at.of(number), mend=error.mend) from error


def _time_of(obx: Segment, obr: Segment, zone: tzinfo | None) -> int | None:
    """OBX-14, or the request's own time (OBR-7)."""
    if obx.raw(14):
        return instant_at(obx.only(14), zone, obx.at.of(14))
    return instant_at(obr.only(7), zone, obr.at.of(7)) if obr.raw(7) else None


def _or_keep(found: _Found, message: Message, codes: Codes) -> tuple[Placed, ...]:
    try:
        return readings_of(found.observed, _count(message, codes) if found.measured else Count(None, None), codes)
    except Hl7Error as error:
        found.faults += error.faults
        return ()


def _count(message: Message, codes: Codes) -> Count:
    """The unit's own count as the header tells it."""
    number = {"MSH-13": 13, "MSH-10": 10}.get(codes.sequence)
    if number is None:
        return Count(None, None)
    told, at = message.header.only(number), message.header.at.of(number)
    if told and not re.fullmatch(r"[0-9]{1,16}", told, re.ASCII):
        raise Hl7Error(f"{told[:30]!r} is no count", code=WRONG_TYPE, at=at, mend="Send the unit's own count.")
    return Count(at, int(told) if told else None)
