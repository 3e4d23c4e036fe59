"""Real nursing charting: four intensive-care stays with chest tubes.

Source: MIMIC-III Clinical Database Demo v1.4 (PhysioNet, doi 10.13026/C2HM2Q), Open Database License 1.0;
notice and licence stand beside the file. Expected counts and sums are the data set's own README, or are
summed here from the raw file by other code than the tool's.
"""

from __future__ import annotations

import csv
import math
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from slackwater.episode.chart import known_at, read_chart
from slackwater.episode.fluid import (
    FluidRecord,
    fluid_intervals,
    last_entry_end,
    last_entry_end_over_drains,
    total,
    total_over_drains,
    totals_at,
)
from slackwater.episode.types import Chart, Instant
from slackwater.errors import ChartError

FILE = Path(__file__).parents[1] / "data" / "real" / "icu_chest_tube_outputs" / "drain_outputs.csv"
ROWS = list(csv.DictReader(FILE.read_text(encoding="utf-8").splitlines()))
HOUR = 3_600_000
TWO_TUBES, LONGEST, ONE_TUBE, SHORT = "286020", "243229", "249805", "290513"


def rows_of(stay: str) -> list[dict[str, str]]:
    return [row for row in ROWS if row["icustay_id"] == stay]


def moment(text: str) -> Instant:
    """The database prints local times without a zone; dates are shifted, so UTC serves as well as any."""
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


def typed(stay: str, unit: str = "mL") -> bytes:
    """The stay as a chart; `unit` is that of the file's volume column, as its README states it."""
    lines = ["time,item,value,unit,note,drain,recorded"]
    for row in rows_of(stay):
        told = unit or row["unit"]
        lines.append(f"{row['charttime']},fluid_output,{row['volume']},{told},,{row['label']},{row['storetime']}")
    return "\n".join(lines).encode()


def chart_of_stay(stay: str) -> Chart:
    return read_chart(typed(stay), f"{stay}.csv", "UTC")


def tubes(stay: str) -> tuple[str, ...]:
    return tuple(sorted({row["label"] for row in rows_of(stay)}))


def records(chart: Chart, stay: str) -> list[FluidRecord]:
    """Each tube, with the hour before its first entry taken as the moment of connection."""
    labels = tubes(stay)
    found = []
    for label in labels:
        first = min(moment(row["charttime"]) for row in rows_of(stay) if row["label"] == label)
        found.append(fluid_intervals(chart, label, first - HOUR, labels))
    return found


def raw_sum(stay: str, start: Instant = 0, end: Instant = 10**15, label: str = "") -> float:
    return sum(
        float(row["volume"])
        for row in rows_of(stay)
        if row["volume"] and start < moment(row["charttime"]) <= end and label in row["label"]
    )


@pytest.mark.parametrize(
    ("stay", "entries", "sum_ml", "zeros", "blanks", "early"),
    [(TWO_TUBES, 83, 2150.0, 17, 1, 14), (LONGEST, 15, 1140.0, 2, 0, 1)],
)
def test_every_row_is_read_and_zeros_and_blanks_are_told_apart(
    stay: str, entries: int, sum_ml: float, zeros: int, blanks: int, early: int
) -> None:
    chart = chart_of_stay(stay)
    values = [entry.value for entry in chart.entries]
    assert (chart.read, chart.used, chart.refused, chart.duplicate, chart.conflicting) == (entries, entries, 0, 0, 0)
    assert sum(value for value in values if isinstance(value, float)) == sum_ml
    assert (values.count(0.0), values.count(None)) == (zeros, blanks)
    assert sum(entry.recorded_early for entry in chart.entries) == early
    assert all(entry.recorded >= entry.time for entry in chart.entries)


def test_a_row_without_a_unit_is_refused_though_its_neighbours_say_millilitres() -> None:
    # The last row of this stay is '0.0' with an empty unit.
    with pytest.raises(ChartError, match=r"286020\.csv, line 84, column unit: fluid_output 0\.0 has no unit"):
        read_chart(typed(TWO_TUBES, unit=""), "286020.csv", "UTC")


def test_the_longest_stay_adds_up_over_its_158_hours() -> None:
    found = records(chart_of_stay(LONGEST), LONGEST)
    first = min(moment(row["charttime"]) for row in rows_of(LONGEST))
    last = max(moment(row["charttime"]) for row in rows_of(LONGEST))
    assert round((last - first) / HOUR) == 158
    assert total_over_drains(found, first - HOUR, last).low_ml == 1140.0


def test_two_tubes_add_up_and_the_blank_leaves_their_sum_without_an_upper_bound() -> None:
    one, two = records(chart_of_stay(TWO_TUBES), TWO_TUBES)
    start, end = moment("2190-07-13 11:45:00"), moment("2190-07-15 08:00:00")
    assert (total(one, start, end).low_ml, total(two, start, end).low_ml) == (760.0, 1390.0)
    assert total(one, start, end).high_ml == math.inf
    assert total(two, start, end).high_ml == 1390.0
    both = total_over_drains([one, two], start, end)
    assert (both.low_ml, both.high_ml) == (2150.0, math.inf)


def test_up_to_the_entry_before_the_blank_the_sum_of_both_tubes_is_known() -> None:
    found = records(chart_of_stay(TWO_TUBES), TWO_TUBES)
    start, end = moment("2190-07-14 07:00:00"), moment("2190-07-15 07:00:00")
    day = total_over_drains(found, start, end)
    assert day.low_ml == day.high_ml == raw_sum(TWO_TUBES, start, end) == 470.0
    assert day.covered == 1.0


def test_a_sum_across_midnight_is_the_sum_of_its_two_parts() -> None:
    found = records(chart_of_stay(TWO_TUBES), TWO_TUBES)
    evening, midnight, morning = (
        moment(text) for text in ("2190-07-13 20:00:00", "2190-07-14 00:00:00", "2190-07-14 06:00:00")
    )
    whole = total_over_drains(found, evening, morning)
    parts = [total_over_drains(found, *part) for part in ((evening, midnight), (midnight, morning))]
    assert whole.low_ml == whole.high_ml == sum(part.low_ml for part in parts)
    assert whole.low_ml == raw_sum(TWO_TUBES, evening, morning)


def test_a_midnight_that_no_entry_stands_at_cuts_an_interval_into_a_range() -> None:
    # Tube 1 was charted at 21:00 and then at 00:30 with 10 mL: midnight lies between.
    one, _ = records(chart_of_stay(TWO_TUBES), TWO_TUBES)
    night = total(one, moment("2190-07-14 21:00:00"), moment("2190-07-15 00:00:00"))
    assert (night.low_ml, night.high_ml) == (0.0, 10.0)


def test_an_hour_that_was_charted_for_one_tube_only_is_unknown_for_both_together() -> None:
    # At 2190-07-15 04:00 only tube 2 was charted.
    found = records(chart_of_stay(TWO_TUBES), TWO_TUBES)
    hour = total_over_drains(found, moment("2190-07-15 03:00:00"), moment("2190-07-15 04:00:00"))
    assert (hour.low_ml, hour.high_ml) == (20.0, 20.0)  # tube 1's next entry says 0 for 03:00 to 07:00
    late = known_at(chart_of_stay(TWO_TUBES), moment("2190-07-15 06:00:00"))
    then = total_over_drains(records(late, TWO_TUBES), moment("2190-07-15 03:00:00"), moment("2190-07-15 04:00:00"))
    assert (then.low_ml, then.high_ml) == (20.0, math.inf)


def test_gaps_of_days_in_one_tube_are_long_intervals_and_cut_windows_show_it() -> None:
    # 'Chest Tube #1' was charted on 1 July 06:07 and next on 3 July 18:28 with 90 mL.
    label = "Chest Tube #1"
    read = next(one for one in records(chart_of_stay(LONGEST), LONGEST) if one.drain == label)
    day = total(read, moment("2198-07-02 06:00:00"), moment("2198-07-03 06:00:00"))
    assert (day.low_ml, day.high_ml) == (0.0, 90.0)


def test_entries_are_known_from_when_they_were_stored_and_never_before_the_time_they_speak_of() -> None:
    chart = chart_of_stay(TWO_TUBES)
    for row in rows_of(TWO_TUBES):
        told, stored = moment(row["charttime"]), moment(row["storetime"])
        known_from = max(told, stored)
        for when, there in ((known_from, True), (known_from - 1, False)):
            found = [e for e in known_at(chart, when).entries if (e.time, e.drain) == (told, row["label"])]
            assert bool(found) is there


def test_the_same_sum_to_the_last_entry_at_every_moment_as_adding_up_the_raw_file() -> None:
    chart = chart_of_stay(ONE_TUBE)
    (read,) = records(chart, ONE_TUBE)
    end = last_entry_end(read)
    assert end == moment("2171-08-08 06:00:00")
    for row in rows_of(ONE_TUBE):
        start = moment(row["charttime"])
        found = total(read, start, end)
        assert found.low_ml == found.high_ml == raw_sum(ONE_TUBE, start, end)


def test_a_total_beyond_the_last_entry_is_unknown_however_small_the_chart_looks() -> None:
    (read,) = records(chart_of_stay(SHORT), SHORT)
    end = moment("2175-10-03 08:00:00")
    assert total(read, end - 8 * HOUR, end).high_ml == raw_sum(SHORT, end - 8 * HOUR, end) == 160.0
    assert total(read, end - 7 * HOUR, end + HOUR).high_ml == math.inf


@pytest.mark.parametrize("stay", [TWO_TUBES, LONGEST, ONE_TUBE, SHORT])
def test_totals_at_every_minute_are_those_at_each(stay: str) -> None:
    for read in records(chart_of_stay(stay), stay):
        first, last = int(read.end_ms[0]), int(read.end_ms[-1])
        ends = np.arange(first, last + 2 * HOUR, 17 * 60_000, dtype=np.int64)
        low, high = totals_at(read, ends, 24 * HOUR)
        each = [total(read, end - 24 * HOUR, end) for end in ends.tolist()]
        assert low.tolist() == [one.low_ml for one in each]
        assert high.tolist() == [one.high_ml for one in each]


def test_the_tubes_of_a_stay_are_charted_up_to_the_tube_that_is_charted_least() -> None:
    found = records(chart_of_stay(LONGEST), LONGEST)
    assert last_entry_end_over_drains(found) == moment("2198-07-05 14:00:00")


def test_local_times_in_another_zone_move_every_entry_and_no_total() -> None:
    utc, vienna = (read_chart(typed(ONE_TUBE), "c.csv", zone) for zone in ("UTC", "+02:00"))
    shift = timedelta(hours=2) // timedelta(milliseconds=1)
    assert [one.time + shift for one in vienna.entries] == [one.time for one in utc.entries]
    assert [one.value for one in vienna.entries] == [one.value for one in utc.entries]
