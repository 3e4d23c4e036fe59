"""The server as a whole: the record opened, the doors hung."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.resources import files
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from anyio import CapacityLimiter
from fastapi import Depends, FastAPI, Request, Response
from fastapi.exception_handlers import http_exception_handler
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse
from starlette.exceptions import HTTPException

from slackwater import __version__
from slackwater.assessment.cautions import ABSENCE, NOT_AN_ALARM
from slackwater.errors import NotWritten, SlackwaterError
from slackwater.store.record import open_record
from slackwater.web.api_door import API, problem
from slackwater.web.first_start import FirstStart
from slackwater.web.guard import Refused, guard
from slackwater.web.headers import HEADERS, Bounded, Headed
from slackwater.web.judges import Judges
from slackwater.web.looks import Looks
from slackwater.web.pages import environment, render
from slackwater.web.policy import POLICY
from slackwater.web.routes import access, every
from slackwater.web.sessions import Sessions
from slackwater.web.settings import Settings

if TYPE_CHECKING:
    from slackwater.web.hospital import HospitalLogIn

FAILED = "It cannot be told whether what you sent was recorded: look before you send it again."
TYPES = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}


def create_app(settings: Settings) -> FastAPI:
    """The server over the record of `settings`, which is made if there is none."""

    @asynccontextmanager
    async def life(app: FastAPI) -> AsyncIterator[None]:
        yield
        app.state.looks.close()
        app.state.judges.close()
        app.state.simulator.close()
        app.state.record.close()

    app = FastAPI(
        title="slackwater", version=__version__, lifespan=life, dependencies=[Depends(guard)],
        docs_url=None, redoc_url=None, openapi_url=None,
    )  # fmt: skip
    app.state.settings = settings
    app.state.record = open_record(settings.place, create=True, clock=settings.clock)
    app.state.sessions = Sessions()
    app.state.door = CapacityLimiter(2)  # passwords that are worked out at once
    app.state.looks = Looks(app.state.record)
    app.state.judges = Judges(settings.judges)
    app.state.simulator = Judges(1)  # practice waits in a line of its own: no drain waits for it
    app.state.templates = environment(settings.zone)
    app.state.first_start = FirstStart(app.state.record)
    app.state.hospital = _hospital(settings)
    app.add_middleware(Bounded)
    app.add_middleware(Headed)
    app.add_exception_handler(Refused, _refused)
    app.add_exception_handler(SlackwaterError, _fault)
    app.add_exception_handler(HTTPException, _no_route)
    app.add_exception_handler(Exception, _failed)
    app.get("/healthz", include_in_schema=False)(_health)
    app.get("/static/{path:path}", include_in_schema=False)(_static)
    app.include_router(access.router)
    for router in every():
        app.include_router(router)
    return app


def _hospital(settings: Settings) -> HospitalLogIn | None:
    if settings.hospital is None:
        return None
    from slackwater.web.hospital import HospitalLogIn

    return HospitalLogIn(settings.hospital, settings.clock)


async def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, Refused)
    if request.headers.get("x-by-itself") == "1":
        return problem(error.status, error.why)
    if error.status == 401 and request.method == "GET":
        return RedirectResponse("/first" if request.app.state.first_start.open else "/login", 303)
    template = "locked.html" if error.status == 423 else "refused.html"
    return render(request, template, status=error.status, why=error.why)


async def _fault(request: Request, error: Exception) -> Response:
    """What the core refused, in its own words: a form's fault is shown where the form is; this is the rest."""
    assert isinstance(error, SlackwaterError)
    return render(request, "refused.html", status=503 if isinstance(error, NotWritten) else 422, why=str(error))


async def _no_route(request: Request, error: Exception) -> Response:
    """A path or a method that is not there."""
    assert isinstance(error, HTTPException)
    if request.url.path.startswith(f"{API}/"):
        return problem(error.status_code, str(error.detail), headers=_allowed(request) or error.headers)
    return await http_exception_handler(request, error)


def _allowed(request: Request) -> dict[str, str]:
    """Which methods a path knows, all of its routes together."""
    path = getattr(request.scope.get("route"), "path", None)
    methods = sorted(method for method, known in POLICY if known == path)
    return {"allow": ", ".join(methods)} if methods else {}


async def _failed(request: Request, error: Exception) -> Response:
    """A fault of the program: nothing of it is shown, and nothing that could fail again is used. The log has it."""
    if request.url.path.startswith(f"{API}/"):
        return problem(500, FAILED, headers=HEADERS | {"cache-control": "no-store"})
    said = (
        "<!doctype html><html lang=en><title>Failed · slackwater</title><main><h1>The program failed here</h1>"
        f"<p>{NOT_AN_ALARM.text}</p><p>{ABSENCE.text}</p><p>It cannot be told whether what you sent was recorded: look "
        'before you enter it again. Use the paper checklist. <a href="/">To the round</a></p></main></html>'
    )
    return HTMLResponse(said, 500, headers=HEADERS | {"cache-control": "no-store"})


async def _health() -> Response:
    return JSONResponse({"status": "up"})


async def _static(path: str) -> Response:
    """Our own scripts and styles, and those of the picture. Only names that are there: no path upwards or of its own.

    A path that begins with a stroke (/static//etc/...) would be a file of the machine's.
    """
    parts = path.split("/")
    plain = all(part not in ("", ".", "..") and "\\" not in part and part.isprintable() for part in parts)
    for room, folder in (("slackwater.web", "static"), ("slackwater.report", "assets")):
        found = files(room).joinpath(folder, *parts) if plain else None
        if found is not None and found.is_file():
            kind = TYPES.get(PurePosixPath(path).suffix, "application/octet-stream")
            return Response(found.read_bytes(), media_type=kind, headers={"cache-control": "max-age=3600"})
    return HTMLResponse("There is no such file.", 404)
