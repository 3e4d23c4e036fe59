"""A leak that stops at a stroke, and what it does next: each case beside a calm one that looks like it.

Source of every expectation: ours, argued in docs/definitions.md; the physics is common practice, no source: a lung
that seals takes minutes about it, and air held back by a shut tube comes at once when it is freed.
"""

from __future__ import annotations

import numpy as np
import pytest

from behaviour.leak.a_drain import Floats, Points, Unit, between, doubted, held, hour_ms
from slackwater.leak.handling import Handling

FAST, SLOW = Unit(every=2), Unit(every=60)
INTERRUPTED: Points = ((0, 150), (4, 150), (4.005, 0), (6, 0), (6.005, 150), (8, 150))


def test_a_leak_that_is_gone_at_a_stroke_and_back_as_it_was_was_held_back_all_the_time_between() -> None:
    found = doubted(8, INTERRUPTED, unit=SLOW)
    assert between(found, 4, 6) == {"blocked"}
    assert between(found, 0, 4) == between(found, 6, 8) == {""}


def test_a_leak_known_to_come_and_go_is_left_alone() -> None:
    spells = [(2.0 * k + at, value) for k in range(5) for at, value in ((0, 150), (1, 150), (1.005, 0), (1.995, 0))]
    assert set(doubted(10, spells, unit=SLOW)) == {""}


def test_a_leak_that_comes_back_another_is_not_the_one_that_stopped() -> None:
    other: Points = ((0, 60), (4, 60), (4.005, 0), (6, 0), (6.005, 400), (8, 400))
    assert between(doubted(8, other, unit=SLOW), 4, 6) == {""}


def test_after_more_than_a_day_somebody_has_looked_at_tube_and_unit() -> None:
    later: Points = ((0, 150), (2, 150), (2.005, 0), (28, 0), (28.005, 150), (30, 150))
    assert between(doubted(30, later, unit=SLOW), 2, 28) == {""}


def test_a_night_and_a_morning_held_back_are_doubted_whole() -> None:
    later: Points = ((0, 150), (2, 150), (2.005, 0), (14, 0), (14.005, 150), (16, 150))
    assert between(doubted(16, later, unit=SLOW), 2, 14) == {"blocked"}


FADED: Points = ((0, 150), (3, 150), (4.2, 0), (6, 0))


@pytest.mark.parametrize("unit", [SLOW, FAST], ids=["a row a minute", "a row every two seconds"])
def test_a_leak_that_fades_and_is_back_at_a_stroke_was_held_back_from_where_it_was_down_to_half(unit: Unit) -> None:
    swing: Points = ((0, 5), (3, 5), (4.2, 0), (6, 0), (6.005, 5))  # a clot takes both
    found = doubted(8, [*FADED, (6.005, 150), (8, 150)], swing=swing, unit=unit)
    assert between(found, 3.7, 6) == {"blocked"}
    assert between(found, 0, 3.4) == between(found, 6.1, 8) == {""}


@pytest.mark.parametrize("again", [[(6.5, 150), (8, 150)], [(8, 0)]], ids=["is slowly back", "stays away"])
def test_a_leak_that_fades_as_a_healing_lung_does_is_not_doubted(again: list[tuple[float, float]]) -> None:
    assert set(doubted(8, [*FADED, *again], unit=SLOW)) == {""}


STOPPED: Points = ((0, 150), (4, 150), (4.005, 0), (8, 0))


def test_in_a_log_without_a_swing_a_leak_gone_at_a_stroke_is_doubted_until_somebody_looks() -> None:
    assert between(doubted(8, STOPPED, unit=SLOW), 4, 8) == {"blocked"}
    looked = doubted(8, STOPPED, unit=Unit(step=1), handled=Handling(shown_open_ms=(hour_ms(6),)))
    assert between(looked, 4, 6) == {"blocked"}
    assert between(looked, 6, 8) == {""}


def test_a_leak_as_steady_as_a_joints_may_stop_at_a_stroke() -> None:
    """Somebody pressed the joint together: its air follows the pump, which is steady, and not the patient."""
    assert set(doubted(8, STOPPED, unit=Unit(noise=0), wander=0.0)) == {""}


def test_where_the_swing_goes_on_it_is_the_flow_sensor_that_cannot_be_trusted() -> None:
    found = doubted(8, INTERRUPTED, unit=FAST, spoil=held(4, 6, flow=0.0, pressure=False))
    assert between(found, 4, 6) == {"sensor"}
    assert between(found, 6, 8) == {""}


def test_small_readings_show_the_sensor_alive_and_the_lung_sealed() -> None:
    found = doubted(8, STOPPED, unit=Unit(every=2, step=1, noise=1.5))
    assert between(found, 4.5, 8) == {""}


def test_small_readings_that_answer_breathing_are_air_under_a_zero_that_has_moved() -> None:
    def zero_taken(hours: Floats, shown: Floats, read: Floats) -> None:
        shown[hours >= 4] = np.maximum(shown[hours >= 4] - 130, 0)

    found = doubted(8, ((0, 110), (8, 110)), wander=0.0, unit=Unit(every=2, step=1, noise=0.3), spoil=zero_taken)
    assert between(found, 4, 8) == {"sensor"}
