"""The example pages of the docs: small, whole, and of the present template. To make them anew: docs/pages/make.py."""

from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path

import pytest

from behaviour.report.read_page import Node, read_page, trace
from slackwater.protocol.status import Status
from slackwater.report.pack import FORMAT
from slackwater.report.words import REASON_SENTENCES

PAGES = sorted((Path(__file__).parents[3] / "docs" / "pages").glob("*.html"))
MAKE = PAGES[0].with_name("make.py")
TOLD, FRAME = (
    files("slackwater.report").joinpath("templates", name).read_text("utf-8") for name in ("told.html", "page.html")
)
MACROS = dict(re.findall(r"{% macro (\w+)\(.*?%}(.*?){% endmacro", TOLD, re.DOTALL))
TEMPLATE = re.sub(r"{{ told\.(\w+)\(.*\) }}", lambda call: MACROS[call[1]], FRAME)  # in the order of the page
AGAIN = "run: python docs/pages/make.py"


def example(name: str) -> Node:
    return read_page(MAKE.with_name(f"{name}.html").read_text("utf-8"))


def test_there_is_a_page_for_every_example_and_no_other() -> None:
    named = re.findall(r'Example\(\n\s+"([a-z-]+)"|Example\("([a-z-]+)"', MAKE.read_text("utf-8"))
    assert sorted(one or other for one, other in named) == [path.stem for path in PAGES]
    assert len(PAGES) == 5
    linked = (MAKE.parents[1] / "page.md").read_text("utf-8")
    assert all(f"(pages/{path.name})" in linked for path in PAGES)


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_an_example_is_small_and_of_the_present_template(path: Path) -> None:
    assert path.stat().st_size < 350_000
    page = read_page(path.read_text("utf-8"))
    assert trace(page)["format"] == FORMAT, AGAIN
    sections = [node.attrs["id"] for node in page.all("section") if "id" in node.attrs]
    blocks = ["clauses", "guards", "step-down", "items"]
    known = re.findall(r'<section id="([a-z-]+)"', TEMPLATE)
    order = [known[0], known[1], *blocks, *known[2:]]
    assert sections == [name for name in order if name in sections], AGAIN
    assert {"answer", "picture", "clauses", "guards", "forecast", "doubts", "record"} <= set(sections), AGAIN
    heads = {node.attrs.get("class", node.tag) for node in page.all("div") if "lanes" not in node.attrs.get("id", "")}
    assert all(f'class="{name}"' in FRAME + TOLD for name in heads), AGAIN
    marks = {name for node in page for name in node.attrs if name.startswith("data-")}
    assert all(f"{name}=" in FRAME + TOLD for name in marks), AGAIN
    assert {node.attrs["data-status"] for node in page.all(data_status=None)} <= {one.word for one in Status}
    assert {node.attrs["data-doubt"] for node in page.all(data_doubt=None)} <= set(REASON_SENTENCES), AGAIN
    assert "SIM-" in page.one("header").text  # simulated, and says so


def test_each_example_shows_what_the_docs_say_of_it() -> None:
    step = example("step-down")
    assert "run 5 h of 8 h" in step.one("section", id="clauses").text
    assert len(step.one("section", id="risk").all("li", data_score=None)) == 6
    assert len(step.one("section", id="steps").all("button")) == 1
    assert example("blocked-overnight").one("h1").text.endswith("the tube may be blocked or kinked.")
    effort = example("effort-only")
    assert effort.one("section", id="clauses").one("li").attrs["data-status"] == "met"
    assert effort.one("section", id="guards").one("li", data_part="effort_seen").attrs["data-status"] == "not_met"
    gaps = example("gaps-and-clock")
    assert {"missing", "clock"} <= {node.attrs["data-doubt"] for node in gaps.all(data_doubt=None)}
    assert "after the last reading" in gaps.one("section", id="answer").text
    people = example("waits-on-people")
    waits = [li.text for li in people.one("ul", id="waiting").all("li")]
    assert len(waits) == 1 and "xray" in waits[0]
    unmet = [part.attrs["data-part"] for part in people.one("section", id="clauses").all(data_part=None)
             if part.attrs["data-status"] != "met"]  # fmt: skip
    assert unmet == ["film"]
