"""The ward's server on a port of this machine, and a Chromium that is logged in at it."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import uvicorn
from fastapi import FastAPI

from browser.a_page import LONG_MS
from slackwater.store.place import place_of
from slackwater.web.app import create_app
from slackwater.web.settings import Settings
from ward.a_ward import PASSWORD, Clock, recorded_ward
from ward.until import until

GRAVE = ("warning", "error")  # what Chromium says of a page; hints for who develops are neither


@contextmanager
def serving(settings: Settings) -> Iterator[tuple[FastAPI, str]]:
    """The server as it is set, and its address."""
    app = create_app(settings)
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until(lambda: server.started, "the server never started", every_s=0.02)
    port = server.servers[0].sockets[0].getsockname()[1]
    try:
        yield app, f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = True
        thread.join()


@contextmanager
def served(folder: Path, clock: Clock | None = None) -> Iterator[tuple[FastAPI, str]]:
    """The server over a copy of the small ward, and its address."""
    place = place_of(recorded_ward(folder / "record"))
    with serving(Settings(place, secure=False, clock=clock or Clock())) as both:
        yield both


class Desk:
    """One browser at the ward, with what it complained of."""

    def __init__(self, browser: Any, address: str, role: str = "nurse", **context: Any) -> None:
        self.address = address
        self.context = browser.new_context(**{"viewport": {"width": 1280, "height": 800}, **context})
        self.context.set_default_timeout(LONG_MS)
        self.page = self.context.new_page()
        self.complaints: list[str] = []
        self.page.on("console", lambda one: self.complaints.append(one.text) if one.type in GRAVE else None)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.goto(f"{address}/login")
        self.page.fill("input[name=login]", role)
        self.page.fill("input[type=password]", PASSWORD)
        with self.page.expect_navigation(wait_until="commit"):  # else the next page would be asked for across it
            self.page.click("main button")

    def open(self, path: str) -> Any:
        self.page.goto(self.address + path)
        return self.page

    def close(self) -> None:
        self.context.close()
