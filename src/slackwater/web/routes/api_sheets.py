"""Sheets for programs: which there are of a drain, each as PDF or HTML; a ward's handover; the blank form."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import Path, Query, Request
from fastapi.responses import Response
from pydantic import Field
from starlette.concurrency import run_in_threadpool

from slackwater.episode.instants import read_instant
from slackwater.report.sheets.html import html
from slackwater.report.sheets.make import KINDS
from slackwater.report.sheets.pdf import pdf
from slackwater.report.sheets.sheet import Print
from slackwater.web.about import looked_at, standing_alone
from slackwater.web.api_door import API, AT, READS, api_router, as_page, documented, problem
from slackwater.web.drain_sheet import Moment
from slackwater.web.made_sheets import handover_print, print_of
from slackwater.web.routes.api_drain import At, Known
from slackwater.web.routes.sheets import LONGEST, NO_DRAIN, PAGE, blank_form, kept_file
from slackwater.web.shapes import Instant, OfDrain, OneOf, Shape

router = api_router("sheets")

as_page("GET", f"{AT}/sheets", PAGE)
as_page("GET", f"{AT}/sheets/{{kind}}", f"{PAGE}/{{kind}}")
as_page("GET", f"{API}/handover", "/handover")
as_page("GET", f"{API}/checklist", "/checklist")

Kind = Annotated[
    str, OneOf(tuple(KINDS)), Path(description="; ".join(f"{name}: {says}" for name, (says, _) in KINDS.items()))
]
Format = Annotated[Literal["pdf", "html"], Query(description="A tagged PDF, or one HTML file that needs nothing else.")]
About = Annotated[Instant | None, Query(description="What an incident is about; it must be given for one.")]
_FILES: dict[int | str, dict[str, Any]] = {
    200: {
        "description": "The print, to be kept. Whose it is stands in it, and not in its name.",
        "content": {
            "application/pdf": {"schema": {"type": "string", "contentMediaType": "application/pdf"}},
            "text/html": {"schema": {"type": "string"}},
        },
    }
}


class SheetKind(Shape):
    """One kind of sheet, and what stands on it."""

    kind: str
    says: str
    asks_moment: bool = Field(description="It is about a moment: `moment` must be given.")


class SheetsAnswer(OfDrain):
    sheets: list[SheetKind]


@router.get(f"{AT}/sheets", responses=READS)
async def sheets(request: Request) -> SheetsAnswer:
    """Which sheets of this drain can be made."""
    about, _, _ = await looked_at(request, Moment(request.app.state.settings.clock()), standing_alone)
    kinds = [SheetKind(kind=name, says=says, asks_moment=name == "incident") for name, (says, _) in KINDS.items()]
    return SheetsAnswer(**about.model_dump(), sheets=kinds)


@router.get(f"{AT}/sheets/{{kind}}", response_class=Response, responses={**READS, **_FILES})
async def sheet(
    request: Request, kind: Kind, at: At = None, known: Known = None, moment: About = None, format: Format = "pdf"
) -> Response:
    """One sheet, as `slackwater sheet --drain` makes it. Cautions, age of the data and rule stand in it."""
    told = (None if one is None else read_instant(one) for one in (at, known, moment))
    made, why = await print_of(request, kind, *told)
    return problem(422, why) if made is None else await _printed(made, kind, format)


@router.get(f"{API}/handover", response_class=Response, responses={**READS, **_FILES})
async def handover(
    request: Request,
    ward: Annotated[str, Query(max_length=LONGEST, description="One ward; else all that the person sees.")] = "",
    format: Format = "pdf",
) -> Response:
    """Every drain of the person's wards that is in, or out and still owed a check. 404: there is none."""
    made = await handover_print(request, ward or None)
    return problem(404, NO_DRAIN) if made is None else await _printed(made, "handover", format)


@router.get(f"{API}/checklist", response_class=Response, responses={**documented(401, 403, 422, 423), **_FILES})
async def checklist(request: Request, format: Format = "pdf") -> Response:
    """The blank form for when nothing works."""
    return await _printed(blank_form(request), "checklist", format)


async def _printed(made: Print, kind: str, format: str) -> Response:
    data = html(made).encode() if format == "html" else (await run_in_threadpool(pdf, made)).data
    return kept_file(kind, format, data)
