"""Suction, signals, diary and clinic in a real browser: by keyboard, narrow, dark, and by an outside checker (axe)."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.resources import files
from typing import Any

import pytest
from fastapi import FastAPI

from browser.a_page import chromium
from browser.a_served_ward import Desk, served
from slackwater.store.acts import key_of
from slackwater.store.course import course_of
from slackwater.store.home import send_home
from ward.a_ward import NOW_MS

pytestmark = pytest.mark.browser

AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
STRICT = key_of("drain", key_of("patient", "W-3"), "1")
PAGES = (f"/drain/{STRICT}/suction", f"/drain/{STRICT}/signals", "/signals", f"/drain/{STRICT}/home",
         f"/drain/{STRICT}/diary", "/clinic")  # fmt: skip


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, str]]:
    with served(tmp_path_factory.mktemp("ward")) as both:
        with both[0].state.record.act(by="tests", what="home") as act:
            send_home(
                act, course_of(act.connection, STRICT), from_ms=NOW_MS - 86_400_000, contact="the ward",
                eligible="cannot_tell", protocol="", once="a-home-form",
            )  # fmt: skip
        yield both


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as found:
        yield found


def tab_to(page: Any, wanted: str, most: int = 70) -> None:
    """Press Tab until what `wanted` selects has the focus."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate("(css) => document.activeElement.matches(css)", wanted):
            return
    raise AssertionError(f"{wanted} was not reached by keyboard")


def test_a_signal_and_a_diary_entry_by_keyboard_alone(browser: Any, ward: tuple[FastAPI, str]) -> None:
    app, address = ward
    desk = Desk(browser, address, "nurse")
    page = desk.open(f"/drain/{STRICT}/signals")
    tab_to(page, "input[name=kind]")
    page.keyboard.press("ArrowDown")  # a row of choices is one stop: arrows go on in it
    tab_to(page, "form button:not(.plain)")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    (call,) = app.state.record.things("unit_call", {"drain": STRICT})
    assert call["kind"] == "line_blocked" and "line blocked" in page.text_content("ul.calls")

    page = desk.open(f"/drain/{STRICT}/diary")
    tab_to(page, "input[name=teller]")
    page.keyboard.press("Space")
    tab_to(page, "input[name=distress]")
    page.keyboard.press("ArrowDown")
    tab_to(page, "#f-temperature")
    page.keyboard.type("38.1")
    tab_to(page, "main form button:not(.again)")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert "short of breath" in page.text_content(".stop")
    page = desk.open("/clinic")
    tab_to(page, f"a[href='/drain/{STRICT}/home']")
    assert "short of breath" in page.text_content(".clinic") and "38.1" in page.text_content(".clinic")
    assert not desk.complaints
    desk.close()


@pytest.mark.parametrize("screen", ["320", "dark"])
def test_every_page_fits_and_passes_an_outside_checker(browser: Any, ward: tuple[FastAPI, str], screen: str) -> None:
    looks: dict[str, dict[str, Any]] = {
        "320": {"viewport": {"width": 320, "height": 700}},
        "dark": {"color_scheme": "dark"},
    }
    desk = Desk(browser, ward[1], "specialist_nurse", **looks[screen])
    for path in PAGES:
        page = desk.open(path)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), path
        page.evaluate(AXE)
        found = page.evaluate("axe.run(document, { resultTypes: ['violations'] })")["violations"]
        found = [one for one in found if one["impact"] in ("serious", "critical")]
        assert not found, [(path, one["id"], [node["html"][:200] for node in one["nodes"][:3]]) for one in found]
        assert page.locator("h1").count() == 1
    assert not desk.complaints
    desk.close()
