"""The demo's ward as served at one invented moment, and one person's day in it: taps, keys and page loads are counted.

Only what a person sees is used: roles, labels and the words of links. The one address that is typed is the ward's own.
"""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

from fastapi import FastAPI

from browser.a_page import LONG_MS
from browser.a_served_ward import GRAVE, serving
from slackwater.cli.demo_ward import PASSWORD, fill, people
from slackwater.store import open_record
from slackwater.store.acts import key_of
from slackwater.store.place import place_of
from slackwater.web.settings import Settings
from ward.a_ward import Clock
from ward.until import until

NIGHT = datetime(2041, 3, 7, 3, 10, tzinfo=UTC)
NIGHT_MS = int(NIGHT.timestamp() * 1000)
SPARE = "S2001"  # a unit that has come back from a patient
PHONE: dict[str, Any] = {"viewport": {"width": 360, "height": 740}, "has_touch": True}
DESK: dict[str, Any] = {"viewport": {"width": 1280, "height": 800}}
SHOTS = "SLACKWATER_SHOTS"  # a folder that keeps the pictures of a run, to be looked at


@cache
def _recorded() -> Path:
    """The demo's ward at night, recorded once for all tests of this process."""
    folder = Path(tempfile.mkdtemp(prefix="days-")) / "record"
    with open_record(folder, create=True, clock=Clock(NIGHT_MS - 60_000)) as record:
        fill(record, NIGHT, "+00:00", lambda _: None)
        list(people(record))
        with record.act(by="tests", what="unit back from a patient") as act:
            act.add("unit", key_of("unit", SPARE), {"serial": SPARE})
    return folder


@contextmanager
def served_demo(folder: Path) -> Iterator[tuple[FastAPI, str, Clock]]:
    """The server over a copy of that record, its address, and its clock, once every drain is worked out."""
    shutil.copytree(_recorded(), folder / "record")
    clock = Clock(NIGHT_MS)
    settings = Settings(
        place_of(folder / "record"), secure=False, clock=clock, demo=True, idle_s=10**6, session_s=10**6
    )
    with serving(settings) as (app, address):
        until(lambda: _worked_out(app), "the round was never worked out")
        yield app, address, clock


def _worked_out(app: FastAPI) -> bool:
    lines = app.state.board.lines()
    return bool(lines) and not app.state.board.trouble and all(line.as_of_ms is not None for line in lines)


@dataclass
class Cost:
    """What one task took."""

    taps: int = 0
    keys: int = 0
    loads: int = 0


class Day:
    """One person at one screen, from the login page on."""

    def __init__(self, browser: Any, address: str, role: str, folder: Path, **context: Any) -> None:
        self.folder = Path(os.environ.get(SHOTS) or folder)
        self.folder.mkdir(parents=True, exist_ok=True)
        self.context = browser.new_context(**{**DESK, "reduced_motion": "reduce", **context})
        self.context.set_default_timeout(LONG_MS)
        self.page = self.context.new_page()
        self.name = f"{role}-{self.page.viewport_size['width']}{'-dark' if 'color_scheme' in context else ''}"
        self.shots = 0
        self.cost = Cost()
        self.told: list[str] = []
        self.complaints: list[str] = []
        self.page.on("console", lambda one: self.complaints.append(one.text) if one.type in GRAVE else None)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("domcontentloaded", lambda _: setattr(self.cost, "loads", self.cost.loads + 1))
        self.page.goto(address)
        self.see("login")
        self.write("Login", role)
        self.write("Password", PASSWORD)
        self.press("Log in")
        self.page.get_by_role("heading", name="Round").wait_for()
        self.page.wait_for_load_state()  # else this page would count as one of the first task

    # --- what a person does ---------------------------------------------------------------------------

    def tap(self, what: Any) -> None:
        what.click()
        self.cost.taps += 1

    def press(self, name: str, within: Any = None) -> None:
        """A button by its words."""
        # What is said only aloud stands apart from the word before it.
        words = re.compile(f"^{re.escape(name)}$".replace(":", r"\s*:").replace("/", r"\/"))
        self.tap((within or self.page).get_by_role("button", name=words))

    def send(self, name: str, within: Any = None) -> None:
        """A button that leads to another page, and that page."""
        with self.page.expect_navigation():
            self.press(name, within)

    def follow(self, name: str, within: Any = None) -> None:
        """A link by its words or a part of them."""
        self.tap((within or self.page).get_by_role("link", name=name).first)
        self.page.wait_for_load_state()

    def choose(self, group: str, word: str) -> None:
        """A choice of a group, by its label's word."""
        box = self.page.get_by_role("group", name=re.compile(f"^{re.escape(group)}")).first
        self.tap(box.get_by_text(word, exact=True).locator("visible=true").first)

    def write(self, label: str, text: str, within: Any = None) -> None:
        field = (within or self.page).get_by_label(re.compile(f"^{re.escape(label)}")).locator("visible=true").first
        self.tap(field)
        field.fill(text)
        self.cost.keys += len(text)

    def unfold(self, words: str, within: Any) -> None:
        self.tap(within.get_by_text(words, exact=True).locator("visible=true").first)

    # --- what a person sees ---------------------------------------------------------------------------

    def line(self, patient: str) -> Any:
        """The round's line of a drain, once it is worked out."""
        found = self.page.get_by_role("listitem").filter(has=self.page.get_by_role("link", name=f"{patient}"))
        found.get_by_text(re.compile("data until|no log|removed")).first.wait_for()
        return found

    def says(self, text: str | re.Pattern[str]) -> bool:
        """Whether the screen shows it, wherever it must be scrolled to."""
        self.page.get_by_text(text).locator("visible=true").first.wait_for()
        return True

    def see(self, what: str) -> None:
        """A picture for whoever looks the run over."""
        self.shots += 1
        self.page.screenshot(path=self.folder / f"{self.name}-{self.shots:02}-{what}.png", full_page=True)

    @contextmanager
    def task(self, name: str, taps: int, loads: int) -> Iterator[None]:
        """A task, and the most that it may take."""
        self.cost = Cost()
        yield
        cost = self.cost
        self.told.append(f"{self.name}: {name}: {cost.taps} taps, {cost.keys} keys, {cost.loads} loads")
        assert cost.taps <= taps, self.told[-1]
        assert cost.loads <= loads, self.told[-1]
        self.see(re.sub(r"\W+", "-", name))

    def over(self) -> None:
        print("\n".join(self.told))
        assert self.complaints == []
        assert self.page.evaluate("document.documentElement.scrollWidth") <= self.page.viewport_size["width"]
        self.context.close()
