"""Readings by HTTP: `POST /v1/readings` with lines of JSON and the unit's own key. A pure ASGI application.

It speaks no TLS: a proxy in front of it does (docs/listen.md).
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from slackwater.feed.intake import Intake
from slackwater.feed.keys import Keys
from slackwater.feed.take import MOST_BYTES, NOT_WRITTEN, REFUSED, Answer, take
from slackwater.feed.tell import Teller

PATH = "/v1/readings"
MOST_REQUESTS = 2000  # under way at once; whoever comes beyond is asked to come again
BODY_S = 10.0  # a body that takes longer to come is given up
LONGEST_KEY = 200

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]


class ReadingsApp:
    """Answers for each line once it is on the disk: kept, kept already, kept beside, refused or not written.

    200: each line was settled, as its answer says. 503: some were not written, or too many are under way: send all
    again, what was kept is kept once. 401: no key, or no unit's.
    """

    def __init__(self, intake: Intake, tell: Teller) -> None:
        self._intake = intake
        self._keys = Keys(intake.record)
        self._tell = tell
        self._under_way = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await _lifespan(receive, send)
        elif scope["type"] == "http":
            self._under_way += 1
            try:
                status, told, headers = await self._answer(scope, receive)
            finally:
                self._under_way -= 1
            await _send(send, status, told, headers)

    async def _answer(self, scope: Scope, receive: Receive) -> tuple[int, dict[str, Any], list[tuple[bytes, bytes]]]:
        if scope["path"] != PATH:
            return 404, {"error": f"there is only {PATH}"}, []
        if scope["method"] != "POST":
            return 405, {"error": "only POST"}, [(b"allow", b"POST")]
        if self._under_way > MOST_REQUESTS:
            return 503, {"error": "too many at once: send it again"}, [(b"retry-after", b"1")]
        serial = await self._serial(scope)
        if serial is None:
            self._intake.refused()
            self._tell("http: refused a request without a unit's key")
            return 401, {"error": "no unit has this key"}, [(b"www-authenticate", b"Bearer")]
        body = await _body(scope, receive)
        if body is None:
            self._intake.refused()
            self._tell(f"http: refused a body of {serial}: too long or too slow")
            return 413, {"error": f"over {MOST_BYTES // 1024} kB, or not sent within {BODY_S:g} s"}, []
        answers = await take(self._intake, body, serial)
        bad = [one for one in answers if one.outcome == REFUSED]
        if bad:
            self._tell(
                f"http: refused {len(bad)} of {len(answers)} lines of {serial}; line {bad[0].line}: {bad[0].why}"
            )
        if any(one.outcome == NOT_WRITTEN for one in answers):
            return 503, {"lines": [_told(one) for one in answers]}, [(b"retry-after", b"5")]
        return 200, {"lines": [_told(one) for one in answers]}, []

    async def _serial(self, scope: Scope) -> str | None:
        given = [value for name, value in scope["headers"] if name == b"authorization"]
        if len(given) != 1 or len(given[0]) > LONGEST_KEY:
            return None
        kind, _, key = given[0].decode("latin-1").partition(" ")
        return await self._keys.whose(key.strip()) if kind.lower() == "bearer" else None


def _told(answer: Answer) -> dict[str, Any]:
    told: dict[str, Any] = {"line": answer.line, "outcome": answer.outcome}
    return {**told, "why": answer.why} if answer.why else told


async def _body(scope: Scope, receive: Receive) -> bytes | None:
    """The whole body; None where it is too long, or does not come."""
    for name, value in scope["headers"]:
        if name == b"content-length" and (not value.isdigit() or int(value[:12]) > MOST_BYTES):
            return None
    parts: list[bytes] = []
    size = 0
    try:
        async with asyncio.timeout(BODY_S):
            while True:
                message = await receive()
                if message["type"] != "http.request":
                    return None  # it hung up
                parts.append(message.get("body", b""))
                size += len(parts[-1])
                if size > MOST_BYTES:
                    return None
                if not message.get("more_body", False):
                    return b"".join(parts)
    except TimeoutError:
        return None


async def _send(send: Send, status: int, told: dict[str, Any], headers: list[tuple[bytes, bytes]]) -> None:
    body = json.dumps(told, separators=(",", ":")).encode()
    fixed = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode()),
             (b"cache-control", b"no-store")]  # fmt: skip
    await send({"type": "http.response.start", "status": status, "headers": [*fixed, *headers]})
    await send({"type": "http.response.body", "body": body})


async def _lifespan(receive: Receive, send: Send) -> None:
    while True:
        message = await receive()
        await send({"type": f"{message['type']}.complete"})
        if message["type"] == "lifespan.shutdown":
            return
