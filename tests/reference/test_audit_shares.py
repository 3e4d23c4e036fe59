"""Published shares, ratios and anchors about chest drains, recomputed from their counts (checks 70 to 81)."""

from __future__ import annotations

import pytest

from slackwater.audit.statistics.agreement import kappa
from slackwater.audit.statistics.competing import cumulative_incidence
from slackwater.audit.statistics.ends import count_ends
from slackwater.audit.statistics.estimate import Estimate
from slackwater.audit.statistics.intervals import highest_share, risk_ratio, share
from slackwater.audit.statistics.survival import kaplan_meier


@pytest.mark.parametrize(
    ("events", "n", "percent", "within"),
    [
        (12, 68, 17.6, 0.05),  # 70: recurrence after clamping, J Cardiothorac Surg 2021;16:24
        (4, 54, 7.4, 0.05),  # 70: and without
        (8, 68, 11.8, 0.05),  # 70: reinsertions saved
        (25, 497, 5.03, 0.05),  # 71: reintervention after removal, J Clin Med 2019;8:2092
        (175, 497, 35.2, 0.05),  # 71: any finding
        (11, 1988, 0.55, 0.01),  # 72: readmitted for effusion, Cerfolio & Bryant, JTCVS 2008
        (17, 599, 2.84, 0.01),  # 72: reintervention, Bjerregaard, EJCTS 2014, PMID 23872457; printed 2.8
        (76, 385, 19.7, 0.05),  # 73: EJCTS 2016;49:288; printed to one place
        (51, 397, 12.8, 0.05),
        (
            135,
            720,
            18.75,
            0.01,
        ),  # 74: prolonged leak, J Cardiothorac Surg 2017, doi 10.1186/s13019-017-0568-6; printed 18.8
        (5453, 52198, 10.45, 0.01),  # 74: Seder, Ann Thorac Surg 2019;108:1478; printed 10.4
        (1655, 24113, 6.86, 0.01),  # 74: Rivera, Ann Thorac Surg 2011;92:1062; printed 6.9
    ],
)
def test_a_published_share(events: int, n: int, percent: float, within: float) -> None:
    found = share(events, n)
    assert found.value is not None and found.low is not None and found.high is not None
    assert 100.0 * found.value == pytest.approx(percent, abs=within)
    assert found.low < found.value < found.high


def test_73_the_published_ratio_with_its_interval() -> None:
    """EJCTS 2016;49:288, crude: 1.54 (1.11 to 2.13)."""
    found = risk_ratio(76, 385, 51, 397)
    assert (found.value, found.low, found.high) == (
        pytest.approx(1.54, abs=0.005),
        pytest.approx(1.11, abs=0.005),
        pytest.approx(2.13, abs=0.005),
    )


def test_75_a_published_course_of_leaks() -> None:
    """Cerfolio, Ann Thorac Surg 1998: of 101 leaking on successive occasions; it never rises."""
    leaking = [26, 22, 9, 6, 6, 5]
    shares = [share(count, 101).value for count in leaking]
    assert [100.0 * value for value in shares if value is not None] == pytest.approx(
        [25.7, 21.8, 8.9, 5.9, 5.9, 5.0], abs=0.05
    )
    # as a curve: those who leak last are censored, for when they stopped is not told
    times = [
        day for day, (now, then) in enumerate(zip([101, *leaking], leaking, strict=False)) for _ in range(now - then)
    ]
    curve = kaplan_meier(count_ends([*times, *[6] * 5], [1] * len(times) + [0] * 5))
    assert [100.0 * value for value in curve.at(range(6))] == pytest.approx([25.7, 21.8, 8.9, 5.9, 5.9, 5.0], abs=0.05)


def test_79_a_death_is_no_removal() -> None:
    """Of four drains two came out, one patient died, one went home with it (worked by hand)."""
    removed, died = 1, 2
    ends = count_ends([1, 2, 3, 4], [removed, died, removed, 0], 2)
    assert kaplan_meier(ends, removed).at([1, 2, 3]).tolist() == pytest.approx([0.75, 0.75, 0.375])
    assert cumulative_incidence(ends, removed).at([1, 2, 3]).tolist() == pytest.approx([0.25, 0.25, 0.5])


def test_80_kappa_of_full_agreement_is_one_and_of_chance_nought() -> None:
    assert kappa([[30, 0], [0, 20]]).value == pytest.approx(1.0, abs=1e-9)
    assert kappa([[30, 20], [15, 10]]).value == pytest.approx(0.0, abs=1e-9)


def test_81_none_of_thirty_has_its_upper_bound() -> None:
    """9.5 % one-sided and exact, beside the rule of three's 10.0 %."""
    bound = highest_share(0, 30)
    assert bound is not None and 100.0 * bound == pytest.approx(9.5, abs=0.1)
    assert share(0, 30).low == 0.0
    assert bound < 3.0 / 30


def test_nobody_gives_no_share() -> None:
    assert share(0, 0) == Estimate(None, None, None, 0.95, "exact (Clopper-Pearson)")
    assert highest_share(0, 0) is None
