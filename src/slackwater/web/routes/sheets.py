"""A drain, or one's own drains, on paper: each sheet as a page and as a PDF. And the blank form."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response
from starlette.concurrency import run_in_threadpool

from slackwater.episode.instants import read_instant
from slackwater.report.drains import whose
from slackwater.report.sheets.make import KINDS, print_checklist
from slackwater.report.sheets.pdf import pdf
from slackwater.report.sheets.sheet import Print, as_data
from slackwater.web.drain_sheet import read_course
from slackwater.web.made_sheets import handover_print, print_of
from slackwater.web.pages import local_input, render
from slackwater.web.policy import EVERYONE, Rule, allow

router = APIRouter(include_in_schema=False)

PAGE = "/drain/{drain}/sheets"
LONGEST = 60  # letters of a ward's name
MEDIA = {"pdf": "application/pdf", "html": "text/html; charset=utf-8"}
allow("GET", PAGE, Rule(EVERYONE, drain=True, looks="sheets"))
allow("GET", f"{PAGE}/{{kind}}", Rule(EVERYONE, drain=True, looks="sheet"))
allow("GET", f"{PAGE}/{{kind}}/pdf", Rule(EVERYONE, drain=True, looks="sheet"))
allow("GET", "/handover", Rule(EVERYONE, looks="handover"))
allow("GET", "/handover/pdf", Rule(EVERYONE, looks="handover"))
allow("GET", "/checklist", Rule(EVERYONE))
allow("GET", "/checklist/pdf", Rule(EVERYONE))


@router.get(PAGE)
async def choose(request: Request) -> Response:
    """Which sheet; an incident asks for its moment."""
    course = await run_in_threadpool(read_course, request.app.state.record, request.state.drain)
    settings = request.app.state.settings
    now = settings.clock()
    kinds = [(name, words) for name, (words, _) in KINDS.items() if name != "incident"]
    return render(
        request,
        "sheets.html",
        course=course,
        whose=whose(course),
        kinds=kinds,
        now_text=local_input(now, settings.zone),
    )


@router.get(f"{PAGE}/{{kind}}")
async def page(request: Request, kind: str, at: str = "", known: str = "", moment: str = "") -> Response:
    made, why = await _made(request, kind, at, known, moment)
    if made is None:
        return _none(request, why)
    back = f"/drain/{request.state.drain}/sheets"
    query = f"?{request.url.query}" if request.url.query else ""
    return render(request, "sheet_page.html", p=as_data(made), pdf=f"{back}/{kind}/pdf{query}", back=back)


@router.get(f"{PAGE}/{{kind}}/pdf")
async def as_pdf(request: Request, kind: str, at: str = "", known: str = "", moment: str = "") -> Response:
    made, why = await _made(request, kind, at, known, moment)
    return _none(request, why) if made is None else await _pdf(made, kind)


@router.get("/handover")
async def handover(request: Request, ward: str = "") -> Response:
    """Of my drains, or of one of my wards."""
    made = await handover_print(request, ward[:LONGEST] or None)
    if made is None:
        return _none(request, NO_DRAIN)
    query = f"?{request.url.query}" if request.url.query else ""
    return render(request, "sheet_page.html", p=as_data(made), pdf=f"/handover/pdf{query}", back="/")


@router.get("/handover/pdf")
async def handover_pdf(request: Request, ward: str = "") -> Response:
    made = await handover_print(request, ward[:LONGEST] or None)
    return _none(request, NO_DRAIN) if made is None else await _pdf(made, "handover")


@router.get("/checklist")
async def checklist(request: Request) -> Response:
    made = blank_form(request)
    return render(request, "sheet_page.html", p=as_data(made), pdf="/checklist/pdf", back="/")


@router.get("/checklist/pdf")
async def checklist_pdf(request: Request) -> Response:
    return await _pdf(blank_form(request), "checklist")


NO_DRAIN = "No drain of your wards is in, so there is nothing to hand over."


def blank_form(request: Request) -> Print:
    settings = request.app.state.settings
    return print_checklist(settings.clock(), settings.zone)


async def _made(request: Request, kind: str, at: str, known: str, about: str) -> tuple[Print | None, str]:
    if kind not in KINDS:
        return None, "There is no such sheet."
    zone = request.app.state.settings.zone
    moments = (read_instant(one, zone) if one.strip() else None for one in (at, known, about))
    return await print_of(request, kind, *moments)


def _none(request: Request, why: str) -> Response:
    return render(request, "refused.html", status=404 if why in (NO_DRAIN, "There is no such sheet.") else 422, why=why)


async def _pdf(made: Print, kind: str) -> Response:
    return kept_file(kind, "pdf", (await run_in_threadpool(pdf, made)).data)


def kept_file(kind: str, ending: str, data: bytes) -> Response:
    """A print to be kept or printed. Its name tells nobody whose it is."""
    named = {"content-disposition": f'attachment; filename="{kind}.{ending}"', "cache-control": "no-store"}
    return Response(data, media_type=MEDIA[ending], headers=named)
