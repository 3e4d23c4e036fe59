"""Published scores for a prolonged leak, with their edges; and what papers call prolonged.

'Read' is read in the paper's abstract. Two scores are from memory: see `scores_from_memory`.
"""

from __future__ import annotations

import pytest

from behaviour.risk.a_patient import WHOLE, points, told
from reference import scores_from_memory as memory
from slackwater.risk.gilbert import GILBERT
from slackwater.risk.inputs import KEYS, RiskInputs
from slackwater.risk.prolonged import (
    FIVE_DAYS_ABOVE_20,
    OVER_5_DAYS,
    OVER_7_DAYS,
    OVER_7_DAYS_IN_HOSPITAL,
    OVER_168_H_CAPPED,
    hours_after_operation,
    lasted,
)
from slackwater.risk.published import NOT_COMPUTED, PUBLISHED, scores
from slackwater.risk.score import Published
from slackwater.risk.seder import SEDER

# --- Rivera, Ann Thorac Surg 2011;92:1062-8 (read) ---------------------------------------------------------------

RIVERA = {
    "sex": "male", "bmi": 24, "mrc_dyspnoea": 2, "adhesions": "yes", "resection": "lobectomy", "side": "right",
    "lobe": "upper",
}  # fmt: skip


def test_rivera_worked_value() -> None:
    assert points("rivera", **RIVERA) == 23


@pytest.mark.parametrize(("bmi", "index"), [(20, 27), (24, 23), (30, 17), (24.3, 22.7)])
def test_rivera_counts_bmi_down_from_24(bmi: float, index: float) -> None:
    assert points("rivera", **RIVERA | {"bmi": bmi}) == index


def test_rivera_may_be_negative() -> None:
    found = told(
        "rivera", sex="female", bmi=30, mrc_dyspnoea=0, adhesions="no", resection="wedge", lobe="lower"
    )  # fmt: skip
    assert (found.points, found.answer) == (-6, "-6 points")


@pytest.mark.parametrize(
    ("resection", "index"),
    [
        ("wedge", 16), ("segmentectomy", 23), ("lobectomy", 23), ("bilobectomy", 27), ("volume_reduction", 30),
        ("bulla", 18),
    ],
)  # fmt: skip
def test_rivera_by_resection(resection: str, index: float) -> None:
    assert points("rivera", **RIVERA | {"resection": resection}) == index


def test_rivera_is_over_seven_days_and_no_percentage() -> None:
    found = told("rivera", **RIVERA)
    assert ">7 days" in found.outcome.text
    assert found.outcome.limit_h == 168
    assert not found.rates
    assert found.band is None
    assert "%" not in f"{found.answer} {found.cohort} {found.notes} {found.parts}"


# --- Seder, Ann Thorac Surg 2019;108:1478-83 (read) --------------------------------------------------------------

MAN_AT_17 = {"sex": "male", "bmi": 25.0, "resection": "lobectomy", "side": "right", "lobe": "lower"}


def test_seder_17_is_low_and_20_is_high() -> None:
    assert told("seder", **MAN_AT_17).answer == "17 points, low"
    assert told("seder", **MAN_AT_17 | {"lobe": "upper"}).answer == "20 points, high"


@pytest.mark.parametrize(
    ("known", "expected"),
    [
        ({"sex": "male", "bmi": 25, "fev1_percent": 70, "side": "right", "lobe": "upper"}, 25),
        ({"sex": "female", "bmi": 30, "fev1_percent": 90, "resection": "wedge"}, 0),
        ({"resection": "wedge", "bmi": 25.0}, 7),
        ({"resection": "wedge", "bmi": 25.01}, 0),
        ({"resection": "wedge", "fev1_percent": 70.0}, 5),
        ({"resection": "wedge", "fev1_percent": 70.01}, 0),
        ({"resection": "bilobectomy", "side": "right"}, 6),
        ({"resection": "segmentectomy"}, 0),
        ({"resection": "wedge", "side": "left", "lobe": "upper"}, 0),
        ({"resection": "wedge", "side": "right", "lobe": "upper"}, 3),
    ],
)
def test_seder_edges(known: dict[str, str | float], expected: float) -> None:
    assert points("seder", **known) == expected


@pytest.mark.parametrize(
    "outside",
    [
        {"resection": "pneumonectomy"}, {"resection": "sleeve"}, {"chest_wall_resection": "yes"}, {"side": "bilateral"},
        {"elective": "no"}, {"diagnosis": "other"},
    ],
)  # fmt: skip
def test_seder_refuses_what_it_excluded(outside: dict[str, str]) -> None:
    found = told("seder", **MAN_AT_17 | outside)
    assert found.status == "not_applicable"
    assert (found.points, found.band, found.rates, found.parts) == (None, None, (), ())


def rate(paper: Published, of: str) -> float:
    (found,) = (one.percent for one in paper.rates if one.of.startswith(of))
    return found / 100


def predictive(sensitivity: float, specificity: float, prevalence: float) -> tuple[float, float]:
    ill, well = prevalence, 1 - prevalence
    positive = sensitivity * ill / (sensitivity * ill + (1 - specificity) * well)
    negative = specificity * well / (specificity * well + (1 - sensitivity) * ill)
    return positive, negative


def test_seder_rates_agree_with_each_other() -> None:
    """Derived: 0.30, 0.85 and 5,453 of 52,198 (0.104) give 0.188 and 0.913; the paper prints 19 % and 91 %."""
    found = predictive(rate(SEDER, "sensitivity"), rate(SEDER, "specificity"), 5453 / 52198)
    assert found == pytest.approx((0.188, 0.913), abs=0.005)
    assert found == pytest.approx((rate(SEDER, "positive"), rate(SEDER, "negative")), abs=0.005)
    assert rate(SEDER, "had such a leak, of the group above 17") == 0.196
    assert rate(SEDER, "had such a leak, of the group at 17") == 0.09


# --- Gilbert, Ann Thorac Surg 2016;102:1674-9 (read) -------------------------------------------------------------


@pytest.mark.parametrize(
    ("known", "answer"),
    [
        ({"sex": "male", "smoking": "current", "dlco_percent": 79}, "5 points, high"),
        ({"sex": "male", "smoking": "former", "dlco_percent": 79}, "5 points, high"),
        ({"sex": "male", "bmi": 25, "smoking": "current"}, "3.5 points, low"),
        ({"smoking": "current", "dlco_percent": 79}, "4 points, low"),
        ({"smoking": "current", "dlco_percent": 80}, "2 points, low"),
        ({"smoking": "current", "dlco_percent": 79, "bmi": 25}, "4.5 points, high"),
        ({"smoking": "current", "dlco_percent": 79, "bmi": 25.01}, "4 points, low"),
        (
            {"sex": "male", "bmi": 25, "smoking": "current", "dlco_percent": 79, "mrc_dyspnoea": 2},
            "6.5 points, high",
        ),
        ({}, "0 points, low"),
    ],
)
def test_gilbert_edges(known: dict[str, str | float], answer: str) -> None:
    assert told("gilbert", **known).answer == answer


def test_gilbert_is_over_seven_days_in_hospital_with_a_low_predictive_value() -> None:
    assert told("gilbert").outcome is OVER_7_DAYS_IN_HOSPITAL
    found = predictive(rate(GILBERT, "sensitivity"), rate(GILBERT, "specificity"), 18 / 225)  # derived: 17 and 98 %
    assert found == pytest.approx((0.17, 0.98), abs=0.005)


# --- Viti, J Surg Oncol 2018;118:1285-91 (read) ------------------------------------------------------------------


ALL_OF_VITI = {
    "fev1_percent": 85.9, "bmi": 23.9, "smoking": "current", "incomplete_fissure": "yes", "adhesions": "yes",
}  # fmt: skip


@pytest.mark.parametrize(
    ("known", "expected"),
    [
        (ALL_OF_VITI, 6.5),
        ({"fev1_percent": 86}, 0),
        ({"fev1_percent": 85.9}, 1.5),
        ({"bmi": 24}, 0),
        ({"bmi": 23.9}, 1),
        ({"smoking": "former"}, 0),
        ({"smoking": "current"}, 1.5),
    ],
)  # fmt: skip
def test_viti_edges_and_no_class(known: dict[str, str | float], expected: float) -> None:
    found = told("viti", **known)
    assert found.points == expected
    assert found.band is None
    assert "Class: cannot tell. The paper has four; their cut points were not seen." in found.notes
    assert found.outcome is OVER_5_DAYS


# --- Lee, J Am Coll Surg 2011 (read) -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("known", "expected"),
    [
        ({"adhesions": "yes", "fev1_percent": 70, "dlco_percent": 60}, 2 + 3 + 2),
        ({"fev1_percent": 100, "dlco_percent": 100}, 0),
        ({"fev1_percent": 125, "dlco_percent": 140}, 0),  # derived: never negative
        ({"fev1_percent": 90}, 1),
        ({"dlco_percent": 80}, 1),
    ],
)
def test_lee_on_its_steps(known: dict[str, str | float], expected: float) -> None:
    assert points("lee", **known) == expected


@pytest.mark.parametrize(("key", "percent"), [("fev1_percent", 75), ("fev1_percent", 99), ("dlco_percent", 70)])
def test_lee_between_its_steps_cannot_be_told(key: str, percent: float) -> None:
    found = told("lee", **{key: percent})
    assert (found.points, found.status) == (None, "cannot_tell")
    assert "rounded" in found.answer


# --- J Cardiothorac Surg 2017, doi 10.1186/s13019-017-0568-6 (read) ----------------------------------------------


def records(*grades: int) -> dict[str, str | float]:
    return {f"bubbling_record_{number}": grade for number, grade in enumerate(grades, start=4)}


def test_grades_of_records_4_to_9() -> None:
    assert told("grade-sum", **records(3, 3, 3, 3, 2, 2)).answer == "16 points, predicted"
    assert told("grade-sum", **records(3, 3, 3, 2, 2, 2)).answer == "15 points, not predicted"
    assert told("grade-sum", **records(3, 3, 3, 3, 2, 2)).outcome is OVER_5_DAYS


def test_five_of_six_records_cannot_be_told() -> None:
    left_out = {
        name: value for name, value in (WHOLE | records(3, 3, 3, 3, 2, 2)).items() if name != "bubbling_record_6"
    }
    (found,) = scores(RiskInputs(left_out), ["grade-sum"])
    assert (found.points, found.band, found.missing) == (None, None, ("bubbling_record_6",))


# --- a missing input is never scored as absent -------------------------------------------------------------------


@pytest.mark.parametrize(("name", "key"), [(paper.id, key) for paper in PUBLISHED.values() for key in paper.needs])
def test_any_missing_input_cannot_be_told(name: str, key: str) -> None:
    (found,) = scores(RiskInputs({other: value for other, value in WHOLE.items() if other != key}), [name])
    assert (found.points, found.band, found.status, found.missing) == (None, None, "cannot_tell", (key,))
    assert found.answer == f"cannot tell: needs {KEYS[key].label}"


# --- from memory: out of the program, and marked so --------------------------------------------------------------


@pytest.mark.parametrize(
    ("age", "adhesions", "fev1", "bmi", "expected", "letter", "percent"),
    [(65, False, 80, 25.5, 0, "A", 1.4), (66, True, 79, 25, 5.5, "D", 29.0)],
)
def test_from_memory_brunelli_2010(
    age: float, adhesions: bool, fev1: float, bmi: float, expected: float, letter: str, percent: float
) -> None:
    assert not memory.VERIFIED
    found = memory.brunelli_2010(age, adhesions, fev1, bmi)
    assert found == expected
    assert memory.brunelli_2010_class(found) == memory.Class(letter, percent)


@pytest.mark.parametrize(
    ("fev1", "bmi", "expected", "letter", "percent"), [(79, 18.4, 4, "D", 25.0), (80, 18.5, 1, "B", 10.0)]
)
def test_from_memory_pompili_2017(fev1: float, bmi: float, expected: int, letter: str, percent: float) -> None:
    assert not memory.VERIFIED
    found = memory.pompili_2017(True, fev1, bmi)
    assert found == expected
    assert (memory.pompili_2017_class(found).letter, memory.pompili_2017_class(found).percent) == (letter, percent)


def test_from_memory_pompili_classes_add_up() -> None:
    """Derived: 5069 patients, and the class rates give 505.8 leaks where 504 are remembered."""
    sizes = [one.patients for one in memory.POMPILI_2017 if one.patients is not None]
    assert sum(sizes) == 5069
    expected = sum(one.percent / 100 * (one.patients or 0) for one in memory.POMPILI_2017)
    assert expected == pytest.approx(505.8, abs=0.05)
    assert expected == pytest.approx(504, abs=2)


def test_no_score_from_memory_is_in_the_program() -> None:
    for name in ("brunelli", "pompili"):
        assert name not in PUBLISHED
        assert name not in {paper.id for paper in NOT_COMPUTED}


# --- what is called prolonged ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("hours", "over_5_days", "over_7_days"),
    [(119, False, False), (120, False, False), (121, True, False), (168, True, False), (169, True, True)],
)
def test_longer_than_5_or_7_days(hours: float, over_5_days: bool, over_7_days: bool) -> None:
    """Society of Thoracic Surgeons' database (>5 days) and Rivera 2011 (>7 days), both read."""
    assert lasted(hours, OVER_5_DAYS, ended=True).prolonged is over_5_days
    assert lasted(hours, OVER_7_DAYS, ended=True).prolonged is over_7_days


def test_still_leaking_at_168_h_is_reported_as_192_h() -> None:
    """Brunelli, Eur J Cardiothorac Surg 2013;43:899-904 (read)."""
    found = lasted(168, OVER_168_H_CAPPED, ended=False)
    assert (found.prolonged, found.reported_h, found.censored) == (True, 192, True)
    over = lasted(170, OVER_168_H_CAPPED, ended=True)
    assert (over.prolonged, over.reported_h, over.censored) == (True, 192, True)
    done = lasted(167, OVER_168_H_CAPPED, ended=True)
    assert (done.prolonged, done.reported_h, done.censored) == (False, 167, False)


def test_at_least_five_days_counts_five() -> None:
    """Takamochi, Ann Thorac Surg 2017 (read in part): above 20 mL/min for 5 days or more."""
    assert lasted(120, FIVE_DAYS_ABOVE_20, ended=True).prolonged is True
    assert lasted(119.9, FIVE_DAYS_ABOVE_20, ended=True).prolonged is False


def test_the_clock_starts_when_the_operation_ends() -> None:
    """A log that starts two hours late makes no leak shorter."""
    hour = 3_600_000
    assert lasted(hours_after_operation(0, 121 * hour), OVER_5_DAYS, ended=True).prolonged is True
    assert lasted(hours_after_operation(2 * hour, 121 * hour), OVER_5_DAYS, ended=True).prolonged is False
    assert OVER_5_DAYS.clock_from == "end of operation"
