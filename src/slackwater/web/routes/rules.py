"""The unit's written rules: read, compared, tried on the drains that are in, approved by two people, pinned."""

from __future__ import annotations

import difflib
from collections.abc import Iterator

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from slackwater.assessment import cautions
from slackwater.assessment.assessment import Assessment
from slackwater.errors import SlackwaterError
from slackwater.protocol.rule import Clause
from slackwater.protocol.sentence import sentence
from slackwater.quantities.spans import MINUTE_MS
from slackwater.report.words import SHAPES
from slackwater.store.course import Course
from slackwater.store.listing import Listed, listed
from slackwater.store.record import Record
from slackwater.store.rules import APPROVALS_NEEDED, KeptRule, approve, keep_rule, kept_rule, kept_rules, pin
from slackwater.web.drain_sheet import judged
from slackwater.web.forms import Form, empty, form_of, fresh_key
from slackwater.web.guard import Who
from slackwater.web.judges import Asked
from slackwater.web.pages import render
from slackwater.web.policy import APPROVERS, EVERYONE, Rule, allow

router = APIRouter(include_in_schema=False)

allow("GET", "/protocols", Rule(EVERYONE))
allow("POST", "/protocols", Rule(APPROVERS))
allow("GET", "/protocols/{sha256}", Rule(EVERYONE))
allow("GET", "/protocols/{sha256}/dry-run", Rule(EVERYONE, looks="rule tried on present drains"))
allow("POST", "/protocols/{sha256}/approve", Rule(APPROVERS))
allow("POST", "/protocols/{sha256}/pin", Rule(APPROVERS))


@router.get("/protocols")
async def rules(request: Request) -> Response:
    return await _list(request, empty())


@router.post("/protocols")
async def enter(request: Request) -> Response:
    """Enter a rule file as text. A file that cannot be used is refused with the clause, the key and the mend."""
    form = await form_of(request)
    text = form.text("text", needed="Paste the rule file here.", longest=200_000)
    if form.fine and text:
        try:
            sha256 = await run_in_threadpool(
                keep_rule, request.app.state.record, "the rule", text.replace("\r\n", "\n").encode() + b"\n",
                by=request.state.who.name,
            )  # fmt: skip
            return RedirectResponse(f"/protocols/{sha256}", 303)
        except SlackwaterError as error:
            form.faults["text"] = str(error)
    return await _list(request, form)


async def _list(request: Request, form: Form) -> Response:
    found = await run_in_threadpool(kept_rules, request.app.state.record)
    return render(
        request, "rules.html", status=200 if form.fine else 422, rules=found, form=form, once=fresh_key(),
        may_enter=request.state.who.role in APPROVERS, needed=APPROVALS_NEEDED,
    )  # fmt: skip


@router.get("/protocols/{sha256}")
async def read(request: Request, sha256: str, beside: str = "") -> Response:
    return await _rule(request, sha256, beside, "")


@router.post("/protocols/{sha256}/approve")
async def approved(request: Request, sha256: str) -> Response:
    """This person approves exactly these bytes."""
    who: Who = request.state.who
    try:
        await run_in_threadpool(
            approve, request.app.state.record, sha256, person=who.person, role=who.role, by=who.name
        )
    except SlackwaterError as error:
        return await _rule(request, sha256, "", str(error))
    return RedirectResponse(f"/protocols/{sha256}", 303)


@router.post("/protocols/{sha256}/pin")
async def pinned(request: Request, sha256: str) -> Response:
    """Judge one drain by this rule from now on."""
    form = await form_of(request)
    drain = form.text("drain", needed="Choose the drain.")
    why = form.text("why", needed="Write why this drain is judged by this rule.")
    wrong = " ".join(form.faults.values())
    if not wrong and drain and why:
        seen = {one.key for one in await drains_seen(request)}
        if drain not in seen:
            wrong = "There is no such drain."
        else:
            try:
                await run_in_threadpool(
                    pin, request.app.state.record, sha256, drain, by=request.state.who.name, why=why
                )
                return RedirectResponse(f"/protocols/{sha256}", 303)
            except SlackwaterError as error:
                wrong = str(error)
    return await _rule(request, sha256, "", wrong)


@router.get("/protocols/{sha256}/dry-run")
async def dry_run(request: Request, sha256: str) -> Response:
    """What this rule would answer now on every drain that is in, beside what its own rule answers. Nothing changes."""
    kept = await run_in_threadpool(kept_rule, request.app.state.record, sha256)
    return render(
        request, "rule_dry_run.html", kept=kept, rows=await tried(request, kept), right_drain=cautions.RIGHT_DRAIN.text
    )


async def tried(request: Request, kept: KeptRule) -> list[dict[str, str]]:
    settings, judges = request.app.state.settings, request.app.state.judges
    now = settings.clock() // MINUTE_MS * MINUTE_MS
    drains = await drains_seen(request)

    async def answer(one: Listed, rule: tuple[str, bytes] | None) -> str:
        asked = Asked(settings.place, one.key, now, settings.zone_name, rule)
        found, failed = await judged(judges, short_answer, asked)
        return f"could not be worked out: {failed}" if found is None else found

    file = (f"{kept.rule.name}.toml", kept.text.encode())
    return [  # one after the other: asked all at once, the round would wait behind them
        {
            "name": one.name, "side": one.side or "", "site": one.site or "", "key": one.key,
            "rule": one.protocol or "none pinned", "own": await answer(one, None), "this": await answer(one, file),
        }
        for one in drains
    ]  # fmt: skip


def short_answer(course: Course, found: Assessment | None, asked: Asked) -> str:
    """The whole rule's status in a word, and what it waits for. Runs in a judge."""
    if found is None:
        return "nothing recorded yet"
    if found.overall is None:
        return "no rule for removal"
    waits = f"; waiting for: {', '.join(found.waiting_for)}" if found.waiting_for else ""
    return f"{SHAPES[found.overall]} {found.overall.said}{waits}"


async def _rule(request: Request, sha256: str, beside: str, wrong: str) -> Response:
    record: Record = request.app.state.record
    found = await run_in_threadpool(kept_rules, record)
    kept = next((one for one in found if one.sha256 == sha256), None)
    if kept is None:
        return render(request, "refused.html", status=404, why="there is no such rule")
    other = next((one for one in found if one.sha256 == beside), None)
    who: Who = request.state.who
    drains = await drains_seen(request)
    return render(
        request, "rule.html", status=422 if wrong else 200, kept=kept, other=other, wrong=wrong,
        others=[one for one in found if one.sha256 != sha256],
        changes=[] if other is None else list(_changes(other, kept)),
        blocks=_blocks(kept), needed=APPROVALS_NEEDED, drains=drains, once=fresh_key(),
        may_approve=who.role in APPROVERS and who.person not in {one.person for one in kept.approvals},
        may_pin=who.role in APPROVERS, pinned=[one.name for one in drains if one.key in kept.drains],
    )  # fmt: skip


async def drains_seen(request: Request) -> list[Listed]:
    """The drains that are in and that this person sees."""
    who: Who = request.state.who
    return [one for one in await run_in_threadpool(listed, request.app.state.record) if who.sees(one.ward)]


def _blocks(kept: KeptRule) -> list[tuple[str, list[dict[str, str]]]]:
    rule = kept.rule
    named = (("Removal", rule.removal), ("Stepping suction down", rule.step_down), ("Home with the drain", rule.home),
             ("Items to act on", rule.escalation))  # fmt: skip
    return [(head, [_clause(one) for one in clauses]) for head, clauses in named if clauses]


def _clause(clause: Clause) -> dict[str, str]:
    return {"id": clause.id.replace("_", " "), "asks": sentence(clause), "source": clause.source}


def _changes(old: KeptRule, new: KeptRule) -> Iterator[tuple[str, str]]:
    """The lines that differ: ('was' or 'is' or 'same', line)."""
    words = {"-": "was", "+": "is", " ": "same"}
    for line in difflib.unified_diff(old.text.splitlines(), new.text.splitlines(), lineterm="", n=2):
        if line.startswith(("---", "+++")):
            continue
        yield ("gap", "") if line.startswith("@@") else (words[line[0]], line[1:])
