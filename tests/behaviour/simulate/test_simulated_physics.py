"""What the simulated lung, tube and unit do is what physics says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from slackwater import simulate as sim
from slackwater.simulate.airflow import leak_flow, tube_resistance
from slackwater.simulate.course import CoursePlan
from slackwater.simulate.fault import Fault
from slackwater.simulate.patient import Patient
from slackwater.simulate.si import PASCAL_PER_CMH2O, PASCAL_PER_MMHG
from slackwater.simulate.suction import SuctionStep

QUIET = Patient(early_air_ml=0.0, residual_space_ml=0.0)


def _steady(flow_ml_per_min: float, **more: object) -> sim.Scenario:
    course = CoursePlan("plateau", flow_ml_per_min, np.inf, effort_ml_per_min=0.0, noise=1e-9)
    if flow_ml_per_min == 0.0:
        course = CoursePlan("none", 0.0, effort_ml_per_min=0.0)
    base = sim.Scenario("test", "", hours=6.0, course=course, patient=QUIET)
    return replace(base, **more)  # type: ignore[arg-type]


def _hours(stay: sim.Stay, start: float, end: float) -> np.ndarray:  # type: ignore[type-arg]
    at = stay.sensed.end_s / 3600.0
    return (at > start) & (at <= end)


def test_the_factors_are_the_conventional_ones() -> None:
    # NIST SP 811 (2008), appendix B.8
    assert PASCAL_PER_CMH2O == 98.0665
    assert pytest.approx(133.322387415, abs=1e-9) == PASCAL_PER_MMHG


def test_fifty_ml_per_min_lose_one_pascal_in_two_metres_of_six_millimetre_tube() -> None:
    # derived: 37 degree air, 1.85e-5 Pa s, laminar
    assert tube_resistance(2.0, 0.006) * 50e-6 / 60 == pytest.approx(0.97, abs=0.01)


def test_leak_flow_is_proportional_to_conductance_and_never_runs_backwards() -> None:
    drive = np.array([-300.0, 0.0, 500.0, 2000.0])
    assert (leak_flow(2e-10, drive) == 2.0 * leak_flow(1e-10, drive)).all()
    assert leak_flow(2e-10, drive)[0] == 0.0
    assert (leak_flow(0.0, drive) == 0.0).all()


def test_no_conductance_gives_no_flow() -> None:
    stay = sim.simulate(_steady(0.0), 1)
    assert stay.truth.leak_rest_ml_per_min.max() == 0.0
    assert stay.truth.leak_effort_ml_per_min.max() == 0.0
    assert np.abs(stay.sensed.flow_ml_per_min.mean()) < 1.0  # sensor noise, clipped at nought


def test_twice_the_conductance_gives_twice_the_flow() -> None:
    one, two = (sim.simulate(_steady(flow), 1) for flow in (100.0, 200.0))
    rest = two.truth.leak_rest_ml_per_min / one.truth.leak_rest_ml_per_min
    assert rest[10:] == pytest.approx(2.0, rel=1e-9)
    later = _hours(one, 1.0, 6.0)
    ratio = two.sensed.flow_ml_per_min[later].mean() / one.sensed.flow_ml_per_min[later].mean()
    assert ratio == pytest.approx(2.0, rel=0.02)


def test_a_leak_stated_at_twenty_flows_so_at_twenty() -> None:
    stay = sim.simulate(_steady(100.0), 1)
    assert stay.sensed.flow_ml_per_min[_hours(stay, 1.0, 6.0)].mean() == pytest.approx(100.0, rel=0.2)


def test_stepping_suction_down_lowers_the_flow_though_the_lung_has_not_changed() -> None:
    stay = sim.simulate(_steady(150.0, suction=(SuctionStep(0.0, 20.0), SuctionStep(3.0, 8.0))), 1)
    before = stay.sensed.flow_ml_per_min[_hours(stay, 1.0, 2.9)].mean()
    after = stay.sensed.flow_ml_per_min[_hours(stay, 3.1, 6.0)].mean()
    assert after / before == pytest.approx(8.0 / 20.0, abs=0.1)
    conductance = stay.truth.conductance_ml_per_min_per_cmh2o
    assert conductance[-1] == pytest.approx(conductance[0], rel=1e-6)


def test_without_added_suction_the_pressure_follows_the_pleura_and_breathing_drives_the_leak() -> None:
    stay = sim.simulate(_steady(150.0, suction=(SuctionStep(0.0, 20.0), SuctionStep(2.0, None))), 1)
    on, free = _hours(stay, 1.0, 1.9), _hours(stay, 2.5, 6.0)
    pressure = stay.sensed.pressure_pa / PASCAL_PER_CMH2O
    assert -8.0 < pressure[free].mean() < -1.0
    assert np.ptp(np.percentile(pressure[free], (5, 95))) > np.ptp(np.percentile(pressure[on], (5, 95)))
    flow = stay.sensed.flow_ml_per_min
    assert 5.0 < flow[free].mean() < 0.5 * flow[on].mean()


def test_pressures_off_suction_lie_where_published_ones_do() -> None:
    # Refai, EJCTS 2012;41:831, before removal, off suction: most -6.1, least -19.5 cmH2O, over long
    # records with deep breaths; quiet breathing must swing inside, deep breaths reach towards it.
    stay = sim.simulate(_steady(0.0, suction=(SuctionStep(0.0, None),), hours=24.0), 1)
    pressure = stay.sensed.pressure_pa / PASCAL_PER_CMH2O
    assert -8.5 < np.median(pressure) < -3.0
    assert -20.0 < pressure.min() < -9.0


def test_a_blocked_tube_has_no_flow_and_no_swing_while_the_lung_leaks_on() -> None:
    stay = sim.simulate(_steady(150.0, faults=(Fault("blocked", 2.0, 4.0),)), 1)
    during, before = _hours(stay, 2.02, 4.0), _hours(stay, 1.0, 2.0)
    assert stay.sensed.flow_ml_per_min[during].max() < 5.0
    spread = np.ptp(np.percentile(stay.sensed.pressure_pa[during], (5, 95)))
    assert spread < 0.5 * np.ptp(np.percentile(stay.sensed.pressure_pa[before], (5, 95)))
    minutes = slice(2 * 60, 2 * 60 + 5)
    assert stay.truth.leak_rest_ml_per_min[minutes].min() > 20.0
    assert not stay.truth.tube_open[2 * 60 : 4 * 60].any()
    assert stay.truth.swing_cmh2o[2 * 60 : 4 * 60].max() == 0.0
    assert stay.truth.space_ml[4 * 60 - 1] > 100.0


def test_opening_a_blocked_tube_frees_a_burst_that_is_not_the_leak() -> None:
    stay = sim.simulate(_steady(150.0, faults=(Fault("kinked", 2.0, 4.0),)), 1)
    flow = stay.sensed.flow_ml_per_min
    burst, later = flow[_hours(stay, 4.01, 4.05)].mean(), flow[_hours(stay, 5.5, 6.0)].mean()
    assert burst > 1.25 * later
    assert stay.truth.leak_rest_ml_per_min[242] < 1.2 * stay.truth.leak_rest_ml_per_min[-10:].mean()


def test_an_open_circuit_sits_at_the_ceiling_with_the_pressure_lost() -> None:
    scenario = _steady(100.0, faults=(Fault("open_circuit", 2.0, 2.5),))
    stay = sim.simulate(scenario, 1)
    apart = _hours(stay, 2.01, 2.5)
    assert stay.sensed.flow_ml_per_min[apart].min() == scenario.unit.flow_top_ml_per_min
    assert stay.sensed.pressure_pa[apart].min() > -2.5 * PASCAL_PER_CMH2O


def test_an_open_circuit_without_suction_reads_nought() -> None:
    stay = sim.simulate(_steady(100.0, faults=(Fault("open_circuit", 2.0, 2.5),), suction=(SuctionStep(0.0, None),)), 1)
    assert stay.sensed.flow_ml_per_min[_hours(stay, 2.01, 2.5)].max() < 5.0


def test_a_massive_leak_looks_like_an_open_circuit_but_breathes() -> None:
    stay = sim.simulate(_steady(12000.0), 1)
    later = _hours(stay, 1.0, 6.0)
    assert np.median(stay.sensed.flow_ml_per_min[later]) >= 0.97 * stay.scenario.unit.flow_top_ml_per_min
    pressure = stay.sensed.pressure_pa[later] / PASCAL_PER_CMH2O
    assert -12.0 < pressure.mean() < -4.0
    assert np.ptp(np.percentile(pressure, (5, 95))) > 1.0


def test_a_pump_that_is_off_passes_exactly_nothing_and_its_pressure_decays() -> None:
    stay = sim.simulate(_steady(100.0, faults=(Fault("off", 2.0, 4.0),)), 1)
    off = _hours(stay, 2.0, 4.0)
    assert (stay.sensed.flow_ml_per_min[off] == 0.0).all()
    pressure = stay.sensed.pressure_pa[off] / PASCAL_PER_CMH2O
    assert pressure[0] < -15.0
    assert abs(pressure[-1]) < 0.5


def test_a_leaking_joint_follows_suction_and_not_breathing() -> None:
    joint = Fault("connector_leak", 0.5, 99.0, flow_ml_per_min=100.0)
    steps = (SuctionStep(0.0, 20.0), SuctionStep(3.0, 10.0))
    at_joint = sim.simulate(_steady(0.0, faults=(joint,), suction=steps), 1)
    at_lung = sim.simulate(_steady(100.0, suction=steps), 1)
    before, after = _hours(at_joint, 1.0, 2.9), _hours(at_joint, 3.1, 6.0)
    flow = at_joint.sensed.flow_ml_per_min
    assert flow[after].mean() / flow[before].mean() == pytest.approx(0.5, abs=0.05)
    assert np.diff(flow[before]).std() < 0.4 * np.diff(at_lung.sensed.flow_ml_per_min[before]).std()
    assert at_joint.truth.leak_rest_ml_per_min.max() == 0.0


def test_an_effort_leak_shows_on_coughs_only_and_hides_in_a_mean() -> None:
    stay = sim.simulate(replace(sim.scenario("effort_only"), hours=24.0), 1)
    later = stay.sensed.end_s > 3600.0
    flow = stay.sensed.flow_ml_per_min[later]
    assert np.percentile(flow, 90) < 5.0
    assert flow.max() > 300.0
    ten_minutes = flow[: flow.size // 300 * 300].reshape(-1, 300).mean(axis=1)
    assert np.median(ten_minutes) < 5.0
    assert stay.truth.leak_rest_ml_per_min.max() == 0.0
    assert stay.truth.leak_effort_ml_per_min.max() > 10.0


def test_air_to_the_tissues_lowers_the_flow_and_not_the_leak() -> None:
    stay = sim.simulate(_steady(120.0, faults=(Fault("tissue", 1.0, 6.0, share=0.9),)), 1)
    flow = stay.sensed.flow_ml_per_min
    assert flow[_hours(stay, 5.0, 6.0)].mean() < 0.2 * flow[_hours(stay, 0.5, 1.0)].mean()
    assert stay.truth.leak_rest_ml_per_min[-30:].mean() > 80.0


def test_a_fluid_loop_damps_the_swing_and_takes_suction_from_the_lung() -> None:
    stay = sim.simulate(_steady(120.0, faults=(Fault("loop", 2.0, 4.0, pressure_cmh2o=8.0),)), 1)
    spread = [
        np.ptp(np.percentile(stay.sensed.pressure_pa[_hours(stay, *at)], (5, 95))) for at in ((1.0, 2.0), (2.05, 4.0))
    ]
    assert spread[1] < 0.5 * spread[0]
    flow = stay.sensed.flow_ml_per_min
    assert flow[_hours(stay, 2.05, 4.0)].mean() < 0.8 * flow[_hours(stay, 1.0, 2.0)].mean()


def test_a_zero_taken_while_leaking_hides_a_leak_that_goes_on() -> None:
    stay = sim.simulate(sim.scenario("zero_shift"), 1)
    late = stay.sensed.flow_ml_per_min[_hours(stay, 20.0, 36.0)]
    assert np.median(late) < 10.0
    assert stay.truth.leak_rest_ml_per_min[20 * 60 :].mean() > 40.0


def test_a_ventilated_swing_is_upside_down() -> None:
    own = sim.simulate(_steady(0.0), 1)
    pushed = sim.simulate(_steady(0.0, patient=replace(QUIET, breathing="invasive")), 1)

    def lean(stay: sim.Stay) -> float:
        low, middle, high = np.percentile(stay.sensed.pressure_pa, (1, 50, 99))
        return float((high - middle) - (middle - low))

    # A spontaneous breath is a short dip, a pushed one a short rise.
    assert lean(own) < lean(pushed)


def test_the_truth_knows_when_the_leak_ended() -> None:
    healed = sim.simulate(replace(sim.scenario("healing"), hours=50.0), 1).truth
    assert healed.ended_s == 44.0 * 3600.0
    assert not healed.leaking_at_end
    assert sim.simulate(_steady(50.0), 1).truth.leaking_at_end
    never = sim.simulate(_steady(0.0), 1).truth
    assert (never.ever_leaked, never.ended_s, never.leaking_at_end) == (False, None, False)


def test_a_recurring_leak_is_gone_for_hours_and_comes_back() -> None:
    truth = sim.simulate(sim.scenario("recurring"), 1).truth
    assert truth.leak_rest_ml_per_min[27 * 60 : 43 * 60].max() == 0.0
    assert truth.leak_rest_ml_per_min[46 * 60 :].min() > 10.0
