"""A shift's charting as help: what the unit gave, what eyes and hands gave, what is open, sets that say the same."""

from __future__ import annotations

from behaviour.assessment.a_quiet_stay import LAYOUT, Said, air_clause, assessed, quiet, rule, with_column
from behaviour.episode.typed_chart import chart, row
from property.a_small_stay import ms
from slackwater.assessment.shift import BY_EYES_AND_HANDS, BY_UNIT, measured_lately, same_again, shift_of
from slackwater.episode.items import ITEMS

LAST = 720


def test_every_item_of_a_set_is_one_of_the_chart_or_the_units_charge() -> None:
    assert set(BY_EYES_AND_HANDS) < set(ITEMS)
    assert {name for name in BY_UNIT if name not in ITEMS} == {"battery"}
    assert not set(BY_UNIT) & set(BY_EYES_AND_HANDS)


def test_what_the_unit_measured_is_filled_in_with_its_own_time() -> None:
    stay = quiet(flow=lambda minute: 5 * (minute % 2))
    layout = LAYOUT + '[fluid]\ncolumn = "fluid"\nunit = "mL"\n'
    found = assessed(stay, layout=layout, logs=[with_column(stay, "fluid", lambda minute: str(minute // 6))])
    measured = {one.item: one for one in measured_lately(found)}
    assert set(measured) == {"air_leak_read", "suction_delivered", "fluid_output"}
    assert measured["air_leak_read"].text == "0 to 5 mL/min"
    assert measured["suction_delivered"].high < 0
    assert 9 <= measured["fluid_output"].high <= 10
    assert measured["air_leak_read"].until_ms == ms(LAST)


def test_what_was_recorded_long_ago_fills_nothing_in() -> None:
    assert measured_lately(assessed(quiet(), at=LAST + 61)) == ()


def test_what_is_open_in_this_shift_is_said_as_help() -> None:
    found = assessed(quiet(Said(600, "swing", "present"), Said(100, "cough", "no_leak"), Said(601, "spo2", "96", "%")))
    shift = shift_of(found, ms(480), ms(960))
    assert "swing" not in shift.open
    assert "cough" in shift.open  # the last shift's does not count
    assert "spo2" not in shift.open
    assert "air_leak_read" not in shift.open
    assert "fluid_output" in shift.open
    assert "battery" not in [one.item for one in shift.items]  # this unit does not tell it
    assert shift.sentence.startswith("4 of 20 items are there for this shift. Still open: fluid output")
    assert not any(word in shift.sentence for word in ("missing", "failed", "forgot"))


def test_items_of_the_rules_schedule_belong_to_the_set() -> None:
    protocol = rule(air_clause("air", "8 h"), '[[schedule]]\nitem = "weight"\nevery = "24 h"\n')
    shift = shift_of(assessed(quiet(), protocol=protocol), ms(480), ms(960))
    assert "weight" in shift.open


def a_set(hour: float, by: str = "nurse", swing: str = "present", pain: int = 2) -> list[str]:
    rows = [("swing", swing, ""), ("surgical_emphysema", "0", ""), ("pain_rest", pain, ""), ("tubing", "checked", "")]
    return [row(hour + n / 60, item, value, unit, by=by) for n, (item, value, unit) in enumerate(rows)]


def test_three_sets_in_a_row_that_say_the_same_are_noticed_kindly() -> None:
    found = same_again(chart(*a_set(1, swing="absent"), *a_set(5), *a_set(9, by="other"), *a_set(13)))
    assert found is not None
    assert (found.sets, len(found.items)) == (3, 4)
    assert "may well be so" in found.sentence


def test_two_sets_or_one_that_differs_or_one_item_alone_are_not() -> None:
    assert same_again(chart(*a_set(5), *a_set(9))) is None
    assert same_again(chart(*a_set(1), *a_set(5), *a_set(9), *a_set(13, pain=3))) is None
    assert same_again(chart(*(row(hour, "swing", "present") for hour in (1, 5, 9, 13)))) is None
