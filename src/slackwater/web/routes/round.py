"""The round: every drain of the person's wards."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from slackwater.web.pages import render

router = APIRouter(include_in_schema=False)


@router.get("/")
async def round_page(request: Request) -> Response:
    return render(request, "round.html", lines=())
