"""The whole page in a real browser: every width, paper, dark, forced colours, by keyboard, without scripts."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import timedelta, timezone
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from behaviour.report.a_hostile_record import TEXTS, hostile
from behaviour.report.a_picture import simulated
from behaviour.report.read_page import Node, read_page
from behaviour.report.test_page import KNOWN, chart_alone
from browser.a_page import ShownPage, chromium
from browser.test_lanes import _hue_of
from slackwater.assessment.assessment import Assessment
from slackwater.report.page import page
from slackwater.risk import RiskInputs, scores

pytestmark = pytest.mark.browser

WARD = timezone(timedelta(hours=1))
DRAINS: dict[str, Callable[[], Assessment]] = {
    "step down": lambda: simulated("step_down", "strict-local"),
    "blocked": lambda: simulated("blocked_to_the_end", "air-20-8h"),
    "clock": lambda: simulated("clock_back", "air-20-8h"),
    "not judged": lambda: simulated("pneumonectomy"),
    "met": lambda: simulated("demo"),
    "chart alone": chart_alone,
    "hostile": lambda: hostile("long"),
}
AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")

Open = Callable[..., ShownPage]


def html_of(drain: str) -> str:
    known = scores(RiskInputs(KNOWN)) if drain == "met" else ()
    return page(DRAINS[drain](), WARD, scores=known)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as found:
        yield found


@pytest.fixture
def opened(browser: Any, tmp_path: Path) -> Iterator[Open]:
    """Opens a page; at the end nothing may have complained, and nothing but the file may have been asked for."""
    shown: list[ShownPage] = []

    def open_(drain: str | Assessment, **how: Any) -> ShownPage:
        file = tmp_path / f"{len(shown)}.html"
        file.write_text(html_of(drain) if isinstance(drain, str) else page(drain, WARD), "utf-8")
        shown.append(ShownPage(browser, file, **how))
        return shown[-1]

    yield open_
    for one in shown:
        assert one.complaints == []
        assert [url for url in one.asked_for if not url.startswith(("file:", "blob:"))] == []
        one.close()


# --- every width ----------------------------------------------------------------------------------

STICKS_OUT = """() => {
  const wide = document.documentElement.clientWidth, found = [];
  for (const one of document.querySelectorAll("body *")) {
    if (one.closest(".wide, .lanes, .skip, svg") && !one.matches(".wide, .lanes, svg")) continue;
    const box = one.getBoundingClientRect();
    if (box.width && (box.right > wide + 0.5 || box.left < -0.5)) found.push(one.tagName + "." + one.className);
  }
  return found;
}"""
SMALLEST = """() => {
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), found = {};
  for (let text = walk.nextNode(); text; text = walk.nextNode()) {
    const parent = text.parentElement;
    if (!text.data.trim() || parent.closest("script, style, noscript, svg") || !parent.checkVisibility()) continue;
    found[parseFloat(getComputedStyle(parent).fontSize)] = text.data.trim().slice(0, 40);
  }
  return found;
}"""


@pytest.mark.parametrize("wide", [1280, 800, 360, 320])
@pytest.mark.parametrize("drain", ["step down", "met", "not judged", "chart alone", "hostile"])
def test_nothing_sticks_out_and_the_body_never_scrolls_sideways(opened: Open, drain: str, wide: int) -> None:
    """320 px: WCAG 2.2, 1.4.10."""
    shown = opened(drain, viewport={"width": wide, "height": 800})
    for _ in range(2):
        assert shown.page.evaluate("document.documentElement.scrollWidth") <= wide
        assert shown.page.evaluate(STICKS_OUT) == []
        shown.unfold()


def test_text_is_at_least_12_px(opened: Open) -> None:
    """12 px: ours."""
    shown = opened("step down")
    shown.unfold()
    sizes = shown.page.evaluate(SMALLEST)
    assert min(map(float, sizes)) >= 12, sizes


def test_the_answer_is_on_the_first_screen(opened: Open) -> None:
    for wide, tall in ((1280, 800), (360, 740)):
        shown = opened("step down", viewport={"width": wide, "height": tall})
        assert shown.page.locator("h1").bounding_box()["y"] < 0.6 * tall
        rule = shown.page.locator("p.rule").bounding_box()
        assert rule["y"] + rule["height"] < tall


def test_what_is_pressed_is_large_enough(opened: Open) -> None:
    """24 px: WCAG 2.2, 2.5.8."""
    shown = opened("clock", viewport={"width": 360, "height": 740})
    shown.unfold()
    boxes = shown.page.locator("button, summary").all()
    assert len(boxes) > 10
    assert all(min(box.bounding_box()["width"], box.bounding_box()["height"]) >= 24 for box in boxes)


# --- show, and the keyboard -----------------------------------------------------------------------

RING = """(() => {
  const style = getComputedStyle(document.activeElement);
  return `${style.outlineStyle} ${style.outlineWidth}`;
})()"""


def test_every_show_button_leads_the_picture_to_its_minutes(opened: Open) -> None:
    shown = opened("clock", reduced_motion="reduce").settled()
    shown.unfold()
    whole = shown.drawn()
    buttons = shown.page.locator("button[data-from]")
    assert buttons.count() > 8
    for number in range(buttons.count()):
        button = buttons.nth(number)
        first, last = (int(button.get_attribute(name)) for name in ("data-from", "data-to"))
        button.click()
        drawn = shown.drawn()
        assert drawn["from"] <= max(first, whole["from"]) and drawn["to"] >= min(last, whole["to"])
        if last - first < (whole["to"] - whole["from"]) / 4:
            assert drawn["to"] - drawn["from"] < (whole["to"] - whole["from"]) / 2
        top = shown.page.locator("#picture").bounding_box()["y"]
        assert -1 <= top < 200
    assert shown.page.locator(".lanes-span").is_visible()


def test_the_keyboard_reaches_and_uses_everything(opened: Open) -> None:
    shown = opened("clock", reduced_motion="reduce").settled()
    press, now = shown.page.keyboard.press, shown.page.evaluate
    press("Tab")
    assert now("document.activeElement.className") == "skip"
    assert shown.page.locator(".skip").bounding_box()["x"] >= 0  # seen once it has the focus
    reached = []
    for _ in range(80):
        press("Tab")
        reached.append(now("document.activeElement.tagName + '.' + document.activeElement.className"))
        if reached[-1] == "BODY.":
            break
        assert now(RING) == "solid 3px", reached[-1]
    else:
        pytest.fail("the focus never leaves the page")
    inside = now("document.querySelectorAll('main button, main a, main summary, main [tabindex]').length")
    folded = now("document.querySelectorAll('details:not([open]) :is(button, a, [tabindex])').length")
    assert len(reached) - 1 == inside - folded
    whole = shown.drawn()
    shown.page.focus("#doubts button")
    press("Enter")
    near = shown.drawn()
    assert near["to"] - near["from"] < whole["to"] - whole["from"]
    shown.page.focus("#picture > details > summary")
    press("Space")
    assert shown.page.locator("#picture > details[open] table").is_visible()
    shown.page.focus("#unsure a")
    press("Enter")
    assert 0 <= shown.page.locator("#doubts").bounding_box()["y"] < 400


# --- texts that somebody typed --------------------------------------------------------------------


@pytest.mark.parametrize("kind", TEXTS)
def test_no_text_of_a_record_runs_or_asks_for_anything(opened: Open, kind: str) -> None:
    shown = opened(hostile(kind))
    dialogs: list[str] = []
    shown.page.on("dialog", lambda dialog: (dialogs.append(dialog.message), dialog.dismiss()))
    shown.settled().unfold()
    for button in shown.page.locator("button[data-from]").all():
        button.click()
    shown.page.hover(".lanes-picture")
    assert shown.page.evaluate("typeof window.ran") == "undefined" and not dialogs
    assert len(shown.drawn()["lanes"]) == 7
    assert shown.page.locator("body").is_visible()
    assert shown.page.locator("header").inner_text().count("drain 1") == 1


def test_the_browser_itself_lets_the_page_ask_for_nothing(browser: Any, tmp_path: Path) -> None:
    """Were a text of the record ever to run, it could send nothing: the page's own content security policy."""
    (tmp_path / "page.html").write_text(html_of("chart alone"), "utf-8")
    shown = ShownPage(browser, tmp_path / "page.html")
    refused = shown.page.evaluate(
        """async () => {
        const found = [];
        addEventListener("securitypolicyviolation", (event) => found.push(event.effectiveDirective));
        await fetch("https://elsewhere.invalid/x").catch(() => null);
        new Image().src = "https://elsewhere.invalid/y";
        for (let times = 0; times < 1000 && new Set(found).size < 2; times += 1) {
          await new Promise((then) => setTimeout(then, 50));
        }
        return found;
        }"""
    )
    assert set(refused) == {"connect-src", "img-src"}
    shown.close()


# --- without scripts ------------------------------------------------------------------------------


def test_without_scripts_the_words_and_tables_stand(opened: Open) -> None:
    shown = opened("met", java_script_enabled=False)
    text = shown.page.locator("body").inner_text()
    told = read_page(html_of("met"))
    assert told.one("h1").text.partition(" ")[2] in text
    assert "The picture needs scripts" in text
    assert "Show" not in text  # nothing to press that does nothing
    shown.page.locator("#picture > details > summary").click()
    hours = shown.page.locator("#picture tbody tr")
    assert hours.count() == len(told.one("section", id="picture").all("tr")) - 1 > 80
    assert hours.first.is_visible()


# --- paper ----------------------------------------------------------------------------------------


def printed(shown: ShownPage) -> Any:
    import pypdfium2

    return pypdfium2.PdfDocument(shown.page.pdf(prefer_css_page_size=True))


def words(text: str) -> str:
    return re.sub(r"\s+", "", text.replace("\ufffe", "").replace("\xad", ""))


@pytest.mark.parametrize("drain", ["step down", "blocked", "clock", "not judged", "chart alone", "met"])
def test_on_paper_nothing_is_cut_and_every_sheet_names_the_drain(opened: Open, drain: str) -> None:
    shown = opened(drain)
    if drain != "chart alone":
        shown.settled()
    told = read_page(html_of(drain))
    sheets = list(printed(shown))
    texts = [sheet.get_textpage().get_text_bounded() for sheet in sheets]
    assert 1 <= len(sheets) <= 6
    name, answer = words(told.one("p", cls="drain").text), words(told.one("h1").text[1:])
    for number, (sheet, text) in enumerate(zip(sheets, texts, strict=True), start=1):
        assert name in words(text)
        assert f"page{number}of{len(sheets)}" in words(text)
        assert len(words(text)) > 200, "a sheet that is all but empty"
        page_text, (wide, tall) = sheet.get_textpage(), sheet.get_size()
        for at in range(page_text.count_chars()):
            left, bottom, right, top = page_text.get_charbox(at)
            assert min(left, bottom, wide - right, tall - top) >= 0, f"sheet {number}"
    assert answer in words(texts[0])
    everything = words("".join(texts))
    for caution in told.all(data_caution=None):
        assert _pieces_in(caution, everything), caution.text
    folded = {id(need) for box in told.all("details") for need in box.all("p", cls="need")}
    for part in (need for need in told.all("p", cls="need") if id(need) not in folded):
        assert _pieces_in(part, everything), part.text
    assert "Show" not in "".join(texts)


def _pieces_in(node: Node, everything: str) -> bool:
    """A paragraph may go on over the next sheet's head: then each of its words is there."""
    return words(node.text) in everything or all(words(word) in everything for word in node.text.split())


def test_on_paper_everything_is_black_grey_or_white_even_from_a_dark_screen(opened: Open) -> None:
    for scheme in ("light", "dark"):
        for sheet in printed(opened("step down", color_scheme=scheme).settled()):
            pixels = sheet.render(scale=0.7).to_numpy()[..., :3].astype(int)
            assert np.ptp(pixels, axis=2).max() <= 6, scheme
            assert (pixels.min(axis=2) > 245).mean() > 0.6, "ink on white"


def test_the_first_sheet_holds_the_answer_and_the_picture(opened: Open) -> None:
    first = printed(opened("met").settled())[0].get_textpage().get_text_bounded()
    assert "Waiting for" in first and "Run below limit" in first


# --- light, dark, forced colours, colour-blind ----------------------------------------------------

SCREENS: dict[str, dict[str, Any]] = {
    "light": {}, "dark": {"color_scheme": "dark"}, "forced colours": {"forced_colors": "active"},
    "forced colours, dark": {"forced_colors": "active", "color_scheme": "dark"},
    "phone, dark": {"viewport": {"width": 360, "height": 740}, "color_scheme": "dark"},
}  # fmt: skip


@pytest.mark.parametrize("screen", SCREENS)
@pytest.mark.parametrize("drain", ["step down", "met"])
def test_no_serious_fault_of_accessibility(opened: Open, drain: str, screen: str, tmp_path: Path) -> None:
    """axe-core, all its rules."""
    shown = opened(drain, **SCREENS[screen]).settled()
    shown.unfold()
    shown.page.screenshot(path=tmp_path / f"{drain}, {screen}.png", full_page=True)
    assert grave(shown) == []


def test_axe_would_find_a_fault(opened: Open) -> None:
    shown = opened("met")
    shown.page.add_style_tag(content=".asks { color: #ccc !important } ")
    shown.page.evaluate("document.querySelector('html').removeAttribute('lang')")
    assert {fault.partition(":")[0] for fault in grave(shown)} == {"color-contrast", "html-has-lang"}


def grave(shown: ShownPage) -> list[str]:
    shown.page.evaluate(AXE)
    found = shown.page.evaluate("axe.run(document, { resultTypes: ['violations'] })")
    return [
        f"{fault['id']}: {node['html'][:120]} {node.get('failureSummary', '')[:200]}"
        for fault in found["violations"] if fault["impact"] in ("serious", "critical")
        for node in fault["nodes"]
    ]  # fmt: skip


@pytest.mark.parametrize("sight", ["protanopia", "deuteranopia", "tritanopia", "achromatopsia"])
def test_leaking_cannot_tell_and_below_limit_differ_for_every_sight(opened: Open, sight: str, tmp_path: Path) -> None:
    """The three swatches beside the picture, as such an eye sees them: lightness or pattern tells them apart."""
    shown = opened("clock").settled()
    session = shown.context.new_cdp_session(shown.page)
    session.send("Emulation.setEmulatedVisionDeficiency", {"type": sight})
    shown.page.screenshot(path=tmp_path / f"{sight}.png", full_page=True)
    seen = {}
    for kind in ("leaking", "doubt", "below"):
        selector = f".lanes-state .lanes-swatch{'' if kind == 'below' else '-' + kind}"
        swatch = shown.page.locator(selector).last if kind == "below" else shown.page.locator(selector).first
        seen[kind] = _light(shown, swatch)
    means = {kind: light.mean() for kind, light in seen.items()}
    assert means["below"] - means["leaking"] > 80  # of 255; ours
    assert seen["doubt"][3:-3, 3:-3].std() > 30 > seen["below"][3:-3, 3:-3].std()  # hatched, and plain


def _light(shown: ShownPage, swatch: Any) -> np.ndarray[Any, Any]:
    from base64 import b64encode

    png = b64encode(swatch.screenshot()).decode()
    pixels = shown.page.evaluate(
        """async (png) => {
        const image = await createImageBitmap(await (await fetch("data:image/png;base64," + png)).blob());
        const canvas = new OffscreenCanvas(image.width, image.height), pen = canvas.getContext("2d");
        pen.drawImage(image, 0, 0);
        return [image.height, image.width, [...pen.getImageData(0, 0, image.width, image.height).data]];
        }""",
        png,
    )
    tall, wide, flat = pixels
    return np.array(flat, dtype=float).reshape(tall, wide, 4)[..., :3] @ [0.2126, 0.7152, 0.0722]


def test_no_ink_of_the_page_is_red_yellow_or_cyan() -> None:
    """Those are left to the bedside unit."""
    css = files("slackwater.report").joinpath("assets/page.css").read_text("utf-8")
    inks = [tuple(int(code[i : i + 2], 16) for i in (0, 2, 4)) for code in re.findall(r"#([0-9a-f]{6})\b", css)]
    assert len(inks) > 15
    assert [ink for ink in inks if _hue_of(ink) in ("red", "yellow", "cyan")] == []
    short = re.findall(r"#([0-9a-f]{3})\b(?![0-9a-f])", css)
    assert all(len(set(code)) == 1 for code in short)  # greys


def test_in_forced_colours_every_status_keeps_its_shape_and_word(opened: Open) -> None:
    shown = opened("step down", forced_colors="active")
    shown.unfold()
    for status in shown.page.locator("p.status").all():
        assert len(status.inner_text().split()[0]) == 1 and status.locator(".shape").is_visible()
        inks = status.evaluate("(one) => [one, one.firstElementChild].map((node) => getComputedStyle(node).color)")
        assert len(set(inks)) == 1  # the system's ink
