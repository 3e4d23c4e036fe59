"""The bench-top: each deed does to the trace what it does to a drain, and a later one changes nothing before it."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.errors import UsageError
from slackwater.teach.bench import LONGEST_MIN, START, Bench, bench

FIRST = 60  # minutes of the start


def done(*deeds: str) -> Bench:
    return bench((*START, *deeds))


def flow(one: Bench, first: int = FIRST) -> np.ndarray:
    leak = one.found().leak_trace
    assert leak is not None
    return leak.minutes.flow[first : one.minute]


@pytest.fixture(scope="module")
def steady() -> float:
    return float(flow(bench(START), 30).mean())


def test_less_suction_gives_less_flow_of_the_same_lung(steady: float) -> None:
    """Flow goes with the drive: near 8/20 of it, breathing's own part added (evidence: physics of a leak, DERIVED)."""
    assert flow(done("suction:8", "wait:15"))[3:].mean() == pytest.approx(steady * 8 / 20, rel=0.25)


@pytest.mark.parametrize(("deed", "reason"), [("clamp", "clamped"), ("apart", "disconnected"), ("off", "off")])
def test_what_shuts_or_opens_the_way_is_told_apart(deed: str, reason: str) -> None:
    assert done(deed, "wait:15").found().leak.reason == reason


def test_a_kink_takes_flow_and_swing() -> None:
    one = done("kink", "wait:15")
    leak = one.found().leak_trace
    assert leak is not None
    assert np.abs(flow(one)[1:]).max() < 3.0
    assert one.stay.truth.swing_cmh2o[one.minute - 1] < 0.1
    assert np.nanmean(leak.breath.swing[FIRST + 2 : one.minute]) < 0.5 * np.nanmean(leak.breath.swing[10:FIRST])


def test_undone_it_flows_again(steady: float) -> None:
    assert flow(done("kink", "wait:15", "straighten", "wait:60"))[-15:].mean() == pytest.approx(steady, rel=0.4)


def test_a_cough_is_a_burst_and_a_walk_is_more_air() -> None:
    cough = done("cough", "wait:5").found().leak_trace
    assert cough is not None
    assert cough.minutes.flow_max[FIRST] > 2 * cough.minutes.flow_max[FIRST - 5 : FIRST].max()
    walked = flow(done("walk", "wait:15"))
    assert walked[1:9].mean() > 1.15 * walked[15:].mean()


def test_a_larger_leak_flows_more() -> None:
    assert flow(done("leak:150", "wait:15"))[3:].mean() > 1.8 * flow(done("wait:15"))[3:].mean()


def test_a_later_deed_changes_nothing_that_was_recorded_before_it() -> None:
    before = flow(done("wait:15"), 0)
    after = flow(done("wait:15", "leak:600", "cough", "clamp", "wait:15"), 0)
    assert np.array_equal(before, after[: len(before)], equal_nan=True)


def test_the_truth_beside_it_is_the_simulator_s() -> None:
    assert "about 150 mL/min at 20 cmH2O" in done("leak:150", "wait:60").truth
    assert "not open" in done("clamp", "wait:5").truth


@pytest.mark.parametrize(
    ("deeds", "says"),
    [
        (("suction:35",), "nobody can 'suction:35'"),
        (("suction:20",), "0 minutes at the bench"),
        (("wait:60",) * (LONGEST_MIN // 60 + 1), "540 minutes"),
        (("cough",) * 81, "more than 80 deeds"),
    ],
)
def test_what_cannot_be_done_is_refused(deeds: tuple[str, ...], says: str) -> None:
    with pytest.raises(UsageError, match=says):
        bench(deeds)
