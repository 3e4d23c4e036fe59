"""The same row twice counts once; two rows that contradict one another count as nothing."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from behaviour.trace.made_log import NOON, SECOND, made_log, rows_of, thousandths
from slackwater.reading.log import NONE
from slackwater.trace.join import place
from slackwater.trace.types import Trace


def flows(trace: Trace) -> list[float | None]:
    return [None if v == NONE else v / 1000 for v in trace.flow_ul_per_min.tolist()]


def ledger(trace: Trace) -> tuple[int, int, int, int, int]:
    book = trace.ledger
    assert book.used + book.refused + book.duplicate + book.conflicting == book.read
    return book.read, book.used, book.refused, book.duplicate, book.conflicting


def test_an_exact_repeat_is_counted_once() -> None:
    trace = place([made_log([0, 1, 1, 1, 2], [0, 10, 10, 10, 20], refused=1)])
    assert flows(trace) == [0, 10, 20]
    assert ledger(trace) == (6, 3, 1, 2, 0)
    assert trace.conflicts == ()


def test_the_same_file_given_twice_adds_nothing() -> None:
    log = made_log([0, 1, 2], [0, 10, None])
    once, twice = place([log]), place([log, log])
    assert flows(twice) == flows(once)
    assert ledger(twice) == (6, 3, 0, 3, 0)
    assert twice.exchanges == ()


def test_two_rows_that_differ_leave_the_moment_without_a_value() -> None:
    trace = place([made_log([0, 1, 1, 2], [0, 10, 30, 20])])
    assert flows(trace) == [0, None, 20]
    assert len(trace.start_ms) == 3, "the moment keeps its place"
    assert [(c.start_ms - NOON, c.end_ms - NOON, c.why) for c in trace.conflicts] == [
        (1000, 2000, "two rows differ in flow")
    ]
    assert ledger(trace) == (4, 2, 0, 0, 2)


def test_a_third_row_does_not_outvote() -> None:
    trace = place([made_log([0, 1, 1, 1], [0, 10, 10, 30])])
    assert flows(trace) == [0, None]
    assert ledger(trace) == (4, 1, 0, 1, 2)


def test_only_the_channels_that_differ_are_lost() -> None:
    log = made_log([0, 0], [10, 10], pressure_mcmh2o=thousandths([-8, -9]))
    trace = place([log])
    assert flows(trace) == [10]
    assert trace.pressure_mcmh2o is not None
    assert trace.pressure_mcmh2o.tolist() == [NONE]
    assert trace.conflicts[0].why == "two rows differ in pressure"


def test_a_blank_beside_a_value_is_a_conflict_too() -> None:
    """Else blanking one of two disputed values would settle the dispute."""
    assert flows(place([made_log([0, 0], [10, None])])) == [None]


@pytest.mark.parametrize("order", list(itertools.permutations(range(4)))[::3])
def test_the_outcome_does_not_depend_on_the_order_of_rows(order: tuple[int, ...]) -> None:
    trace = place([rows_of(made_log([0, 1, 1, 1], [0, 10, 20, None]), order)])
    assert flows(trace) == [0, None]
    assert ledger(trace) == (4, 1, 0, 0, 3)


def test_overlapping_exports_of_one_unit_are_one_log() -> None:
    log = made_log(range(10), range(0, 100, 10))
    trace = place([rows_of(log, range(3, 10)), rows_of(log, range(6))])
    assert flows(trace) == flows(place([log]))
    assert ledger(trace) == (13, 10, 0, 3, 0)
    assert trace.exchanges == ()


def test_disputed_neighbours_look_like_a_clock_set_back() -> None:
    """An hour of local time written twice by a log that believes itself to be in UTC."""
    log = made_log([*range(0, 240, 60), *range(60, 300, 60)], [0, 0, 0, 0, 50, 60, 70, 0], every=60)
    trace = place([log])
    assert flows(trace) == [0, None, None, None, 0]
    assert [(c.start_ms - NOON, c.end_ms - NOON) for c in trace.clock_steps] == [(60 * SECOND, 240 * SECOND)]


class TestInterleavedRows:
    """A clock that ran back by no whole number of rows: two combs of stamps between one another."""

    seconds = (*range(20), *(12.3 + k for k in range(20)))

    def test_the_doubly_stamped_stretch_is_missing(self) -> None:
        trace = place([made_log(self.seconds, [0] * 40)])
        missing = [s / 1000 for s in (trace.start_ms - NOON)[trace.flow_ul_per_min == NONE].tolist()]
        assert (missing[0], missing[-1]) == (12, 19.3)
        assert [(c.start_ms - NOON, c.end_ms - NOON) for c in trace.clock_steps] == [(12_000, 20_300)]
        assert trace.clock_steps[0] in trace.conflicts

    def test_nothing_counts_twice(self) -> None:
        trace = place([made_log(self.seconds, [0] * 40)])
        assert (trace.start_ms[1:] >= trace.end_ms[:-1]).all()
        assert int((trace.end_ms - trace.start_ms).sum()) == 32_300 + 1000 - 1000

    def test_its_rows_are_counted_as_conflicting(self) -> None:
        trace = place([made_log(self.seconds, [0] * 40)])
        assert ledger(trace) == (40, 24, 0, 0, 16)

    def test_it_is_found_where_no_one_said_how_long_a_row_lasts(self) -> None:
        seconds = (*range(20), *(0.3 + k for k in range(20)))
        trace = place([made_log(seconds, [0] * 40, every=0.3, every_declared=False)])
        assert trace.every_ms == 1000
        assert set(flows(trace)) == {None}

    def test_one_late_row_is_not_taken_for_it(self) -> None:
        """The clock caught up once, as in the request-latency series of the tests' real data."""
        assert place([made_log([0, 300, 600, 1140, 1200, 1500], [0] * 6, every=300)]).clock_steps == ()

    def test_a_log_quicker_than_declared_is_not_taken_for_it(self) -> None:
        assert place([made_log(np.arange(0, 20, 0.5), [0] * 40, every=1)]).clock_steps == ()


class TestAnHourThatHappenedTwice:
    """Local stamps without an offset in the autumn hour: the reader gives the first of two instants."""

    seconds = (-600, *range(0, 3600, 600), *range(0, 3600, 600), 7200)

    def trace(self) -> Trace:
        n = len(self.seconds)
        flow = [50, *range(12), 60]
        return place([made_log(self.seconds, flow, every=600, doubtful=range(1, n - 1))])

    def test_both_possible_hours_are_missing(self) -> None:
        trace = self.trace()
        assert flows(trace) == [50, None, None, None, None, None, None, 60]
        assert [(c.start_ms - NOON, c.end_ms - NOON) for c in trace.clock_steps] == [(0, 7200 * SECOND)]

    def test_the_spans_are_conflicts_as_well(self) -> None:
        assert [(c.start_ms - NOON, c.end_ms - NOON) for c in self.trace().conflicts] == [(0, 7200 * SECOND)]

    def test_all_its_rows_are_conflicting(self) -> None:
        assert ledger(self.trace()) == (14, 2, 0, 0, 12)

    def test_one_row_is_enough_to_lose_both_hours_around_it(self) -> None:
        trace = place([made_log([0, 600, 4200], [0, 0, 0], every=600, doubtful=[1])])
        assert flows(trace) == [0, None, None]


class TestTwoUnits:
    def test_an_exchange_is_noted_where_another_serial_takes_over(self) -> None:
        one = made_log(range(5), [0] * 5)
        other = made_log(range(7, 12), [20] * 5, serials=("unit 2",), step=1)
        trace = place([other, one])
        assert trace.exchanges == (NOON + 7 * SECOND,)
        assert [trace.logs[k].flow_step_ul_per_min for k in trace.log.tolist()] == [10_000] * 5 + [1000] * 5

    def test_where_they_overlap_and_agree_each_moment_counts_once(self) -> None:
        one = made_log(range(6), [0] * 6)
        other = made_log(range(3, 9), [0] * 6, serials=("unit 2",))
        trace = place([one, other])
        assert flows(trace) == [0] * 9
        assert int((trace.end_ms - trace.start_ms).sum()) == 9 * SECOND
        assert ledger(trace) == (12, 9, 0, 3, 0)

    @pytest.mark.parametrize("turned", [False, True])
    def test_where_they_overlap_and_differ_neither_is_used(self, turned: bool) -> None:
        logs = [made_log(range(6), [0] * 6), made_log(range(3, 9), [20] * 6, serials=("unit 2",))]
        trace = place(logs[::-1] if turned else logs)
        assert flows(trace) == [0, 0, 0, None, None, None, 20, 20, 20]
        assert [(c.start_ms - NOON, c.end_ms - NOON, c.why) for c in trace.conflicts] == [
            (3000, 6000, "two units' logs differ in flow")
        ]
        assert ledger(trace) == (12, 6, 0, 0, 6)

    def test_rows_of_unlike_length_are_cut_where_the_other_begins(self) -> None:
        fine = made_log(range(300, 310), [0] * 10)
        coarse = made_log([0, 300], [0, 0], every=300, serials=("unit 2",))
        trace = place([fine, coarse])
        assert set(flows(trace)) == {0}
        assert int((trace.end_ms - trace.start_ms).sum()) == 600 * SECOND
        assert (trace.start_ms[1:] >= trace.end_ms[:-1]).all()
        assert trace.every_ms == 300 * SECOND

    def test_a_channel_only_one_of_them_has_is_no_dispute(self) -> None:
        one = made_log([0, 1], [0, 0])
        other = made_log([1, 2], [0, 0], serials=("unit 2",), pressure_mcmh2o=thousandths([-8, -8]))
        trace = place([one, other])
        assert trace.conflicts == ()
        assert trace.pressure_mcmh2o is not None
        assert trace.pressure_mcmh2o.tolist() == [NONE, -8000, -8000]

    def test_files_that_share_a_serial_are_of_one_unit(self) -> None:
        one = made_log([0], [0], serials=("unit 1",))
        both = made_log([1], [0], serials=("unit 1", "unit 2"))
        other = made_log([2], [0], serials=("unit 2",))
        assert place([one, other, both]).exchanges == ()
        assert place([one, other]).exchanges == (NOON + 2 * SECOND,)

    def test_a_piece_of_zeros_says_nothing_about_the_display(self) -> None:
        zeros = made_log([0, 1], [0, 0], step=1, flow_step_declared=False)
        rest = made_log([2, 3, 4, 5], [20, 50, 110, 30], step=10, flow_step_declared=False)
        assert {log.flow_step_ul_per_min for log in place([zeros, rest]).logs} == {10_000}

    def test_one_may_fill_a_gap_of_the_other(self) -> None:
        one = made_log([0, 1, 8, 9], [0] * 4)
        other = made_log([4, 5], [20, 20], serials=("unit 2",))
        for logs in ([one, other], [other, one]):
            trace = place(logs)
            assert flows(trace) == [0, 0, 20, 20, 0, 0]
            assert trace.exchanges == (NOON + 4 * SECOND, NOON + 8 * SECOND)

    def test_only_the_time_that_both_speak_of_is_compared(self) -> None:
        one = made_log(range(100), [0] * 100)
        other = made_log(range(40, 60), [0] * 19 + [10], serials=("unit 2",))
        trace = place([one, other])
        assert flows(trace) == [0] * 59 + [None] + [0] * 40
        assert ledger(trace) == (120, 99, 0, 19, 2)
