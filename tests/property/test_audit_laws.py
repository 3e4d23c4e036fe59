"""Laws of an audit's figures: cohorts add up, order does not matter, live equals batch, hidden stays hidden."""

from __future__ import annotations

from itertools import product
from math import nan

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from slackwater.audit.statistics.bootstrap import bootstrap
from slackwater.audit.statistics.competing import cumulative_incidence, gray_test
from slackwater.audit.statistics.cusum import cusum, observed_less_expected
from slackwater.audit.statistics.ends import Ends, count_ends
from slackwater.audit.statistics.process_charts import Phase, g_chart, p_chart, t_chart, u_chart, xmr_chart
from slackwater.audit.statistics.special_cause import EIGHT_SIX, SEVEN_FIVE
from slackwater.audit.statistics.suppress import kept_back, with_totals
from slackwater.audit.statistics.survival import kaplan_meier, log_rank

PATIENTS = st.lists(st.tuples(st.integers(0, 30), st.integers(0, 2)), min_size=1, max_size=40)


def counted(patients: list[tuple[int, int]]) -> Ends:
    return count_ends([time for time, _ in patients], [why for _, why in patients], 2)


@given(PATIENTS, PATIENTS, PATIENTS)
def test_disjoint_cohorts_combine_to_the_union(a: list, b: list, c: list) -> None:
    """Invariant M43 of the safety page: counts add, whatever is worked out of them follows."""
    whole = counted([*a, *b, *c])
    for one, two, three in ([a, b, c], [c, a, b]):
        assert np.array_equal((counted(one) + counted(two) + counted(three)).counts, whole.counts)


@given(PATIENTS, st.randoms(use_true_random=False))
def test_the_order_of_patients_does_not_matter(patients: list, other: object) -> None:
    again = list(patients)
    other.shuffle(again)  # type: ignore[attr-defined]
    assert np.array_equal(counted(again).counts, counted(patients).counts)


@settings(max_examples=20)
@given(st.lists(st.tuples(st.sampled_from("abcdef"), st.floats(0, 50)), min_size=2, max_size=12), st.data())
def test_nor_does_it_for_drawing_again(rows: list, data: st.DataObject) -> None:
    again = data.draw(st.permutations(rows))

    def interval(table: list) -> tuple[float | None, float | None]:
        hours = np.array([hour for _, hour in table])
        chance = np.random.default_rng(1)
        names = [name for name, _ in table]
        found = bootstrap(lambda kept: float(np.sort(hours[kept]).mean()), names, chance, 50, method="percentile")
        return found.low, found.high

    assert interval(again) == pytest.approx(interval(rows), nan_ok=True)


@given(PATIENTS)
def test_shares_by_cause_and_the_share_left_make_one(patients: list) -> None:
    ends = counted(patients)
    left = kaplan_meier(ends)
    sums = sum(cumulative_incidence(ends, cause).share for cause in (1, 2))
    assert sums + left.share == pytest.approx(np.ones(len(left.share)))


@given(PATIENTS, st.integers(2, 60))
def test_another_unit_of_time_changes_no_share(patients: list, factor: int) -> None:
    finer = counted([(time * factor, why) for time, why in patients])
    for cause in (None, 1):
        coarse, fine = kaplan_meier(counted(patients), cause), kaplan_meier(finer, cause)
        assert np.array_equal(coarse.share, fine.share)
        assert np.array_equal(coarse.time * factor, fine.time)


@given(PATIENTS, PATIENTS, PATIENTS)
def test_tests_do_not_depend_on_which_group_is_named_first(a: list, b: list, c: list) -> None:
    groups = [counted(part) for part in (a, b, c)]
    for test in (log_rank, lambda parts: log_rank(parts, 1)):
        assert test(groups).statistic == pytest.approx(test(groups[::-1]).statistic, abs=1e-6)


@given(PATIENTS, PATIENTS)
def test_two_groups_swapped_have_the_same_test_of_incidence(a: list, b: list) -> None:
    one, other = gray_test([counted(a), counted(b)], 1), gray_test([counted(b), counted(a)], 1)
    assert one.statistic == pytest.approx(other.statistic, abs=1e-6, nan_ok=True)
    assert one.expected == pytest.approx(other.expected[::-1])


OUTCOMES = st.lists(st.tuples(st.sampled_from([0.0, 1.0, nan]), st.floats(0.01, 0.9)), min_size=1, max_size=40)


@given(OUTCOMES, st.integers(1, 40))
def test_a_cusum_drawn_live_is_the_one_drawn_at_the_end(patients: list, upto: int) -> None:
    happened, risk = (np.array(column) for column in zip(*patients, strict=True))
    for odds_ratio, limit in ((2.0, 2.0), (0.5, -2.0)):
        whole, early = (cusum(happened[:n], risk[:n], odds_ratio, limit) for n in (len(risk), upto))
        assert np.array_equal(early.path, whole.path[:upto])
        assert early.crossed == (whole.crossed if (whole.crossed or 0) < upto else None)
        assert ((whole.path >= 0) if odds_ratio > 1 else (whole.path <= 0)).all()
    excess = observed_less_expected(happened, risk)
    assert excess.left_out == whole.left_out == np.isnan(happened).sum()
    assert np.array_equal(observed_less_expected(happened[:upto], risk[:upto]).path, excess.path[:upto])


POINTS = st.lists(st.one_of(st.integers(0, 9).map(float), st.just(nan)), min_size=9, max_size=40)


@given(POINTS, st.sampled_from((SEVEN_FIVE, EIGHT_SIX)), st.integers(9, 40))
def test_with_a_baseline_a_mark_is_known_when_it_says_so_and_stays(points: list, rules: object, upto: int) -> None:
    values = np.array(points)
    n = np.full(len(values), 12.0)
    phases = [Phase(0, 8)]
    for draw in (
        lambda k: xmr_chart(values[:k], phases, rules, 0.0),
        lambda k: p_chart(values[:k], n[:k], phases, rules),
        lambda k: u_chart(values[:k], n[:k], phases, rules),
        lambda k: g_chart(values[:k], phases, rules),
        lambda k: t_chart(values[:k], phases, rules),
    ):
        whole = {(mark.rule, mark.first, mark.known_at) for mark in draw(len(values)).marks}
        early = {(mark.rule, mark.first, mark.known_at) for mark in draw(upto).marks}
        assert early == {mark for mark in whole if mark[2] < upto}


@given(POINTS, st.integers(1, 30))
def test_charts_move_with_their_unit(points: list, factor: int) -> None:
    one, scaled = xmr_chart(points), xmr_chart(np.array(points) * factor)
    for name in ("centre", "low", "high"):
        assert getattr(scaled, name) == pytest.approx(getattr(one, name) * factor, nan_ok=True, abs=1e-9)


@settings(max_examples=150)
@given(
    st.integers(1, 3).flatmap(
        lambda rows: st.lists(st.lists(st.integers(0, 6), min_size=3, max_size=3), min_size=rows, max_size=rows)
    ),
    st.integers(1, 6),
)
@example([[0, 0, 0], [0, 0, 1], [0, 1, 1]], 1)  # row and column of the first cell are hidden, and yet it followed
def test_no_hidden_cell_follows_from_what_is_shown(rows: list, fewest: int) -> None:
    """By listing: another table with the same shown cells exists in which the hidden cell is another."""
    for counts in (np.array(rows), np.array(rows[0])):
        hidden, shown = kept_back(counts, fewest), with_totals(counts)
        assert hidden[shown < fewest].all()
        inner = tuple(slice(-1) for _ in counts.shape)
        cells = np.argwhere(hidden[inner])
        moved = np.zeros_like(hidden)
        if len(cells):
            steps = np.array(list(product((-1, 0, 1), repeat=len(cells))))
            others = np.repeat(counts[None], len(steps), axis=0)
            others[(slice(None), *cells.T)] += steps
            others = others[(others.reshape(len(others), -1) >= 0).all(axis=1)]
            for axis in range(1, others.ndim):
                others = np.concatenate([others, others.sum(axis=axis, keepdims=True)], axis=axis)
            alike = (others == shown)[:, ~hidden].all(axis=1)
            moved = (others[alike] != shown).any(axis=0)
        assert np.array_equal(moved & hidden, hidden)


@given(st.lists(st.lists(st.integers(0, 9), min_size=3, max_size=3), min_size=1, max_size=5), st.integers(1, 6))
def test_the_hidden_parts_of_a_shown_total_are_not_a_small_number_together(rows: list, fewest: int) -> None:
    counts = np.array(rows)
    hidden, shown = kept_back(counts, fewest), with_totals(counts)
    for line, dark in [*zip(shown, hidden, strict=True), *zip(shown.T, hidden.T, strict=True)]:
        if dark[:-1].any() and not dark[-1]:
            assert dark[:-1].sum() > 1
            assert line[:-1][dark[:-1]].sum() >= fewest
