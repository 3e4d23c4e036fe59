"""One drain's page in a real browser: every width, dark, paper, by keyboard, ageing, keeping itself current."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI

from behaviour.web.drain.a_full_drain import HOUR, MINUTE, fill, key
from browser.a_page import chromium
from browser.a_served_ward import Desk, served
from browser.test_page import STICKS_OUT, words
from slackwater.report.page import ABOVE, BESIDE
from slackwater.store.acts import key_of
from ward.a_ward import NOW_MS, Clock
from ward.until import until

pytestmark = pytest.mark.browser

AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
SCREENS: dict[str, dict[str, Any]] = {
    "1280": {}, "360": {"viewport": {"width": 360, "height": 740}}, "320": {"viewport": {"width": 320, "height": 700}},
    "dark": {"color_scheme": "dark"}, "forced colours": {"forced_colors": "active"},
}  # fmt: skip
SINGLE = "#lanes[data-single]"
DRAWN = "document.getElementById('lanes').drawn()"
CUT_OFF = re.compile("ERR_(CONNECTION|INTERNET_DISCONNECTED|FAILED)")  # of what a page asks while a test cuts it off
Open = Callable[..., Desk]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as found:
        yield found


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def ward(tmp_path: Path, clock: Clock) -> Iterator[tuple[FastAPI, str]]:
    with served(tmp_path, clock) as both:
        yield both


@pytest.fixture
def opened(browser: Any, ward: tuple[FastAPI, str]) -> Iterator[Open]:
    """A desk with the page of a drain open; at the end the browser may have complained of nothing."""
    app, address = ward
    desks: list[Desk] = []

    def open_(name: str = "W-1/1", role: str = "registrar", query: str = "", **how: Any) -> Desk:
        desks.append(Desk(browser, address, role, **how))
        page = desks[-1].open(f"/drain/{key(app.state.record, name)}{query}")
        page.wait_for_selector(SINGLE, state="attached")
        return desks[-1]

    yield open_
    for desk in desks:
        assert [one for one in desk.complaints if not CUT_OFF.search(one)] == []
        desk.close()


def ask_again(page: Any) -> None:
    """As when the screen comes back into sight."""
    with page.expect_response(re.compile("/live")):
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")


@pytest.mark.parametrize("screen", SCREENS)
def test_on_every_screen_nothing_sticks_out_and_axe_finds_no_grave_fault(
    opened: Open, ward: tuple[FastAPI, str], screen: str, tmp_path: Path
) -> None:
    """320 px: WCAG 2.2, 1.4.10; the rest: all rules of axe-core."""
    fill(ward[0].state.record)
    page = opened(**SCREENS[screen]).page
    wide = page.viewport_size["width"]
    for _ in range(2):
        assert page.evaluate("document.documentElement.scrollWidth") <= wide
        assert page.evaluate(STICKS_OUT) == []
        page.screenshot(path=tmp_path / f"{screen}.png", full_page=True)
        page.evaluate("document.querySelectorAll('details').forEach((box) => { box.open = true; })")
    page.evaluate(AXE)
    found = page.evaluate("axe.run(document, { resultTypes: ['violations'] })")["violations"]
    grave = [
        f"{one['id']}: {one['nodes'][0]['html'][:200]}" for one in found if one["impact"] in ("serious", "critical")
    ]
    assert grave == []


def test_the_whole_answer_is_on_the_first_screen_with_the_six_cautions_above_it(
    opened: Open, ward: tuple[FastAPI, str]
) -> None:
    fill(ward[0].state.record)
    page = opened(viewport={"width": 1280, "height": 800}).page
    box, before = (page.locator(one).bounding_box() for one in ("#answer .verdict", "#before"))
    assert before["y"] + before["height"] <= box["y"] and box["y"] + box["height"] <= 800
    sizes = page.eval_on_selector_all(
        "#before p", "(all) => all.map((one) => parseFloat(getComputedStyle(one).fontSize))"
    )
    assert len(sizes) == 6 and min(sizes) >= 12, "compact, and still readable"
    page.set_viewport_size({"width": 360, "height": 800})
    assert page.locator("#answer").bounding_box()["y"] < 800


@pytest.mark.parametrize("screen", ["1280", "360", "320"])
def test_whose_drain_it_is_stays_in_sight(opened: Open, screen: str) -> None:
    page = opened(**SCREENS[screen]).page
    for part in ("#answer", "#chart", "#history"):
        page.evaluate("(part) => document.querySelector(part).scrollIntoView()", part)
        box = page.locator("#banner").bounding_box()
        assert -1 <= box["y"] < 5 and box["height"] < page.viewport_size["height"] / 4
        assert page.locator(part).bounding_box()["y"] >= box["y"] + box["height"] - 1  # not hidden under it
    assert "W-1" in page.inner_text("h1") and "drain 1" in page.inner_text("h1")


def test_show_leads_to_its_minutes_and_every_thing_is_reached_by_keyboard(opened: Open) -> None:
    page = opened(reduced_motion="reduce").page
    whole = page.evaluate(DRAWN)
    page.locator("#clauses button[data-from]").first.press("Enter")
    near = page.evaluate(DRAWN)
    assert near["to"] - near["from"] < whole["to"] - whole["from"]
    assert 0 <= page.locator("#picture").bounding_box()["y"] < 300
    page.evaluate("document.activeElement.blur(); scrollTo(0, 0)")
    reached = set()
    for _ in range(150):
        page.keyboard.press("Tab")
        name = page.evaluate(
            "document.activeElement.id || document.activeElement.className || document.activeElement.localName"
        )
        if name == "body":
            break
        reached.add(name)
        covered = page.evaluate("""() => {
          const box = document.activeElement.getBoundingClientRect();
          const bar = document.getElementById("banner").getBoundingClientRect();
          const under = box.bottom <= bar.bottom && box.bottom > 0 && bar.top <= 0;
          return document.activeElement.closest("main") !== null && under;
        }""")
        assert not covered, name  # WCAG 2.2, 2.4.11
    assert {"lanes-picture", "f-goal", "f-what", "f-due", "f-ward", "only"} <= reached


def test_the_chart_is_filtered_by_item(opened: Open) -> None:
    page = opened().page
    every = page.locator("#rows tbody tr").count()
    page.select_option("#only", "swing")
    shown = page.locator("#rows tbody tr:visible")
    assert 0 < shown.count() < every
    assert set(shown.locator("td:nth-child(2)").all_inner_texts()) == {"swing"}
    page.select_option("#only", "")
    assert page.locator("#rows tbody tr:visible").count() == every


# --- it keeps itself current ------------------------------------------------------------------------


def test_what_changed_comes_by_itself_and_nothing_that_is_looked_at_moves(
    opened: Open, ward: tuple[FastAPI, str], clock: Clock
) -> None:
    app, _ = ward
    page = opened(reduced_motion="reduce").page
    page.fill("#f-what", "half a sent")
    page.locator("#picture .lanes-picture").focus()
    for _ in range(3):
        page.keyboard.press("+")
    zoomed = page.evaluate(DRAWN)
    top = page.locator("#picture").bounding_box()["y"]
    drain = key(app.state.record, "W-1/1")
    with app.state.record.act(by="tests", what="hold") as act:
        act.add("hold", "h", {"drain": drain, "reason": "clinical_concern", "from_ms": NOW_MS - MINUTE})
    with page.expect_response(re.compile("/picture")):
        ask_again(page)
    page.wait_for_selector("#act >> text=clinical concern")
    page.wait_for_timeout(500)
    after: dict[str, Any] = {}

    def unpacked() -> object:
        after.update(page.evaluate(DRAWN))
        return after["single"]

    until(unpacked, "single readings did not come back")
    assert page.evaluate("document.activeElement.className") == "lanes-picture"
    assert abs(page.locator("#picture").bounding_box()["y"] - top) <= 1
    assert (after["from"], after["to"]) == (zoomed["from"], zoomed["to"])
    assert page.input_value("#f-what") == "half a sent"
    clock.ms += 2 * MINUTE
    ask_again(page)
    page.locator("#age", has_text="2 min old").wait_for()


def test_past_the_rules_age_the_answer_is_covered_by_the_pages_own_clock(opened: Open) -> None:
    """No answer of the server is needed for it: it is cut off. 1 h is the data_age of air-50-8h."""
    desk = opened()
    page = desk.page
    assert page.locator("#answer .verdict").is_visible()
    desk.context.set_offline(True)
    page.evaluate(f"{{ const then = Date.now; Date.now = () => then() + {HOUR + 2 * MINUTE}; }}")
    page.wait_for_selector("#answer .cover", state="visible")
    assert "Data older than 60 min" in page.inner_text("#answer")
    assert not page.locator("#answer .verdict").is_visible() and not page.locator("#clauses").is_visible()
    assert not page.locator("#forecast").is_visible()
    assert page.inner_text("#age").startswith("62 min")
    for caution in ("cau-C2", "cau-C3", "cau-C5"):
        assert page.locator(f"[data-caution={caution}]").first.is_visible()


def test_a_server_that_is_silent_for_long_covers_the_answer_too(opened: Open) -> None:
    """Ten minutes: ours. The drain has no log, so no age of data would."""
    desk = opened("W-5/1")
    desk.context.set_offline(True)
    desk.page.evaluate(f"{{ const then = Date.now; Date.now = () => then() + {11 * MINUTE}; }}")
    desk.page.wait_for_selector("#answer .cover", state="visible")
    assert "has not answered for 11 min" in desk.page.inner_text("#answer")
    desk.context.set_offline(False)
    ask_again(desk.page)
    desk.page.wait_for_selector("#answer .cover", state="hidden")


def test_an_answer_about_another_drain_is_refused(opened: Open, ward: tuple[FastAPI, str]) -> None:
    page = opened("W-5/1").page
    other = key(ward[0].state.record, "W-2/1")
    page.route("**/live*", lambda route: route.continue_(url=route.request.url.replace(
        key(ward[0].state.record, "W-5/1"), other)))  # fmt: skip
    ward_says = page.inner_text("h1")
    ask_again(page)
    page.wait_for_selector("#answer .cover", state="visible")
    assert "another drain" in page.inner_text("#answer")
    assert page.inner_text("h1") == ward_says and "W-2" not in page.inner_text("main")


def test_the_first_picture_is_drawn_from_the_page_itself(opened: Open) -> None:
    """What single readings there are is asked for later, and may never come. How long it takes: bench/page_speed.py."""
    page = opened().page
    page.route("**/picture*", lambda route: route.abort())
    page.reload()
    page.wait_for_selector(".lanes-stack canvas")
    drawn = page.evaluate(DRAWN)
    assert drawn["single"] is False and len(drawn["lanes"]) == 7


# --- paper -------------------------------------------------------------------------------------------


def test_on_paper_every_sheet_names_the_drain_and_until_when_it_holds(opened: Open, ward: tuple[FastAPI, str]) -> None:
    import pypdfium2

    fill(ward[0].state.record)
    page = opened().page
    whose, fresh = page.inner_text("h1"), page.inner_text("p.fresh")
    sheets = list(pypdfium2.PdfDocument(page.pdf(prefer_css_page_size=True)))
    texts = [words(sheet.get_textpage().get_text_bounded()) for sheet in sheets]
    assert 2 <= len(sheets) <= 8
    for number, text in enumerate(texts, start=1):
        assert words(whose) in text and words(fresh) in text and f"page{number}of{len(sheets)}" in text
    assert words(page.inner_text("#answer h2.leak")).lstrip("◆◇▨") in texts[0]
    for caution in (*ABOVE, *BESIDE):
        assert words(page.inner_text(f"#before [data-caution={caution}]")) in texts[0]
    assert "Savethegoal" not in "".join(texts)


# --- a day's work --------------------------------------------------------------------------------------


def test_a_registrar_sets_the_goal_and_a_task_is_done(opened: Open, ward: tuple[FastAPI, str]) -> None:
    page = opened("W-5/1").page
    page.fill("#f-goal", "Air until none is recorded for a day")
    page.click("text=Save the goal")
    page.wait_for_selector("#purpose >> text=Air until none is recorded")
    page.fill("#f-what", "film after the walk")
    page.click("text=Add the task")
    page.fill("#tasks input[name=result]", "taken")
    page.click("#tasks button")
    page.wait_for_selector("#tasks >> text=No task is open.")
    (task,) = ward[0].state.record.things("task", {"drain": key(ward[0].state.record, "W-5/1")})
    assert (task["result"], task["done_by"]) == ("taken", "Invented registrar")
    assert ward[0].state.record.thing("goal", key_of("goal", key(ward[0].state.record, "W-5/1"))) is not None
