"""A forecast agrees with itself, over many leaks and rules: safety invariant M31 (ours), item by item.

M31e, nothing beyond the horizon that was tried: test_air.py and test_whole_forecast.py.
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from behaviour.leak_filter.made_minutes import made_minutes
from slackwater.forecast.air import AirClause, Times, air_times, calibrated
from slackwater.forecast.habit import Habit, habit_of, keeps_clause, shares_ahead
from slackwater.leak.filter.model import shipped_model
from slackwater.leak.filter.run import Floats, Seen, run_filter
from slackwater.leak.filter.trend import chain

MODEL = shipped_model()
LINKS = chain(MODEL.trend)
HOURS = np.arange(36 * 60) / 60.0
TRIED_MIN = 48 * 60
EARLIER_SHARE, EARLIER_MIN = 0.6, 60.0  # the stated tolerance of M31d, for past flows up to doubled
COURSES: dict[str, Floats] = {
    "slow": 200.0 * np.exp(-0.03 * HOURS),
    "middling": 400.0 * np.exp(-0.06 * HOURS),
    "fast": 600.0 * np.exp(-0.08 * HOURS),
    "flat": np.full(len(HOURS), 60.0),
    "in steps": np.select([HOURS < 12, HOURS < 24], [300.0, 150.0], 80.0),
    "rising": 60.0 * np.exp(0.02 * HOURS),
    "gone for two hours": np.where(HOURS < 34, 80.0, 0.0),
    "coming and going": np.where(HOURS % 2 < 1, 90.0, 0.0),
}
CLAUSES = {
    "20, every reading, 8 h": AirClause(20.0, 480),
    "50, means, 8 h": AirClause(50.0, 480, 10),
    "20, every reading, 4 h": AirClause(20.0, 240),
}
clauses = pytest.mark.parametrize("clause", CLAUSES.values(), ids=CLAUSES.keys())
courses = pytest.mark.parametrize("course", COURSES)


def habit(given: Seen, clause: AirClause, hour: float | None) -> Habit:
    first = None if hour is None else hour - len(given) / 60.0
    softness = MODEL.trend.softness_ml_per_min
    return habit_of(given, given.high, clause.limit_ml_per_min, softness, MODEL.record, first)


def forecast(flow: Floats, clause: AirClause, hour: float | None = 10.0) -> Times:
    given = made_minutes(flow.tolist(), step=2.0)
    within = given.high <= clause.limit_ml_per_min
    broken = np.flatnonzero(~within)
    run = min(len(given) - 1 - int(broken[-1]) if len(broken) else len(given), clause.lasting_min - 1)
    state, own = run_filter(given, ()).trend_state, habit(given, clause, hour)
    return air_times(state, MODEL, LINKS, 20.0, clause, own, float(run), hour=hour, horizon_min=TRIED_MIN)


@cache
def shown(course: str, clause: AirClause, hour: float | None) -> Times:
    return calibrated(forecast(COURSES[course], clause, hour), MODEL.calibration_for(clause.bin_min))


def median_min(times: Times) -> float:
    """Nothing is said beyond the horizon that was tried: as late as that."""
    middle = times.quantile(0.5)
    return float(TRIED_MIN) if middle is None else middle


@courses
@clauses
@pytest.mark.parametrize("hour", [None, 3.0, 10.0, 20.0])
def test_m31a_the_chance_never_falls_with_time(course: str, clause: AirClause, hour: float | None) -> None:
    times = shown(course, clause, hour)
    assert (np.diff(times.minutes) > 0).all()
    assert (np.diff(times.chance) >= 0).all()
    assert 0.0 <= times.chance[0] <= times.chance[-1] <= 1.0


@courses
@clauses
@pytest.mark.parametrize("hour", [None, 3.0, 10.0, 20.0])
def test_m31b_quantiles_never_cross(course: str, clause: AirClause, hour: float | None) -> None:
    times = shown(course, clause, hour)
    quantiles = [times.quantile(share) for share in (0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)]
    known = [minutes for minutes in quantiles if minutes is not None]
    assert known == sorted(known)
    assert quantiles[len(known) :] == [None] * (len(quantiles) - len(known))
    for share, minutes in zip((0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95), quantiles, strict=True):
        assert minutes is None or times.by(minutes) >= share


@clauses
@pytest.mark.parametrize("hour", [None, 10.0, 21.0])
@pytest.mark.parametrize("course", ["", "slow", "fast", "flat", "coming and going"])
def test_m31c_the_mean_of_the_next_chance_is_the_present_one(
    course: str, clause: AirClause, hour: float | None
) -> None:
    """Under the filter's own chain, exactly: over what the record may show in the next block; '': at connection.

    States that scarcely keep the clause are taken never to, and runs are kept in single precision: that is all.
    """
    given = made_minutes(COURSES[course].tolist() if course else [], step=2.0)
    state = run_filter(given, ()).trend_state
    own = habit(given, clause, hour)
    rows = keeps_clause(LINKS, 20.0, clause.limit_ml_per_min, own, MODEL.record)
    quiet = rows[shares_ahead(own, 1, hour, MODEL.record)[0]]

    def times(share: Floats, run_min: float, hour: float | None, blocks: int) -> Times:
        return air_times(
            share / share.sum(), MODEL, LINKS, 20.0, clause, own, run_min, hour=hour, horizon_min=blocks * 10
        )

    today = times(state, 0.0, hour, 288)
    moved = state @ LINKS.passes
    later = None if hour is None else hour + 1 / 6
    parts = ((moved * quiet, 10.0), (moved * (1.0 - quiet), 0.0))
    for after_h in (6, 12, 24, 36):
        mean = sum(float(share.sum()) * times(share, run, later, 287).by(after_h * 60.0 - 10.0) for share, run in parts)
        assert mean == pytest.approx(today.by(after_h * 60.0), abs=1e-4)


@clauses
@pytest.mark.parametrize("times", [1.3, 2.0])
@pytest.mark.parametrize(("first_h", "end_h"), [(0, 6), (0, 18), (6, 18)])
@pytest.mark.parametrize("course", ["slow", "middling", "fast", "flat", "in steps", "rising"])
def test_m31d_larger_flows_in_the_past_alone_hasten_the_forecast_little(
    course: str, first_h: int, end_h: int, times: float, clause: AirClause
) -> None:
    """A steeper past is some reason to expect a steeper fall; how much of one is bounded, as speeds of healing are."""
    flow = COURSES[course]
    raised = np.where((first_h <= HOURS) & (end_h > HOURS), flow * times, flow)
    before, after = (median_min(forecast(one, clause)) for one in (flow, raised))
    assert after >= EARLIER_SHARE * before - EARLIER_MIN


@clauses
@pytest.mark.parametrize("course", ["slow", "middling", "fast", "flat", "in steps"])
def test_m31d_larger_flows_up_to_now_never_hasten_it(course: str, clause: AirClause) -> None:
    chances = [
        [forecast(COURSES[course] * times, clause).by(hours * 60.0) for hours in (12, 24, 36, 48)]
        for times in (1.0, 1.5, 3.0)
    ]
    for less, more in pairwise(chances):
        assert all(b <= a + 0.01 for a, b in zip(less, more, strict=True))
