"""The server as a whole: the record opened, the doors hung, the headers that keep other sites out."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from importlib.resources import files
from pathlib import PurePosixPath

from fastapi import Depends, FastAPI, Request, Response
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse

from slackwater import __version__
from slackwater.errors import SlackwaterError
from slackwater.store.record import open_record
from slackwater.web.first_start import FirstStart
from slackwater.web.guard import Refused, guard
from slackwater.web.judges import Judges
from slackwater.web.looks import Looks
from slackwater.web.pages import environment, render
from slackwater.web.routes import access, every
from slackwater.web.sessions import Sessions
from slackwater.web.settings import Settings

CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "font-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'; object-src 'none'"
)
HEADERS = {
    "content-security-policy": CONTENT_POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",  # without any, a browser calls the origin of our own forms null
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}
TYPES = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}


def create_app(settings: Settings) -> FastAPI:
    """The server over the record of `settings`, which is made if there is none."""

    @asynccontextmanager
    async def life(app: FastAPI) -> AsyncIterator[None]:
        yield
        app.state.looks.close()
        app.state.judges.close()
        app.state.record.close()

    app = FastAPI(
        title="slackwater", version=__version__, lifespan=life, dependencies=[Depends(guard)],
        docs_url=None, redoc_url=None, openapi_url=None,
    )  # fmt: skip
    app.state.settings = settings
    app.state.record = open_record(settings.place, create=True, clock=settings.clock)
    app.state.sessions = Sessions()
    app.state.looks = Looks(app.state.record)
    app.state.judges = Judges(settings.judges)
    app.state.templates = environment(settings.zone)
    app.state.first_start = FirstStart(app.state.record)
    app.middleware("http")(_headers)
    app.add_exception_handler(Refused, _refused)
    app.add_exception_handler(SlackwaterError, _fault)
    app.get("/healthz", include_in_schema=False)(_health)
    app.get("/static/{path:path}", include_in_schema=False)(_static)
    app.include_router(access.router)
    for router in every():
        app.include_router(router)
    return app


async def _headers(request: Request, call: Callable[[Request], Awaitable[Response]]) -> Response:
    answer = await call(request)
    for name, value in HEADERS.items():
        answer.headers.setdefault(name, value)
    if not request.url.path.startswith("/static/"):
        answer.headers["cache-control"] = "no-store"
    return answer


async def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, Refused)
    if request.url.path.startswith("/api/") or request.headers.get("x-by-itself") == "1":
        return JSONResponse(
            {"title": error.why, "status": error.status}, error.status, media_type="application/problem+json"
        )
    if error.status == 401 and request.method == "GET":
        return RedirectResponse("/first" if request.app.state.first_start.open else "/login", 303)
    template = "locked.html" if error.status == 423 else "refused.html"
    return render(request, template, status=error.status, why=error.why)


async def _fault(request: Request, error: Exception) -> Response:
    """What the core refused, in its own words: a form's fault is shown where the form is; this is the rest."""
    assert isinstance(error, SlackwaterError)
    if request.url.path.startswith("/api/"):
        return JSONResponse({"title": str(error), "status": 422}, 422, media_type="application/problem+json")
    return render(request, "refused.html", status=422, why=str(error))


async def _health() -> Response:
    return JSONResponse({"status": "up"})


async def _static(path: str) -> Response:
    """Our own scripts and styles, and those of the picture. Only names that are there, never a path upwards."""
    parts = PurePosixPath(path).parts
    for room, folder in (("slackwater.web", "static"), ("slackwater.report", "assets")):
        found = files(room).joinpath(folder, *parts)
        if ".." not in parts and parts and found.is_file():
            kind = TYPES.get(PurePosixPath(path).suffix, "application/octet-stream")
            return Response(found.read_bytes(), media_type=kind, headers={"cache-control": "max-age=3600"})
    return HTMLResponse("There is no such file.", 404)
