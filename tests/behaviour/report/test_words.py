"""How quantities and guards look: as a person writes them, and never satisfied behind a shut tube."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC

import pytest
from hypothesis import given
from hypothesis import strategies as st

from behaviour.report.sheets.a_sheet import found, material, text_of
from slackwater.cli.inputs import read_protocol
from slackwater.cli.view.lanes import lanes
from slackwater.protocol.evaluation import Judged
from slackwater.protocol.status import Status
from slackwater.report.clauses import blocks, rows_said
from slackwater.report.extent import limit_words
from slackwater.report.sentences import flow_words, leak_sentence, shown_status
from slackwater.report.words import bounds

AMOUNTS = st.floats(0, 5000, allow_nan=False).map(lambda one: round(one, 3))


def side(value: float, limit: float) -> int:
    return (value > limit) - (value < limit)


@given(AMOUNTS, AMOUNTS, st.sampled_from([0.0, 2.0, 20.0, 50.0, 200.0]))
def test_a_rounded_range_is_outward_and_stays_on_its_side_of_the_limit(one: float, other: float, limit: float) -> None:
    """Ours: a number on a screen may be coarser than what was decided on, and never tells another story."""
    low, high = sorted((one, other))
    told = [float(number) for number in re.findall(r"[\d.]+", bounds(low, high, "", limit))]
    down, up = (told[0], told[0]) if len(told) == 1 and low == high else (0.0 if len(told) == 1 else told[0], told[-1])
    if low != high:
        assert down <= low + 1e-9 and up >= high - 1e-9 and low - down < 1 and up - high < 1
    else:
        assert abs(down - low) <= 0.05 + 1e-9
    assert side(up, limit) == side(high, limit)
    assert low == 0 or side(down, limit) == side(low, limit)


def test_the_leak_is_one_number_on_the_page_and_on_every_sheet() -> None:
    of = material()
    assert of.found is not None
    number = flow_words(of.found.leak)
    assert number in leak_sentence(of.found, of.zone)
    for kind in ("handover", "summary", "transfer"):
        assert number in text_of(kind, of), kind


def test_a_rule_that_asks_nothing_of_air_lends_its_name_to_no_limit_of_air() -> None:
    """Ours: the step of the display, by which leaking is told then, is nobody's clinical limit and says so."""
    one = found()
    assert one.evaluation is not None
    assert limit_words(one, 50.0) == "50 mL/min"
    fluid_alone = replace(one, evaluation=replace(one.evaluation, protocol=read_protocol("cardiac-150-4h")))
    for without in (fluid_alone, replace(one, evaluation=None)):
        assert limit_words(without, 5.0) == "5 mL/min (one step of the display, no clinical limit)"
        quiet = replace(without, leak=replace(one.leak, state="quiet", limit=5.0))
        assert "no clinical limit" in leak_sentence(quiet, UTC)
        assert any(line.lstrip().startswith("step ") for line in lanes(without, UTC))
    assert any(line.lstrip().startswith("limit ") for line in lanes(one, UTC))


@pytest.mark.parametrize("tube", Status)
@pytest.mark.parametrize("effort", Status)
def test_an_effort_behind_a_tube_that_is_not_shown_open_does_not_look_satisfied(tube: Status, effort: Status) -> None:
    one = found()
    assert one.evaluation is not None
    both = [Judged(name, status, one.evaluation.guards[0].timeline) for name, status in
            (("tube_open", tube), ("effort_seen", effort))]  # fmt: skip
    judged = replace(one.evaluation, guards=tuple(both))
    looks, own = shown_status(both[1], judged), shown_status(both[1], replace(judged, guards=both[1:]))
    shut = tube in (Status.NOT_MET, Status.CANNOT_TELL)
    if shut and effort in (Status.MET, Status.MET_WITH_GAPS):
        assert (looks.shape, looks.word) == ("▨", "not counted") and "shut tube" in looks.note
        (guards,) = [
            block for block in blocks(replace(one, evaluation=judged), material().zone) if block.id == "guards"
        ]
        assert guards.parts[1].tone == "cannot_tell" and "shut tube" in guards.parts[1].note
    else:
        assert looks == own and not looks.note
    assert shown_status(both[0], judged).word == shown_status(both[0], one.evaluation).word


def test_rows_name_each_file_once() -> None:
    def row(file: str, first: int, last: int) -> dict[str, object]:
        return {"file": file, "from_line": first, "to_line": last}

    assert rows_said([row("chart.csv", 4, 4)]) == "chart.csv line 4"
    assert rows_said([row("chart.csv", 4, 6)]) == "chart.csv lines 4 to 6"
    several = [row("chart.csv", 4, 4), row("chart.csv", 9, 12), row("log.csv", 3, 3)]
    assert rows_said(several) == "chart.csv lines 4, 9 to 12; log.csv line 3"
    assert rows_said([]) == ""
