"""What was typed against what was recorded: both numbers and times in a question, and nothing where nothing speaks."""

from __future__ import annotations

from dataclasses import replace

from behaviour.assessment.a_quiet_stay import LAYOUT, Said, assessed, at_pressure, quiet, with_column
from property.a_small_stay import ms
from slackwater.assessment.assessment import Assessment
from slackwater.assessment.contradictions import contradictions
from slackwater.episode.typed import Typed, entry_of

NOON = 360  # minutes after 06:00
FLUID = '[fluid]\ncolumn = "fluid"\nunit = "mL"\n'


def asked(found: Assessment, minute: float, *rows: Typed, drain: str = "1") -> list[str]:
    typed = [entry_of(row, ms(minute), ms(minute) + 60_000, "nurse", drain) for row in rows]
    return [f"{one.id}: {one.text}" for one in contradictions(typed, found)]


LEAKS = assessed(quiet(flow=lambda minute: 300 + 5 * (minute % 3)))
QUIET = assessed(quiet())


def test_no_leak_typed_while_air_flows_is_asked_about_with_both_and_their_times() -> None:
    for row in (Typed("bubbling", "none"), Typed("cough", "no_leak"), Typed("walk", "no_leak")):
        (text,) = asked(LEAKS, NOON, row)
        assert text.startswith("air: ")
        assert "none seen at 12:00" in text
        assert "300 to 310 mL/min" in text
        assert "11:55" in text


def test_what_agrees_is_not_asked_about() -> None:
    same = (
        Typed("bubbling", "E3"),
        Typed("cough", "leak"),
        Typed("swing", "present"),
        Typed("suction_delivered", "-10", "cmH2O"),
    )
    assert asked(LEAKS, NOON, *same) == []
    assert asked(QUIET, NOON, Typed("cough", "no_leak"), Typed("bubbling", "none"), Typed("swing", "present")) == []


def test_bubbling_seen_while_nothing_flows_is_asked_about_too() -> None:
    (text,) = asked(QUIET, NOON, Typed("bubbling", "C4"))
    assert "Bubbling C4" in text
    assert "at most" in text
    assert asked(QUIET, NOON, Typed("bubbling", "FE2")) == []  # a forced breath is over within a minute's mean


def test_where_nothing_was_recorded_nothing_is_asked() -> None:
    gap = assessed(quiet(flow=lambda minute: 300 + 5 * (minute % 3)).without(range(NOON - 30, NOON + 30)))
    assert asked(gap, NOON, Typed("cough", "no_leak"), Typed("suction_delivered", "-25", "cmH2O")) == []
    assert asked(LEAKS, 2000, Typed("cough", "no_leak")) == []


def test_a_blank_is_not_asked_about() -> None:
    assert asked(LEAKS, NOON, Typed("cough", "")) == []


def test_suction_far_from_what_was_measured_is_asked_about_and_the_slip_is_named() -> None:
    """haz-A06: 10 mmHg typed for 10 cmH2O are 13.6 cmH2O; 1 cmH2O for 1 kPa is a tenth."""
    (mercury,) = asked(QUIET, NOON, Typed("suction_delivered", "10", "mmHg"))
    assert "10 mmHg" in mercury
    assert "as mmHg and cmH2O are" in mercury
    (ten,) = asked(QUIET, NOON, Typed("suction_delivered", "1", "cmH2O"))
    assert "about ten times" in ten
    assert asked(QUIET, NOON, Typed("suction_delivered", "1", "kPa")) == []
    assert asked(QUIET, NOON, Typed("suction_delivered", "-12", "cmH2O")) == []


def test_the_last_digit_that_was_read_off_is_the_cell_it_stands_for() -> None:
    """-2 kPa stands for 1.5 to 2.5 kPa (15.3 to 25.5 cmH2O), -2.0 kPa for 19.9 to 20.9 cmH2O."""
    level = assessed(at_pressure(quiet(), lambda minute: -140))
    assert asked(level, NOON, Typed("suction_delivered", "-2", "kPa")) == []
    assert len(asked(level, NOON, Typed("suction_delivered", "-2.0", "kPa"))) == 1


def test_none_added_typed_while_suction_is_measured_is_asked_about() -> None:
    assert "none added" in asked(QUIET, NOON, Typed("suction_delivered", "none_added"))[0]
    seal = assessed(at_pressure(quiet(), lambda minute: -30))
    assert asked(seal, NOON, Typed("suction_delivered", "none_added")) == []


def test_swing_typed_while_the_drain_is_charted_clamped_is_asked_about() -> None:
    found = assessed(quiet(Said(NOON - 60, "clamp", "on", note="trial")))
    (text,) = asked(found, NOON, Typed("swing", "present"))
    assert text.startswith("open: ")
    assert "clamped" in text
    (text,) = asked(found, NOON, Typed("cough", "no_leak"))
    assert "since 11:00" in text


def test_an_absent_swing_typed_while_one_was_recorded_is_asked_about() -> None:
    assert "a swing of" in asked(QUIET, NOON, Typed("swing", "absent"))[0]
    still = assessed(quiet(swing=0))
    assert asked(still, NOON, Typed("swing", "absent")) == []


def counted(*said: Said) -> Assessment:
    """The unit's counter rises by 1 mL every 6 minutes: 10 mL an hour."""
    stay = quiet(*said)
    return assessed(stay, layout=LAYOUT + FLUID, logs=[with_column(stay, "fluid", lambda minute: str(minute // 6))])


def test_fluid_that_is_not_what_the_unit_counted_is_asked_about() -> None:
    found = counted(Said(NOON - 240, "fluid_output", "20", "mL"))
    (text,) = asked(found, NOON, Typed("fluid_output", "5", "mL"))
    assert "5 mL of fluid were written for 08:00 to 12:00" in text
    assert "the unit counted 40 mL" in text
    assert asked(found, NOON, Typed("fluid_output", "40", "mL")) == []
    assert asked(found, NOON, Typed("fluid_output", "55", "mL")) == []
    assert len(asked(found, NOON, Typed("fluid_output", "400", "mL"))) == 1
    assert asked(QUIET, NOON, Typed("fluid_output", "5", "mL")) == []  # this unit counts nothing


def test_another_length_at_the_skin_is_asked_about() -> None:
    found = assessed(quiet(Said(100, "length_at_skin", "12", "cm")))
    (text,) = asked(found, NOON, Typed("length_at_skin", "14.5", "cm"))
    assert "was 12 cm at 07:40 and is 14.5 cm at 12:00" in text
    assert asked(found, NOON, Typed("length_at_skin", "125", "mm")) == []


def test_the_other_side_and_another_drain_are_asked_about() -> None:
    assert "right side; this drain is on the left" in asked(QUIET, NOON, Typed("site", "right base, dry"))[0]
    assert asked(QUIET, NOON, Typed("site", "left, dry, dressing alright")) == []
    assert asked(QUIET, NOON, Typed("swing", "present", note="patient lies on the right, drain left")) == []
    assert "is for drain 2; this is drain 1" in asked(QUIET, NOON, Typed("swing", "present"), drain="2")[-1]


def test_a_value_beyond_what_the_item_can_mean_is_asked_about() -> None:
    for row in (
        Typed("temperature", "44", "Cel"), Typed("spo2", "9.7", "%"), Typed("systolic", "12", "mmHg"),
        Typed("resp_rate", "160", "/min"), Typed("weight", "154", "kg"), Typed("weight", "32", "kg"),
    ):  # fmt: skip
        assert len(asked(QUIET, NOON, row)) == 1, row
    assert (
        asked(
            QUIET,
            NOON,
            Typed("temperature", "98", "[degF]"),
            Typed("systolic", "16", "kPa"),
            Typed("weight", "72", "kg"),
        )
        == []
    )


def test_later_minutes_tell_nothing_of_a_moment_that_the_answer_does_not_reach() -> None:
    early = assessed(quiet(flow=lambda minute: 0 if minute <= NOON else 300 + 5 * (minute % 3)), at=NOON)
    assert asked(early, NOON + 4, Typed("cough", "no_leak")) == []


def test_a_drain_without_a_log_is_asked_by_its_chart_alone() -> None:
    stay = quiet(Said(100, "length_at_skin", "12", "cm"), Said(200, "clamp", "on"))
    found = assessed(replace(stay, readings=()), logs=[], at=NOON)
    texts = asked(found, NOON, Typed("length_at_skin", "15", "cm"), Typed("swing", "present"))
    assert [text.partition(":")[0] for text in texts] == ["length", "clamped"]
