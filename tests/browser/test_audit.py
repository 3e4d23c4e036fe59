"""The audit's page and the replay's in a real browser: narrow, dark, and by axe."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from behaviour.audit.test_report import cohort, report
from browser.a_page import Shown, chromium
from browser.test_page import STICKS_OUT, grave
from end_to_end.the_command import called

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = cohort(tmp_path_factory.mktemp("audit"), drains=60)
    assert report(folder, "--out", "pack", "--suction-within", "2", "--change", "night round=31").code == 0
    grid = ("--limits", "20,50", "--hours", "1,2", "--page", "grid.html")
    assert called("replay", "past", "--protocol", "rule.toml", *grid, folder=folder).code == 0
    return {"pack": folder / "pack" / "page.html", "grid": folder / "grid.html"}


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as found:
        yield found


def test_on_a_phone_no_word_of_a_picture_is_cut(browser: Any, pages: dict[str, Path]) -> None:
    """360 px: pictures that fit are no wider than the page, and what stood at their edges is read below them."""
    shown = Shown(browser, pages["pack"], viewport={"width": 360, "height": 780})
    inside = (
        "[...document.querySelectorAll('svg.fits')].map(one => one.getBoundingClientRect().right <= window.innerWidth)"
    )
    fits = shown.page.evaluate(inside)
    assert len(fits) >= 3 and all(fits)
    below = "[...document.querySelectorAll('.below')].map(one => one.checkVisibility() && one.textContent)"
    words = shown.page.evaluate(below)
    assert len(words) >= len(fits) and all(one and one.startswith("Across: ") for one in words)
    small = shown.page.evaluate(
        "[...document.querySelectorAll('svg.fits .tick')].filter(one => one.getBoundingClientRect().height < 10).length"
    )
    assert small == 0
    shown.close()


@pytest.mark.parametrize("name", ["pack", "grid"])
@pytest.mark.parametrize(
    "how", [{"viewport": {"width": 320, "height": 700}}, {"color_scheme": "dark"}], ids=["320", "dark"]
)
def test_it_fits_and_axe_finds_no_fault(browser: Any, pages: dict[str, Path], name: str, how: dict[str, Any]) -> None:
    shown = Shown(browser, pages[name], **how)
    shown.page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    assert shown.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    stick_out = shown.page.evaluate(STICKS_OUT)  # a picture is as wide as it must be, in a frame that scrolls
    assert [one for one in stick_out if not one.startswith("svg.")] == []
    assert grave(shown) == []  # type: ignore[arg-type]
    assert shown.complaints == [] and all(url.startswith("file:") for url in shown.asked_for)
    shown.close()
