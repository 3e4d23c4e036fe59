"""The first two minutes: the unit's own approved text for a drain apart, a drain out, a patient in distress."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from slackwater.errors import StaleError
from slackwater.store.acts import key_of
from slackwater.store.facts import as_seen, tell
from slackwater.store.nouns import CARDS
from slackwater.store.record import Record
from slackwater.store.rows import Thing, was_told
from slackwater.web.bedside import CHANGED, version_of
from slackwater.web.forms import Form, empty, form_of, fresh_key
from slackwater.web.guard import Who
from slackwater.web.pages import render
from slackwater.web.policy import APPROVERS, EVERYONE, Rule, allow

router = APIRouter(include_in_schema=False)

allow("GET", "/first-minutes", Rule(EVERYONE))
allow("GET", "/first-minutes/{card}/edit", Rule(APPROVERS))
allow("POST", "/first-minutes/{card}/edit", Rule(APPROVERS))

HEADS = {
    "came_apart": "The drain came apart",
    "fell_out": "The drain fell out",
    "distress": "The patient is in distress",
}


@router.get("/first-minutes")
async def cards(request: Request) -> Response:
    """All three on one page, so that one tap is enough."""
    held = await run_in_threadpool(held_cards, request.app.state.record)
    may_edit = request.state.who.role in APPROVERS
    return render(
        request, "cards.html", cards=[(name, HEADS[name], held.get(name)) for name in CARDS], may_edit=may_edit
    )


@router.get("/first-minutes/{card}/edit")
async def edit_page(request: Request, card: str) -> Response:
    return await _edit(request, card, empty())


@router.post("/first-minutes/{card}/edit")
async def edit(request: Request, card: str) -> Response:
    """The text is the unit's own: who approved it stands under it, and the text before it stays in the record."""
    form = await form_of(request)
    text = form.text("text", needed="Write the unit's approved text.", longest=2000)
    approved = form.text("approved_by", needed="Write who approved it: role and date.", longest=200)
    if card in CARDS and form.fine and text and approved:
        record, who = request.app.state.record, request.state.who
        try:
            await run_in_threadpool(keep_card, record, who, card, text, approved, version_of(form))
            return RedirectResponse("/first-minutes", 303)
        except StaleError:
            form.faults["text"], form.stale = CHANGED, True
    return await _edit(request, card, form)


async def _edit(request: Request, card: str, form: Form) -> Response:
    if card not in CARDS:
        return render(request, "refused.html", status=404, why="there is no such card")
    held = (await run_in_threadpool(held_cards, request.app.state.record)).get(card)
    return render(
        request, "card_edit.html", status=200 if form.fine else 422, form=form, once=fresh_key(), name=card,
        head=HEADS[card], held=held,
    )  # fmt: skip


def held_cards(record: Record) -> dict[str, Thing]:
    return {str(one["name"]): one for one in record.things("card")}


def keep_card(
    record: Record, who: Who, name: str, text: str, approved: str, version: int
) -> None:  # fmt: skip
    """`version`: of the card that was seen, 0 where there was none."""
    key = key_of("card", name)
    fields = {"name": name, "title": HEADS[name], "text": text, "approved_by": approved}
    with record.act(by=who.name, what="first-minutes card") as act:
        if not was_told(act.connection, "card", key, fields, version=version):
            as_seen(act, "card", key, version)
            tell(act, "card", key, fields, of=name, correct=True)
