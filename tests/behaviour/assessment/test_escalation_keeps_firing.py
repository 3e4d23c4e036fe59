"""What a unit wants to hear of goes on being said: no later entry, gap, blank cell or missing log quiets it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from behaviour.assessment.a_quiet_stay import MINUTES, Said, Stay, answer, at_pressure, part, quiet


def fired(stay: Stay, name: str, **how: object) -> str:
    """The status of an escalation of the shipped 8-hour rule."""
    return str(part(answer(stay, **how), name)["status"])


# --- 200 mL in an hour --------------------------------------------------------------------------------------------

BLED = (Said(180, "fluid_output", "10", "mL"), Said(240, "fluid_output", "250", "mL"))


def test_control_two_hundred_millilitres_in_an_hour_fire() -> None:
    assert fired(quiet(*BLED), "bleeding-hour", at=240) == "met"


def test_control_a_small_hour_does_not_fire() -> None:
    assert fired(quiet(BLED[0], Said(240, "fluid_output", "50", "mL")), "bleeding-hour", at=240) == "not_met"


@pytest.mark.parametrize("at", [255, 270, 300])
def test_a_bleeding_hour_keeps_firing_within_its_hour_after_a_later_entry_of_nothing(at: int) -> None:
    assert fired(quiet(*BLED, Said(255, "fluid_output", "0", "mL")), "bleeding-hour", at=at) == "met"


# --- pressure above the room's ------------------------------------------------------------------------------------


def pushed(since: int = MINUTES - 30, *, without: range = range(0), flow_blank: bool = False) -> Stay:
    """Pressure about +5 cmH2O from a minute on; some rows may be missing, or their flow blank."""
    stay = at_pressure(quiet(), lambda minute: 50 if minute > since else -100)
    return replace(
        stay,
        readings=tuple(
            replace(r, flow=None) if flow_blank and r.minute > since else r
            for r in stay.readings
            if r.minute not in without
        ),
    )


def test_control_half_an_hour_of_positive_pressure_fires() -> None:
    assert fired(pushed(), "positive-pressure") == "met"


def test_control_suction_throughout_does_not_fire() -> None:
    assert fired(quiet(), "positive-pressure") == "not_met"


@pytest.mark.parametrize(
    "without",
    [range(MINUTES - 4, MINUTES - 1), range(MINUTES - 1, MINUTES + 1), range(MINUTES - 8, MINUTES)],
    ids=["before the last two", "the last two", "all but the last"],
)
def test_positive_pressure_with_rows_missing_near_the_end_is_not_denied(without: range) -> None:
    assert fired(pushed(without=without), "positive-pressure", at=MINUTES) != "not_met"


def test_positive_pressure_of_which_every_third_row_is_missing_is_not_denied() -> None:
    stay = pushed()
    thinned = replace(stay, readings=tuple(r for r in stay.readings if r.minute <= 690 or r.minute % 3))
    assert fired(thinned, "positive-pressure", at=MINUTES) != "not_met"


def test_positive_pressure_fires_though_the_flow_beside_it_is_blank() -> None:
    assert fired(pushed(flow_blank=True), "positive-pressure", at=MINUTES) == "met"


# --- a circuit charted apart --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("minutes", "expected"), [(5, "met"), (60, "met")])
def test_tubing_charted_apart_fires_without_a_log(minutes: int, expected: str) -> None:
    stay = quiet(Said(100, "tubing", "apart"))
    assert fired(stay, "open-circuit", logs=[], at=100 + minutes) == expected


def test_tubing_charted_apart_without_a_log_is_open_for_at_least_so_long() -> None:
    found = part(answer(quiet(Said(100, "tubing", "apart")), logs=[], at=160), "open-circuit")
    assert found["value"]["low"] == 60 * 60
