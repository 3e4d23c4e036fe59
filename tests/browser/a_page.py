"""A page that holds nothing but the picture, a whole page, and a Chromium to show them in."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path
from typing import Any

from slackwater.report.pack import SCRIPTS, STYLES
from ward.until import LONG_S

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
LONG_MS = 1000 * LONG_S  # a page is waited for as long as it takes on a busy machine
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]


def html(data: dict[str, Any]) -> str:
    def joined(names: tuple[str, ...]) -> str:
        return "\n".join(files("slackwater.report").joinpath("assets", name).read_text("utf-8") for name in names)

    trace = json.dumps(data, allow_nan=False, separators=(",", ":")).replace("<", "\\u003c")
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>picture</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="color-scheme" content="light dark">'
        f'<style>body {{ margin: 8px; }} {joined(STYLES)}</style></head><body><div id="lanes"></div>'
        f'<p style="height: 3000px">below</p><script type="application/json" id="trace">{trace}</script>'
        f"<script>{joined(SCRIPTS)}</script><script>"
        'const data = JSON.parse(document.getElementById("trace").textContent);'
        'const lanes = slackwaterLanes(document.getElementById("lanes"), data);</script></body></html>'
    )


@contextmanager
def chromium() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        try:
            yield browser
        finally:
            browser.close()


class Shown:
    """One page, what it complained of, and short ways to ask it."""

    def __init__(self, browser: Any, file: Path, before: str = "", **context: Any) -> None:
        self.context = browser.new_context(**{"viewport": {"width": 1000, "height": 800}, **context})
        self.context.set_default_timeout(LONG_MS)
        self.page = self.context.new_page()
        self.complaints: list[str] = []
        self.asked_for: list[str] = []
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda request: self.asked_for.append(request.url))
        if before:
            self.page.add_init_script(before)
        self.page.goto(file.as_uri())

    def settled(self) -> Shown:
        """Once single readings are unpacked."""
        self.page.wait_for_function("lanes.drawn().single")
        return self

    def drawn(self) -> dict[str, Any]:
        found: dict[str, Any] = self.page.evaluate("lanes.drawn()")
        return found

    def show(self, from_ms: int, to_ms: int, why: str = "") -> dict[str, Any]:
        self.page.evaluate("([from, to, why]) => lanes.show(from, to, why)", [from_ms, to_ms, why])
        return self.drawn()

    def text(self, part: str) -> str:
        return str(self.page.text_content(f".lanes-{part}"))

    def close(self) -> None:
        self.context.close()


class ShownPage(Shown):
    """A whole page, as a reader opens it."""

    def settled(self) -> ShownPage:
        self.page.wait_for_function("document.getElementById('lanes').drawn().single")
        return self

    def drawn(self) -> dict[str, Any]:
        found: dict[str, Any] = self.page.evaluate("document.getElementById('lanes').drawn()")
        return found

    def unfold(self) -> None:
        self.page.evaluate("document.querySelectorAll('details').forEach((box) => { box.open = true; })")
