"""A canister's filling, suction back after a change or a trip, and the planner's answer. Numbers are invented."""

from __future__ import annotations

import math

import numpy as np
import pytest

from behaviour.equipment.a_fleet import NOW_MS
from behaviour.equipment.test_charge import found, past
from slackwater.equipment.back import BACK, LATE, NOT_BACK, UNKNOWN, WAITING, suction_back
from slackwater.equipment.canister import Amount, fill, why_no_fill
from slackwater.equipment.charge import run_time
from slackwater.equipment.trip import answer
from slackwater.errors import QuantityError
from slackwater.quantities.spans import MINUTE_MS

# --- filling --------------------------------------------------------------------------------------


def hourly(*ml: float, each_h: float = 1.0) -> list[Amount]:
    n = len(ml)
    return [Amount((k - n) * each_h, (k - n + 1) * each_h, one, one) for k, one in enumerate(ml)]


def test_at_a_steady_rate_it_is_full_when_arithmetic_says() -> None:
    """1200 mL left at 100 mL/h are 12 h (arithmetic)."""
    told = fill(hourly(100, 100, 100, 100), 2000.0, (800.0, 800.0))
    assert told.likely_h == pytest.approx(12.0) and told.ml_per_h == pytest.approx(100.0)
    assert told.earliest_h < 11.0 and told.latest_h > 13.0, "nothing varied, and yet the next hour may"


def test_since_its_level_was_known_it_went_on() -> None:
    """A level of five hours ago, 100 mL/h: 1200 mL left then are 700 now (arithmetic)."""
    old = [Amount(one.start_h - 5, one.end_h - 5, 100, 100) for one in hourly(1, 1, 1, 1)]
    now, aged = fill(hourly(100, 100, 100, 100), 2000.0, (800.0, 800.0)), fill(old, 2000.0, (800.0, 800.0), 5.0)
    assert aged.likely_h == pytest.approx(7.0) and aged.earliest_h == pytest.approx(now.earliest_h - 5.0)
    assert fill(old, 1300.0, (800.0, 800.0), 5.0).earliest_h == 0.0, "it may be full now"
    stale = [Amount(one.start_h - 6.5, one.end_h - 6.5, 100, 100) for one in hourly(1, 1, 1, 1)]
    assert "last 6 h" in (why_no_fill(stale, 2000.0, (800.0, 800.0)) or "") and why_no_fill(old, 2000.0, (0, 0)) is None


def test_what_varies_widens_it_and_a_level_in_doubt_too() -> None:
    even, uneven = fill(hourly(90, 110, 95, 105), 2000, (800, 800)), fill(hourly(20, 200, 40, 140), 2000, (800, 800))
    assert uneven.earliest_h < even.earliest_h < even.likely_h < even.latest_h < uneven.latest_h
    doubt = fill(hourly(90, 110, 95, 105), 2000, (700, 900))
    assert doubt.earliest_h < even.earliest_h and doubt.latest_h > even.latest_h
    assert fill(hourly(100, 100, 100), 500, (600, 600)).likely_h == 0.0, "it is full now"


def test_the_interval_holds_as_often_as_it_says() -> None:
    """400 invented canisters: lognormal hours about a rate of their own; 90 % is promised, 85 is asked."""
    rng, inside = np.random.default_rng(7), []
    for _ in range(400):
        rate, spread = rng.uniform(20, 200), rng.uniform(0.1, 0.5)
        ml = rate * rng.lognormal(-(spread**2) / 2, spread, 200)
        told = fill(hourly(*ml[:8]), 1500.0, (500.0, 500.0))
        full = float(np.searchsorted(np.cumsum(ml[8:]), 1000.0)) + 0.5
        inside.append(told.earliest_h - 0.5 <= full <= told.latest_h + 0.5)
    assert np.mean(inside) >= 0.85, np.mean(inside)


@pytest.mark.parametrize(
    ("amounts", "size", "level", "told"),
    [
        (hourly(50, 50, 50), None, (0.0, 0.0), "holds"),
        (hourly(50, 50, 50), 2000.0, None, "in it now"),
        (hourly(50, 50, 50), 2000.0, (0.0, math.inf), "in it now"),
        (hourly(50, 50), 2000.0, (0.0, 0.0), "fewer than 3"),
        (hourly(50, 50, 50, each_h=0.5), 2000.0, (0.0, 0.0), "over 2 h"),
        ([Amount(a.start_h - 30, a.end_h - 30, 50, 50) for a in hourly(1, 1, 1)], 2000.0, (0.0, 0.0), "fewer"),
    ],
)
def test_without_size_level_or_amounts_nobody_can_tell(
    amounts: list[Amount], size: float | None, level: tuple[float, float] | None, told: str
) -> None:
    why = why_no_fill(amounts, size, level)
    assert why is not None and told in why
    assert why_no_fill(hourly(50, 50, 50), 2000.0, (0.0, 0.0)) is None


def test_less_than_nothing_in_it_is_refused() -> None:
    with pytest.raises(QuantityError):
        fill(hourly(50, 50, 50), 2000.0, (-1.0, 5.0))


# --- suction back ---------------------------------------------------------------------------------

OFF, ON, GAP = 0.0, -20.0, math.nan


def back(
    pressures: list[float], since_min: float = 0.0, wanted: float = 20.0, now_min: float | None = None,
    within_s: float = 600.0,
) -> str:  # fmt: skip
    n = len(pressures)
    ends = NOW_MS + np.arange(1, n + 1, dtype=np.int64) * MINUTE_MS
    now = NOW_MS + round((n if now_min is None else now_min) * MINUTE_MS)
    since = NOW_MS + round(since_min * MINUTE_MS)
    return suction_back(ends, np.array(pressures), np.full(n, wanted), since, within_s, now).standing


def test_suction_is_back_in_time_late_or_not_at_all() -> None:
    assert back([OFF] * 4 + [ON] * 10) == BACK
    assert back([OFF] * 12 + [ON] * 3) == LATE
    assert back([OFF] * 15) == NOT_BACK
    assert back([-5.0] * 15) == NOT_BACK, "a little suction is not what was ordered"
    assert back([-16.0] * 15) == BACK, "four fifths of it are"


def test_before_the_time_is_over_it_waits_and_missing_minutes_decide_nothing() -> None:
    assert back([OFF] * 5) == WAITING
    assert back([OFF] * 5 + [ON], now_min=5) == WAITING, "what is recorded later is not looked at"
    assert back([OFF] * 5 + [GAP] * 10) == UNKNOWN
    assert back([GAP] * 15) == UNKNOWN
    assert back([GAP] * 5 + [ON]) == BACK, "it was back in time, however it was before"
    assert back([OFF] * 5 + [GAP] * 6 + [ON]) == UNKNOWN, "it may have been back in the gap, or not"
    assert back([ON] * 15, wanted=math.nan) == UNKNOWN
    assert back([], now_min=15) == UNKNOWN


@pytest.mark.parametrize("within_s", [30.0, 60.0, 90.0, 300.0])
@pytest.mark.parametrize("off_s", [0, 1, 30, 59])
def test_suction_that_never_went_was_never_late(within_s: float, off_s: int) -> None:
    """A minute that begins in the time allowed is in time; where none does, nobody can tell."""
    told = back([ON] * 30, since_min=5 + off_s / 60, within_s=within_s)
    begins_after = (60 - off_s) % 60
    assert told == (BACK if begins_after <= within_s else UNKNOWN)
    assert back([OFF] * 30, since_min=5 + off_s / 60, within_s=within_s) == (
        NOT_BACK if begins_after <= within_s else UNKNOWN
    )


@pytest.mark.parametrize("lost", range(14))
def test_losing_a_minute_moves_it_only_towards_cannot_tell(lost: int) -> None:
    for whole in ([OFF] * 4 + [ON] * 10, [OFF] * 12 + [ON] * 2, [OFF] * 14):
        told = back(whole)
        holed = back([GAP if k == lost else one for k, one in enumerate(whole)])
        assert holed in (told, UNKNOWN)


# --- the planner ----------------------------------------------------------------------------------


def test_the_charge_covers_it_does_not_or_nobody_can_tell() -> None:
    """0.3 % a minute, never seen below some 60 %: 90 % last 300 min at most (arithmetic), of which 30 % are seen."""
    runs = run_time(found(past(np.random.default_rng(3), 10, 0.3)), NOW_MS)
    lasts = runs.minutes_from(90.0)
    assert 50 < runs.lowest < 70 and lasts.low < (90 - runs.lowest) / 0.3 < lasts.high
    assert f"cannot tell below {runs.lowest} %" in answer(90.0, runs, "", 50.0, "m").because
    for needed, said in (
        (lasts.low, "charge covers it"), (lasts.low + 1, "cannot tell"), (290.0, "cannot tell"),
        (500.0, "charge does not cover it"),
    ):  # fmt: skip
        told = answer(90.0, runs, "", needed, "planned time x 2 + 30 min")
        assert told.says == said and f"{needed:.0f} min" in told.because
    low = answer(runs.lowest - 5.0, runs, "", 50.0, "m")
    assert low.says == "cannot tell" and "lasts about" not in low.because, "a battery may fall off sharply down there"
    assert answer(90.0, runs, "", None, "").because == "this rule gives no margin for a trip"
    assert answer(None, runs, "", 110.0, "m").says == "cannot tell"
    assert "no discharges" in answer(90.0, None, "no discharges", 110.0, "m").because


def test_it_never_says_go() -> None:
    from slackwater.equipment.trip import SAYS

    assert not any(word in text.split() for text in SAYS.values() for word in ("go", "safe", "ready", "yes", "ok"))
