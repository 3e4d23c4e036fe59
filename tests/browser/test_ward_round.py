"""The round in a browser: values vanish by its own clock, nothing is believed after sleep, and it reads anywhere.

The server is cut off by refusing its answers in the browser; time is moved by the browser's own faked clock.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest

from browser.a_page import LONG_MS, chromium
from browser.a_served_ward import served
from slackwater.store.acts import key_of
from ward.a_ward import NOW_MS, PASSWORD

pytestmark = pytest.mark.browser
FIRST = f"#d-{key_of('drain', key_of('patient', 'W-1'), '1')}"


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Any, Any, str]]:
    with served(tmp_path_factory.mktemp("round")) as (app, address), chromium() as browser:
        yield browser, app, address


@pytest.fixture
def page(ward: tuple[Any, Any, str]) -> Iterator[Any]:
    browser, _, address = ward
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    context.request.post(f"{address}/login", form={"login": "nurse", "password": PASSWORD}, max_redirects=0)
    context.set_default_timeout(LONG_MS)
    page = context.new_page()
    page.complaints = []
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.on("console", lambda told: page.complaints.append(told.text) if "Content Security" in told.text else None)
    yield page
    assert page.complaints == []
    context.close()


def opened(page: Any, address: str, query: str = "") -> Any:
    page.goto(f"{address}/{query}")
    page.wait_for_selector(f"{FIRST} .live")
    return page


def test_a_value_vanishes_at_its_time_though_the_server_is_gone(page: Any, ward: tuple[Any, Any, str]) -> None:
    """safety hazards F01, F02: the page's own count of seconds, no answer needed."""
    page.clock.install()
    opened(page, ward[2])
    page.route("**/round/lines*", lambda route: route.abort())
    for _ in range(20):
        page.clock.run_for(1000)
    assert "has not answered" in page.inner_text("#round-fault")
    assert page.locator(f"{FIRST} .live").first.is_visible()
    page.evaluate(f"document.querySelector('{FIRST}').dataset.live = '{NOW_MS + 22_000}'")
    for _ in range(4):
        page.clock.run_for(1000)
    assert page.locator(f"{FIRST} .live:visible").count() == 0
    assert "no data since" in page.inner_text(f"{FIRST} .air")
    assert "now no data" in page.inner_text("#round-news")
    assert page.locator("[data-caution=cau-C2]:visible, [data-caution=cau-C5]:visible").count() == 2


def test_after_sleep_nothing_is_shown_until_it_is_refreshed(page: Any, ward: tuple[Any, Any, str]) -> None:
    page.clock.install()
    opened(page, ward[2])
    page.route("**/round/lines*", lambda route: route.abort())
    page.clock.fast_forward(3_600_000)
    assert not page.locator("#round-lines").is_visible()
    assert "slept" in page.inner_text("#round-fault")
    page.unroute("**/round/lines*")
    page.clock.run_for(6000)
    page.wait_for_selector("#round-lines", state="visible")
    assert page.inner_text("#round-fault") == ""


def test_a_change_is_told_in_words_and_focus_stays(page: Any, ward: tuple[Any, Any, str]) -> None:
    _, app, address = ward
    opened(page, address)
    page.locator(f"{FIRST} h2 a").focus()
    drain = key_of("drain", key_of("patient", "W-1"), "1")
    with app.state.record.act(by="tests", what="removal") as act:
        act.add("hold", key_of("hold", drain, 1), {"drain": drain, "reason": "awaiting_theatre", "from_ms": NOW_MS - 1})
    page.wait_for_selector(f"{FIRST}:has-text('awaiting theatre')")
    assert page.evaluate("document.activeElement.closest('.tile')?.id") == FIRST[1:]
    page.evaluate(f"document.querySelector('{FIRST}').dataset.news = 'something else'")
    with app.state.record.act(by="tests", what="hold") as act:
        act.change("hold", key_of("hold", drain, 1), {"note": "moved"}, version=1)
    news = "W-1/1: now below limit; rule not met, waiting for people"
    page.wait_for_selector(f"#round-news:has-text('{news}')")


@pytest.mark.parametrize("width", [1280, 360, 320])
def test_nothing_is_cut_off(page: Any, ward: tuple[Any, Any, str], width: int) -> None:
    """WCAG 2.2, 1.4.10: at 320 px without scrolling sideways."""
    page.set_viewport_size({"width": width, "height": 740})
    opened(page, ward[2])
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_first_drain_and_its_answer_are_on_a_phones_first_screen(page: Any, ward: tuple[Any, Any, str]) -> None:
    page.set_viewport_size({"width": 360, "height": 800})
    opened(page, ward[2])
    for part in ("h2", ".air .say", ".rule p"):
        box = page.locator(f".tile >> nth=0 >> {part}").first.bounding_box()
        assert box["y"] + box["height"] <= 800, part
    counts = page.locator("ul.counts li")
    assert 2 <= page.locator("ul.counts li:visible").count() <= 4 and counts.count() > 4
    page.locator("main summary").click()  # the others come with the choice that they belong to
    assert page.locator("ul.counts li:visible").count() == counts.count()
    menu = page.locator("header summary")
    assert not page.locator("nav a").first.is_visible() and menu.bounding_box()["height"] >= 44
    menu.click()
    assert page.locator("nav a").first.is_visible()
    page.set_viewport_size({"width": 1280, "height": 800})  # a phone that is turned round loses no way
    page.wait_for_selector("nav a >> nth=0", state="visible")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(page: Any, ward: tuple[Any, Any, str], scheme: str) -> None:
    from axe_playwright_python.sync_playwright import Axe

    page.emulate_media(color_scheme=scheme)
    opened(page, ward[2])
    page.locator("main summary").click()
    found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]}).response["violations"]
    assert found == [], json.dumps([(one["id"], [node["html"][:200] for node in one["nodes"][:3]]) for one in found])


def test_targets_are_large_enough_for_a_glove(page: Any, ward: tuple[Any, Any, str]) -> None:
    """44 px: ours, above WCAG 2.2's 24 (2.5.8)."""
    opened(page, ward[2])
    page.locator("main summary").click()
    heights = page.eval_on_selector_all(
        "main .tile h2 a, main button, main select, main summary, main a.button",
        "(all) => all.filter((one) => one.offsetParent)"
        ".map((one) => [one.textContent.trim().slice(0, 20), one.getBoundingClientRect().height])",
    )
    assert [one for one in heights if one[1] < 44] == []


def test_on_a_phone_the_rest_of_a_line_is_one_tap_away_and_stays_open(page: Any, ward: tuple[Any, Any, str]) -> None:
    _, app, address = ward
    page.set_viewport_size({"width": 360, "height": 740})
    opened(page, address)
    assert page.locator(f"{FIRST} .rest:visible").count() == 0
    more = page.locator(f"{FIRST} button.more")
    more.click()
    assert more.get_attribute("aria-expanded") == "true"
    assert page.locator(f"{FIRST} .rest").count() == page.locator(f"{FIRST} .rest:visible").count() > 3
    with app.state.record.act(by="tests", what="task") as act:
        drain = key_of("drain", key_of("patient", "W-1"), "1")
        act.add("task", key_of("task", drain, "more"), {"drain": drain, "what": "film at noon"})
    page.wait_for_selector(f"{FIRST}:has-text('film at noon')")
    assert page.locator(f"{FIRST} .rest:visible").count() > 3
    page.emulate_media(media="print")
    page.locator(f"{FIRST} button.more").evaluate("(one) => one.click()")
    assert page.locator(f"{FIRST} .rest:visible").count() > 3  # paper shows all of it
    page.emulate_media(media="screen")
