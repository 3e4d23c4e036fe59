"""The unit's written rules for other programs: read, tried on the drains that are in, entered, approved, pinned."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Path, Request
from pydantic import Field
from starlette.concurrency import run_in_threadpool

from slackwater.assessment import cautions
from slackwater.assessment.document import stamp
from slackwater.protocol.rule import Clause
from slackwater.protocol.sentence import sentence
from slackwater.store.rules import APPROVALS_NEEDED, KeptRule, approve, keep_rule, kept_rules, pin
from slackwater.web.about import caution_list, recorded_as
from slackwater.web.api_door import API, READS, WRITES, api_router, as_page
from slackwater.web.forms import Form
from slackwater.web.guard import Refused, Who
from slackwater.web.routes.rules import drains_seen, tried
from slackwater.web.shapes import CautionShape, Change, Recorded, Shape, Stamp, Text, Write

router = api_router("protocols")

for _part in ("", "/{sha256}", "/{sha256}/dry-run"):
    as_page("GET", f"{API}/protocols{_part}", f"/protocols{_part}")
for _part in ("", "/{sha256}/approve", "/{sha256}/pin"):
    as_page("POST", f"{API}/protocols{_part}", f"/protocols{_part}")

Sha256 = Annotated[str, Path(description="SHA-256 of the rule's file.")]


class ApprovalShape(Shape):
    name: str
    role: str
    at: Stamp


class RuleShape(Shape):
    """A rule of the record, and who approved exactly these bytes here."""

    sha256: str
    name: str
    version: str
    status: str = Field(description="What the file says of itself.")
    approvals: list[ApprovalShape]
    approvals_needed: int
    approved_here: bool = Field(description="As many different people approved these bytes here as are needed.")
    drains: list[str] = Field(description="Keys of the drains it is pinned to that this person sees.")


class RulesShape(Shape):
    protocols: list[RuleShape]


class ClauseShape(Shape):
    id: str
    asks: str
    source: str


class WholeRule(RuleShape):
    """The rule's file as text, and its clauses as sentences."""

    text: str
    removal: list[ClauseShape]
    step_down: list[ClauseShape]
    escalation: list[ClauseShape]


class Tried(Shape):
    """One drain: what its own rule says now, and what this one would say."""

    drain: str
    name: str
    rule: str
    own: str
    this: str


class DryRun(Shape):
    sha256: str
    drains: list[Tried]
    cautions: list[CautionShape]


class NewRule(Write):
    text: str = Field(min_length=1, max_length=200_000, description="The file (TOML), byte for byte.")


class Approve(Write):
    """This person approves exactly these bytes; once, however often it is sent."""


class Pin(Change):
    """Judge a drain by this rule from now on. `version`: of the drain's goal (`course.goal.version`), 0 without one."""

    drain: Text
    why: Text = Field(min_length=1)


@router.get(f"{API}/protocols", responses=READS)
async def rules(request: Request) -> RulesShape:
    """Every rule of the record."""
    seen = {one.key for one in await drains_seen(request)}
    found = await run_in_threadpool(kept_rules, request.app.state.record)
    return RulesShape(protocols=[RuleShape(**_told(one, seen)) for one in found])


@router.get(f"{API}/protocols/{{sha256}}", responses=READS)
async def rule(request: Request, sha256: Sha256) -> WholeRule:
    """One rule, as text and in sentences."""
    kept = await _kept(request, sha256)
    seen = {one.key for one in await drains_seen(request)}
    return WholeRule(
        **_told(kept, seen), text=kept.text, removal=_clauses(kept.rule.removal),
        step_down=_clauses(kept.rule.step_down), escalation=_clauses(kept.rule.escalation),
    )  # fmt: skip


@router.get(f"{API}/protocols/{{sha256}}/dry-run", responses=READS)
async def dry_run(request: Request, sha256: Sha256) -> DryRun:
    """What this rule would answer now on every drain that is in, beside its own rule's answer. Nothing changes."""
    kept = await _kept(request, sha256)
    found = [
        Tried(drain=one["key"], **{name: one[name] for name in ("name", "rule", "own", "this")})
        for one in await tried(request, kept)
    ]
    every = (cautions.SUPPORT_ONLY, cautions.NOT_AN_ALARM, cautions.ABSENCE, cautions.RIGHT_DRAIN)
    return DryRun(sha256=sha256, drains=found, cautions=caution_list(every))


@router.post(f"{API}/protocols", responses=WRITES)
async def enter(request: Request, body: NewRule) -> RuleShape:
    """Enter a rule file. One that cannot be used is refused with the clause, the key and the mend."""
    record, by = request.app.state.record, request.state.who.name
    sha256 = await run_in_threadpool(keep_rule, record, "the rule", body.text.encode(), by=by)
    return await _rule(request, sha256)


@router.post(f"{API}/protocols/{{sha256}}/approve", responses=WRITES)
async def approved(request: Request, sha256: Sha256, body: Approve) -> RuleShape:
    """This person approves exactly these bytes."""
    who: Who = request.state.who
    kept = await _kept(request, sha256)
    if who.person not in {one.person for one in kept.approvals}:
        record = request.app.state.record
        await run_in_threadpool(approve, record, sha256, person=who.person, role=who.role, by=who.name)
    return await _rule(request, sha256)


@router.post(f"{API}/protocols/{{sha256}}/pin", responses=WRITES)
async def pinned(request: Request, sha256: Sha256, body: Pin) -> Recorded:
    """Judge one drain by this rule from now on; earlier answers stay under the rule they were given by."""
    await _kept(request, sha256)
    if body.drain not in {one.key for one in await drains_seen(request)}:
        raise Refused(404, "there is no such drain")
    record, by = request.app.state.record, request.state.who.name
    key = await run_in_threadpool(pin, record, sha256, body.drain, by=by, why=body.why, version=body.version)
    request.state.drain = body.drain
    return await recorded_as(request, Form({}, keys=(key,)))


async def _kept(request: Request, sha256: str) -> KeptRule:
    found = await run_in_threadpool(kept_rules, request.app.state.record)
    kept = next((one for one in found if one.sha256 == sha256), None)
    if kept is None:
        raise Refused(404, "there is no such rule")
    return kept


async def _rule(request: Request, sha256: str) -> RuleShape:
    return RuleShape(**_told(await _kept(request, sha256), {one.key for one in await drains_seen(request)}))


def _told(kept: KeptRule, seen: set[str]) -> dict[str, Any]:
    return {
        "sha256": kept.sha256, "name": kept.rule.name, "version": kept.rule.version, "status": kept.rule.status,
        "approvals": [
            ApprovalShape(name=one.name, role=one.role, at=stamp(one.at_ms) or "") for one in kept.approvals
        ],
        "approvals_needed": APPROVALS_NEEDED, "approved_here": kept.approved_here,
        "drains": [key for key in kept.drains if key in seen],
    }  # fmt: skip


def _clauses(clauses: tuple[Clause, ...]) -> list[ClauseShape]:
    return [ClauseShape(id=one.id, asks=sentence(one), source=one.source) for one in clauses]
