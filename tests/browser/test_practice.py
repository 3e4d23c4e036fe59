"""Practice in a browser: a new nurse does ten exercises by keyboard and is shown where confidence and skill part."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest

from browser.a_page import chromium
from browser.a_served_ward import Desk, served
from slackwater.store.acts import key_of
from slackwater.teach.recorded import lessons_of
from slackwater.teach.told import BANNER
from ward.until import until

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Any, Desk]]:
    with served(tmp_path_factory.mktemp("practice")) as (app, address), chromium() as browser:
        desk = Desk(browser, address)
        yield app, desk
        assert desk.complaints == []
        desk.close()


def test_a_new_nurse_does_ten_exercises_by_keyboard(ward: tuple[Any, Desk]) -> None:
    app, desk = ward
    page = desk.open("/practice")
    assert "You have not answered anything yet." in page.inner_text("main")
    page.locator("a", has_text="Do the next exercise").focus()
    seen = set()
    for number in range(10):
        with page.expect_navigation():
            page.keyboard.press("Enter")
        assert page.locator("#answering").count()
        assert page.inner_text(".practice-banner") == BANNER
        assert page.title().startswith("Practice: ")
        if number == 0:
            page.wait_for_selector("#lanes canvas")
            assert not page.locator(".lanes-state").is_visible()
        seen.add(page.inner_text("h1"))
        page.locator("#answer input").first.focus()
        page.keyboard.press("Space")
        page.keyboard.press("Tab")
        for _ in range(page.locator("#confidence input").count() - 1):
            page.keyboard.press("ArrowRight")  # up to certain
        page.keyboard.press("Tab")
        with page.expect_navigation():
            page.keyboard.press("Enter")
        assert page.locator(".right-or-not").count()
        assert "In truth" in page.inner_text(".truth")
        page.locator("a", has_text="The next exercise").focus()
    assert len(seen) == 10  # what is new comes before what is due tomorrow
    told = lessons_of(app.state.record, key_of("person", "nurse"))
    assert [one.confidence for one in told] == [100.0] * 10
    page.locator("a", has_text="To Practice").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("svg.parting")
    first = page.locator("tbody tr").first.inner_text()
    right = sum(one.right for one in told)
    assert right < 10 and f"{right} of 10" in first and "100 %" in first and "surer than right" in first
    assert f"{right} of 10 right, 100 % sure: surer than right" in page.get_attribute("svg.parting", "aria-label")


def test_the_evidence_is_shown_in_the_trace(ward: tuple[Any, Desk]) -> None:
    app, desk = ward
    last = lessons_of(app.state.record, key_of("person", "nurse"))[-1]
    page = desk.open(f"/practice/{last.exercise}/{last.draw}")
    page.wait_for_selector("#lanes canvas")
    page.locator("button[data-from]").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(".lanes-span:visible")
    assert page.inner_text(".lanes-span") == "what shows it"


def test_the_bench_answers_a_button(ward: tuple[Any, Desk]) -> None:
    _, desk = ward
    page = desk.open("/practice/bench")
    page.locator("button", has_text="clamp").first.focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("button:has-text('take the clamp off')")
    assert "the drain was clamped" in page.inner_text("#now")
    assert "a clamp" in page.inner_text("#now")


@pytest.mark.parametrize("size", [(1280, 800), (360, 800)])
def test_the_question_is_on_the_first_screen(ward: tuple[Any, Desk], size: tuple[int, int]) -> None:
    """And its answers beside the picture where there is room; the picture stays wide enough to be read."""
    _, desk = ward
    desk.page.set_viewport_size({"width": size[0], "height": size[1]})
    page = desk.open("/practice/which-film")
    page.wait_for_selector("#lanes canvas")
    asked = page.locator("#asked").bounding_box()
    assert asked["y"] + asked["height"] < size[1]
    picture = page.locator("#lanes canvas").first.bounding_box()
    if size[0] == 1280:
        answers = page.locator("#answer").bounding_box()
        assert answers["y"] + answers["height"] < size[1]
        assert picture["x"] + picture["width"] < answers["x"] and picture["width"] > 600
    else:
        page.locator(".to-answer").click()
        assert 0 <= page.locator("#answering").bounding_box()["y"] < size[1] / 2
        assert picture["width"] > 250
    page.set_viewport_size({"width": 1280, "height": 800})


@pytest.mark.parametrize("path", ["/practice", "/practice/no-swing", "/practice/bench"])
def test_it_reads_on_a_phone_and_axe_finds_nothing(ward: tuple[Any, Desk], path: str) -> None:
    """WCAG 2.2, 1.4.10 at 320 px; axe-core's rules of level A and AA."""
    from axe_playwright_python.sync_playwright import Axe

    _, desk = ward
    page = desk.open(path)
    found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]}).response["violations"]
    assert found == [], json.dumps([(one["id"], [node["html"][:200] for node in one["nodes"][:3]]) for one in found])
    page.set_viewport_size({"width": 320, "height": 740})
    # The picture follows; the page's own policy forbids wait_for_function.
    until(lambda: page.evaluate("document.documentElement.scrollWidth") <= 320, "it is wider than 320 px")
    small = page.eval_on_selector_all(
        ".practice button, .practice a.button, .practice summary",
        "(all) => all.filter((one) => one.offsetParent && !one.closest('.lanes') && one.offsetHeight < 44).length",
    )
    assert small == 0
    page.set_viewport_size({"width": 1280, "height": 800})
