"""A removal and what is owed after it, recorded by other programs: the right drain, read back."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from fastapi import Path, Request
from pydantic import Field

from slackwater.episode.episode import SIDES
from slackwater.episode.items import ITEMS
from slackwater.episode.typed import Typed
from slackwater.store.nouns import BREATH_PHASES, REMOVAL_KINDS
from slackwater.store.removing import OWED
from slackwater.web.about import recorded_as
from slackwater.web.api_door import AT, WRITES, api_router, as_page
from slackwater.web.bedside import DRAIN, Rows, course_here
from slackwater.web.forms import Form
from slackwater.web.guard import Refused
from slackwater.web.routes.removal import SEEN, checked_after, observed_after, taken_out
from slackwater.web.shapes import Change, Instant, OneOf, Part, Recorded, Status, Text, Write

router = api_router("removal")

as_page("POST", f"{AT}/removal", f"{DRAIN}/remove")
as_page("POST", f"{AT}/after", f"{DRAIN}/after")
as_page("POST", f"{AT}/checks/{{check}}/done", f"{DRAIN}/after")

SEEN_ITEMS = (*dict.fromkeys(ask.item for ask in SEEN), "site")


class Owed(Part):
    """A check after the removal: when it is due, or why it is not owed. Left out, the rule's own time holds."""

    what: Annotated[str, OneOf(OWED)]
    due_at: Instant | None = None
    not_owed_because: Text | None = None


class Removal(Write):
    """How it came out. number, side and site are read off the tube at the bedside, and held against the record."""

    FORM: ClassVar[dict[str, str]] = {"analgesia_at": "analgesia"}
    at: Instant
    kind: Annotated[str, OneOf(REMOVAL_KINDS)]
    number: Annotated[str, Field(max_length=80)]
    side: Annotated[str, OneOf(SIDES)]
    site: Annotated[str, Field(max_length=80)]
    overall: Status | None = Field(description="What the rule says, as it was seen; it is refused if that changed.")
    removed_by: Text | None = None
    second_person: Text | None = None
    breath_phase: Annotated[str, OneOf(BREATH_PHASES)] | None = None
    analgesia_at: Instant | None = Field(None, description="null: not recorded, which is not none.")
    no_analgesia: bool = Field(False, description="None was given.")
    tip_intact: Literal["yes", "no"] | None = None
    because: Text | None = Field(None, description="Why it comes out against the rule or a hold.")
    owed: list[Owed] = Field([], max_length=len(OWED))


class SeenRow(Part):
    """One observation of the patient."""

    item: Annotated[str, OneOf(SEEN_ITEMS)]
    value: Text = Field(min_length=1)
    unit: Annotated[str, Field(max_length=20)] = ""
    note: Text = ""


class Observations(Write):
    at: Instant
    rows: list[SeenRow] = Field(min_length=1, max_length=64)


class CheckDone(Change):
    at: Instant
    result: Text = Field(description="What was found.")
    chest_xray: Annotated[str, OneOf(ITEMS["chest_xray"].words)] | None = Field(
        None, description="What the film shows, for the check of the film."
    )


@router.post(f"{AT}/removal", responses=WRITES)
async def removal(request: Request, body: Removal) -> Recorded:
    """The drain is out. A planned removal against the rule or a hold needs its reason, which is kept."""
    owed = {f"due_{one.what}": one.due_at for one in body.owed if one.due_at is not None}
    owed |= {f"not_{one.what}": one.not_owed_because for one in body.owed if one.not_owed_because is not None}
    form = body.form(**owed)
    await taken_out(request, form, await course_here(request))
    names = {f"due_{what}": f"owed.{what}" for what in OWED}
    names |= {f"not_{what}": f"owed.{what}" for what in OWED}
    return await recorded_as(request, form, {**body.names(), **names})


@router.post(f"{AT}/after", responses=WRITES)
async def after(request: Request, body: Observations) -> Recorded:
    """Observations of a patient whose drain is out."""
    form = Form({"once": body.once, "at": body.at})
    rows: Rows = {
        f"rows.{place}": Typed(row.item, row.value, row.unit, row.note) for place, row in enumerate(body.rows)
    }
    await observed_after(request, form, await course_here(request), rows)
    return await recorded_as(request, form, body.names())


@router.post(f"{AT}/checks/{{check}}/done", responses=WRITES)
async def check_done(
    request: Request, check: Annotated[str, Path(description="The check's key, as the course has it.")], body: CheckDone
) -> Recorded:
    """A check that was owed is done."""
    found = next((one for one in (await course_here(request)).checks if one.key == check), None)
    if found is None:
        raise Refused(404, "there is no such check of this drain")
    form = body.form(**{f"result_{check}": body.result})
    await checked_after(request, form, found)
    return await recorded_as(request, form, {f"result_{check}": "result"})
