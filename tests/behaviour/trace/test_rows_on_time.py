"""Each row stands for an interval; intervals never overlap, whatever order the rows came in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from behaviour.trace.made_log import NOON, SECOND, made_log, rows_of
from slackwater.errors import UsageError
from slackwater.reading.log import Log
from slackwater.trace.gaps import gaps
from slackwater.trace.join import place
from slackwater.trace.types import Trace


def intervals(trace: Trace) -> list[tuple[float, float]]:
    """Seconds from noon."""
    return [((int(a) - NOON) / 1000, (int(b) - NOON) / 1000) for a, b in zip(trace.start_ms, trace.end_ms, strict=True)]


def test_a_stamp_that_opens_its_interval_stands_for_the_time_after_it() -> None:
    assert intervals(place([made_log([0, 1, 2], [0, 0, 0])])) == [(0, 1), (1, 2), (2, 3)]


def test_a_stamp_that_closes_its_interval_stands_for_the_time_before_it() -> None:
    assert intervals(place([made_log([1, 2, 3], [0, 0, 0], marks="end")])) == [(0, 1), (1, 2), (2, 3)]


def test_jitter_leaves_no_slivers() -> None:
    """Steps of 299 to 301 s are one unbroken log."""
    trace = place([made_log([0, 299, 600, 901, 1200], [0] * 5, every=300)])
    assert intervals(trace) == [(0, 299), (299, 600), (600, 901), (901, 1200), (1200, 1500)]
    assert gaps(trace, NOON, NOON + 1500 * SECOND) == ()


def test_fractions_of_a_second_are_kept() -> None:
    trace = place([made_log([0.25, 1.35, 2.2], [0, 0, 0], marks="end")])
    assert intervals(trace) == [(-0.75, 0.25), (0.25, 1.35), (1.35, 2.2)]


@pytest.mark.parametrize(("marks", "expected"), [("start", [(0, 1.5), (1.5, 2.5)]), ("end", [(-1, 0), (0, 1.5)])])
def test_a_row_reaches_to_its_neighbour_at_one_and_a_half_times_its_length(
    marks: str, expected: list[tuple[float, float]]
) -> None:
    assert intervals(place([made_log([0, 1.5], [0, 0], marks=marks)])) == expected


@pytest.mark.parametrize(
    ("marks", "expected"), [("start", [(0, 1), (1.501, 2.501)]), ("end", [(-1, 0), (0.501, 1.501)])]
)
def test_beyond_that_it_keeps_its_own_length_and_leaves_a_gap(marks: str, expected: list[tuple[float, float]]) -> None:
    assert intervals(place([made_log([0, 1.501], [0, 0], marks=marks)])) == expected


def test_the_order_of_rows_in_the_file_is_no_evidence() -> None:
    log = made_log([0, 1, 2, 3], [10, 20, None, 40])
    shuffled = place([rows_of(log, [3, 1, 0, 2])])
    straight = place([log])
    assert shuffled.start_ms.tolist() == straight.start_ms.tolist()
    assert shuffled.flow_ul_per_min.tolist() == straight.flow_ul_per_min.tolist()


def test_a_jump_of_the_clock_forwards_is_a_gap_that_was_never_lived_through() -> None:
    log = made_log([0, 1, 2, 3602, 3603], [0] * 5)
    trace = place([log])
    assert [(g.start_ms - NOON, g.end_ms - NOON) for g in gaps(trace, NOON, NOON + 3604 * SECOND)] == [
        (3 * SECOND, 3602 * SECOND)
    ]
    assert trace.clock_steps == ()


def test_channels_a_log_does_not_name_are_not_there() -> None:
    trace = place([made_log([0], [0])])
    assert trace.pressure_mcmh2o is None
    assert trace.state is None


def test_arrays_are_read_only_and_the_logs_are_left_as_they_were() -> None:
    log = replace(made_log([0, 1], [0, 0]), flow_ul_per_min=np.array([0, 0], np.int32))
    trace = place([log])
    with pytest.raises(ValueError, match="read-only"):
        trace.flow_ul_per_min[0] = 5
    with pytest.raises(ValueError, match="read-only"):
        trace.start_ms[0] = 5
    assert log.flow_ul_per_min.flags.writeable


def test_the_history_names_each_step_with_its_arguments() -> None:
    steps = {step.name: step for step in place([made_log([1, 0, 0, 2], [10, 0, 0, 0])]).history}
    assert steps["put rows in order of time"].touched == 1
    assert steps["count repeated rows once"].touched == 1
    assert steps["give each row its time"].arguments == "marks=start, every_ms=1000, reach=1.5"


def test_a_log_without_rows_makes_a_trace_without_rows() -> None:
    trace = place([made_log([], [])])
    assert len(trace.start_ms) == 0
    assert trace.ledger.read == 0
    assert len(gaps(trace, NOON, NOON + 60 * SECOND)) == 1


def test_no_log_at_all_is_refused() -> None:
    with pytest.raises(UsageError, match=r"no log was given\. Give at least one log."):
        place([])


class TestWhatIsKnownAtAMoment:
    @pytest.mark.parametrize(("until", "rows"), [(1000, 1), (1999, 1), (2000, 2), (5000, 3)])
    def test_a_row_is_known_when_its_time_has_passed(self, until: int, rows: int) -> None:
        for log in (made_log([0, 1, 2], [0, 0, 0]), made_log([1, 2, 3], [0, 0, 0], marks="end")):
            assert len(place([log], until_ms=NOON + until).start_ms) == rows

    def test_rows_not_yet_known_are_not_counted_as_read(self) -> None:
        trace = place([made_log([0, 1, 2], [0, 0, 0], refused=2)], until_ms=NOON + 2000)
        assert (trace.ledger.read, trace.ledger.used, trace.ledger.refused) == (4, 2, 2)

    def test_a_later_row_does_not_stretch_an_earlier_one(self) -> None:
        """The last known row ends as if no other followed."""
        log = made_log([0, 1.4], [0, 0])
        assert intervals(place([log], until_ms=NOON + 1300)) == [(0, 1)]

    def test_a_later_repeat_does_not_unsettle_what_was_known(self) -> None:
        log = made_log([0, 1, 1], [0, 0, 10])
        known = place([log], until_ms=NOON + 1500)
        assert known.flow_ul_per_min.tolist() == [0]

    def test_the_display_step_is_found_among_the_known_rows_only(self) -> None:
        """10 mL/min shows in the last row; before it, only steps of 20 have been seen."""
        log = made_log(range(6), [20, 40, 60, 80, 120, 10], step=10, flow_step_declared=False)
        assert place([log], until_ms=NOON + 5000).logs[0].flow_step_ul_per_min == 20_000
        assert place([log]).logs[0].flow_step_ul_per_min == 10_000


def cadence(*logs: Log) -> int:
    return place(logs).every_ms


def test_the_usual_step_is_found_over_all_pieces_of_a_file() -> None:
    """Every other row of a log at 1 s looks like a log at 2 s; together they are one at 1 s."""
    log = made_log(range(20), [0] * 20, every=2, every_declared=False)
    assert cadence(rows_of(log, range(0, 20, 2)), rows_of(log, range(1, 20, 2))) == 1000
    assert cadence(log) == 1000


def test_a_declared_step_is_taken_at_its_word() -> None:
    assert cadence(made_log(range(0, 20, 2), [0] * 10, every=1)) == 1000
