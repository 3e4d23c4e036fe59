"""The National Early Warning Score 2 (Royal College of Physicians, 2017).

Weights and edges are FROM MEMORY, to be checked against RCP 2017 before use; the tests say so in their names. How often
it asks for observations is READ (RCP 2017, chart 4).
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.quantities.units import unit
from slackwater.risk import early_warning as news
from slackwater.risk.early_warning import FREQUENCY, READINGS, VERIFIED, Observed, early_warning

MMHG = float(unit("mmHg").factor)
WELL = Observed(16, 98, "air", 120 * MMHG, 70, "alert", 37.0, "scale_1", 60, "no")


def part(name: str, **told: object) -> int:
    return dict(early_warning(replace(WELL, **told)).parts)[name]  # type: ignore[arg-type]


def edges(text: str) -> list[tuple[float, int]]:
    return [(float(value), int(points)) for value, points in (pair.split(":") for pair in text.split())]


def test_the_weights_are_not_verified_and_the_program_says_so() -> None:
    assert not VERIFIED
    assert "check them against RCP 2017" in news.CAUTION


@pytest.mark.parametrize(
    ("name", "unit_", "pairs"),
    [
        ("resp_rate", 1, "8:3 9:1 11:1 12:0 20:0 21:2 24:2 25:3"),
        ("spo2", 1, "91:3 92:2 93:2 94:1 95:1 96:0 100:0"),
        ("systolic", MMHG, "90:3 91:2 100:2 101:1 110:1 111:0 219:0 220:3"),
        ("heart_rate", 1, "40:3 41:1 50:1 51:0 90:0 91:1 110:1 111:2 130:2 131:3"),
        ("temperature", 1, "35.0:3 35.1:1 36.0:1 36.1:0 38.0:0 38.1:1 39.0:1 39.1:2"),
    ],
)
def test_from_memory_the_edges_of_each_reading(name: str, unit_: float, pairs: str) -> None:
    for value, points in edges(pairs):
        assert part(name, **{name: value * unit_}) == points, (name, value)


@pytest.mark.parametrize(
    ("oxygen", "pairs"),
    [("air", "83:3 84:2 85:2 86:1 87:1 88:0 92:0 93:0 97:0 100:0"),
     ("2 L/min", "83:3 84:2 85:2 86:1 87:1 88:0 92:0 93:1 94:1 95:2 96:2 97:3 100:3")],
)  # fmt: skip
def test_from_memory_the_second_scale_counts_too_much_oxygen_too(oxygen: str, pairs: str) -> None:
    for value, points in edges(pairs):
        assert part("spo2", spo2=value, oxygen=oxygen, scale="scale_2") == points, value


def test_from_memory_oxygen_gives_two_and_anything_but_alert_three() -> None:
    assert part("oxygen", oxygen="2 L/min") == 2
    assert part("oxygen") == 0
    assert {part("consciousness", consciousness=w) for w in ("confused", "voice", "pain", "unresponsive")} == {3}
    assert part("consciousness") == 0


def test_from_memory_the_most_there_can_be_is_20() -> None:
    worst = early_warning(Observed(30, 80, "60 %", 60 * MMHG, 150, "unresponsive", 34.0, "scale_1", 60, "no"))
    assert worst.points == 20
    assert FREQUENCY[-1].most == 20


@pytest.mark.parametrize(
    ("told", "points", "often"),
    [
        ({}, 0, "12-hourly"),
        ({"spo2": 95}, 1, "4 to 6-hourly"),
        ({"resp_rate": 22, "spo2": 93}, 4, "4 to 6-hourly"),
        ({"resp_rate": 25}, 3, "hourly"),
        ({"resp_rate": 22, "spo2": 93, "heart_rate": 95}, 5, "hourly, urgent"),
        ({"resp_rate": 22, "spo2": 93, "oxygen": "28 %"}, 6, "hourly, urgent"),
        ({"resp_rate": 25, "spo2": 93, "oxygen": "28 %"}, 7, "continuous, emergency"),
    ],
)
def test_read_how_often_it_asks_for_observations(told: dict[str, object], points: int, often: str) -> None:
    """READ: 0: 12-hourly; 1-4: 4-6-hourly; 3 in one: hourly; 5-6: hourly, urgent; 7 or more: continuous, emergency."""
    found = early_warning(replace(WELL, **told))  # type: ignore[arg-type]
    assert (found.points, found.often) == (points, often)


NEEDED = (*READINGS, "scale", "age_years", "pregnant")


@given(st.sets(st.sampled_from(NEEDED), min_size=1))
def test_with_anything_missing_there_are_no_points_and_what_is_missing_is_named(gone: set[str]) -> None:
    """haz-D08 in kind: missing is never zero."""
    found = early_warning(replace(WELL, **dict.fromkeys(gone)))  # type: ignore[arg-type]
    assert found.points is None
    assert set(found.missing) == gone
    assert found.often == ""
    assert "not computed" in found.answer


@given(st.sets(st.sampled_from(NEEDED)), st.integers(5, 40), st.integers(80, 100), st.integers(50, 250))
def test_what_is_known_is_a_floor_that_a_whole_set_never_falls_below(
    gone: set[str], rate: int, spo2: int, systolic: int
) -> None:
    whole = replace(WELL, resp_rate=rate, spo2=spo2, systolic=systolic * MMHG)
    points = early_warning(whole).points
    assert points is not None
    assert early_warning(replace(whole, **dict.fromkeys(gone))).least <= points  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("name", "value"), [("spo2", 95.5), ("resp_rate", 20.5), ("temperature", 38.05), ("heart_rate", 90.5)]
)
def test_a_reading_between_two_steps_of_the_table_has_no_points(name: str, value: float) -> None:
    found = early_warning(replace(WELL, **{name: value}))  # type: ignore[arg-type]
    assert found.points is None
    assert found.doubts


def test_it_is_for_adults_and_not_for_pregnancy_and_unknown_is_asked() -> None:
    for told in ({"age_years": 15.9}, {"pregnant": "yes"}):
        found = early_warning(replace(WELL, **told))  # type: ignore[arg-type]
        assert (found.points, found.parts) == (None, ())
        assert "does not apply" in found.answer
    assert early_warning(replace(WELL, age_years=16)).points == 0
    assert "whether there is a pregnancy" in early_warning(replace(WELL, pregnant=None)).answer


def test_a_pressure_in_kpa_is_scored_by_its_mmhg() -> None:
    """16 kPa is 120.01 mmHg (NIST SP 811)."""
    assert part("systolic", systolic=16 * float(unit("kPa").factor)) == 0
