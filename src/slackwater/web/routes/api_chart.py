"""Charting by other programs: a set, handling, a film, a cough or walk, fluid, the canister, and mending a row."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, ClassVar, Literal

from fastapi import Path, Request
from pydantic import Field
from starlette.concurrency import run_in_threadpool

from slackwater.episode.items import ITEMS
from slackwater.episode.typed import Typed
from slackwater.store.course import Course
from slackwater.store.rows import was_told
from slackwater.web.about import recorded_as
from slackwater.web.after_set import AfterSet, JustCharted, after_set
from slackwater.web.api_door import AT, WRITES, api_router, as_page
from slackwater.web.asked_items import ALL
from slackwater.web.bedside import DRAIN, Rows, asked_here, course_here, kept_rows, moment_at
from slackwater.web.forms import Form
from slackwater.web.routes.charting import (
    HANDLED,
    TUBE,
    UNIT,
    corrected_row,
    entry_here,
    handled_rows,
    kept_effort,
    kept_film,
    kept_set,
    looked_again,
)
from slackwater.web.routes.fluids import fluid_rows, kept_canister, kept_fluid
from slackwater.web.shapes import Change, Instant, OneOf, Part, Recorded, Text, Write

router = api_router("charting")

as_page("POST", f"{AT}/chart", f"{DRAIN}/set")
as_page("POST", f"{AT}/handling", f"{DRAIN}/handle")
as_page("POST", f"{AT}/xray", f"{DRAIN}/xray")
as_page("POST", f"{AT}/effort", f"{DRAIN}/try")
as_page("POST", f"{AT}/fluid", f"{DRAIN}/fluid")
as_page("POST", f"{AT}/canister", f"{DRAIN}/canister")
as_page("POST", f"{AT}/entries/{{entry}}/correct", f"{DRAIN}/entry/{{entry}}/correct")
as_page("POST", f"{AT}/entries/{{entry}}/take-back", f"{DRAIN}/entry/{{entry}}/correct")
as_page("POST", f"{AT}/entries/{{entry}}/looked-again", f"{DRAIN}/set/told")

SET_ITEMS = tuple(dict.fromkeys(ask.item for ask in ALL))
EntryKey = Annotated[str, Path(description="The row's key, as the course has it.")]
Ml = Annotated[float, Field(ge=0, le=1_000_000)]


class Row(Part):
    """One item. Only what was looked at: what was not is left out, which is not zero."""

    item: Annotated[str, OneOf(SET_ITEMS)]
    value: Text = Field(min_length=1, description="A number, or a word of the item's list (docs/chart.md).")
    unit: Annotated[str, Field(max_length=20)] = Field("", description="Of a number: without one it is refused.")
    note: Text = ""


class Charted(Recorded):
    """`asked`: what contradicts the record, to be looked at again, and what is due next."""

    asked: AfterSet


class ASet(Write):
    at: Instant
    rows: list[Row] = Field(min_length=1, max_length=64)


class Handling(Write):
    FORM: ClassVar[Mapping[str, str]] = {"instilled_ml": "instilled"}
    at: Instant
    what: Annotated[str, OneOf(tuple(word for word, _ in (*TUBE, *UNIT)))]
    note: Text | None = None
    instilled_ml: Ml | None = None
    swing: Annotated[str, OneOf(ITEMS["swing"].words)] | None = None
    surgical_emphysema: Annotated[int, Field(ge=0, le=5)] | None = None


class Film(Write):
    at: Instant
    chest_xray: Annotated[str, OneOf(ITEMS["chest_xray"].words)]
    read_by: Text | None = Field(None, description="Who read it; needed unless it is not reviewed yet.")
    note: Text | None = None


class Effort(Write):
    at: Instant
    effort: Literal["cough", "walk"]
    seen: Annotated[str, OneOf(ITEMS["cough"].words)]
    distance: Text | None = None
    suction: Text | None = None
    note: Text | None = None
    pain_cough: Annotated[int, Field(ge=0, le=10)] | None = None


class Fluid(Write):
    FORM: ClassVar[Mapping[str, str]] = {
        "fluid_output_ml": "fluid_output", "canister_level_ml": "canister_level", "instilled_ml": "instilled",
    }  # fmt: skip
    at: Instant
    fluid_output_ml: Ml | None = Field(None, description="Since the last entry. 0 is none; null was not measured.")
    fluid_appearance: Annotated[str, OneOf(ITEMS["fluid_appearance"].words)] | None = None
    canister_level_ml: Ml | None = None
    instilled_ml: Ml | None = None
    note: Text | None = None


class Canister(Write):
    FORM: ClassVar[Mapping[str, str]] = {"canister_level_ml": "canister_level"}
    at: Instant
    suction_back: Literal["yes", "not_on", "not_yet"]
    canister_level_ml: Ml | None = Field(None, description="Of the full one; null where it was not read.")
    clamp_on: Instant | None = None
    clamp_off: Instant | None = None
    lot: Text | None = None
    filter_lot: Text | None = None
    expires: Annotated[str, Field(max_length=10, examples=["2041-03-07"])] | None = None


class Correction(Change):
    """The row as it ought to be, whole: what is left out is then not said."""

    at: Instant
    value: Text
    unit: Annotated[str, Field(max_length=20)] = ""
    note: Text = ""
    why: Text


class TakeBack(Change):
    why: Text


class SoItIs(Change):
    note: Text = Field(description="What was seen when it was looked at again.")


async def _charted(request: Request, form: Form, body: Write) -> Charted:
    told = await recorded_as(request, form, body.names())
    asked = asked_here(request, await course_here(request))
    found: AfterSet = await request.app.state.judges.ask(after_set, JustCharted(**vars(asked), once=body.once))
    return Charted(**told.model_dump(), asked=found)


@router.post(f"{AT}/chart", responses=WRITES)
async def chart(request: Request, body: ASet) -> Charted:
    """Rows of one moment, all in one act or none."""
    form, drain = Form({"once": body.once, "at": body.at}), await course_here(request)
    rows: Rows = {
        f"rows.{place}": Typed(row.item, row.value, row.unit, row.note) for place, row in enumerate(body.rows)
    }
    await kept_set(request, form, drain, rows, moment_at(request, form))
    return await _charted(request, form, body)


@router.post(f"{AT}/handling", responses=WRITES)
async def handling(request: Request, body: Handling) -> Charted:
    """Something was done to the tube or the unit, and what was seen after it."""
    form, drain = body.form(), await course_here(request)
    await kept_rows(request, form, drain, HANDLED, handled_rows(form), moment_at(request, form))
    return await _charted(request, form, body)


@router.post(f"{AT}/xray", responses=WRITES)
async def xray(request: Request, body: Film) -> Recorded:
    """A film as it was reviewed; one that was taken and not read is charted so, and waits."""
    form = body.form()
    await kept_film(request, form, await course_here(request))
    return await recorded_as(request, form, body.names())


@router.post(f"{AT}/effort", responses=WRITES)
async def effort(request: Request, body: Effort) -> Charted:
    """A cough or a walk, and whether air was looked for and seen."""
    form = body.form()
    await kept_effort(request, form, await course_here(request))
    return await _charted(request, form, body)


@router.post(f"{AT}/fluid", responses=WRITES)
async def fluid(request: Request, body: Fluid) -> Charted:
    """What drained since the last entry of this drain."""
    form = body.form()
    await kept_fluid(request, form, await course_here(request), fluid_rows(form), moment_at(request, form))
    return await _charted(request, form, body)


@router.post(f"{AT}/canister", responses=WRITES)
async def canister(request: Request, body: Canister) -> Recorded:
    """The canister changed: its level before, the new one's lots, the clamp if there was one, suction back on."""
    form = body.form()
    await kept_canister(request, form, await course_here(request))
    return await recorded_as(request, form, body.names())


# --- mending a row --------------------------------------------------------------------------------


@router.post(f"{AT}/entries/{{entry}}/correct", responses=WRITES)
async def correct(request: Request, entry: EntryKey, body: Correction) -> Recorded:
    """Another version of a row; the old one stays in the history with the reason."""
    form = body.form()
    await corrected_row(request, form, entry_here(await course_here(request), entry))
    return await recorded_as(request, form, body.names())


@router.post(f"{AT}/entries/{{entry}}/take-back", responses=WRITES)
async def take_back(request: Request, entry: EntryKey, body: TakeBack) -> Recorded:
    """A row that should not be: it no longer counts, and stays in the history with the reason."""
    form, drain = body.form(back="1"), await course_here(request)
    if await run_in_threadpool(_gone, request, drain, entry, body.version):
        form.keys = (entry,)
    else:
        await corrected_row(request, form, entry_here(drain, entry))
    return await recorded_as(request, form, body.names())


def _gone(request: Request, drain: Course, entry: str, version: int) -> bool:
    """It was taken back by this very request, sent before."""
    with request.app.state.record.reading() as connection:
        mine = {"episode": drain.episode.key}
        return was_told(connection, "entry", entry, mine, version=version, gone=True)


@router.post(f"{AT}/entries/{{entry}}/looked-again", responses=WRITES)
async def so_it_is(request: Request, entry: EntryKey, body: SoItIs) -> Recorded:
    """What was asked about stands as it was charted; the note says that it was looked at again."""
    form = body.form()
    await looked_again(request, form, entry_here(await course_here(request), entry))
    return await recorded_as(request, form, body.names())
