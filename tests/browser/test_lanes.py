"""The picture in a real browser: read back from the arrays it draws, not from pixels.

Expected values come from the data it was given, or from Python's zoneinfo where named.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from behaviour.report.a_picture import START_MS, assessed, channel, picture, rows, simulated
from browser.a_page import Shown, chromium, html
from slackwater.assessment.assessment import Assessment
from slackwater.quantities.spans import MINUTE_MS
from slackwater.report.pack import packed
from ward.until import until

pytestmark = pytest.mark.browser

HOUR_MS = 60 * MINUTE_MS
GAP = (3 * HOUR_MS, 3 * HOUR_MS + 20 * MINUTE_MS)  # from START_MS: nothing recorded
SPIKE_S = 5 * 3600 + 17  # one second of 900 mL/min

Open = Callable[..., Shown]


def half_a_day() -> Assessment:
    """Twelve hours at a reading a second: a leak of 15 to 25 mL/min, a gap, and one reading of 900."""
    seconds = [second for second in range(12 * 3600) if not GAP[0] <= 1000 * second < GAP[1]]
    return assessed(rows(seconds, lambda second: 900.0 if second == SPIKE_S else leak(second)))


def leak(second: int) -> float:
    """15, 20 and 25 mL/min, as breathing has it: one flow for hours would be a stuck sensor."""
    return 15.0 + 5 * (second * second // 7 % 3)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as found:
        yield found


@pytest.fixture
def opened(browser: Any, tmp_path: Path) -> Iterator[Open]:
    """Opens a picture; at the end nothing may have complained, and nothing but the file may have been asked for."""
    shown: list[Shown] = []

    def open_(data: Assessment | dict[str, Any], **how: Any) -> Shown:
        file = tmp_path / f"{len(shown)}.html"
        file.write_text(html(data if isinstance(data, dict) else picture(data)), "utf-8")
        shown.append(Shown(browser, file, **how))
        return shown[-1]

    yield open_
    for one in shown:
        assert one.complaints == []
        assert [url for url in one.asked_for if not url.startswith(("file:", "blob:"))] == []
        one.close()


@pytest.fixture(scope="module")
def long_log() -> dict[str, Any]:
    return picture(half_a_day())


def columns_within(drawn: dict[str, Any], count: int, from_ms: float, to_ms: float, *, whole: bool) -> list[int]:
    """Columns that lie wholly in the stretch, or that touch it."""
    wide = (drawn["to"] - drawn["from"]) / count
    edges = [(i, drawn["from"] + i * wide, drawn["from"] + (i + 1) * wide) for i in range(count)]
    if whole:
        return [i for i, begin, end in edges if begin >= from_ms and end <= to_ms]
    return [i for i, begin, end in edges if end > from_ms + 1 and begin < to_ms - 1]


# --- gaps and spikes ------------------------------------------------------------------------------


@pytest.mark.parametrize("around_ms", [None, 2 * HOUR_MS, 10 * MINUTE_MS], ids=["whole stay", "hours", "minutes"])
def test_a_gap_stays_a_gap_at_every_zoom(opened: Open, long_log: dict[str, Any], around_ms: int | None) -> None:
    page = opened(long_log).settled()
    begin, end = START_MS + GAP[0], START_MS + GAP[1]
    drawn = page.drawn() if around_ms is None else page.show(begin - around_ms, end + around_ms)
    air, state = drawn["lanes"]["air"], drawn["lanes"]["state"]
    count = len(state["doubt"])
    inside, touching = (columns_within(drawn, count, begin, end, whole=whole) for whole in (True, False))
    assert len(inside) >= 15
    assert all(air["mean"]["low"][i] is None for i in touching)  # no line into it, none across
    assert all(air["readings"]["high"][i] is None for i in inside)
    assert all(state["doubt"][i] == 1 and state["below"][i] == 0 for i in touching)
    suction = drawn["lanes"]["suction"]
    assert all(suction["measured"]["low"][i] is None for i in touching)
    outside = set(range(count)) - set(columns_within(drawn, count, begin - MINUTE_MS, end + MINUTE_MS, whole=False))
    assert outside and all(air["mean"]["low"][i] > 15 and state["below"][i] == 1 for i in outside)


def test_a_gap_of_ten_seconds_parts_the_line_once_it_is_wider_than_a_pixel(opened: Open) -> None:
    found = assessed(rows([s for s in range(3600) if not 1805 <= s < 1815], leak))
    page = opened(found).settled()
    drawn = page.show(START_MS + 1_790_000, START_MS + 1_830_000)
    mean = drawn["lanes"]["air"]["mean"]["low"]
    inside = columns_within(drawn, len(mean), START_MS + 1_805_000, START_MS + 1_815_000, whole=True)
    assert len(inside) > 3 and all(mean[i] is None for i in inside)
    assert sum(value is not None for value in mean) > 0.9 * (len(mean) - len(inside) - 4)


def test_one_second_of_leak_is_seen_however_far_out(opened: Open, long_log: dict[str, Any]) -> None:
    page = opened(long_log).settled()
    whole = page.drawn()["lanes"]["air"]["readings"]
    assert [value for value in whole["high"] if value is not None and value > 800] == [900]
    assert min(value for value in whole["low"] if value is not None) == 15
    at = START_MS + 1000 * SPIKE_S
    page.show(at, at + 1000)
    page.page.focus(".lanes-picture")
    for _ in range(5):
        page.page.keyboard.press("+")
    near = page.drawn()
    high = near["lanes"]["air"]["readings"]["high"]
    inside = columns_within(near, len(high), at, at + 1000, whole=True)
    assert inside and all(high[i] == 900 for i in inside)
    outside = columns_within(near, len(high), near["from"], at - 1, whole=True)
    assert outside and {high[i] for i in outside} == {15, 20, 25}


def test_doubt_hides_below_limit_and_never_leaking(opened: Open) -> None:
    """Minutes of 45, of 50 (whose cell [47.5, 52.5) straddles the limit) and of 100, one after another."""
    levels = {0: 45.0, 1: 50.0, 2: 100.0}
    found = assessed(rows(range(0, 72 * 3600, 10), lambda second: levels[second // 60 % 3]), every="10 s")
    page = opened(found)
    state = page.drawn()["lanes"]["state"]
    assert set(state["doubt"]) == {1} and set(state["below"]) == {0}
    assert sum(state["leaking"]) > 0.98 * len(state["leaking"])  # a few minutes look like a stuck sensor


def test_single_readings_are_unpacked_as_they_were_packed(opened: Open) -> None:
    data = picture(simulated("exchanged"))
    page = opened(data)
    told = page.page.evaluate(
        "slackwaterLanesData.unpackedReadings(data.readings).then(({begins, held, low, pressure}) => "
        "({begins: [...begins], held: [...held], flow: [...low], pressure: [...pressure]}))"
    )
    assert told["flow"] == channel(data["readings"]["flow"]).tolist()
    assert told["pressure"] == channel(data["readings"]["pressure"]).tolist()
    assert len(told["begins"]) == 2 and sum(told["held"]) == len(told["flow"])


def test_a_unit_s_own_maximum_tops_the_band(opened: Open) -> None:
    page = opened(simulated("effort_only_minutes")).settled()
    from_minutes = page.drawn()["lanes"]["air"]["readings"]["high"]
    data = page.page.evaluate("data.minutes.flow_max")
    assert max(v for v in from_minutes if v is not None) == max(v for v in data if v is not None) > 900
    at = page.page.evaluate("data.from") + MINUTE_MS * data.index(max(v for v in data if v is not None))
    near = page.show(at, at + MINUTE_MS)["lanes"]["air"]["readings"]["high"]
    assert max(v for v in near if v is not None) == max(v for v in data if v is not None)


# --- keys and pointer -----------------------------------------------------------------------------


def test_the_keyboard_walks_by_minutes_and_hours_and_says_what_is_there(opened: Open, long_log: dict[str, Any]) -> None:
    page = opened(long_log)
    page.page.keyboard.press("Tab")
    for _ in range(5):
        page.page.keyboard.press("Tab")
    surface = page.page.evaluate("document.activeElement.className")
    assert surface == "lanes-picture"
    keyboard = page.page.keyboard
    keyboard.press("Home")
    assert page.drawn()["cursor"] == START_MS
    for _ in range(3):
        keyboard.press("ArrowRight")
    keyboard.press("Shift+ArrowRight")
    assert page.drawn()["cursor"] == START_MS + HOUR_MS + 3 * MINUTE_MS
    keyboard.press("ArrowLeft")
    assert page.drawn()["cursor"] == START_MS + HOUR_MS + 2 * MINUTE_MS
    assert page.text("readout").startswith("Wed 01 May 07:02. Below limit: 50 mL/min.")
    page.page.wait_for_function(
        "document.querySelector('.lanes-live').textContent === document.querySelector('.lanes-readout').textContent"
    )
    keyboard.press("End")
    assert page.drawn()["cursor"] == START_MS + 12 * HOUR_MS - 1


def test_keys_zoom_turn_and_reset(opened: Open, long_log: dict[str, Any]) -> None:
    page = opened(long_log)
    page.page.focus(".lanes-picture")
    whole = page.drawn()
    for _ in range(4):
        page.page.keyboard.press("+")
    near = page.drawn()
    assert near["to"] - near["from"] == pytest.approx((whole["to"] - whole["from"]) / 1.6**4)
    page.page.keyboard.press("PageDown")
    on = page.drawn()
    assert on["from"] == pytest.approx(near["to"])
    page.page.keyboard.press("PageUp")
    page.page.keyboard.press("-")
    back = page.drawn()
    assert back["to"] - back["from"] == pytest.approx((whole["to"] - whole["from"]) / 1.6**3)
    page.page.keyboard.press("Escape")
    reset = page.drawn()
    assert (reset["from"], reset["to"], reset["cursor"]) == (whole["from"], whole["to"], None)


def test_the_cursor_stays_in_sight(opened: Open, long_log: dict[str, Any]) -> None:
    page = opened(long_log)
    page.show(START_MS + HOUR_MS, START_MS + HOUR_MS + MINUTE_MS)
    page.page.focus(".lanes-picture")
    for _ in range(20):
        page.page.keyboard.press("ArrowLeft")
    drawn = page.drawn()
    assert drawn["from"] <= drawn["cursor"] < drawn["to"]


def test_the_wheel_scrolls_the_page_until_the_picture_has_the_focus(opened: Open, long_log: dict[str, Any]) -> None:
    page = opened(long_log)
    whole = page.drawn()
    page.page.mouse.move(600, 300)
    page.page.mouse.wheel(0, 200)
    page.page.wait_for_function("scrollY > 0")
    assert page.drawn()["to"] == whole["to"] and page.drawn()["from"] == whole["from"]
    page.page.evaluate("scrollTo(0, 0)")
    page.page.mouse.click(600, 300)
    page.page.mouse.wheel(0, -300)
    page.page.wait_for_function("({from, to}) => lanes.drawn().to - lanes.drawn().from < (to - from) * 0.7", arg=whole)
    assert page.page.evaluate("scrollY") == 0


def test_a_drag_moves_the_picture_with_the_hand(opened: Open, long_log: dict[str, Any]) -> None:
    page = opened(long_log)
    page.show(START_MS + 5 * HOUR_MS, START_MS + 6 * HOUR_MS)
    before = page.drawn()
    per_pixel = (before["to"] - before["from"]) / len(before["lanes"]["state"]["doubt"])
    mouse = page.page.mouse
    mouse.move(600, 300)
    mouse.down()
    mouse.move(500, 300, steps=5)
    mouse.up()
    after = page.drawn()
    assert after["from"] - before["from"] == pytest.approx(100 * per_pixel, rel=0.02)
    assert after["to"] - after["from"] == pytest.approx(before["to"] - before["from"])


def test_two_fingers_keep_the_times_under_them(opened: Open, long_log: dict[str, Any]) -> None:
    page = opened(long_log, has_touch=True)
    whole = page.drawn()
    touch = page.context.new_cdp_session(page.page)

    def fingers(kind: str, *x: float) -> None:
        points = [{"x": at, "y": 300, "id": i} for i, at in enumerate(x)]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    fingers("touchStart", 500)
    fingers("touchStart", 500, 600)
    fingers("touchMove", 450, 650)
    fingers("touchEnd")
    near = page.drawn()
    assert near["to"] - near["from"] == pytest.approx((whole["to"] - whole["from"]) / 2, rel=0.02)


@pytest.mark.parametrize(("name", "hours"), [("24", 24), ("8", 8)])
def test_the_buttons_show_the_last_hours(opened: Open, name: str, hours: int) -> None:
    data = picture(simulated("usual_chart"))
    page = opened(data)
    page.page.click(f"[data-do='{name}']")
    drawn = page.drawn()
    assert (drawn["from"], drawn["to"]) == (data["until"] - hours * HOUR_MS, data["until"])
    page.page.click("[data-do='whole']")
    assert page.drawn()["from"] == data["from"]


def test_show_leads_to_a_stretch_and_says_why(opened: Open, long_log: dict[str, Any]) -> None:
    page = opened(long_log)
    begin, end = START_MS + 2 * HOUR_MS, START_MS + 3 * HOUR_MS
    drawn = page.show(begin, end, "tube shown open")
    assert drawn["from"] < begin and end < drawn["to"] < end + HOUR_MS
    assert drawn["cursor"] == begin
    assert page.page.is_visible(".lanes-span") and page.text("span") == "tube shown open"
    page.page.wait_for_function(
        "document.querySelector('.lanes-live').textContent.startsWith('Showing Wed 01 May 08:00')"
    )
    page.page.evaluate("lanes.reset()")
    assert not page.page.is_visible(".lanes-span")


# --- words and times ------------------------------------------------------------------------------


def test_the_readout_has_words_and_units_and_a_gap_is_no_nought(opened: Open, long_log: dict[str, Any]) -> None:
    page = opened(long_log)
    page.show(START_MS + GAP[0] + 5 * MINUTE_MS, START_MS + GAP[0] + 6 * MINUTE_MS)
    text = page.text("readout")
    assert text.startswith("Wed 01 May 09:05. Cannot tell. Nothing, or too little, was recorded.")
    assert "Air leak: nothing recorded." in text and "Suction not recorded." in text and "Swing cannot tell." in text
    page.show(START_MS + 1000 * SPIKE_S, START_MS + 1000 * SPIKE_S)
    minute = range(SPIKE_S // 60 * 60, SPIKE_S // 60 * 60 + 60)
    mean = sum(900 if second == SPIKE_S else leak(second) for second in minute) / 60
    cell = f"{mean - 2.5:.3f}".rstrip("0").rstrip("."), f"{mean + 2.5:.3f}".rstrip("0").rstrip(".")
    assert f"Air leak {cell[0]} to {cell[1]} mL/min, largest reading 900" in page.text("readout")


@pytest.mark.parametrize(
    ("zone", "day"),
    [
        ("Europe/Vienna", (2041, 10, 27)),
        ("Europe/Vienna", (2041, 3, 31)),
        ("Australia/Lord_Howe", (2041, 4, 7)),
        ("Asia/Kolkata", (2041, 7, 1)),
    ],
)
def test_times_are_the_ward_s_through_a_change_of_clock(opened: Open, zone: str, day: tuple[int, int, int]) -> None:
    """Source: the time-zone database, by Python's zoneinfo."""
    start = int((datetime(*day, tzinfo=UTC) - timedelta(hours=12)).timestamp() * 1000)
    moved = [(start - START_MS + ms, flow, p) for ms, flow, p in rows(range(0, 30 * 3600, 60))]
    data = packed(assessed(moved, every="1 min"), ZoneInfo(zone))
    page = opened(data)
    moments = list(range(data["from"], data["until"], 10 * MINUTE_MS))
    told = page.page.evaluate("(all) => all.map(slackwaterLanesData.wardClock(data.zone).said)", moments)
    for ms, text in zip(moments, told, strict=True):
        moment = datetime.fromtimestamp(ms / 1000, UTC).astimezone(ZoneInfo(zone))
        expected = moment.strftime("%a %d %b %H:%M")
        if len(data["zone"]["offsets"]) > 1:
            offset = moment.strftime("%z")
            expected += f" UTC{offset[:3]}:{offset[3:]}"
        assert text == expected
    ticks = page.page.evaluate("slackwaterLanesData.wardClock(data.zone).ticks(data.from, data.until, 3 * 3600000)")
    hours = [datetime.fromtimestamp(ms / 1000, UTC).astimezone(ZoneInfo(zone)) for ms in ticks]
    assert all(moment.hour % 3 == 0 and moment.minute == 0 for moment in hours) and len(hours) >= 9


# --- any record, any screen -----------------------------------------------------------------------


@pytest.mark.parametrize(
    "name", ["demo", "massive", "near_limit", "blanks", "dst_autumn", "pneumonectomy", "usual_chart", "gravity_none"]
)
def test_every_kind_of_stay_is_drawn(opened: Open, name: str) -> None:
    page = opened(simulated(name)).settled()
    for times in range(7):  # through every zoom down to seconds
        drawn = page.drawn()
        middle, wide = (drawn["from"] + drawn["to"]) / 2, (drawn["to"] - drawn["from"]) / 4
        page.show(int(middle - wide / 2), int(middle + wide / 2), str(times))
    page.page.evaluate("lanes.reset()")
    assert len(page.drawn()["lanes"]) == 7


@pytest.mark.parametrize(
    "found", [assessed(rows(range(20))), assessed(rows(range(600), lambda second: None))], ids=["seconds", "blank"]
)
def test_hardly_anything_is_drawn_too(opened: Open, found: Assessment) -> None:
    page = opened(found).settled()
    mean = page.drawn()["lanes"]["air"]["mean"]["low"]
    assert all(value is None for value in mean)


def test_a_browser_that_cannot_unpack_says_so_and_shows_minutes(opened: Open, long_log: dict[str, Any]) -> None:
    page = opened(long_log, before="delete globalThis.DecompressionStream;")
    page.page.wait_for_selector(".lanes-note:not([hidden])")
    assert "this browser cannot unpack them. The picture shows minutes" in page.text("note")
    assert max(v for v in page.drawn()["lanes"]["air"]["readings"]["high"] if v is not None) == 900


SCREENS: dict[str, dict[str, Any]] = {
    "light": {}, "dark": {"color_scheme": "dark"}, "forced colours": {"forced_colors": "active"},
    "320 px": {"viewport": {"width": 320, "height": 700}}, "1600 px": {"viewport": {"width": 1600, "height": 900}},
    "no motion": {"reduced_motion": "reduce"}, "fine pixels": {"device_scale_factor": 2},
}  # fmt: skip


@pytest.mark.parametrize("screen", SCREENS)
def test_the_picture_fits_every_screen(opened: Open, screen: str, tmp_path: Path) -> None:
    page = opened(simulated("demo"), **SCREENS[screen]).settled()
    wide = page.page.evaluate("document.documentElement.clientWidth")
    assert page.page.evaluate("document.documentElement.scrollWidth") <= wide
    lanes = page.page.locator(".lanes-lane .uplot canvas")
    assert lanes.count() == 7
    assert all(lanes.nth(i).bounding_box()["width"] <= wide for i in range(7))
    page.page.screenshot(path=tmp_path / f"{screen}.png", full_page=True)


def inks(page: Shown) -> set[str]:
    """Colours of the canvas of the air lane."""
    return set(
        page.page.evaluate(
            """() => {
            const canvas = document.querySelector(".lanes-air canvas"), found = new Set();
            // by a copy: a canvas that is read again and again is complained of
            const pen = new OffscreenCanvas(canvas.width, canvas.height).getContext("2d", { willReadFrequently: true });
            pen.drawImage(canvas, 0, 0);
            const { data } = pen.getImageData(0, 0, canvas.width, canvas.height);
            for (let i = 0; i < data.length; i += 4) if (data[i + 3]) found.add(data.slice(i, i + 3).join());
            return [...found];
            }"""
        )
    )


def test_on_paper_everything_is_black_grey_or_white_and_the_key_is_open(opened: Open) -> None:
    page = opened(simulated("demo"), color_scheme="dark").settled()
    assert any(len(set(ink.split(","))) > 1 for ink in inks(page))  # purple on the screen
    page.page.emulate_media(media="print")
    page.page.wait_for_selector(".lanes-printing")
    assert all(len(set(ink.split(","))) == 1 for ink in inks(page))
    assert page.page.locator(".lanes-key[open]").count() == 1
    assert page.page.pdf(format="A4")[:4] == b"%PDF"
    page.page.emulate_media(media="screen")
    page.page.wait_for_selector(".lanes:not(.lanes-printing)")
    assert page.page.locator(".lanes-key[open]").count() == 0


def test_a_change_of_light_redraws(opened: Open) -> None:
    page = opened(simulated("demo")).settled()
    light = inks(page)
    page.page.emulate_media(color_scheme="dark")
    until(lambda: inks(page) != light, "the light changed, and no ink did")


def test_no_ink_is_red_yellow_or_cyan() -> None:
    """Those are left to the bedside unit: no colour of the style sheet is saturated at their hues."""
    css = files("slackwater.report").joinpath("assets/lanes.css").read_text("utf-8")
    found = [tuple(int(code[i : i + 2], 16) for i in (0, 2, 4)) for code in re.findall(r"#([0-9a-f]{6})\b", css)]
    found += [tuple(map(int, numbers)) for numbers in re.findall(r"rgb\((\d+) (\d+) (\d+)", css)]
    assert len(found) > 30
    assert [rgb for rgb in found if _hue_of(rgb) in ("red", "yellow", "cyan")] == []
    assert [_hue_of(rgb) for rgb in ((200, 30, 30), (230, 210, 40), (20, 190, 200))] == ["red", "yellow", "cyan"]


def _hue_of(rgb: tuple[int, ...]) -> str:
    """Named where a colour is plainly coloured; browns and greys are none of the three."""
    import colorsys

    hue, light, _ = colorsys.rgb_to_hls(*(part / 255 for part in rgb))
    chroma = (max(rgb) - min(rgb)) / 255
    if chroma < 0.35 or not 0.15 < light < 0.95:
        return ""
    degrees = 360 * hue
    ranges = ((0, 20, "red"), (340, 360, "red"), (42, 70, "yellow"), (165, 200, "cyan"))
    return next((name for low, high, name in ranges if low <= degrees <= high), "")


def test_the_picture_has_a_name_keys_and_labelled_buttons(opened: Open, long_log: dict[str, Any]) -> None:
    page = opened(long_log)
    surface = page.page.locator(".lanes-picture")
    assert surface.get_attribute("role") == "application" and surface.get_attribute("tabindex") == "0"
    name = surface.get_attribute("aria-label") or ""
    assert "Air leak" in name and "Wed 01 May 06:00" in name and "arrows move by a minute" in name
    assert page.page.get_attribute(".lanes-live", "aria-live") == "polite"
    labels = [page.page.get_attribute(f"[data-do='{do}']", "aria-label") for do in ("in", "out", "whole", "24", "8")]
    assert labels == ["zoom in", "zoom out", "whole stay", "last 24 h", "last 8 h"]
    boxes = [page.page.locator(f"[data-do='{do}']").bounding_box() for do in ("in", "out")]
    assert all(box["width"] >= 44 and box["height"] >= 44 for box in boxes)  # WCAG 2.2, 2.5.5
