"""The door for programs: routes under /api/v1, each by the rule of its page; a refusal is a problem (RFC 9457)."""

from __future__ import annotations

from collections.abc import Callable, Coroutine, Mapping, Sequence
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException

from slackwater.errors import NotWritten, SlackwaterError, StaleError
from slackwater.web.forms import Form
from slackwater.web.guard import Refused, guard
from slackwater.web.policy import POLICY, allow
from slackwater.web.shapes import FieldFault, Problem

API = "/api/v1"
AT = f"{API}/drains/{{drain}}"  # where everything of one drain is
TITLES = {
    400: "not readable", 401: "not logged in", 403: "not allowed", 404: "not there", 405: "not done here",
    409: "changed meanwhile", 413: "too large", 415: "not JSON", 422: "refused", 423: "locked",
    500: "the program failed here", 503: "the record takes nothing now",
}  # fmt: skip
PROBLEM = "application/problem+json"
SAYS = {
    400: "The body cannot be read.",
    401: "Nobody is logged in, or too long ago.",
    403: "Not for this role; or the header x-csrf-token is missing or another's.",
    404: "Not there, or not for this person's wards: the two cannot be told apart.",
    409: "Somebody changed it meanwhile: look at it, then enter it again with its present version.",
    415: "The body is not JSON.",
    422: "Refused, with what is wrong by field; nothing was recorded.",
    423: "The screen is locked: unlock it with the password.",
    503: "The record is read-only for now: disk or server failed. Nothing was recorded.",
}


class Refusal(Exception):
    """What a form's own checks refused."""

    def __init__(self, faults: Mapping[str, str], *, stale: bool = False) -> None:
        self.faults = faults
        self.stale = stale
        super().__init__("refused")


def problem(
    status: int, detail: str, faults: Sequence[FieldFault] = (), headers: Mapping[str, str] | None = None
) -> JSONResponse:
    told = Problem(title=TITLES.get(status, "refused"), status=status, detail=detail, errors=list(faults))
    return JSONResponse(told.model_dump(), status, media_type=PROBLEM, headers=headers)


def problem_of(error: SlackwaterError) -> JSONResponse:
    """What the core refused, in its own words."""
    status = 409 if isinstance(error, StaleError) else 503 if isinstance(error, NotWritten) else 422
    return problem(status, str(error))


class ApiRoute(APIRoute):
    """A route whose every refusal is a problem. Who asks comes before what was sent."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        original = super().get_route_handler()

        async def handle(request: Request) -> Response:
            try:
                if not all(str(part).isprintable() for part in request.path_params.values()):
                    raise HTTPException(404, "there is nothing of that name")
                return await original(request)
            except (RequestValidationError, HTTPException) as error:
                try:
                    if not hasattr(request.state, "who"):
                        await guard(request)  # the body could not even be read
                except Refused as refused:
                    return problem(refused.status, refused.why)
                return _malformed(request, error)
            except Refused as refused:
                return problem(refused.status, refused.why)
            except Refusal as refused:
                return _refused(refused)
            except SlackwaterError as error:
                return problem_of(error)

        return handle


def _malformed(request: Request, error: RequestValidationError | HTTPException) -> Response:
    if isinstance(error, HTTPException):
        return problem(error.status_code, str(error.detail), headers=error.headers)
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    in_body = any(one["loc"][:1] == ("body",) for one in error.errors())
    if in_body and kind and kind != "application/json" and not kind.endswith("+json"):
        return problem(415, "Send JSON: content-type application/json.")
    faults = [FieldFault(field=_field(one), says=_says(one)) for one in error.errors()]
    return problem(422, f"{len(faults)} {'field is' if len(faults) == 1 else 'fields are'} wrong.", faults)


def _field(one: Mapping[str, Any]) -> str:
    """Where it is: rows.0.value; the body as a whole is ''."""
    if one["type"] == "json_invalid":
        return ""
    return ".".join(str(part) for part in one["loc"][1:])


def _says(one: Mapping[str, Any]) -> str:
    return str(one["msg"]).removeprefix("Value error, ")


def _refused(refused: Refusal) -> Response:
    faults = [FieldFault(field=name, says=text) for name, text in refused.faults.items()]
    if refused.stale:
        return problem(409, " ".join(one.says for one in faults), faults)
    return problem(422, f"{len(faults)} {'field is' if len(faults) == 1 else 'fields are'} wrong.", faults)


def fine(form: Form, names: Mapping[str, str] | None = None) -> None:
    """Go on only where the form's own checks found nothing. `names`: the body's names of its fields."""
    if not form.fine:
        raise Refusal({(names or {}).get(name, name): text for name, text in form.faults.items()}, stale=form.stale)


def as_page(method: str, path: str, page: str) -> None:
    """Give a route of ours the rule of the page that does the same."""
    allow(method, path, POLICY[(method, page)])


def api_router(tag: str) -> APIRouter:
    """Routes under one heading of the document."""
    return APIRouter(route_class=ApiRoute, tags=[tag])


def documented(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """The refusals of a route, for the document."""
    content = {PROBLEM: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    return {status: {"description": SAYS[status], "content": content} for status in statuses}


READS = documented(401, 403, 404, 422, 423)
WRITES = documented(400, 401, 403, 404, 409, 415, 422, 423, 503)
