"""What was foretold during past stays is kept as it was told then, and held against what came. All data invented."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import polars
import pytest

from behaviour.audit.past import HOUR_MS, judged, rule
from slackwater.assessment.assess import assess
from slackwater.assessment.assessment import Assessment
from slackwater.audit.borne_out import BorneOut, borne_out, bounded
from slackwater.audit.case import Outcome
from slackwater.audit.cohort import Cohort, read_case
from slackwater.audit.collect import How, Job, collect
from slackwater.audit.figures import Figure, Rules
from slackwater.audit.forecasts import CHANCES, QUANTILES, SCHEMA, came_of, forecasts_table
from slackwater.audit.measures import Asked, measured
from slackwater.audit.measuring import forecasts_kept
from slackwater.audit.shelf import Folder
from slackwater.audit.statistics.calibration import brier, slope
from slackwater.audit.statistics.estimate import Estimate
from slackwater.audit.statistics.told_times import brier_by, came_by, slope_by, weights_by
from slackwater.audit.stays import Stay
from slackwater.episode.chart import chart_of
from slackwater.protocol.status import Status
from slackwater.store.read_out import until

TOLD = ("moment_ms", "data_until_ms", "whose", "measure", "held", *QUANTILES, *CHANCES, "withheld_because", "horizon_h")
NOT_MET, UNTOLD, MET = int(Status.NOT_MET), int(Status.CANNOT_TELL), int(Status.MET)


@cache
def stay(name: str = "healing", hours: float = 60.0) -> Assessment:
    found = judged(name, 3, 0.0, hours)
    assert found.trace is not None
    return assess(found.trace.logs, chart=found.chart, episode=found.episode, protocol=rule("strict-local"))


def kept(found: Assessment, by_ms: int = 0) -> polars.DataFrame:
    assert found.facts.connected_ms is not None
    return forecasts_table(found, found.facts.connected_ms, found.as_of_ms, by_ms)


# --- what is kept ----------------------------------------------------------------------------------


def test_every_12_h_while_in_each_clause_that_can_be_forecast_and_all_of_them() -> None:
    """60 h: at 12, 24, 36 and 48 h, not at the end. Film and oxygen wait on a person and are not forecast."""
    found = kept(stay())
    start = stay().facts.connected_ms or 0
    assert sorted({(at - start) / HOUR_MS for at in found["moment_ms"]}) == [12.0, 24.0, 36.0, 48.0]
    assert set(found["whose"]) == {"air", "fluid", "day", "whole"}
    assert found.filter(polars.col("measure").is_null())["whose"].unique().to_list() == ["whole"]


@pytest.mark.parametrize("moment_h", [12, 24, 36])
def test_nothing_later_is_in_what_was_told(moment_h: int) -> None:
    """The log and the chart cut at the moment, as if nothing had ever come after: the same row, to the last digit."""
    found = stay()
    assert found.trace is not None and found.facts.connected_ms is not None
    moment = found.facts.connected_ms + moment_h * HOUR_MS
    logs = [until(log, moment) for log in found.trace.logs]
    rows = [one for one in (*found.chart.entries, *found.chart.repeats) if max(one.time, one.recorded) <= moment]
    cut = assess(logs, chart=chart_of(rows), episode=found.episode, protocol=rule("strict-local"), now_ms=moment)
    then = forecasts_table(cut, found.facts.connected_ms, moment + 1).filter(polars.col("moment_ms") == moment)
    whole = kept(found).filter(polars.col("moment_ms") == moment)
    assert len(whole) == 4 and whole.select(TOLD).equals(then.select(TOLD))
    assert not whole.select("came_h", "followed_h").equals(then.select("came_h", "followed_h"))


def test_it_is_what_the_program_tells_at_that_moment() -> None:
    found = stay()
    moment = (found.facts.connected_ms or 0) + 24 * HOUR_MS
    assert found.trace is not None
    then = assess(
        found.trace.logs, chart=found.chart, episode=found.episode, protocol=rule("strict-local"), now_ms=moment
    ).forecast
    assert then is not None and then.whole.quantiles is not None and then.whole.probability_by_hours is not None
    row = kept(found).row(
        by_predicate=(polars.col("moment_ms") == moment) & (polars.col("whose") == "whole"), named=True
    )
    assert [row[f"{name}_h"] for name in then.whole.quantiles] == list(then.whole.quantiles.values())
    assert [row[f"by_{hours}h"] for hours in then.whole.probability_by_hours] == list(
        then.whole.probability_by_hours.values()
    )


def test_moved_in_time_nothing_but_the_times_changes() -> None:
    by_ms = -9 * 24 * HOUR_MS + 7 * 60_000
    times = polars.col("moment_ms", "data_until_ms")
    assert kept(stay(), by_ms).equals(kept(stay()).with_columns(times + by_ms))


def test_where_no_rule_for_removal_judges_it_nothing_is_foretold() -> None:
    assert kept(judged("healing", 3, 0.0, 30.0)).is_empty()


@pytest.mark.parametrize(
    ("codes", "base_min", "expected"),
    [
        ([NOT_MET] * 120 + [MET] * 60, 30, (91 / 60, None, 91 / 60)),  # first held at the end of the 121st minute
        ([NOT_MET] * 120 + [UNTOLD] * 30 + [MET] * 30, 60, (91 / 60, None, 61 / 60)),  # silent for half an hour before
        ([NOT_MET] * 180, 60, (None, 2.0, 2.0)),  # followed to the end
        ([NOT_MET] * 100 + [UNTOLD] * 20 + [NOT_MET] * 60, 60, (None, 2.0, 41 / 60)),
        ([NOT_MET] * 100 + [UNTOLD] * 80, 60, (None, 40 / 60, 40 / 60)),  # the record stops telling: no further
        ([MET] * 180, 60, (0.0, None, 0.0)),  # looking back it held already
    ],
)
def test_when_it_came_by_hand(codes: list[int], base_min: int, expected: tuple[float | None, ...]) -> None:
    """Codes stand at the ends of minutes; told at the end of minute `base_min`."""
    found = stay()
    start = found.facts.grid_start_ms
    came = came_of(found, np.array(codes, np.int8), start + base_min * 60_000, start + 180 * 60_000)
    told = (came.came_h, came.followed_h, came.not_before_h)
    assert told == tuple(None if one is None else pytest.approx(one) for one in expected)


@dataclass(frozen=True)
class ARuledStay:
    """Must pickle."""

    def __call__(self, zone: str) -> Stay:
        found = stay()
        assert found.evaluation is not None
        return Stay("d", "p", found, Outcome(found.as_of_ms, "planned"), "W1", ("strict-local", "0" * 64))


def test_a_cohort_keeps_them_unless_they_are_left_out(tmp_path: Path) -> None:
    for name, forecasts in (("with", True), ("without", False)):
        how = How(Folder(tmp_path / name), bytes(range(16)), "UTC", forecasts=forecasts)
        *_, cohort = collect([Job("d", 1, ARuledStay())], how)
        assert isinstance(cohort, Cohort)
        there = f"drain={cohort.drains[0]}/forecasts.parquet" in set(cohort.shelf.names())
        assert there is forecasts
        case = read_case(cohort.shelf, cohort.drains[0])
        found = forecasts_kept(cohort, [measured(case, rule("strict-local"), Asked())])
        if found is None:
            assert not forecasts
            continue
        # moved with the stay: 12 h, 24 h, ... after its connection in the one week
        assert sorted({(at - case.from_ms) / HOUR_MS for at in found["moment_ms"]}) == [12.0, 24.0, 36.0, 48.0]
        assert found.select(QUANTILES).equals(kept(stay()).select(QUANTILES))


# --- against what came -----------------------------------------------------------------------------

ALL, FIVE = Rules(fewest=0, draws=60), Rules(fewest=5, draws=60)


def past(n: int, told_rate: float, *, seed: int = 4, per_drain: int = 3, cut_h: float = 60.0) -> polars.DataFrame:
    """n drains: it comes at 0.03 an hour, or the drain is out first; told as if at `told_rate`, times 0.6 to 1.7."""
    chance = np.random.default_rng(seed)
    rows: list[dict[str, Any]] = []
    shares = {"q05": 0.05, "q10": 0.1, "q25": 0.25, "q50": 0.5, "q75": 0.75, "q90": 0.9, "q95": 0.95}
    for _ in range(n):
        for moment in range(per_drain):
            own = float(chance.uniform(0.6, 1.7))
            time, out = chance.exponential(1 / (0.03 * own)), chance.exponential(cut_h)
            hours = {f"{name}_h": -np.log(1 - share) / (told_rate * own) for name, share in shares.items()}
            rows.append({
                "moment_ms": moment, "data_until_ms": moment, "whose": "whole", "measure": None, "held": False,
                **{name: at if at <= 48.0 else None for name, at in hours.items()},
                **{f"by_{h}h": 1 - np.exp(-told_rate * own * h) for h in (6, 12, 24, 48)},
                "withheld_because": None, "horizon_h": 48.0, "came_h": time if time <= out else None,
                "followed_h": None if time <= out else out, "not_before_h": min(time, out), "numbers": "invented",
            })  # fmt: skip
    frame = polars.DataFrame(rows, schema=SCHEMA)
    whose = polars.Series([f"d{k // per_drain}" for k in range(len(rows))])
    return frame.with_columns(whose.alias("drain"), whose.alias("patient"))


def figure(told: BorneOut, key: str) -> Figure:
    return next(one for one in told.groups[0].figures if one.key == f"forecast_whole_{key}")


def test_forecasts_that_are_right_are_borne_out_though_a_third_of_the_drains_is_out_first() -> None:
    told = borne_out(past(400, 0.03), 400, ALL)
    assert (told.groups[0].forecasts, told.groups[0].drains, told.without) == (1200, 400, 0)
    for hours in (6, 12, 24, 48):
        off = figure(told, f"off_{hours}h").estimate
        assert off.low is not None and off.high is not None and off.low < 0.0 < off.high
    steep = figure(told, "slope_24h").estimate
    assert steep.low is not None and steep.high is not None and steep.low < 1.0 < steep.high
    least, most = (figure(told, f"inside_{word}").estimate.value for word in ("at_least", "at_most"))
    assert least is not None and most is not None
    by_itself = figure(told, "inside_at_least").note  # more than 80 %, for many a range ends beyond the horizon
    assert least < float(by_itself.split("should be ")[1].split(" %")[0]) < most
    assert figure(told, "by_q50").estimate.value == pytest.approx(50.0, abs=5.0)
    for mark in told.groups[0].marks:
        assert mark.came.low is not None and mark.came.high is not None and mark.told is not None
        assert mark.came.low - 6.0 < mark.told < mark.came.high + 6.0


def test_forecasts_that_are_too_slow_show_it() -> None:
    """Told at half the rate at which it came: more came than was told, and half of it by less than half the chance."""
    told = borne_out(past(400, 0.015), 400, ALL)
    off = figure(told, "off_24h").estimate
    assert off.low is not None and off.low > 5.0
    half = figure(told, "by_q50").estimate.value
    assert half is not None and half > 60.0


def test_what_held_already_or_was_withheld_is_counted_and_judged_nowhere() -> None:
    whole = past(40, 0.03)
    first = polars.int_range(polars.len()) < 30
    again = whole.with_columns(
        held=first,
        withheld_because=polars.when(~first & (polars.int_range(polars.len()) < 60)).then(polars.lit("thin")),
    )
    told = borne_out(again, 41, ALL)
    assert (told.groups[0].forecasts, told.groups[0].held, told.without) == (60, 30, 1)
    assert told.withheld == (("thin", 30, 10),)


def test_few_drains_are_kept_back_however_many_forecasts_they_have() -> None:
    few = borne_out(past(4, 0.03, per_drain=30), 4, FIVE)
    assert few.groups[0].drains is None and not few.groups[0].figures and not few.groups[0].marks
    some = borne_out(past(12, 0.03), 12, FIVE)
    shown = [mark for mark in some.groups[0].marks if mark.drains is not None]
    assert all(mark.drains is not None and mark.drains >= 10 for mark in shown)
    assert any(mark.drains is None and mark.told is None and mark.forecasts is None for mark in some.groups[0].marks)


def test_intervals_are_of_drains_and_not_of_their_forecasts() -> None:
    """The same forecast told ten times over tells no more than once."""
    once = past(80, 0.03, per_drain=1)
    ten = polars.concat([once] * 10)
    one, other = (figure(borne_out(part, 80, ALL), "off_24h").estimate for part in (once, ten))
    assert (one.low, one.high) == (pytest.approx(other.low), pytest.approx(other.high))


def test_a_cohort_without_forecasts_says_so() -> None:
    told = borne_out(None, 7, ALL)
    assert told.why.startswith("No forecasts are in this cohort") and told.without == 7 and not told.groups


def test_none_of_a_few_has_the_exact_bound_and_not_an_interval_of_nothing() -> None:
    """Rule of three, near enough: none of 30 may still be 9.5 %. Evidence 81."""
    told = bounded(Estimate(0.0, 0.0, 0.0, 0.95, "x"), 30)
    assert (told.low, told.high) == (0.0, pytest.approx(9.5, abs=0.05))
    assert bounded(Estimate(100.0, 100.0, 100.0, 0.95, "x"), 30).low == pytest.approx(90.5, abs=0.05)


# --- the statistics, where nobody leaves and where some do -------------------------------------------


def test_without_anybody_leaving_they_are_the_plain_ones() -> None:
    chance = np.random.default_rng(2)
    told = chance.uniform(0.05, 0.95, 300)
    time = np.where(chance.uniform(size=300) < told, 10.0, 30.0)
    ended, came = np.ones(300, np.bool_), (time <= 24.0).astype(float)
    assert brier_by(told, time, ended, 24.0) == pytest.approx(brier(told, came))
    assert slope_by(told, time, ended, 24.0) == pytest.approx(slope(told, came).value)
    assert came_by(time, ended, 24.0) == pytest.approx(came.mean())
    assert weights_by(time, ended, 24.0) == pytest.approx(np.ones(300))


def test_with_many_leaving_they_are_near_those_of_all() -> None:
    """Simulated with a known truth; those who leave before are dropped by the plain score, which is then off."""
    chance = np.random.default_rng(3)
    rate = chance.uniform(0.01, 0.06, 20_000)
    time, out = chance.exponential(1 / rate), chance.exponential(30.0, 20_000)
    told = 1 - np.exp(-0.8 * rate * 24.0)
    truth = brier(told, (time <= 24.0).astype(float))
    seen, ended = np.minimum(time, out), time <= out
    assert brier_by(told, seen, ended, 24.0) == pytest.approx(truth, abs=0.002)
    assert slope_by(told, seen, ended, 24.0) == pytest.approx(slope(told, (time <= 24.0).astype(float)).value, abs=0.08)
    assert came_by(seen, ended, 24.0) == pytest.approx((time <= 24.0).mean(), abs=0.01)
    known = ended & (seen <= 24.0) | (seen >= 24.0)
    assert abs(brier(told[known], (time[known] <= 24.0).astype(float)) - truth) > 0.005


def test_nobody_followed_so_far_tells_nothing() -> None:
    assert np.isnan(weights_by([5.0, 6.0], [True, False], 24.0)).all()
    assert np.isnan(came_by([5.0, 6.0], [True, False], 24.0))
