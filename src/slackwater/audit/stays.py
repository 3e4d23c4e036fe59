"""Where past drains come from: the record, or a folder for each; each judged once, as of its removal."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from slackwater.assessment.assess import assess
from slackwater.assessment.assessment import Assessment
from slackwater.audit.case import Hold, Outcome
from slackwater.episode.chart import read_chart
from slackwater.protocol.load import load_protocol
from slackwater.reading.read import read_log
from slackwater.store.course import Course, course_of
from slackwater.store.listing import Listed, listed
from slackwater.store.place import Place
from slackwater.store.read_out import assess_course, until
from slackwater.store.record import open_record, opened
from slackwater.store.take_in import Bundle


@dataclass(frozen=True, eq=False)
class Stay:
    """A past drain, with the names that only the house knows it by. `rule`: name and version, and hash, if pinned;
    `rule_text`: its file."""

    drain: str
    patient: str
    found: Assessment
    outcome: Outcome
    ward: str | None = None
    rule: tuple[str, str] | None = None
    rule_text: bytes | None = None


@dataclass(frozen=True)
class Recorded:
    """A drain of the record. `others`: the patient's other drains. Calling it reads and judges it."""

    place: Place
    drain: str
    name: str
    others: tuple[Listed, ...]
    rules: Mapping[str, str] = field(hash=False)  # name and version by hash
    now_ms: int = 0

    def __call__(self, zone: str) -> Stay:
        record = opened(self.place)
        with record.reading() as connection:
            course = course_of(connection, self.drain)
        found = assess_course(record, course, now_ms=course.removed_ms, zone=zone)
        sha256 = None if course.goal is None else course.goal["protocol"]
        return Stay(
            self.drain, course.patient.key, found, _outcome_of(course, self.others, self.now_ms),
            course.episode["ward"], None if sha256 is None else (self.rules[sha256], sha256),
            None if sha256 is None else record.files.get(sha256),
        )  # fmt: skip


def of_record(place: Place, now_ms: int) -> list[Recorded]:
    """Every drain of the record, in order of connection. `now_ms`: up to when it knows of what came after."""
    with open_record(place) as record:
        found = listed(record, everything=True)
        rules = {rule.key: f"{rule['name']} {rule['edition'] or ''}".strip() for rule in record.things("protocol")}
    patients: dict[str, list[Listed]] = {}
    for one in found:
        patients.setdefault(one.name.rpartition("/")[0], []).append(one)
    return [
        Recorded(
            place, one.key, one.name, tuple(x for x in patients[one.name.rpartition("/")[0]] if x.key != one.key),
            rules, now_ms,
        )
        for one in found
    ]  # fmt: skip


def of_bundle(bundle: Bundle, zone: str) -> Stay:
    """A drain's own folder. What became of the patient's other drains is not in it, so a return is not known."""
    told = {given.noun: given.fields for given in bundle.course if given.noun in ("removal", "stay")}
    removal = told.get("removal", {})
    removed = removal.get("time_ms")
    out = removed if isinstance(removed, int) else None
    logs = [read_log(one.data, one.layout, one.name, bundle.refuse_above) for one in bundle.logs]
    charts = [read_chart(data, name, bundle.zone) for name, data in bundle.charts]
    rule = None if bundle.protocol is None else load_protocol(bundle.protocol[1], bundle.protocol[0])
    found = assess(
        [log for log in (until(one, out) for one in logs) if len(log.time_ms)],
        chart=charts[0] if charts else None, episode=bundle.episode, protocol=rule, now_ms=out, zone=zone,
    )  # fmt: skip
    holds = [given.fields for given in bundle.course if given.noun == "hold"]
    outcome = Outcome(
        out, _text(removal.get("kind")), "given" if removal.get("against_rule_because") else None,
        tuple(Hold(str(one["reason"]), _whole(one["from_ms"]), _maybe(one.get("to_ms"))) for one in holds),
    )  # fmt: skip
    episode = bundle.episode
    return Stay(
        bundle.name, episode.patient_id or bundle.name, found, outcome, _text(told.get("stay", {}).get("ward")),
        None if rule is None else (f"{rule.name} {rule.version}".strip(), rule.sha256),
        None if bundle.protocol is None else bundle.protocol[1],
    )  # fmt: skip


def _outcome_of(course: Course, others: Iterable[Listed], now_ms: int) -> Outcome:
    holds = tuple(Hold(hold["reason"], hold["from_ms"], hold["to_ms"]) for hold in course.holds)
    removal = course.removal
    if removal is None:
        return Outcome(holds=holds)
    out = int(removal["time_ms"])
    space, side = course.space["kind"], course.space["side"]
    back = [
        one.connected_ms
        for one in others
        if one.connected_ms is not None and one.connected_ms > out and (one.space, one.side) == (space, side)
    ]
    return Outcome(
        out, removal["kind"], "given" if removal["against_rule_because"] else None, holds, min(back, default=None),
        now_ms,
    )  # fmt: skip


def _text(value: object) -> str | None:
    return value if isinstance(value, str) else None


def _whole(value: object) -> int:
    assert isinstance(value, int)
    return value


def _maybe(value: object) -> int | None:
    return value if isinstance(value, int) else None
