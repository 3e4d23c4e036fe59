"""Flow and pressure that stand still together in a slow log, beside the calm look-alikes that must stay assessable.

Source of every expectation: ours, argued in docs/definitions.md. That a calm sleeper on a well regulated pump prints
one pressure for many minutes on a coarse gauge: common practice, no source.
"""

from __future__ import annotations

import numpy as np

from behaviour.leak.a_drain import Floats, Points, Unit, between, doubted, held

LEAKING: Points = ((0, 200), (14, 200))
HEALS: Points = ((0, 200), (6, 200), (7, 0), (14, 0))
MINUTE_MEANS = Unit(step=5, gauge=0.1)


def test_flow_and_pressure_that_stand_still_together_are_stuck_from_their_first_minute() -> None:
    found = doubted(14, LEAKING, unit=MINUTE_MEANS, spoil=held(5, 6.5))
    assert set(found[5 * 60 : 6 * 60 + 30]) == {"sensor"}
    assert between(found, 0, 4.8) == between(found, 6.5, 14) == {""}, "a row or two before may print the same"


def test_on_coarse_steps_a_stretch_that_no_other_comes_near_is_stuck() -> None:
    found = doubted(14, LEAKING, unit=Unit(step=20, gauge=1.0), spoil=held(5, 8))
    assert between(found, 5, 8, spare_min=0) == {"sensor"}
    assert between(found, 0, 4.4) == between(found, 8, 14) == {""}


def test_on_coarse_steps_a_steady_leak_that_stays_long_on_one_value_is_not_stuck() -> None:
    for seed in range(4):
        assert set(doubted(14, LEAKING, unit=Unit(step=20, gauge=1.0), wander=0.1, seed=seed)) == {""}


def test_a_calm_sleeper_who_has_healed_prints_one_pressure_for_hours_and_is_not_stuck() -> None:
    sleeps: Points = ((0, 5), (8, 5), (8.1, 3), (14, 3))
    for seed in range(4):
        assert set(doubted(14, HEALS, swing=sleeps, unit=Unit(gauge=1.0), seed=seed)) == {""}


def twice(hours: Floats, shown: Floats, read: Floats) -> None:
    held(3, 4.5)(hours, shown, read)
    held(10, 10.6)(hours, shown, read)


def test_a_unit_that_has_frozen_once_is_believed_less_where_there_is_no_flow_to_see_it_by() -> None:
    """36 minutes of one pressure and no flow: too little alone."""
    alone = doubted(14, HEALS, swing=((0, 4),), spoil=held(10, 10.6))
    again = doubted(14, HEALS, swing=((0, 4),), spoil=twice)
    assert set(alone) == {""}
    assert between(again, 10, 10.6) == {"sensor"}
    assert between(again, 4.5, 10) == between(again, 10.6, 14) == {""}


def test_a_flow_that_stands_at_the_most_the_unit_can_print_is_not_stuck() -> None:
    def clipped(hours: Floats, shown: Floats, read: Floats) -> None:
        np.minimum(shown, 3000, out=shown)

    large: Points = ((0, 200), (3, 200), (3.2, 6000), (9, 6000), (9.2, 200), (14, 200))
    for unit in (Unit(ceiling=3000), Unit()):
        assert between(doubted(14, large, wander=0.02, sway=0.1, unit=unit, spoil=clipped), 3.3, 9) == {""}
