"""An engineer answers a recall in two steps; a physiotherapist plans the day's trips in one view."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from behaviour.web.units.a_fleet_ward import DRAIN, UNIT, recorded
from browser.a_page import chromium
from browser.a_served_ward import Desk, served

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Any, Any, str]]:
    with chromium() as browser, served(tmp_path_factory.mktemp("ward")) as (app, address):
        recorded(app.state.record)
        yield browser, app, address


def test_an_engineer_answers_a_recall_in_two_steps(ward: tuple[Any, Any, str]) -> None:
    """Step one: the form. Step two: the list, which is where it leads."""
    browser, _, address = ward
    desk = Desk(browser, address, "engineer")
    page = desk.open("/units")
    page.click("summary:has-text('Recall a lot')")
    page.fill("form[action='/units/recall'] input[name=lot]", "B-1")
    page.fill("form[action='/units/recall'] input[name=reason]", "swells")
    with page.expect_navigation():
        page.click("button:has-text('Recall it')")
    first = page.locator(".pulls li").first.inner_text()
    assert "SN-6" in first and "at a patient" in first and "W-6/1" in first and "swells" in first
    assert page.locator(".pulls li").count() == 2
    page.click("text=Scan or type codes")
    for code in ("SN-7", "B-1"):
        page.wait_for_selector("#code:focus")
        page.keyboard.type(code)  # as a scanner does: the field has the focus, and Enter ends it
        page.keyboard.press("Enter")
        page.wait_for_selector(f".scanned li:has-text('{code}')")
    assert page.locator(".scanned li").count() == 2 and "Not for a patient" in page.inner_text(".scanned")
    assert desk.complaints == []
    desk.close()


def test_a_physiotherapist_plans_the_days_walks_in_one_view(ward: tuple[Any, Any, str]) -> None:
    browser, app, address = ward
    desk = Desk(browser, address, "physiotherapist", java_script_enabled=False, viewport={"width": 390, "height": 844})
    page = desk.open("/trips")
    page.click(f"li[data-drain='{DRAIN}'] a:has-text('Plan a trip')")
    page.fill("#f-destination", "gym")
    page.fill("#f-planned_min", "40")
    page.fill("#f-at", "2041-03-07T09:20")
    page.fill("#f-fallback", "spare unit in the gym")
    with page.expect_navigation():
        page.click("button:has-text('Show what the charge says')")
    assert "charge covers it" in page.inner_text("p.answer[role=status]")
    with page.expect_navigation():
        page.click("button:has-text('Record the trip')")
    with page.expect_navigation():
        page.click("text=The day's trips and charging")
    card = page.inner_text(f"li[data-drain='{DRAIN}']")
    assert "gym" in card and "charge covers it" in card
    assert page.locator("rect.away-now").count() == 1 and page.locator("rect.on-mains").count() >= 1
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert len(app.state.record.things("trip")) == 1
    page.goto(f"{address}/units/{UNIT}")
    assert page.locator("circle.dot").count() == 6
    desk.close()
