"""Around every request: how much may be sent; and what every answer says to the browser beside the page."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

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
_PAIRS = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
_CACHE = (b"cache-control", b"no-store")


class Headed:
    """Around the whole server. An answer's own header of the same name stands, but nothing beside /static/ is kept."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        kept = scope["path"].startswith("/static/")

        async def headed(message: Message) -> None:
            if message["type"] == "http.response.start":
                own = message["headers"] if kept else [one for one in message["headers"] if one[0] != _CACHE[0]]
                names = {name for name, _ in own}
                ours = _PAIRS if kept else [*_PAIRS, _CACHE]
                message["headers"] = [*own, *(one for one in ours if one[0] not in names)]
            await send(message)

        await self._app(scope, receive, headed)


MOST_SENT = 4 * 2**20  # bytes of a body; the longest that has a use is a rule file, some 200,000 letters (ours)


class Bounded:
    """A body without end is not read: it is taken in before anybody knows who sends it."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        taken = 0

        async def bounded() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > MOST_SENT:
                raise HTTPException(413, f"At most {MOST_SENT // 2**20} MiB are taken at once.")
            return message

        await self._app(scope, bounded if scope["type"] == "http" else receive, send)
