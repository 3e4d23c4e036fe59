"""Every page of the ward, as whoever may open it sees it: it fits, axe finds nothing, its cautions stand, on paper and
in the dark too; forms with their faults; and six ways to fail. Cautions by surface: safety statement, section 4.2.

The pages are those that a rule names; a new one is looked at here without being told of. 320 px: WCAG 2.2, 1.4.10.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from browser.a_day import DESK, NIGHT_MS, SPARE, served_demo
from browser.a_page import LONG_MS, chromium
from browser.test_ward_drain import AXE
from slackwater.cli.demo_ward import PASSWORD
from slackwater.store.acts import key_of
from slackwater.web.policy import POLICY, may
from ward.a_ward import Clock

pytestmark = [pytest.mark.browser, pytest.mark.slow]

HOUR_MS = 3_600_000
LEAKING = key_of("drain", key_of("patient", "LW-1990"), "1")
OUT = key_of("drain", key_of("patient", "LW-1950"), "1")
ROLES = ("registrar", "specialist_nurse", "keeper", "audit_lead")  # the first that may open a page looks at it
NO_PAGE = re.compile(r"^/(static|healthz|first$|login/|api|round/lines)|/(live|picture|export|pdf)\b|\{path")
WCAG = {"wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"}  # of these nothing, however slight
ALWAYS = ("cau-C1", "cau-C2", "cau-C3")
ABOVE = ("cau-C1", "cau-C4", "cau-C6", "cau-C9", "cau-C10", "cau-C11")
FITS = """() => [...document.querySelectorAll("main *, header *, footer *")].filter((one) => {
  const box = one.getBoundingClientRect();
  return box.width && box.right > innerWidth + 1 && !one.closest(".wide, pre, svg, .away, .skip, #lanes");
}).slice(0, 3).map((one) => one.outerHTML.slice(0, 120))"""
SETTLED = "() => new Promise((done) => requestAnimationFrame(() => setTimeout(done, 60)))"
FRAMES = 100  # within so many of these, pictures have followed the width
SMALL = """() => [...document.querySelectorAll(`main label.tap, main button:not([data-from]), main select, main summary,
  main a.button, main input:not([type=radio], [type=hidden], [type=checkbox], [hidden])`)]
  .filter((one) => one.offsetParent && one.offsetHeight < 44)
  .filter((one) => !one.closest("#lanes, #verdicts, #rests, #more, #picture"))
  .slice(0, 3).map((one) => one.outerHTML.slice(0, 120))"""


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Any, Any, str, Clock]]:
    with chromium() as browser, served_demo(tmp_path_factory.mktemp("surfaces")) as (app, address, clock):
        yield browser, app, address, clock


def at_screen(ward: tuple[Any, Any, str, Clock], role: str, **how: Any) -> Any:
    """A page that somebody is logged in at; what the browser complains of is kept."""
    browser, _, address, _ = ward
    context = browser.new_context(base_url=address, **{**DESK, "reduced_motion": "reduce", **how})
    context.request.post("/login", form={"login": role, "password": PASSWORD}, max_redirects=0)
    context.set_default_timeout(LONG_MS)
    return context.new_page()


def pages(app: Any) -> list[tuple[str, str]]:
    """(role, path) of every page, each once."""
    (rule, *_) = app.state.record.things("protocol")
    filled = {"drain": LEAKING, "sha256": rule["sha256"], "card": "came_apart", "unit": key_of("unit", SPARE),
              "kind": "summary"}  # fmt: skip
    entries = app.state.record.things("entry")
    filled["entry"] = next(one.key for one in entries if one["item"] == "swing" and one["drain"] == "1")
    found = []
    for method, path in POLICY:
        if method != "GET" or NO_PAGE.search(path):
            continue
        role = next((one for one in ROLES if may(one, path)), None)
        full = re.sub(r"\{(\w+)\}", lambda part: filled.get(part[1], ""), path)
        assert role is not None, path
        if "entry" in path:
            continue  # reached from the page of entries; looked at below
        found.append((role, full))
    return [*found, ("registrar", f"/drain/{OUT}"), ("registrar", f"/drain/{OUT}/after"), ("registrar", "/?show=blank"),
            ("registrar", f"/drain/{LEAKING}?at=2041-03-06T12:00")]  # fmt: skip


def visible(page: Any, cautions: tuple[str, ...], where: str) -> None:
    for one in cautions:
        assert page.locator(f"[data-caution={one}]:visible").count(), f"{where}: {one}"


def fits(page: Any, where: str) -> None:
    for width in (320, 1280):
        page.set_viewport_size({"width": width, "height": 740})
        for _ in range(FRAMES):
            page.evaluate(SETTLED)
            if page.evaluate("document.documentElement.scrollWidth") <= width and page.evaluate(FITS) == []:
                break
        assert page.evaluate("document.documentElement.scrollWidth") <= width, f"{where} at {width}"
        assert page.evaluate(FITS) == [], f"{where} at {width}"
        assert page.evaluate(SMALL) == [], f"{where} at {width}"


def grave(page: Any, where: str, only: str = "") -> None:
    if page.evaluate("typeof axe === 'undefined'"):
        page.evaluate(AXE)
    rules = f", runOnly: ['{only}']" if only else ""
    asked = f"{{ resultTypes: ['violations']{rules}, elementRef: false, iframes: false }}"
    found = page.evaluate(f"axe.run(document, {asked})")["violations"]
    told = [
        f"{one['id']}: {one['nodes'][0]['html'][:200]}"
        for one in found
        if one["impact"] in ("serious", "critical") or WCAG & set(one["tags"])
    ]
    assert told == [], where


def test_every_page_fits_and_keeps_its_cautions_in_light_dark_and_print(ward: tuple[Any, Any, str, Clock]) -> None:
    _, app, _, _ = ward
    screens: dict[str, Any] = {}
    for role, path in pages(app):
        if role not in screens:
            screens[role] = at_screen(ward, role)
        page = screens[role]
        answer = page.goto(path)
        assert answer.status == 200, path
        if "text/html" not in answer.headers["content-type"]:
            continue
        assert page.locator("h1").count() == 1, path
        visible(page, ALWAYS, path)
        page.evaluate("document.querySelectorAll('details').forEach((box) => { box.open = true; })")
        fits(page, path)
        grave(page, path)
        if path.rpartition("/")[2] in ("", LEAKING, "set", "remove", "units", "protocols"):  # each kind of colour once
            page.emulate_media(color_scheme="dark")
            grave(page, f"{path}, dark", "color-contrast")
        page.emulate_media(media="print", color_scheme="light")
        visible(page, ALWAYS, f"{path}, print")
        page.emulate_media(media="screen")
    for page in screens.values():
        page.context.close()


def test_a_form_with_faults_says_them_on_top_and_beside_the_field(ward: tuple[Any, Any, str, Clock]) -> None:
    page = at_screen(ward, "registrar", viewport={"width": 320, "height": 700})
    for name in ("set", "fluid", "canister", "handle", "try", "xray", "order", "hold", "clamp", "remove", "connect"):
        where = f"/drain/{LEAKING}/{name}"
        page.goto(where)
        page.locator("main form button:visible").last.click()
        page.get_by_role("alert").filter(has_text="Not recorded yet").wait_for()
        visible(page, (*ALWAYS, "cau-C9"), where)
        links = page.locator("#faults a")
        for number in range(links.count()):
            led = links.nth(number).get_attribute("href")
            assert page.locator(led).count() == 1, f"{where}: {led}"
        fits(page, where)
        grave(page, f"{where}, faults")
    page.goto("/drain/new")
    page.get_by_role("button", name="Enter the drain").click()
    page.get_by_role("alert").filter(has_text="Not recorded yet").wait_for()
    fits(page, "/drain/new")
    page.context.close()


def test_the_cautions_of_the_login_page_and_above_every_answer(ward: tuple[Any, Any, str, Clock]) -> None:
    browser, _, address, _ = ward
    page = browser.new_page()
    page.goto(f"{address}/login")
    visible(page, ("cau-C1", "cau-C2", "cau-C12", "cau-C14"), "login")
    page.close()
    for width in (1280, 360):
        page = at_screen(ward, "nurse", viewport={"width": width, "height": 740})
        page.goto(f"/drain/{LEAKING}")
        answer = page.locator("#answer").bounding_box()["y"]
        for one in ABOVE:
            box = page.locator(f"#before [data-caution={one}]").bounding_box()
            assert box["height"] > 0 and box["y"] + box["height"] <= answer + 1, one
        if width == 360:
            assert answer < 1.2 * 740  # not further than a screen and a bit: ours
        page.context.close()


# --- six ways to fail ------------------------------------------------------------------------------------


def test_the_server_is_gone(ward: tuple[Any, Any, str, Clock]) -> None:
    page = opened(ward)
    page.clock.install()
    page.goto("/")
    page.locator(".tile .live").first.wait_for()
    page.route("**/round/lines*", lambda route: route.abort())
    for _ in range(18):
        page.clock.run_for(1000)
    assert "has not answered" in page.inner_text("#round-fault")
    stands(page)


def test_the_judge_fails_then_comes_back(ward: tuple[Any, Any, str, Clock], monkeypatch: pytest.MonkeyPatch) -> None:
    _, app, _, clock = ward
    page = opened(ward)

    async def broken(*_: Any) -> Any:
        raise RuntimeError("on purpose")

    with monkeypatch.context() as patch:
        patch.setattr(app.state.judges, "ask", broken)
        clock.ms += 60_000
        page.locator("ul.counts", has_text="12 to act on").wait_for()
        assert page.locator(".tile").get_by_text("the program failed here").count() == 12
        stands(page)
        assert page.locator(".tile").get_by_text("waiting for people", exact=False).count() == 0
        page.goto(f"/drain/{LEAKING}")
        assert "Cannot tell: the program failed" in page.inner_text("#answer")
        visible(page, (*ABOVE, "cau-C2", "cau-C3", "cau-C5"), "drain, judge failed")
    clock.ms += 60_000
    page.goto("/")
    page.locator(".tile .live").first.wait_for()
    page.context.close()


def test_the_record_takes_nothing(ward: tuple[Any, Any, str, Clock], monkeypatch: pytest.MonkeyPatch) -> None:
    _, app, _, _ = ward
    page = opened(ward)
    # Looks are written down meanwhile, and one that is kept would end it.
    full = property(lambda _: "the disk is full.", lambda *_: None)
    with monkeypatch.context() as patch:
        patch.setattr(type(app.state.record), "read_only_because", full, raising=False)
        for path in ("/", f"/drain/{LEAKING}"):
            page.goto(path)
            assert "Nothing can be recorded now: the disk is full." in page.inner_text("[role=alert] >> nth=0")
            visible(page, ("cau-C2", "cau-C3", "cau-C5"), path)
    page.context.close()


def test_the_data_are_old(ward: tuple[Any, Any, str, Clock]) -> None:
    """JW-0430's log ended three hours ago; its rule takes data up to an hour old."""
    page = opened(ward)
    line = page.locator(".tile", has_text="JW-0430")
    assert "no data since 00:10" in line.inner_text() and "data until 00:10, 3 h" in line.inner_text()
    assert line.locator(".mark:visible").count() == 0
    page.goto(f"/drain/{key_of('drain', key_of('patient', 'JW-0430'), '1')}")
    assert "Data older than" in page.inner_text("#answer") and not page.locator("#answer .verdict").is_visible()
    visible(page, (*ABOVE, "cau-C2", "cau-C3", "cau-C5"), "old data")
    page.context.close()


def test_the_clocks_disagree(ward: tuple[Any, Any, str, Clock]) -> None:
    _, _, _, clock = ward
    page = opened(ward)
    clock.ms = NIGHT_MS - HOUR_MS
    try:
        page.get_by_text(re.compile("behind the record's last act")).first.wait_for()
        stands(page)
    finally:
        clock.ms = NIGHT_MS + 5 * 60_000


def test_scripts_are_off(ward: tuple[Any, Any, str, Clock]) -> None:
    page = at_screen(ward, "nurse", java_script_enabled=False, viewport={"width": 360, "height": 740})
    page.goto("/")
    assert "Without scripts this page does not change by itself" in page.inner_text("noscript")
    assert page.locator(".more:visible").count() == 0  # nothing is folded where nothing unfolds
    visible(page, ("cau-C2", "cau-C3", "cau-C5"), "round without scripts")
    page.goto(f"/drain/{LEAKING}")
    visible(page, (*ABOVE, "cau-C2", "cau-C3", "cau-C5"), "drain without scripts")
    assert "needs scripts" in page.inner_text("#picture noscript")
    page.context.close()


def opened(ward: tuple[Any, Any, str, Clock]) -> Any:
    page = at_screen(ward, "nurse")
    page.goto("/")
    page.locator(".tile .live").first.wait_for()
    return page


def stands(page: Any) -> None:
    """C2, C3 and C5 stay on the round whatever failed."""
    visible(page, ("cau-C2", "cau-C3", "cau-C5"), "round")
    page.unroute_all(behavior="ignoreErrors")
    if page.locator(".tile:visible").count() == 0:
        raise AssertionError("no line is shown at all")


def test_shots_of_forced_colours(ward: tuple[Any, Any, str, Clock], tmp_path: Path) -> None:
    """Chips and buttons keep an edge where the system chooses the colours."""
    page = at_screen(ward, "nurse", forced_colors="active")
    page.goto("/")
    page.locator(".tile .live").first.wait_for()
    page.screenshot(path=tmp_path / "forced.png")
    for what in (".chip", "button", ".mark"):
        edge = page.locator(f"{what}:visible").first.evaluate(
            "(one) => [getComputedStyle(one).borderTopWidth, getComputedStyle(one).borderTopColor]"
        )
        assert edge[0] != "0px" and edge[1] != "rgba(0, 0, 0, 0)", what
    page.context.close()
