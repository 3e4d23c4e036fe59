"""Physics of tubes and of the pleural space against published or derived values; each check names its source."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.equipment.pleural import (
    RESORBED_PERCENT_PER_DAY,
    differential_pressure_cmh2o,
    pleural_fluid_ml,
    pleural_turnover_ml_per_day,
    resorption_days,
)
from slackwater.equipment.tubing import (
    LAMINAR_BELOW_REYNOLDS,
    TURBULENT_ABOVE_REYNOLDS,
    drained_air_ml,
    fluid_column_cmh2o,
    laminar_flow_ml_per_min,
    laminar_loss_pa,
    reynolds_number,
    turbulent_flow_ml_per_min,
)
from slackwater.errors import QuantityError
from slackwater.quantities.units import unit


def test_laminar_flow_goes_with_the_fourth_power_of_the_radius_and_with_pressure() -> None:
    """Poiseuille's law; anaesthesia physics notes (read)."""
    base = laminar_flow_ml_per_min(10.0, 3.0, 2.0)
    assert laminar_flow_ml_per_min(10.0, 6.0, 2.0) / base == pytest.approx(16, rel=1e-6)
    assert laminar_flow_ml_per_min(20.0, 3.0, 2.0) / base == pytest.approx(2, rel=1e-6)
    assert laminar_flow_ml_per_min(10.0, 3.0, 4.0) / base == pytest.approx(0.5, rel=1e-6)


def test_turbulent_flow_at_fixed_friction_goes_with_the_power_two_and_a_half_of_the_radius() -> None:
    """Fanning's equation; anaesthesia physics notes (read): 2^2.5 = 5.657, 2^0.5 = 1.414."""
    base = turbulent_flow_ml_per_min(1000.0, 5.0, 2.0, 0.01)
    assert turbulent_flow_ml_per_min(1000.0, 10.0, 2.0, 0.01) / base == pytest.approx(5.657, abs=0.001)
    assert turbulent_flow_ml_per_min(2000.0, 5.0, 2.0, 0.01) / base == pytest.approx(1.414, abs=0.001)


def test_at_flows_where_a_rule_is_met_the_tube_costs_nothing() -> None:
    """Derived (air at 37 °C, 1.85e-5 Pa·s, 1.15 kg/m³): 50 mL/min in 2 m of 6 mm: Re 11, loss 0.97 Pa."""
    assert reynolds_number(50.0, 6.0) == pytest.approx(11, abs=1)
    loss = laminar_loss_pa(50.0, 6.0, 2.0)
    assert loss == pytest.approx(0.97, abs=0.1)
    assert loss * float(unit("Pa").factor) == pytest.approx(0.01, abs=0.001)


def test_the_flow_of_a_strong_unit_through_a_narrow_tube_is_not_laminar() -> None:
    """Derived, as above: 16 L/min in 5.3 mm. Above 3000 is turbulent by anaesthesia physics notes (read)."""
    reynolds = reynolds_number(16_000.0, 5.3)
    assert reynolds == pytest.approx(3980, abs=100)
    assert reynolds > TURBULENT_ABOVE_REYNOLDS > LAMINAR_BELOW_REYNOLDS


def test_a_column_of_25_cm_is_25_cmh2o() -> None:
    """Derived from the definition of the unit: 2.452 kPa."""
    column = fluid_column_cmh2o(25.0)
    assert column == 25.0
    assert column / float(unit("kPa").factor) == pytest.approx(2.452, abs=0.01)


@pytest.mark.parametrize(
    ("flow", "hours", "litres"), [(20.0, 8.0, 9.6), (20.0, 24.0, 28.8), (50.0, 8.0, 24.0), (19.0, 24.0, 27.36)]
)
def test_below_a_limit_is_not_nothing(flow: float, hours: float, litres: float) -> None:
    """Arithmetic, exact."""
    assert drained_air_ml(flow, hours) == pytest.approx(litres * 1000, rel=1e-12)


def test_a_mean_over_ten_minutes_hides_a_leak_on_cough() -> None:
    """Arithmetic: 6 s at 500 mL/min among 10 min of nothing read as 5.0 mL/min."""
    seconds = np.zeros(600)
    seconds[100:106] = 500.0
    assert seconds.mean() == pytest.approx(5.0, abs=0.01)
    assert seconds.max() == 500.0


@pytest.mark.parametrize(("size", "rate", "days"), [(15.0, 1.25, 12.0), (15.0, 1.8, 8.3), (20.0, 1.25, 16.0)])
def test_days_until_a_pneumothorax_is_resorbed(size: float, rate: float, days: float) -> None:
    """1.25 % a day: Respiration 1983;44:147-52 (read); 1.25 to 1.8 %: BTS as quoted (read second hand)."""
    assert resorption_days(size, rate) == pytest.approx(days, abs=0.1)
    assert RESORBED_PERCENT_PER_DAY[0] <= rate <= RESORBED_PERCENT_PER_DAY[1]


@pytest.mark.parametrize(
    ("size", "rate"),
    [(15.0, 0.0), (15.0, -1.0), (15.0, float("nan")), (101.0, 1.25), (-1.0, 1.25), (float("nan"), 1.25)],
)
def test_a_size_or_rate_that_cannot_be_is_refused(size: float, rate: float) -> None:
    with pytest.raises(QuantityError):
        resorption_days(size, rate)


def test_fluid_of_a_healthy_pleural_space_at_70_kg() -> None:
    """Gowing 2015 (read): 0.25 mL/kg, turnover 0.15 mL/kg/h."""
    assert pleural_fluid_ml(70.0) == pytest.approx(17.5, abs=0.1)
    assert pleural_turnover_ml_per_day(70.0) == pytest.approx(252.0, abs=0.1)


def test_differential_pressure_is_highest_minus_lowest() -> None:
    """Refai 2012 (read): mean maximum -6.1, mean minimum -19.5, published mean difference 13.3."""
    found = differential_pressure_cmh2o(-6.1, -19.5)
    assert found == pytest.approx(13.4, abs=1e-9)
    assert found == pytest.approx(13.3, abs=0.15)
