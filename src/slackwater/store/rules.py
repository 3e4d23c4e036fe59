"""Rule files in the record: kept by their hash, approved by two people, pinned to drains."""

from __future__ import annotations

from dataclasses import dataclass

from slackwater.errors import RecordError
from slackwater.protocol.load import load_protocol
from slackwater.protocol.rule import Protocol
from slackwater.store.acts import key_of
from slackwater.store.facts import as_seen, tell
from slackwater.store.record import Acting, Record
from slackwater.store.rows import Thing, was_told

APPROVALS_NEEDED = 2  # different people (safety: nobody changes a rule alone)


@dataclass(frozen=True)
class Approval:
    """One person's approval. `at_ms`: when it was recorded (UTC ms)."""

    person: str
    name: str
    role: str
    at_ms: int


@dataclass(frozen=True)
class KeptRule:
    """A rule file of the record: what it says, who approved it here, and the drains it is pinned to."""

    sha256: str
    rule: Protocol
    text: str
    entered_ms: int
    approvals: tuple[Approval, ...]
    drains: tuple[str, ...]  # keys

    @property
    def approved_here(self) -> bool:
        return len({one.person for one in self.approvals}) >= APPROVALS_NEEDED


def keep_rule(record: Record, name: str, data: bytes, *, by: str) -> str:
    """Read a rule file and keep it; returns its hash. The same bytes again are the same rule.

    Raises ProtocolError naming clause and key where the file cannot be used; nothing is then kept.
    """
    rule = load_protocol(data, name)
    record.files.put(data)
    with record.act(by=by, what="rule entered") as act:
        enter_rule(act, rule)
    return rule.sha256


def enter_rule(act: Acting, rule: Protocol) -> int:
    """The rule's row, if it has none; returns how many rows that made."""
    if act.things("protocol", keys=[rule.sha256], gone=True):
        return 0
    act.add(
        "protocol", rule.sha256,
        {
            "sha256": rule.sha256, "name": rule.name, "edition": rule.version, "status": rule.status,
            "approved_by": rule.approved_by or None,
        },
    )  # fmt: skip
    return 1


def approve(record: Record, sha256: str, *, person: str, role: str, by: str, words: str = "") -> None:
    """One person's approval of exactly these bytes. Raises RecordError for a second one of the same person."""
    with record.act(by=by, what="rule approved") as act:
        if act.thing("protocol", sha256) is None:
            raise RecordError("is no rule of this record", where=sha256[:12], mend="Enter it first.")
        act.add(
            "approval", key_of("approval", sha256, person),
            {"protocol": sha256, "person": person, "role": role, "words": words or None},
        )  # fmt: skip


def pin(record: Record, sha256: str, drain: str, *, by: str, why: str, version: int | None = None) -> str:
    """Judge a drain by this rule from now on; the key of its goal. Earlier answers stay under the rule they were
    given by.

    `version`: of the goal that was seen, 0 where there was none; None: whatever it says now.
    """
    kept = kept_rule(record, sha256)
    if not kept.approved_here and kept.rule.status != "example":
        raise RecordError(
            f"is approved here by {len(kept.approvals)} of {APPROVALS_NEEDED} people",
            where=kept.rule.name, mend="Let another person approve it first.",
        )  # fmt: skip
    with record.act(by=by, what="rule pinned", why=why) as act:
        key, fields = key_of("goal", drain), {"drain": drain, "protocol": sha256}
        if version is None or not was_told(act.connection, "goal", key, {"protocol": sha256}, version=version):
            as_seen(act, "goal", key, version)
            tell(act, "goal", key, fields, of=kept.rule.name, correct=True)
    return key


def kept_rule(record: Record, sha256: str) -> KeptRule:
    """One rule. RecordError where there is none of that hash."""
    for one in kept_rules(record):
        if one.sha256 == sha256:
            return one
    raise RecordError("is no rule of this record", where=sha256[:12], mend="See the list of rules.")


def kept_rules(record: Record) -> tuple[KeptRule, ...]:
    """Every rule of the record, by name, the latest entered first."""
    persons = {one.key: one["name"] for one in record.things("person", gone=True)}
    approvals: dict[str, list[Approval]] = {}
    for one in record.things("approval"):
        approvals.setdefault(one["protocol"], []).append(_approval(one, persons))
    drains: dict[str, list[str]] = {}
    for goal in record.things("goal"):
        if goal["protocol"] is not None:
            drains.setdefault(goal["protocol"], []).append(goal["drain"])
    found = []
    for row in record.things("protocol"):
        data = record.files.get(row.key)
        rule = load_protocol(data, f"{row['name']}.toml")
        given = tuple(sorted(approvals.get(row.key, ()), key=lambda one: one.at_ms))
        found.append(
            KeptRule(row.key, rule, data.decode("utf-8-sig"), row.at_ms, given, tuple(sorted(drains.get(row.key, ()))))
        )
    return tuple(sorted(found, key=lambda one: (one.rule.name, -one.entered_ms, one.sha256)))


def _approval(one: Thing, persons: dict[str, str]) -> Approval:
    return Approval(one["person"], persons.get(one["person"], "not known"), one["role"] or "", one.at_ms)
