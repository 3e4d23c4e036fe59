"""The statistics of an audit on series of other trades whose answers others have given.

Sources and licences: tests/data/real/{survival_reference, cpd_turing, flow_testbed_valves}. 'README' is the data sets'.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from reference.audit_data import REAL, Column, computed_in_r, numbers, table
from slackwater.audit.statistics.calibration import ranked_right
from slackwater.audit.statistics.ends import Ends, count_ends
from slackwater.audit.statistics.process_charts import Chart, Phase, xmr_chart
from slackwater.audit.statistics.special_cause import EIGHT_SIX, Mark
from slackwater.audit.statistics.survival import kaplan_meier

# --- on, off and out: who has left, where some go back and forth and some are followed no further ----------------

SIR = computed_in_r()["sir_cont"]
LEFT = "2"


def stays() -> tuple[Ends, list[str]]:
    """Half days to the end of each stay, 1 where it ended and 0 where it was followed no further; the first states."""
    of_patient: dict[str, list[dict[str, str]]] = {}
    for row in table("survival_reference/sir_cont"):
        of_patient.setdefault(row["id"], []).append(row)
    courses = [sorted(rows, key=lambda row: float(row["time"])) for rows in of_patient.values()]
    times = [round(2 * float(rows[-1]["time"])) for rows in courses]
    return count_ends(times, [int(rows[-1]["to"] == LEFT) for rows in courses]), [rows[0]["from"] for rows in courses]


def test_every_stay_in_intensive_care_is_counted_once() -> None:
    """reference_values.json: 747 patients; 606 + 127 left, 14 were followed no further; 75 went back on ventilation."""
    counts, _ = stays()
    moves = SIR["transitions"]
    assert counts.n == SIR["n_patients"] == 747
    assert int(counts.ended().sum()) == moves["0>2"] + moves["1>2"] == 733
    assert int(counts.counts[0].sum()) == moves["cens"] == 14


@pytest.mark.parametrize("row", SIR["aalen_johansen_from_time0"], ids=lambda row: f"day {row['day']}")
def test_the_share_that_has_left_is_that_of_the_whole_model_of_states(row: dict[str, Any]) -> None:
    """By R's etm, Aalen-Johansen over three states, from either first state; mixed here as the patients began.

    Two estimates of one share: they differ only by how 14 censored stays are spread, here by up to 0.0004. To count
    those 14 as still there throughout would be off by 0.010 on day 40.
    """
    counts, first = stays()
    on = first.count("1") / len(first)
    expected = (1 - on) * row["from0"][LEFT] + on * row["from1"][LEFT]
    assert 1 - kaplan_meier(counts).at([2 * row["day"]])[0] == pytest.approx(expected, abs=5e-4)


# --- has it changed: charts of a process, where people marked the change ------------------------------------------

MARGIN = 5  # points; README: the margin of the data set's paper


def series(name: str) -> Column:
    told = json.loads((REAL / "cpd_turing" / f"{name}.json").read_text("utf-8"))
    return np.array(told["series"][0]["raw"], np.float64)


def chart_of(name: str, baseline: int | None) -> Chart:
    return xmr_chart(series(name), [Phase(baseline=baseline)], EIGHT_SIX)


def on_a_side(chart: Chart) -> list[Mark]:
    return [mark for mark in chart.marks if "the centre" in mark.rule]


def outside(chart: Chart) -> list[int]:
    return [mark.first for mark in chart.marks if "the limits" in mark.rule]


@pytest.mark.parametrize(
    ("name", "baseline", "changed", "rule"),
    [
        ("nile", 20, 28, "8 below the centre"),  # README: 1899, the dam
        ("quality_control_1", 100, 146, "8 above the centre"),
        ("quality_control_3", 100, 179, "8 above the centre"),
    ],
)
def test_a_change_is_marked_where_people_marked_it_and_known_seven_points_later(
    name: str, baseline: int, changed: int, rule: str
) -> None:
    """Limits from the time before, as a unit would set them. README: the place of each change."""
    (run,) = [mark for mark in on_a_side(chart_of(name, baseline)) if abs(mark.first - changed) <= MARGIN]
    assert run.rule == rule
    assert run.known_at == run.first + 7
    assert outside(chart_of(name, baseline))[-1] > changed, "and it lasts"


def test_the_nile_before_the_dam_has_no_mark_by_the_same_limits() -> None:
    assert min(mark.first for mark in chart_of("nile", 20).marks) == 28


def test_a_single_outlier_is_a_point_outside_and_no_change() -> None:
    """quality_control_3. README: an outlier at 42 must not count as a change."""
    chart = chart_of("quality_control_3", 100)
    assert outside(chart)[0] == 42
    assert not [mark for mark in on_a_side(chart) if abs(mark.first - 42) <= MARGIN]
    without = series("quality_control_3")
    without[42] = np.nan
    centre = xmr_chart(without, [Phase(baseline=100)], EIGHT_SIX).centre[0]
    assert abs(chart.centre[0] - centre) < 0.1 * (chart.high[0] - chart.centre[0]), "nor does it move the centre much"


def test_nothing_lies_outside_the_limits_of_a_series_in_which_nobody_saw_a_change() -> None:
    """quality_control_5. README: none. Runs come by chance: docs/statistics.md, 12 % of steady charts of 24 points."""
    chart = chart_of("quality_control_5", None)
    assert outside(chart) == []
    assert len(chart.marks) <= 2 * 0.12 * len(chart.values) / 24 + 1


# --- ranked right: a flow as the sign of a shut valve, with many equal values -------------------------------------


@pytest.mark.parametrize(
    ("run", "low", "high"),
    [
        ("valve1_0", 0.225, 0.235),  # README: 0.23
        ("valve1_2", 0.0015, 0.145),  # README: 0.002 to 0.14 in the other valve runs
        ("valve1_4", 0.0015, 0.145),
        ("valve1_12", 0.0015, 0.0025),  # the least of them: 0.002
        ("valve1_14", 0.0015, 0.145),
        ("other_1", 0.105, 0.115),  # README: 0.01 to 0.11 in the runs with a leak; the most of them
        ("other_3", 0.005, 0.015),  # the least
        ("other_7", 0.245, 0.555),  # README: 0.25 to 0.55, where flow alone is not enough
    ],
)
def test_how_often_flow_is_higher_while_something_is_wrong(run: str, low: float, high: float) -> None:
    """README: the chance that an anomalous second has a higher flow than a normal one. A thousand rows, most equal."""
    rows = table(f"flow_testbed_valves/{run}")
    found = ranked_right(numbers(rows, "flow_l_min") / 200, numbers(rows, "anomaly"))
    assert found is not None
    assert low <= found <= high
