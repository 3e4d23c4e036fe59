"""Templates, and what every page shows: who is at the screen, the strip that says what this is not, the time."""

from __future__ import annotations

from datetime import datetime, tzinfo
from importlib.resources import files
from typing import Any

import jinja2
from fastapi import Request
from fastapi.responses import HTMLResponse

from slackwater.assessment import cautions
from slackwater.report.page import UNSEEN
from slackwater.report.times import shown
from slackwater.report.words import plain
from slackwater.store.units import state_words
from slackwater.web.policy import may
from slackwater.web.settings import Settings

_UNSEEN = [chr(code) for code in UNSEEN]


def environment(zone: tzinfo) -> jinja2.Environment:
    """Everything of a record is escaped; a name that is missing is a fault. `zone`: the ward's."""
    made = jinja2.Environment(
        loader=jinja2.ChoiceLoader(
            [_package("slackwater.web"), _package("slackwater.report")]
        ),
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    made.filters["words"] = plain
    made.filters["step"] = state_words
    made.filters["moment"] = lambda ms: shown(ms, zone)
    return made


def _package(name: str) -> jinja2.FunctionLoader:
    folder = files(name).joinpath("templates")

    def text(template: str) -> str | None:
        found = folder.joinpath(template)
        return found.read_text("utf-8") if found.is_file() else None

    return jinja2.FunctionLoader(text)


def render(request: Request, template: str, *, status: int = 200, **values: Any) -> HTMLResponse:
    """A page for whoever asked. Nothing of it is kept by browser or proxy."""
    return HTMLResponse(html_of(request, template, **values), status_code=status)


def html_of(request: Request, template: str, **values: Any) -> str:
    """The page as text."""
    settings: Settings = request.app.state.settings
    who = getattr(request.state, "who", None)
    now = settings.clock()
    common = {
        "who": who, "csrf": who.session.csrf if who is not None else "", "demo": settings.demo,
        "hospital": settings.hospital is not None,
        "not_an_alarm": cautions.NOT_AN_ALARM.text, "absence": cautions.ABSENCE.text,
        "support": cautions.SUPPORT_ONLY.text, "status_text": cautions.STATUS.text, "idle_s": settings.idle_s,
        "now": shown(now, settings.zone), "now_ms": now, "zone_name": settings.zone_name,
        "read_only": request.app.state.record.read_only_because, "path": request.url.path,
        "may": lambda page: who is not None and may(who.role, page),
    }  # fmt: skip
    found: jinja2.Environment = request.app.state.templates
    html = found.get_template(template).render({**common, **values})
    return straight(html)


def straight(html: str) -> str:
    """No word of the record may turn "left" around, and none is there unseen."""
    return html.translate(UNSEEN) if any(one in html for one in _UNSEEN) else html  # looking first is far quicker


def local_input(ms: int, zone: tzinfo) -> str:
    """An instant as a browser's date-and-time field wants it, by the ward's clock."""
    return datetime.fromtimestamp(ms / 1000, zone).strftime("%Y-%m-%dT%H:%M")
