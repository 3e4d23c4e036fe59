"""Skill and confidence: against statsmodels, by hand, and honest where answers are few."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.audit.statistics.agreement import kappa
from slackwater.audit.statistics.calibration import brier
from slackwater.errors import UsageError
from slackwater.teach import Lesson, shipped_exercises
from slackwater.teach.exercise import kinds
from slackwater.teach.lesson import confident
from slackwater.teach.score import FEW, Share, by_kind, skill, skills, table

LEAK = kinds()["leak"]
ANSWERS = tuple(LEAK.answers)


def lessons(n: int, right: int, sure: float, exercise: str = "clamp-trial") -> list[Lesson]:
    return [
        Lesson(exercise, k, 0, "at_rest" if k < right else "none", "at_rest", sure, 1000 + k) for k in range(n)
    ]  # fmt: skip


@pytest.mark.parametrize(("right", "n"), [(0, 3), (1, 2), (8, 10), (12, 12), (37, 90)])
def test_the_interval_is_wilson_s(right: int, n: int) -> None:
    """Outside: statsmodels.stats.proportion, method 'wilson'."""
    from statsmodels.stats.proportion import proportion_confint

    assert Share(right, n).interval == pytest.approx(proportion_confint(right, n, method="wilson"), abs=1e-6)


def test_kappa_is_weighted_for_answers_in_order() -> None:
    """Outside: statsmodels.stats.inter_rater.cohens_kappa, linear weights, 40 drawn answers."""
    from statsmodels.stats.inter_rater import cohens_kappa

    rng = np.random.default_rng(7)
    told = [
        Lesson("clamp-trial", k, 0, ANSWERS[int(rng.integers(4))], ANSWERS[int(rng.integers(4))], 70.0, k)
        for k in range(40)
    ]
    found = skill(told, LEAK, kappa).agreement
    theirs = cohens_kappa(np.array(table(told, LEAK)), wt="linear")
    assert found is not None
    assert found.value == pytest.approx(theirs.kappa, abs=1e-9)
    assert (found.low, found.high) == pytest.approx((theirs.kappa_low, theirs.kappa_upp), abs=1e-6)


def test_kappa_is_one_where_all_agree_and_zero_by_chance_alone() -> None:
    """By definition (Cohen 1960)."""
    agree = [Lesson("clamp-trial", k, 0, ANSWERS[k % 4], ANSWERS[k % 4], 90.0, k) for k in range(12)]
    chance = [Lesson("clamp-trial", k, 0, ANSWERS[k % 4], ANSWERS[k // 4], 90.0, k) for k in range(16)]
    for told, wanted in ((agree, 1.0), (chance, 0.0)):
        found = skill(told, LEAK, kappa).agreement
        assert found is not None
        assert found.value == pytest.approx(wanted)


def test_brier_is_the_same_as_over_many_drains() -> None:
    """And by hand: 0.8 sure and right is 0.04, 0.8 sure and wrong is 0.64."""
    found = skill(lessons(4, 2, 80.0), LEAK, kappa)
    assert found.brier == pytest.approx((2 * 0.04 + 2 * 0.64) / 4)
    assert found.brier == pytest.approx(brier([0.8] * 4, [1, 1, 0, 0]))


def test_surer_than_right_is_said_when_the_interval_says_so() -> None:
    assert skill(lessons(12, 5, 95.0), LEAK, kappa).says == "surer than right"
    assert skill(lessons(20, 20, 55.0), LEAK, kappa).says == "better than you think"
    assert skill(lessons(12, 9, 75.0), LEAK, kappa).says.startswith("confidence and skill agree")


@pytest.mark.parametrize("kind", ["open", "leak", "first", "course"])
def test_who_guesses_and_says_so_is_not_called_too_sure(kind: str) -> None:
    """By chance one of n answers is right 1 time in n: of 20 rounds through n answers, exactly 20."""
    answers = tuple(kinds()[kind].answers)
    n = len(answers)
    guess = confident(int(100 / n), n)
    told = [Lesson("x", k, 0, answers[0], answers[k % n], guess, k) for k in range(20 * n)]
    found = skill(told, kinds()[kind], kappa)
    assert found.came == Share(20, 20 * n)
    assert found.gap == pytest.approx(0.0)
    assert found.says.startswith("confidence and skill agree")
    with pytest.raises(UsageError, match="is no confidence"):
        confident(int(100 / n) - 1, n)


def test_of_few_answers_nothing_is_said() -> None:
    found = skill(lessons(FEW - 1, 0, 99.0), LEAK, kappa)
    assert found.says == "too few to say (9 of 10)"
    assert found.agreement is None


def test_bands_hold_every_answer_once() -> None:
    every = [Lesson("clamp-trial", k, 0, "none", "none", 25.0 + k, k) for k in range(76)]
    bands = skill(every, LEAK, kappa).bands
    assert sum(band.came.n for band in bands) == 76
    assert [band.came.n for band in bands] == [25, 10, 10, 10, 10, 11]
    assert bands[1].told == pytest.approx(54.5)


def test_nothing_tried_is_not_nothing_right() -> None:
    nothing = skill([], LEAK, kappa)
    assert (nothing.came.value, nothing.came.interval, nothing.brier, nothing.told) == (None, None, None, None)


def test_an_exercise_that_is_gone_is_left_out() -> None:
    told = [*lessons(2, 1, 70.0), *lessons(3, 1, 70.0, "gone-since")]
    assert {name: len(some) for name, some in by_kind(told, shipped_exercises()).items() if some} == {"leak": 2}
    assert skills(told, shipped_exercises(), kappa)[0].came == Share(1, 2)
