"""Times that were told, held against what came, where some were not followed to their end."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.audit.statistics.told_times import place_in_forecast, reached, within
from slackwater.errors import UsageError


def test_a_drain_followed_into_its_interval_and_no_further_cannot_be_told() -> None:
    """Told 10 to 20 h: ended at 10, 20 and 21; followed to 5, 15 and 25 without an end."""
    never = np.inf
    found = within([10.0] * 6, [20.0] * 6, [10, 20, 21, 5, 15, 25], [10, 20, 21, never, never, never])
    assert found.tolist() == pytest.approx([1.0, 1.0, 0.0, np.nan, np.nan, 0.0], nan_ok=True)


def test_what_came_while_the_record_was_silent_is_told_only_where_that_does_not_matter() -> None:
    """Told 10 to 20 h. Silent from 11 to 19 h: inside either way. From 8 to 12: cannot tell. From 21 to 30: outside."""
    assert within([10.0] * 3, [20.0] * 3, [11, 8, 21], [19, 12, 30]).tolist() == [
        1.0,
        pytest.approx(np.nan, nan_ok=True),
        0.0,
    ]


def test_a_place_in_the_forecast_and_none_beyond_its_horizon() -> None:
    grid, chance = np.array([0.0, 12.0, 24.0]), np.array([0.0, 0.4, 0.7])
    assert place_in_forecast(grid, chance, 12.0, True) == (0.4, True)
    assert place_in_forecast(grid, chance, 13.0, False) == (0.4, False)
    assert place_in_forecast(grid, chance, 13.0, True) == (0.7, True)  # it ended by 24, and not by 12
    jump = np.array([0.0, 12.0, 12.0]), np.array([0.0, 0.1, 0.5])
    assert place_in_forecast(*jump, 11.0, True) == (0.5, True)  # all of a jump stands at its upper end
    assert place_in_forecast(grid, chance, 30.0, True) == (0.7, False)


def forecast_of(rate: float, seed: int, n: int = 3000) -> tuple[np.ndarray, np.ndarray]:
    """Times with rate 0.05 an hour, cut short at chance times, told as if the rate were `rate`."""
    rng = np.random.default_rng(seed)
    time, cut = rng.exponential(20.0, n), rng.exponential(40.0, n)
    grid = np.linspace(0.0, 48.0, 4801)
    chance = 1.0 - np.exp(-rate * grid)
    placed = [place_in_forecast(grid, chance, min(a, b), a <= b) for a, b in zip(time, cut, strict=True)]
    return np.array([place for place, _ in placed]), np.array([ended for _, ended in placed])


def test_right_forecasts_come_when_told_however_many_are_cut_short() -> None:
    places, ended = forecast_of(0.05, 4)
    assert ended.mean() < 0.7
    found = reached(places, ended, [0.1, 0.3, 0.5, 0.7, 0.9])
    assert found.came == pytest.approx(found.told, abs=0.03)
    assert ((found.low < found.told) & (found.told < found.high)).sum() >= 4
    naive = [(places[ended] <= share).mean() for share in found.told]  # those cut short dropped
    assert np.abs(np.array(naive) - found.told).max() > 0.08


def test_forecasts_that_are_too_slow_show_it() -> None:
    places, ended = forecast_of(0.03, 5)
    found = reached(places, ended, [0.1, 0.3, 0.5, 0.7])
    assert (found.low > found.told).all()


def test_beyond_follow_up_it_is_not_known() -> None:
    found = reached([0.2, 0.4], [True, False], [0.3, 0.9])
    assert found.came[0] == 0.5
    assert np.isnan(found.came[1])


def test_places_are_shares() -> None:
    with pytest.raises(UsageError):
        reached([1.2], [True], [0.5])
    with pytest.raises(UsageError):
        within([1.0], [2.0], [np.nan], [3.0])
