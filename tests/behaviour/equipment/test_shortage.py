"""Will the shelf run out: against published Erlang values, closed forms of queues, and its own promises."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats

from slackwater.equipment.shortage import (
    PER_DAY,
    Demand,
    erlang_b,
    in_use,
    mean_of,
    shortage,
    stay_curve,
    why_no_forecast,
)


@pytest.mark.parametrize(
    ("load", "units", "carried"),
    [(8.0, 10, 7.026711), (12.0, 10, 8.376900), (12.0, 14, 10.593481), (20.0, 18, 15.574793)],
)
def test_erlangs_formula_gives_published_values(load: float, units: int, carried: float) -> None:
    """The example table of codingace.net/maths/blocking_probability.html (read), by the load it says is carried: the
    last row's share, printed 0.221265, does not fit its own carried load, which gives 0.221260."""
    assert load * (1.0 - erlang_b(load, units)) == pytest.approx(carried, abs=1e-5)


def test_erlangs_formula_is_the_share_of_a_poisson_law_cut_off() -> None:
    """B = P(N = n) / P(N <= n) for Poisson N: scipy.stats.poisson."""
    for load in (0.5, 3.0, 11.0):
        for units in (1, 4, 12):
            law = scipy.stats.poisson(load)
            assert erlang_b(load, units) == pytest.approx(law.pmf(units) / law.cdf(units))


def test_units_in_use_follow_the_closed_form_where_askers_come_at_random() -> None:
    """Infinite servers (textbook): at t, Poisson(a·(1 - e^-mu·t)) new ones beside Binomial(n, e^-mu·t) old ones."""
    rng = np.random.default_rng(1)
    counts, stays = rng.poisson(2.0, 4000), np.sort(rng.exponential(3.0, 4000))
    curve = (stays, np.full(len(stays), 1.0 / len(stays)))
    wanted = in_use(counts, curve, [0.0] * 4, 6, rng, futures=6000)
    for day in (2, 6):
        left = np.exp(-day / 3.0)
        mean = 2.0 * 3.0 * (1.0 - left) + 4 * left
        at = wanted[:, day * PER_DAY - 1]
        assert at.mean() == pytest.approx(mean, abs=0.15)
        law = np.convolve(
            scipy.stats.poisson(6.0 * (1.0 - left)).pmf(range(60)), scipy.stats.binom(4, left).pmf(range(5))
        )
        for units in (5, 8):
            assert np.mean(at > units) == pytest.approx(1.0 - law[: units + 1].sum(), abs=0.03)


def test_a_drain_that_is_still_in_counts_for_as_long_as_it_has_lain() -> None:
    """Kaplan and Meier's curve, by hand: 1, 2, 2+, 4 leaves 3/4, 1/2, 0."""
    lengths, mass = stay_curve(np.array([1.0, 2.0, 2.0, 4.0]), np.array([True, True, False, True]))
    assert lengths.tolist() == [1.0, 2.0, 4.0] and mass == pytest.approx([0.25, 0.25, 0.5])
    assert mean_of((lengths, mass)) == pytest.approx(2.75)


def past(units: int = 9, **other: object) -> Demand:
    rng = np.random.default_rng(2)
    told = {
        "history_d": 60.0, "asked_d": rng.uniform(0, 60, 90).tolist(), "stayed_d": rng.exponential(4, 90).tolist(),
        "ended": [True] * 85 + [False] * 5, "in_use_d": [0.5, 1, 2, 3, 3], "units": units,
    }  # fmt: skip
    return Demand(**{**told, **other})  # type: ignore[arg-type]


def test_more_units_run_short_less_often_and_later_days_more() -> None:
    chances = [shortage(past(units), 7).chance for units in (5, 8, 12, 30)]
    assert chances == sorted(chances, reverse=True) and chances[0] > 0.8 and chances[-1] == 0.0
    found = shortage(past(), 7)
    assert list(found.by_day) == sorted(found.by_day) and found.by_day[-1] == pytest.approx(found.chance)
    assert found.low <= found.chance <= found.high
    assert shortage(past(), 7) == found, "the same past gives the same answer"


@pytest.mark.parametrize(
    ("other", "told"),
    [
        ({"units": 0}, "no unit"), ({"history_d": 5.0}, "days"), ({"asked_d": [1.0, 2.0]}, "taken"),
        ({"ended": [False] * 90}, "came back"),
    ],
)  # fmt: skip
def test_with_little_to_go_by_nobody_can_tell(other: dict[str, object], told: str) -> None:
    why = why_no_forecast(past(**other) if "units" not in other else past(0))
    assert why is not None and told in why
    assert why_no_forecast(past()) is None
