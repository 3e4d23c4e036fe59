"""A tube that shuts with hardly any air coming: by what moves no more, beside the look-alikes that stay open.

Source of every expectation: ours, argued in docs/definitions.md; that a lung which comes up stops leaking first and
loses its swing slowly is common practice, no source.
"""

from __future__ import annotations

import pytest

from behaviour.leak.a_drain import Points, Unit, between, doubted, hour_ms
from slackwater.leak.handling import Handling
from slackwater.trace.types import Interval

DRY: Points = ((0, 0), (10, 0))
LOST: Points = ((0, 5), (5, 5), (5.01, 0), (10, 0))
SMALLER: Points = ((0, 5), (5, 5), (5.01, 3.5), (10, 3.5))  # as asleep
TEN_SECOND_MEANS = Unit(every=10)
MINUTE_SAMPLES = Unit(every=60, statistic="sample")


@pytest.mark.parametrize("unit", [TEN_SECOND_MEANS, MINUTE_SAMPLES], ids=["ten-second means", "samples, one a minute"])
def test_a_slow_log_shows_a_pressure_that_moves_no_more(unit: Unit) -> None:
    found = doubted(10, DRY, swing=LOST, unit=unit)
    assert between(found, 5, 10) == {"blocked"}
    assert between(found, 0, 5) == {""}


@pytest.mark.parametrize("unit", [TEN_SECOND_MEANS, MINUTE_SAMPLES], ids=["ten-second means", "samples, one a minute"])
def test_a_sleepers_smaller_swing_is_not_a_shut_tube(unit: Unit) -> None:
    for seed in range(4):
        assert set(doubted(10, DRY, swing=SMALLER, unit=unit, seed=seed)) == {""}


def test_means_of_a_minute_cannot_show_it_and_are_left_to_the_guard() -> None:
    """Whole breaths average out: what is left is the pump's, open or shut. The contract: it stays quiet."""
    assert set(doubted(10, DRY, swing=LOST)) == {""}


AIR_GOES: Points = ((0, 150), (5, 150), (6.5, 0), (10, 0))
SWING_GOES: Points = ((0, 5), (5, 5), (6.5, 0), (10, 0))


def test_swing_and_air_that_fade_together_within_hours_are_a_clot_from_where_the_swing_is_half() -> None:
    found = doubted(10, AIR_GOES, swing=SWING_GOES, unit=Unit(every=2))
    assert between(found, 5.9, 10) == {"blocked"}
    assert between(found, 0, 5.6) == {""}


def test_a_look_that_finds_the_tube_open_ends_that_doubt() -> None:
    looked = Handling(shown_open_ms=(hour_ms(8.5),))
    found = doubted(10, AIR_GOES, swing=SWING_GOES, unit=Unit(every=2), handled=looked)
    assert between(found, 5.9, 8.5) == {"blocked"}
    assert between(found, 8.5, 10) == {""}


def test_a_lung_that_comes_up_loses_its_leak_first_and_its_swing_over_many_hours() -> None:
    up: Points = ((0, 5), (6, 5), (16, 0.3), (18, 0.3))
    assert set(doubted(18, ((0, 150), (2, 150), (3, 0), (18, 0)), swing=up, unit=Unit(every=2))) == {""}


def test_where_the_swing_comes_back_closing_and_opening_belong_to_the_shut_time() -> None:
    swing: Points = ((0, 6), (5, 6), (6, 0), (7, 0), (8, 6), (11, 6))
    found = doubted(11, DRY, swing=swing, unit=Unit(every=2))
    assert between(found, 5.6, 7.4) == {"blocked"}
    assert between(found, 0, 5.4) == between(found, 7.6, 11) == {""}


KINK = Handling(shut=(Interval(hour_ms(6), hour_ms(6.02), "kinked"),), shown_open_ms=(hour_ms(1),))


def test_a_kink_found_late_reaches_back_to_the_last_air_that_came() -> None:
    air: Points = ((0, 40), (4, 40), (4.005, 0), (6, 0), (6.01, 40), (8, 40))
    found = doubted(8, air, wander=0.0, unit=Unit(noise=0), handled=KINK)
    assert between(found, 4, 6) == {"blocked"}
    assert between(found, 1.1, 4) == {""}


def test_a_kink_in_a_dry_tube_reaches_back_to_when_it_was_last_seen_open() -> None:
    found = doubted(8, DRY, handled=KINK)
    assert between(found, 1.1, 6) == {"blocked"}
    assert between(found, 0, 1) == between(found, 6.1, 8) == {""}


ORDERED = Handling(ordered=((hour_ms(0), -20.0),))


def test_the_fall_belongs_to_a_suction_that_is_lost_little_by_little() -> None:
    fades: Points = ((0, 20), (5, 20), (6, 2), (9, 2))
    found = doubted(9, DRY, suction=fades, handled=ORDERED)
    assert between(found, 5.1, 9) == {"off"}
    assert between(found, 0, 5) == {""}


def test_a_suction_that_is_merely_weak_is_not_off() -> None:
    weak: Points = ((0, 20), (5, 20), (6, 14), (9, 14))
    assert set(doubted(9, DRY, suction=weak, handled=ORDERED)) == {""}


@pytest.mark.parametrize("gauge", [1.0, 2.0])
def test_a_pressure_printed_too_coarsely_cannot_show_it(gauge: float) -> None:
    small: Points = ((0, 2), (5, 2), (5.01, 0), (10, 0))
    assert set(doubted(10, DRY, swing=small, unit=Unit(every=10, gauge=gauge))) == {""}
