"""Published durations of leak after lobectomy, held to by the preset (courses only)."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.simulate.lobectomy import first_flows_ml_per_min, leak_durations_days


@pytest.mark.parametrize("seed", range(20))
def test_centiles_among_leakers_lie_within_a_fifth_of_the_published_ones(seed: int) -> None:
    # Okereke, Ann Thorac Surg 2005;79:1167: 1.6 / 3 / 7 days
    days = leak_durations_days(4000, np.random.default_rng(seed))
    p10, p50, p90 = np.percentile(days[days > 0.0], (10, 50, 90))
    assert p10 == pytest.approx(1.6, rel=0.2)
    assert p50 == pytest.approx(3.0, rel=0.2)
    assert p90 == pytest.approx(7.0, rel=0.2)


@pytest.mark.parametrize("seed", range(20))
def test_prevalence_and_the_share_leaking_past_five_days_are_those_of_large_cohorts(seed: int) -> None:
    # 58 % any leak (Okereke 2005); 8.6 to 12.8 % past five days brackets Seder 2019's 10.4 %
    days = leak_durations_days(4000, np.random.default_rng(seed))
    assert (days > 0.0).mean() == pytest.approx(0.58, abs=0.03)
    assert 0.086 <= (days > 5.0).mean() <= 0.128


def test_prevalence_is_a_setting() -> None:
    days = leak_durations_days(4000, np.random.default_rng(1), prevalence=0.2)
    assert (days > 0.0).mean() == pytest.approx(0.2, abs=0.03)


def test_who_does_not_leak_has_no_flow() -> None:
    rng = np.random.default_rng(3)
    days = leak_durations_days(2000, rng)
    flow = first_flows_ml_per_min(days, rng)
    assert ((flow > 0.0) == (days > 0.0)).all()
