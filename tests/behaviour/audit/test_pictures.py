"""The audit's pictures: steps are steps, words are not lost on a narrow screen, marks are those of the table."""

from __future__ import annotations

import itertools
import re

from behaviour.audit.test_forecasts import FIVE, past
from behaviour.report.read_page import read_page
from slackwater.audit.borne_out import borne_out
from slackwater.cli.view.audit import plain
from slackwater.report import plots
from slackwater.report.audit_forecast import forecast_view
from slackwater.report.audit_page import chance_words


def moves(svg: str, cls: str) -> list[tuple[float, float]]:
    """The corners of the first path of that class."""
    found = re.search(rf'<path class="{cls}" d="([^"]*)"', svg)
    assert found is not None
    return [(float(x), float(y)) for x, y in re.findall(r"[ML]([-0-9.]+) ([-0-9.]+)", found[1])]


def test_a_curve_stands_until_the_next_step_and_never_slopes() -> None:
    line = {
        "name": "out",
        "at": [0, 1, 2, 3],
        "value": [0, 20, 20, 70],
        "low": [None, 5, 5, 50],
        "high": [None, 40, 40, 90],
    }
    svg = plots.curves([line], "said", "days")
    corners = moves(svg, "path dash0")
    assert all(a == c or b == d for (a, b), (c, d) in itertools.pairwise(corners))
    assert corners[-1][0] > max(x for x, y in corners if y != corners[-1][1])  # the last step is seen
    band = re.search(r'<polygon class="band" points="([^"]*)"', svg)
    assert band is not None
    edge = [tuple(map(float, one.split(","))) for one in band[1].split()]
    assert all(a == c or b == d for (a, b), (c, d) in itertools.pairwise(edge))


def test_what_stands_at_a_pictures_edges_stands_below_it_too() -> None:
    assert plots.below("days", "%", ["out as planned", "died"]) == (
        "Across: days. Up: %. Solid line: out as planned; dashed line: died."
    )
    assert plots.below("days", "%", ["alone"]) == "Across: days. Up: %."
    assert plots.below("h", "%", shapes=["20 mL/min", "50 mL/min"]).endswith("Circle: 20 mL/min; square: 50 mL/min.")


def test_every_mark_told_is_drawn_with_its_interval_and_stands_in_the_table() -> None:
    told = borne_out(past(60, 0.03), 62, FIVE)
    view = forecast_view(plain(told))
    (group,) = view["groups"]
    shown = [mark for mark in told.groups[0].marks if mark.drains is not None]
    assert len(group["rows"]) == len(shown) > 5
    svg = read_page(group["svg"])
    drawn = [one for one in svg.all("g", cls="rule") if "edge" not in one.attrs["class"]]
    assert len(drawn) == len(shown)
    assert "180 forecasts of 60 drains" in group["says"] and view["without"].startswith("Of 2 drains")
    assert all("within" in one.text for one in svg.all("text", cls="name"))


def test_few_drains_are_a_sentence_and_no_picture() -> None:
    (group,) = forecast_view(plain(borne_out(past(3, 0.03), 3, FIVE)))["groups"]
    assert group["why"] == "Too few drains: kept back." and not group["svg"] and not group["rows"]


def test_a_chance_has_the_digits_that_it_is_worth() -> None:
    told = [chance_words(one) for one in (None, 0.00001, 0.0123, 0.4567)]
    assert told == ["cannot be told", "less than 0.001", "0.012", "0.46"]
