"""A nurse charts a full set, by keyboard and by taps, counted; and what the forms work out while one types.

That a full set takes under a minute is the user's own wish for a night nurse. Nobody was timed: taps and keys are
counted, and a minute is held against them at TAP_S a tap and KEY_S a key (ours, slow on purpose). That pages fit, and
what axe-core finds: test_ward_surfaces.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from browser.a_page import chromium
from browser.a_served_ward import Desk, served
from slackwater.store.acts import key_of
from ward.until import until

pytestmark = pytest.mark.browser

LOGGED = key_of("drain", key_of("patient", "W-1"), "1")
CHARTED = key_of("drain", key_of("patient", "W-5"), "1")
TAP_S, KEY_S = 1.2, 0.3
TAPS = (
    ("swing", "present"), ("tubing", "checked"), ("tube_open", "yes"), ("cough", "no_leak"),
    ("suction_delivered_unit", "cmH2O"), ("fluid_appearance", "serous"), ("site", "dry, sealed"),
    ("surgical_emphysema", "0"), ("pain_rest", "2"), ("pain_cough", "4"), ("breathing", "own"), ("distress", "no"),
    ("oxygen", "air"), ("consciousness", "alert"),
)  # fmt: skip
NUMBERS = (
    ("suction_delivered", "20"), ("fluid_output", "30"), ("resp_rate", "16"), ("spo2", "97"), ("heart_rate", "80"),
    ("systolic", "124"), ("temperature", "36.8"),
)  # fmt: skip


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Any, Any, str]]:
    with chromium() as browser, served(tmp_path_factory.mktemp("ward")) as (app, address):
        yield browser, app, address


def rows(app: Any, once: str) -> dict[str, str]:
    keys = [key_of("entry", LOGGED, once, place) for place in range(40)]
    found = [app.state.record.thing("entry", key) for key in keys]
    return {one["item"]: one["value"] for one in found if one is not None}


EXPECTED = {
    "swing": "present", "tubing": "checked", "tube_open": "yes", "cough": "no_leak", "suction_delivered": "20",
    "fluid_output": "30", "fluid_appearance": "serous", "site": "dry, sealed", "length_at_skin": "14",
    "surgical_emphysema": "0", "pain_rest": "2", "pain_cough": "4", "breathing": "own", "distress": "no",
    "resp_rate": "16", "spo2": "97", "oxygen": "air", "heart_rate": "80", "systolic": "124", "temperature": "36.8",
    "consciousness": "alert",
}  # fmt: skip


def test_a_full_set_by_taps_is_under_a_minute(ward: tuple[Any, Any, str]) -> None:
    browser, app, address = ward
    desk = Desk(browser, address, viewport={"width": 390, "height": 844}, has_touch=True)
    page = desk.open(f"/drain/{LOGGED}/set")
    once = page.input_value("form[data-show] input[name=once]")
    taps = keys = 0
    for name, value in TAPS:
        page.locator(f'label.tap:has(input[name="{name}"][value="{value}"])').tap()
        taps += 1
    for name, text in NUMBERS:
        page.tap(f'input[name="{name}"]')
        page.keyboard.type(text)
        taps, keys = taps + 1, keys + len(text)
    page.tap("button[data-fill=f-length_at_skin]")
    until(lambda: page.input_value("#f-length_at_skin") == "14", "the length before was not taken over")
    page.wait_for_selector("#shown >> text=/arly-warning score/")
    assert "looked at" in page.text_content("#count")
    page.tap("text=Record the set")
    page.wait_for_url("**/set/told?*")
    taps += 2
    assert rows(app, once) == EXPECTED
    seconds = TAP_S * taps + KEY_S * keys
    print(f"by taps: {taps} taps, {keys} keys, {seconds:.0f} s at {TAP_S} s a tap and {KEY_S} s a key")
    assert seconds < 60
    assert not desk.complaints
    desk.close()


def test_a_full_set_by_keyboard_alone_is_under_a_minute(ward: tuple[Any, Any, str]) -> None:
    browser, app, address = ward
    desk = Desk(browser, address)
    page = desk.open(f"/drain/{LOGGED}/set")
    once = page.input_value("form[data-show] input[name=once]")
    chosen, typed = dict(TAPS), dict(NUMBERS) | {"length_at_skin": "14"}
    page.focus('input[name="swing"] >> nth=0')
    keys, done = 0, set()
    for _ in range(80):
        name, kind = page.evaluate("[document.activeElement.name, document.activeElement.type]")
        if kind == "submit" and name == "" and page.evaluate("document.activeElement.textContent") == "Record the set":
            break
        if kind == "radio" and name in chosen and name not in done:
            keys += choose(page, name, chosen[name])
            done.add(name)
        elif name in typed and name not in done:
            page.keyboard.type(typed[name])
            keys += len(typed[name])
            done.add(name)
        page.keyboard.press("Tab")
        keys += 1
    page.keyboard.press("Enter")
    page.wait_for_url("**/set/told?*")
    assert rows(app, once) == EXPECTED
    seconds = KEY_S * (keys + 1)
    print(f"by keyboard: {keys + 1} keys, {seconds:.0f} s at {KEY_S} s a key")
    assert seconds < 60
    desk.close()


def choose(page: Any, name: str, value: str) -> int:
    """Space takes the first of a group; arrows go on from there, as in every radio group."""
    page.keyboard.press("Space")
    keys = 1
    while page.evaluate("document.activeElement.value") != value:
        page.keyboard.press("ArrowDown")
        keys += 1
        assert keys < 15, f"{name} {value} cannot be reached"
    return keys


def test_a_choice_can_be_taken_back_and_nothing_is_chosen_at_first(ward: tuple[Any, Any, str]) -> None:
    browser, _app, address = ward
    desk = Desk(browser, address)
    page = desk.open(f"/drain/{LOGGED}/set")
    assert page.locator("input[type=radio]:checked").count() == 0
    group = page.locator("#f-swing")
    assert not group.locator("text=not looked").is_visible()
    group.locator("label.tap:has(input[value=absent])").click()
    group.locator("text=not looked").click()
    assert group.locator("input:checked").get_attribute("value") == ""
    desk.close()


def test_the_sums_and_the_units_follow_what_is_typed(ward: tuple[Any, Any, str]) -> None:
    browser, _app, address = ward
    desk = Desk(browser, address, "registrar")
    page = desk.open(f"/drain/{LOGGED}/order")
    page.fill("#f-level", "2")
    page.click("label.tap:has(input[value=kPa])")
    page.wait_for_selector("#shown >> text=-20.39 cmH2O")
    page.fill("#f-level", "20")
    page.wait_for_selector("#shown >> text=about ten times")
    page = desk.open(f"/drain/{CHARTED}/fluid")
    page.fill("input[name=fluid_output]", "35")
    page.wait_for_selector("#shown >> text=with what is typed")
    assert not desk.complaints
    desk.close()


def test_the_clamps_time_is_counted_and_its_end_is_said(ward: tuple[Any, Any, str]) -> None:
    browser, _app, address = ward
    desk = Desk(browser, address)
    page = desk.open(f"/drain/{CHARTED}/clamp")
    page.click("label.tap:has(input[value=handling])")
    page.fill("input[name=minutes]", "1")
    page.fill("input[name=at]", "2041-03-07T08:59")
    page.click("text=Record it on")
    page.wait_for_selector(".timer.over >> text=over its planned end by")
    page.wait_for_selector("#over >> text=Look at the patient and the clamp")
    page.click("text=Record it off")
    desk.close()
