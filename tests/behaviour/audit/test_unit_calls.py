"""Figures of units' signals. Outside checks: exact intervals against scipy's own test, Kaplan-Meier by hand."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from slackwater.audit.unit_calls import Stay, attended, clipped, figures, rate_ratio, repeats, within
from slackwater.quantities.spans import DAY_MS, MINUTE_MS
from slackwater.store.calls import Call

BEGAN = int(datetime(2041, 3, 7, tzinfo=UTC).timestamp() * 1000)


def call(minute: float, kind: str = "line_blocked", drain: str = "a", **more: Any) -> Call:
    told = {name: BEGAN + round(at * MINUTE_MS) for name, at in more.items() if name.endswith("_ms") and at is not None}
    return Call(drain, kind, BEGAN + round(minute * MINUTE_MS), **{**more, **told})


def stays(days: float = 2.0, *drains: str) -> list[Stay]:
    return [Stay(one, BEGAN, BEGAN + round(days * DAY_MS)) for one in drains or ("a", "b")]


def test_a_rate_with_its_exact_interval() -> None:
    """3 in 4 drain-days: Garwood's interval of 3, 0.6187 to 8.7673 (tables of the Poisson distribution, from memory,
    and scipy's chi-squared), over 4."""
    found = figures([call(5), call(100), call(300, drain="b")], stays(), UTC)
    assert (found.calls, found.drain_days, found.per_day.value) == (3, 4.0, 0.75)
    stats = pytest.importorskip("scipy.stats")
    low, high = stats.chi2.ppf(0.025, 6) / 2, stats.chi2.ppf(0.975, 8) / 2
    assert (low, high) == (pytest.approx(0.6187, abs=1e-4), pytest.approx(8.7673, abs=1e-4))
    assert found.per_day.low == pytest.approx(low / 4) and found.per_day.high == pytest.approx(high / 4)


def test_none_known_is_shown_with_how_many_there_may_be() -> None:
    """0 in n: exact two-sided upper bound -ln(0.025) (arithmetic)."""
    found = figures([], stays(), UTC)
    assert found.per_day.value == 0.0 and found.per_day.high == pytest.approx(3.6889 / 4, abs=1e-4)
    assert figures([], [], UTC).per_day.value is None, "nothing exposed is not a rate of none"


def test_a_repeat_is_of_one_kind_at_one_drain_within_ten_minutes_of_the_end() -> None:
    told = [
        call(0, until_ms=3), call(13), call(13, "tilted"), call(12, drain="b"), call(23), call(33.1),
        call(400, until_ms=500), call(509),
    ]  # fmt: skip
    # 13 is 10 min after 3 ended; 23 is 10 after 13 began (no end known); 33.1 is more; 509 is 9 after 500
    assert repeats(told) == {("a", "line_blocked"): 3}


def test_time_to_attend_counts_those_nobody_came_to_as_waiting() -> None:
    """By hand (Kaplan-Meier): came after 2, 4 and 9 min; one ended alone after 3; one of which nothing is known.
    S(2) = 3/4, S(4) = 3/4 * 1/2 = 3/8 <= 1/2: median 4."""
    told = [call(0, attended_ms=2), call(0, attended_ms=4), call(0, attended_ms=9), call(0, until_ms=3), call(0)]
    found = attended(told)
    assert (found.came, found.ended_alone, found.untold, found.median.value) == (3, 1, 1, 4.0)
    nobody = attended([call(0, until_ms=3), call(0, until_ms=30)])
    assert nobody.median.value is None and nobody.came == 0


def test_attended_is_not_put_right() -> None:
    open_ = call(0, attended_ms=2)
    found = figures([open_, call(50, attended_ms=51, until_ms=55), call(90, attended_ms=91, action="straightened")],
                    stays(), UTC)  # fmt: skip
    assert found.unresolved == (open_,)


def test_causes_stand_in_order_and_the_unwritten_are_counted() -> None:
    told = [call(k, cause=cause) for k, cause in enumerate(["kink", "clot", "kink", None, "filter_wet"])]
    found = figures(told, stays(), UTC)
    assert [(one.word, one.count) for one in found.causes] == [("kink", 2), ("clot", 1), ("filter_wet", 1)]
    assert found.no_cause == 1 and sum(found.hours) == 5 and found.hours[0] == 5


def test_only_what_fell_into_a_stay_counts() -> None:
    told = [call(-1), call(0), call(2 * 24 * 60), call(5, drain="nobody")]
    assert within(told, stays()) == (told[1],)
    half = clipped(stays(), BEGAN + DAY_MS, BEGAN + 10 * DAY_MS)
    assert [one.to_ms - one.from_ms for one in half] == [DAY_MS, DAY_MS]


def test_before_and_after_against_the_exact_test() -> None:
    """scipy.stats.binomtest is the outside check: a side of the interval excludes 1 just where its p is below 0.025."""
    stats = pytest.importorskip("scipy.stats")
    for first, second in ((10, 2), (12, 4), (9, 9), (30, 14), (3, 0), (0, 4)):
        found = rate_ratio((first, 20.0), (second, 20.0))
        assert found.low is not None
        p_low = stats.binomtest(second, first + second, 0.5, alternative="less").pvalue
        assert (found.high is not None and found.high < 1.0) == (p_low < 0.025)
    twice = rate_ratio((10, 10.0), (20, 10.0))
    assert twice.value == pytest.approx(2.0)
    assert rate_ratio((10, 10.0), (20, 20.0)).value == pytest.approx(1.0), "per drain-day, not per signal"
    assert rate_ratio((0, 10.0), (0, 10.0)).value is None and rate_ratio((2, 0.0), (2, 1.0)).value is None
