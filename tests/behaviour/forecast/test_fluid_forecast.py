"""When will the fluid clause hold: from what was charted, or not at all."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.forecast.air import MET_NOW
from slackwater.forecast.fluid import Charted, fluid_times, why_withheld


def charted(rate_ml_per_h: float, *, fades_per_h: float = 0.0, hours: int = 36, every: int = 4) -> list[Charted]:
    return [
        Charted(-end - every, -end, every * rate_ml_per_h * float(np.exp(fades_per_h * (end + every / 2))))
        for end in range(0, hours, every)
    ]


def test_too_few_entries_give_no_forecast() -> None:
    assert why_withheld(charted(10.0)[:2]) == "fewer than 3 amounts of fluid are charted"


def test_too_short_a_record_gives_no_forecast() -> None:
    short = [Charted(-3.0 + k, -2.0 + k, 10.0) for k in range(3)]
    assert why_withheld(short) == "fluid is charted over less than 6 h"


def test_enough_gives_one() -> None:
    assert why_withheld(charted(10.0)) is None


def test_a_total_far_below_the_limit_is_met_at_once() -> None:
    assert fluid_times(charted(2.0), 300.0, 24.0) is MET_NOW


def test_a_falling_rate_meets_the_limit_sooner_than_a_steady_one() -> None:
    falling, steady = charted(14.0, fades_per_h=0.05), charted(20.0)
    assert fluid_times(falling, 300.0, 24.0).by(24 * 60.0) > fluid_times(steady, 300.0, 24.0).by(24 * 60.0)


def test_a_rate_that_falls_as_charted_meets_the_limit_about_when_arithmetic_says() -> None:
    """20 mL/h now, halving in 14 h: over (t - 24, t] the total is 20 / 0.05 · e^(-0.05 t) · (e^1.2 - 1)."""
    times = fluid_times(charted(20.0, fades_per_h=0.05, hours=48), 300.0, 24.0)
    due_h = np.log(20.0 / 0.05 * (np.exp(1.2) - 1) / 300.0) / 0.05
    median = times.quantile(0.5)
    assert median is not None
    assert median / 60.0 == pytest.approx(due_h, abs=6.0)


def test_chances_never_fall() -> None:
    times = fluid_times(charted(30.0), 300.0, 24.0)
    assert (np.diff(times.chance) >= 0).all()
    assert 0.0 <= times.chance[0] <= times.chance[-1] <= 1.0


def test_a_higher_limit_is_met_no_later() -> None:
    entries = charted(22.0)
    for hours in (6, 12, 24, 48):
        assert fluid_times(entries, 450.0, 24.0).by(hours * 60.0) >= fluid_times(entries, 300.0, 24.0).by(hours * 60.0)
