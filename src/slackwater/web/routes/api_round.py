"""The round and the list of drains, as data."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query, Request
from starlette.concurrency import run_in_threadpool

from slackwater.assessment import cautions
from slackwater.assessment.document import stamp
from slackwater.report.line import ORDER_SAYS, in_order
from slackwater.store.course_json import list_dict
from slackwater.store.listing import listed
from slackwater.web.about import caution_list
from slackwater.web.api_door import API, READS, api_router, as_page
from slackwater.web.board import Board
from slackwater.web.line_shapes import RoundShape, line_shape
from slackwater.web.routes.round import LONGEST, STATUSES, Chosen
from slackwater.web.shapes import CautionShape, Shape, Stamp

router = api_router("reading")

as_page("GET", f"{API}/round", "/")
as_page("GET", f"{API}/drains", "/")

ALWAYS = (cautions.SUPPORT_ONLY, cautions.NOT_AN_ALARM, cautions.ABSENCE, cautions.RIGHT_DRAIN)
STALLED = "The round is not being kept up: believe no line of it. Use the paper checklist."
Words = Annotated[str, Query(max_length=LONGEST)]


class ListedShape(Shape):
    """One drain: where it lies, until when its logs go, by which rule it is judged."""

    drain: str
    name: str
    ward: str | None
    bed: str | None
    side: str | None
    space: str | None
    site: str | None
    indication: str | None
    connected_at: Stamp | None
    removed_at: Stamp | None
    removal: str | None
    logs: int
    log_until: Stamp | None
    sent_until: Stamp | None
    chart_rows: int
    protocol: str | None


class ListShape(Shape):
    drains: list[ListedShape]
    cautions: list[CautionShape]


@router.get(f"{API}/round", responses=READS)
async def round_of(
    request: Request, ward: Words = "",
    status: Annotated[str, Query(description=f"One of {', '.join(STATUSES)}; any other word means all.")] = "",
    text: Words = "",
) -> RoundShape:  # fmt: skip
    """Every drain of the person's wards, in the stated order, as the page shows it."""
    board: Board = request.app.state.board
    now, who = request.app.state.settings.clock(), request.state.who
    wanted = Chosen(ward, status if status in STATUSES else "", text)
    lines = in_order(line for line in board.lines() if who.sees(line.tube.ward) and wanted.takes(line))
    trouble = " ".join(one for one in (board.trouble, STALLED if board.stalled() else "") if one)
    moments = [line.data_until_ms for line in lines if line.data_until_ms is not None]
    fresh = cautions.freshness(min(moments, default=None), now, False)
    return RoundShape(
        now=stamp(now) or "", trouble=trouble, order=ORDER_SAYS, cautions=caution_list((*ALWAYS, fresh)),
        lines=[line_shape(line, now, not trouble) for line in lines],
    )  # fmt: skip


@router.get(f"{API}/drains", responses=READS)
async def drains(
    request: Request, everything: Annotated[bool, Query(description="Those that are out too.")] = False
) -> ListShape:
    """The drains of the person's wards, in order of connection."""
    found = await run_in_threadpool(listed, request.app.state.record, everything=everything)
    seen = [one for one in found if request.state.who.sees(one.ward)]
    return ListShape.model_validate({**list_dict(seen), "cautions": caution_list(ALWAYS)})
