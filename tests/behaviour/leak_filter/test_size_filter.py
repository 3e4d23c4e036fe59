"""How much leaks now, and how sure: the size filter."""

from __future__ import annotations

import numpy as np
import pytest

from behaviour.leak_filter.made_minutes import made_minutes
from slackwater.leak.filter.grid import chance_at_least, conductances
from slackwater.leak.filter.model import SizeModel, shipped_model
from slackwater.leak.filter.run import Live, driving_from, run_filter


def test_a_steady_leak_is_found_with_its_size_and_conductance() -> None:
    found = run_filter(made_minutes([100.0] * 60), (20.0, 200.0))
    assert found.p_at_least[-1, 0] > 0.999
    assert found.p_at_least[-1, 1] < 0.001
    assert found.low_ml_per_min[-1] < 100.0 < found.high_ml_per_min[-1]
    assert found.mid_ml_per_min[-1] == pytest.approx(100.0, rel=0.05)
    assert found.conductance[-1] == pytest.approx(5.0, rel=0.02)


def test_an_hour_without_flow_is_likely_no_leak_at_the_limit_but_never_surely_sealed() -> None:
    found = run_filter(made_minutes([0.0] * 60), (20.0,))
    assert found.p_at_least[-1, 0] < 0.01
    assert 0.0 < found.p_sealed[-1] < 0.999


def test_conductance_does_not_take_a_step_of_suction_for_healing() -> None:
    """The same hole at -20 and at -8: flow falls by the suction, conductance stays."""
    flow, suction = [100.0] * 60 + [40.0] * 60, [20.0] * 60 + [8.0] * 60
    found = run_filter(made_minutes(flow, suction_cmh2o=suction), (20.0,))
    assert found.conductance[110] == pytest.approx(found.conductance[50], rel=0.05)


def test_the_interval_widens_at_a_step_of_suction() -> None:
    flow, suction = [100.0] * 60 + [50.0] * 2, [20.0] * 60 + [10.0] * 2
    found = run_filter(made_minutes(flow, suction_cmh2o=suction), (20.0,))
    width = (found.high_ml_per_min - found.low_ml_per_min) / found.mid_ml_per_min
    assert width[60] > width[59]


def test_one_cough_does_not_move_the_conductance() -> None:
    flow = [50.0] * 60
    flow[59] = 500.0
    found = run_filter(made_minutes(flow), (20.0,))
    assert found.conductance[59] < 1.3 * found.conductance[58]


def test_a_leak_that_is_truly_larger_is_followed_within_minutes() -> None:
    found = run_filter(made_minutes([50.0] * 60 + [500.0] * 8), (20.0,))
    assert found.conductance[-1] == pytest.approx(25.0, rel=0.05)


def test_nothing_is_said_of_a_minute_that_is_not_usable() -> None:
    found = run_filter(made_minutes([100.0] * 30, unusable=[10]), (20.0,))
    assert np.isnan(found.p_at_least[10, 0]) and np.isnan(found.mid_ml_per_min[10]) and np.isnan(found.p_sealed[10])
    assert np.isfinite(found.p_at_least[11, 0])


def test_a_coarse_print_leaves_it_open() -> None:
    """Steps of 100: a printed 0 may hide up to 50 mL/min."""
    found = run_filter(made_minutes([0.0] * 240, step=100.0), (20.0,))
    fine = run_filter(made_minutes([0.0] * 240, step=1.0), (20.0,))
    assert found.p_at_least[-1, 0] > 10 * fine.p_at_least[-1, 0]


def test_with_no_added_suction_breathing_drives() -> None:
    """Pressure swinging between -4 and +4: the mean is nought, the drive is not."""
    drive = driving_from(np.array([0.0]), np.array([-4.0]), np.array([4.0]))
    assert drive[0] == pytest.approx(1.0 + 0.8)  # E[max(-p, 0)] of an even spread is 4 / 4; a tenth of the swing of 8


def test_a_minute_live_is_the_minute_of_the_batch_bit_for_bit() -> None:
    rng = np.random.default_rng(11)
    given = made_minutes(np.abs(rng.normal(40, 30, 200)).tolist(), unusable=range(60, 70))
    batch = run_filter(given, (20.0,))
    live = Live(3)
    for k in range(200):
        ok = given.usable[k]
        chance = live.minute(
            *(np.full(3, value if ok else other) for value, other in (
                (given.low[k], 0.0), (given.high[k], 0.0), (given.flow[k], 0.0), (given.drive_cmh2o[k], 1.0),
            )),
            np.full(3, ok, dtype=np.int8), np.full(3, 20.0),
        )  # fmt: skip
        assert np.array_equal(chance, np.full(3, batch.p_at_least[k, 0]), equal_nan=True)
    assert np.array_equal(live.states[1], batch.size_state)


def test_the_state_answers_for_any_limit() -> None:
    found = run_filter(made_minutes([60.0] * 60), (20.0, 55.0))
    size = shipped_model().size
    for k, limit in enumerate((20.0, 55.0)):
        assert chance_at_least(found.size_state, size, limit, 20.0) == pytest.approx(found.p_at_least[-1, k], abs=1e-9)


def test_the_grid_is_even_in_its_measure() -> None:
    size = SizeModel()
    measure = np.log1p(conductances(size) * size.reference_cmh2o / size.softness_ml_per_min)
    assert np.allclose(np.diff(measure), measure[1])


def test_an_empty_record_gives_empty_answers() -> None:
    assert len(run_filter(made_minutes([]), (20.0,)).mid_ml_per_min) == 0
