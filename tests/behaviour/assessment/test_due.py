"""What is due, by the chart of a drain and its patient. The rule's numbers are invented; weights of the score are from
memory (see tests/reference/test_early_warning.py)."""

from __future__ import annotations

from behaviour.assessment.a_quiet_stay import air_clause, rule
from behaviour.episode.typed_chart import at, chart, row
from slackwater.assessment.due import due_items, score_sets, scored
from slackwater.episode.types import Chart, Episode

EPISODE = Episode(age_years=60, drain_number="1", connected_at=at(0), shares_space_told=True)
SCHEDULE = (
    '[[schedule]]\nitem = "swing"\nevery = "4 h"\n'
    '[[schedule]]\nitem = "observations"\nevery = "4 h"\nearly_warning = [{ at_least = 5, every = "1 h" }]\n'
    '[[schedule]]\nitem = "site"\nevery = "8 h"\nfrom = { event = "removed" }\n'
)
RULE = rule(air_clause("air", "8 h"), SCHEDULE)


def observed(hour: float, spo2: int = 97, rate: int = 16, **left_out: str) -> list[str]:
    cells = [
        ("resp_rate", rate, "/min"), ("spo2", spo2, "%"), ("oxygen", "air", ""), ("systolic", 120, "mmHg"),
        ("heart_rate", 80, "/min"), ("consciousness", "alert", ""), ("temperature", 37.0, "Cel"),
    ]  # fmt: skip
    return [row(hour, item, value, unit) for item, value, unit in cells if item not in left_out.values()]


PATIENT = [row(0, "spo2_scale", "scale_1"), row(0, "pregnant", "no")]


def due(given: Chart, now: float, **events: float) -> dict[str, tuple[float | None, bool, str]]:
    found = due_items(RULE, given, EPISODE, {name: (at(hour),) for name, hour in events.items()}, at(now))
    return {
        one.item: (None if one.due_ms is None else (one.due_ms - at(now)) / 3_600_000, one.overdue, one.because)
        for one in found
    }


def test_another_drains_swing_is_not_this_drains() -> None:
    other = chart(row(9, "swing", "present", drain="2"), row(3, "swing", "present", drain="1"))
    assert due(other, 10)["swing"] == (-3, True, "")


def test_a_set_of_observations_is_breathing_saturation_and_heart_within_half_an_hour() -> None:
    one = [row(8, "resp_rate", 16, "/min"), row(8.4, "spo2", 97, "%"), row(8.5, "heart_rate", 80, "/min")]
    assert due(chart(*one), 10)["observations"][:2] == (2.5, False)
    late = [*one[:2], row(8.6, "heart_rate", 80, "/min")]
    assert due(chart(*late), 10)["observations"][0] == -6  # none since connection


def test_a_high_score_shortens_the_interval_and_says_why() -> None:
    ill = chart(*PATIENT, *observed(8, spo2=91, rate=22))  # 3 + 2
    assert due(ill, 8.5)["observations"] == (0.5, False, "early-warning score 5")
    assert due(chart(*PATIENT, *observed(8)), 8.5)["observations"][0] == 3.5


def test_where_the_score_cannot_be_computed_the_pace_stays_and_that_is_said() -> None:
    found = due(chart(*observed(8)), 8.5)["observations"]
    assert found[0] == 3.5
    assert "not computed" in found[2]


def test_a_later_reading_that_alone_is_bad_counts_before_its_set_is_whole() -> None:
    given = chart(*PATIENT, *observed(8), row(9, "spo2", 90, "%"), row(9, "resp_rate", 26, "/min"))
    assert due(given, 9.5)["observations"][2] == "early-warning score at least 6"
    sets = scored(given, EPISODE)
    assert [(one.points, one.least) for one in sets] == [(None, 6), (0, 0)]


def test_a_reading_charted_twice_differently_is_missing() -> None:
    given = chart(*PATIENT, *observed(8), row(8, "spo2", 90, "%"))
    (only,) = score_sets(given, EPISODE)
    assert only[1].missing == ("spo2",)


def test_what_was_charted_later_tells_nothing_of_an_earlier_set() -> None:
    given = chart(*observed(8), row(9, "pregnant", "no"), row(9, "spo2_scale", "scale_1"))
    assert score_sets(given, EPISODE)[0][1].points is None


def test_a_child_has_no_score_and_keeps_the_rules_pace() -> None:
    child = Episode(age_years=8, drain_number="1", connected_at=at(0), shares_space_told=True)
    assert scored(chart(*PATIENT, *observed(8, spo2=80)), child) == ()


def test_after_the_removal_what_counts_from_it_is_due_and_the_rest_is_not() -> None:
    assert due(chart(row(9, "swing", "present", drain="1")), 10, removed=9.5) == {
        "site": (7.5, False, "counted from removed")
    }


def test_without_a_rule_nothing_is_due() -> None:
    assert due_items(None, chart(), EPISODE, {}, at(1)) == ()
