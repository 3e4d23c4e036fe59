"""A drain comes out: the right one, read back; by whom and how; what is owed after it. Times are UTC ms.

Against the rule, or against a hold that stands, only with a reason, which is kept as a decision.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from slackwater.episode.spelling import plain_word
from slackwater.episode.typed import plain
from slackwater.errors import RecordError
from slackwater.store.acts import key_of
from slackwater.store.charting import CLAMP_OFF
from slackwater.store.course import Course
from slackwater.store.course_text import end_pairings
from slackwater.store.nouns import CHECKS, Value
from slackwater.store.record import Acting

OWED = ("chest_xray", "observations", "site", "suture_out")  # looked at after a drain is out
BY_PLAN = ("planned", "in_theatre", "exchanged")  # someone chose to: names are read back, and the rule is asked
PATIENT_STAYS = ("planned", "unplanned", "in_theatre", "exchanged")
MET = "met"
ANALGESIA = "analgesia before the removal"  # a decision: what was said of it where there is no time


@dataclass(frozen=True)
class ReadBack:
    """What was read off the tube at the bedside and said aloud."""

    number: str
    side: str
    site: str


@dataclass(frozen=True)
class Out:
    """How a drain came out, as told. None is not known.

    `due`: when each of OWED is due (`suture_out`: the date given for the suture); `not_owed`: why one of them is not.
    Each of them stands in one of the two: this program has no usual time for it, and `protocol.schedule.after_removal`
    gives the rule's. Further checks (nouns.CHECKS) may stand in `due`.
    """

    kind: str  # nouns.REMOVAL_KINDS
    time_ms: int
    read_back: ReadBack
    removed_by: str = ""
    second_person: str = ""
    breath_phase: str | None = None  # nouns.BREATH_PHASES
    analgesia_ms: int | None = None
    no_analgesia: bool = False  # that none was given was said
    tip_intact: bool | None = None
    overall: str | None = None  # the rule's answer as it was seen; None: there is no rule
    protocol: str | None = None
    against_rule_because: str = ""
    due: Mapping[str, int] = field(default_factory=dict)
    not_owed: Mapping[str, str] = field(default_factory=dict)


def faults_of(course: Course, out: Out) -> dict[str, str]:
    """What is missing or wrong, by the field's name: nothing may be recorded while this holds anything.

    `read_back.number`, `.side`, `.site`; the fields of `Out`; `due.chest_xray` and so on.
    """
    found = {**wrong_drain(course, out.read_back), **_people(out)}
    connected = course.drain["connected_ms"]
    if connected is not None and out.time_ms < connected:
        found["time_ms"] = "It lies before the drain was connected."
    if out.kind == "planned":
        if out.breath_phase is None:
            found["breath_phase"] = "Say at which moment of breathing it was drawn."
        if out.analgesia_ms is not None and out.analgesia_ms > out.time_ms:
            found["analgesia_ms"] = "It lies after the removal."
    if out.kind in PATIENT_STAYS and out.tip_intact is None:
        found["tip_intact"] = "Say whether the tip was whole."
    if out.overall not in (None, MET) and out.kind in BY_PLAN and not plain(out.against_rule_because):
        found["against_rule_because"] = f"The rule says {str(out.overall).replace('_', ' ')}: say why it comes out."
    elif _holds(course) and out.kind in BY_PLAN and not plain(out.against_rule_because):
        reasons = ", ".join(str(hold["reason"]).replace("_", " ") for hold in _holds(course))
        found["against_rule_because"] = f"The drain is to be kept ({reasons}): say why it comes out."
    return {**found, **_owed_faults(out)}


def remove_drain(act: Acting, course: Course, out: Out, *, once: str) -> str:
    """Record that the drain is out; returns the removal's key. The same sent twice records once.

    Ends its pairings, orders, holds and clamp timers at that moment, enters the checks that are owed, and keeps what
    went against the rule as a decision. Raises RecordError with the first of `faults_of`.
    """
    key = key_of("removal", course.drain.key)
    there = act.things("removal", keys=[key], gone=True)
    if there and not there[0].gone and (there[0]["time_ms"], there[0]["kind"]) == (out.time_ms, out.kind):
        return key
    for name, complaint in faults_of(course, out).items():
        raise RecordError(complaint, where=name, mend="Mend it on the form.")
    if out.time_ms > act.at_ms:
        raise RecordError("is out at a time that has not come", where="time_ms", mend="Mend the time.")
    because = plain(out.against_rule_because)
    fields: dict[str, Value] = {
        "drain": course.drain.key, "kind": out.kind, "time_ms": out.time_ms,
        "removed_by": plain(out.removed_by) or None, "second_person": plain(out.second_person) or None,
        "breath_phase": out.breath_phase, "analgesia_ms": out.analgesia_ms, "tip_intact": out.tip_intact,
        "suture_out_ms": out.due.get("suture_out"), "overall": out.overall, "protocol": out.protocol,
        "against_rule_because": because or None,
    }  # fmt: skip
    if there:  # taken back, since it was another tube: this one is a removal of its own
        key = key_of("removal", course.drain.key, once)
    act.add("removal", key, fields, happened_ms=out.time_ms)
    if because:
        _decide(act, course, "removed against the rule or a hold", because, out, once)
    if out.no_analgesia and out.analgesia_ms is None:
        _decide(act, course, ANALGESIA, "none given", out, once)
    for what, reason in out.not_owed.items():
        _decide(act, course, f"not owed after removal: {what}", plain(reason), out, once)
    end_pairings(act, course.drain.key, out.time_ms)
    _end_the_rest(act, course, out.time_ms)
    for what, due_ms in out.due.items():
        _owe(act, course, what, due_ms, out.time_ms, once)
    return key


def wrong_drain(course: Course, told: ReadBack) -> dict[str, str]:
    """Number, side and site as they were read off, against the record."""
    found = {}
    known = {"number": course.drain["number"], "side": course.space["side"], "site": course.drain["site"]}
    for name, recorded in known.items():
        said = plain(getattr(told, name))
        if not said:
            found[f"read_back.{name}"] = "Read it off the tube and write it down."
        elif recorded is not None and plain_word(said) != plain_word(str(recorded)):
            found[f"read_back.{name}"] = f"{said[:40]} was read back; this record is of {recorded}. Is it this drain?"
    return found


def _people(out: Out) -> dict[str, str]:
    if out.kind not in ("planned", "exchanged"):
        return {}
    found = {}
    first, second = plain(out.removed_by), plain(out.second_person)
    if not first:
        found["removed_by"] = "Say who drew it."
    if not second:
        found["second_person"] = "Say who was the second person."
    elif first and plain_word(first) == plain_word(second):
        found["second_person"] = "The second person is another one."
    return found


def _owed_faults(out: Out) -> dict[str, str]:
    found = {}
    for what in (*out.due, *out.not_owed):
        if what not in CHECKS:
            found[f"due.{what}"] = f"Known checks: {', '.join(CHECKS)}."
    for what in OWED:
        due, why_not = out.due.get(what), plain(out.not_owed.get(what, ""))
        if due is None and not why_not and out.kind in PATIENT_STAYS:
            found[f"due.{what}"] = "Say when it is due, or why it is not owed."
        elif due is not None and why_not:
            found[f"due.{what}"] = "It is said to be due and not owed: keep one of the two."
    for what, moment in out.due.items():
        if moment < out.time_ms:
            found[f"due.{what}"] = "It is due before the removal."
    return found


def _holds(course: Course) -> tuple[Mapping[str, Value], ...]:
    return tuple(hold.fields for hold in course.holds if hold["to_ms"] is None)


def _decide(act: Acting, course: Course, what: str, because: str, out: Out, once: str) -> None:
    act.add(
        "decision", key_of("decision", course.drain.key, once, what),
        {
            "drain": course.drain.key, "what": what, "because": because, "overall": out.overall,
            "protocol": out.protocol,
        },
        happened_ms=out.time_ms,
    )  # fmt: skip


def _end_the_rest(act: Acting, course: Course, at_ms: int) -> None:
    """Orders, holds and clamp timers that still run end with the drain."""
    mine = {"drain": course.drain.key}
    for order in act.things("order", mine):
        if order["kind"] != "removal" and order["until_ms"] is None and order["from_ms"] <= at_ms:
            act.change("order", order.key, {"until_ms": at_ms}, version=order.version, happened_ms=at_ms)
    for hold in act.things("hold", mine):
        if hold["to_ms"] is None and hold["from_ms"] <= at_ms:
            act.change("hold", hold.key, {"to_ms": at_ms}, version=hold.version, happened_ms=at_ms)
    for task in act.things("task", mine):
        if task["what"] == CLAMP_OFF and task["done_ms"] is None:
            new: dict[str, Value] = {"done_ms": at_ms, "result": "the drain is out"}
            act.change("task", task.key, new, version=task.version, happened_ms=at_ms)


def _owe(act: Acting, course: Course, what: str, due_ms: int, at_ms: int, once: str) -> None:
    fields: dict[str, Value] = {"drain": course.drain.key, "what": what, "due_ms": due_ms}
    act.add("check", key_of("check", course.drain.key, once, what), fields, happened_ms=at_ms)
