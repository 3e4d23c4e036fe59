"""Gaps, repeats and steps back in recorded series, against what their sources say of them.

The series are no chest drains: they stand in for logs that no one tidied. Sources and licences: the NOTICE.md
beside each file. Values are read as flows, since only their times matter here.
"""

from __future__ import annotations

import csv
import gzip
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest

from behaviour.trace.made_log import HOUR, MINUTE, SECOND, made_log
from slackwater.reading.log import NONE
from slackwater.trace.gaps import gaps
from slackwater.trace.join import place
from slackwater.trace.minutes import minutes
from slackwater.trace.types import Interval, Trace

REAL = Path(__file__).parents[1] / "data" / "real"
DAY = 24 * HOUR


def rows(name: str) -> Iterator[dict[str, str]]:
    with gzip.open(REAL / name, "rt", encoding="utf-8") as file:
        yield from csv.DictReader(file)


def instant(text: str) -> int:
    """Read as UTC: the sources name no zone."""
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()) * 1000


def placed(times: list[str], values: list[str], every: float) -> Trace:
    """As a log whose usual step has to be found; it must come out as the source says."""
    first = instant(times[0])
    trace = place(
        [
            made_log(
                [(instant(t) - first) / 1000 for t in times],
                [float(v) for v in values],
                since=first,
                every=every,
                every_declared=False,
                step=0,
            )
        ]
    )
    assert trace.every_ms == round(every * 1000)
    assert trace.ledger.read == len(times)
    return trace


def benchmark(name: str, every: float) -> Trace:
    table = list(rows(f"anomaly_nab/{name}.csv.gz"))
    return placed([row["timestamp"] for row in table], [row["value"] for row in table], every)


def inner_gaps(trace: Trace) -> tuple[Interval, ...]:
    return gaps(trace, int(trace.start_ms[0]), int(trace.end_ms[-1]))


def longest(found: tuple[Interval, ...], every_ms: int) -> int:
    """From stamp to stamp, as the sources count: the gap, and the row before it."""
    return max(gap.end_ms - gap.start_ms for gap in found) + every_ms


def test_ambient_temperature_has_ten_holes_the_longest_of_seven_and_a_quarter_days() -> None:
    trace = benchmark("ambient_temperature_system_failure", 3600)
    assert len(trace.start_ms) == 7267
    found = inner_gaps(trace)
    assert len(found) == 10
    assert longest(found, trace.every_ms) == 7.25 * DAY
    assert trace.ledger.duplicate == trace.ledger.conflicting == 0


def test_speed_has_381_holes_the_longest_of_seven_hours() -> None:
    trace = benchmark("speed_7578", 300)
    assert len(trace.start_ms) == 1127
    found = inner_gaps(trace)
    assert len(found) == 381
    assert longest(found, trace.every_ms) == 7 * HOUR
    assert trace.clock_steps == ()


def test_request_latency_has_eleven_repeated_times_and_two_holes() -> None:
    """Twelve different values are stamped 03:00: none can be used, and none is a mere repeat."""
    trace = benchmark("ec2_request_latency_system_failure", 300)
    assert trace.ledger.read == 4032
    assert trace.ledger.conflicting == 12
    assert trace.ledger.duplicate == 0
    assert len(trace.start_ms) == 4032 - 11
    assert len(inner_gaps(trace)) == 2
    at = instant("2014-03-09 03:00:00")
    assert trace.conflicts == (Interval(at, at + MINUTE, "two rows differ in flow"),)


def test_machine_temperature_was_stamped_twice_for_one_hour() -> None:
    """Its clock went back by an hour at 02:55: twelve stamps are there twice, with other values each."""
    trace = benchmark("machine_temperature_2014-01-06_to_08", 300)
    assert trace.ledger.read == 3 * 288 + 12
    assert trace.ledger.conflicting == 24
    at = instant("2014-01-07 02:00:00")
    assert [(s.start_ms, s.end_ms) for s in trace.clock_steps] == [(at, at + HOUR)]
    table = minutes(trace, at - HOUR, at + 2 * HOUR)
    assert table.covered.tolist() == [1] * 60 + [0] * 60 + [1] * 60
    assert table.clock.tolist() == [False] * 60 + [True] * 60 + [False] * 60
    covered = int((trace.end_ms - trace.start_ms)[trace.flow_ul_per_min != NONE].sum())
    assert covered == 3 * DAY - HOUR, "one hour in dispute, and none counted twice"


@pytest.mark.parametrize(
    ("subject", "jump_s"),
    [("1636-69-001", 36_004_894), ("1636-70-1005", 91_196)],  # 417 days, and 25 hours
)
def test_a_jump_of_a_glucose_series_is_a_gap_and_jitter_is_none(subject: str, jump_s: int) -> None:
    mine = [row for row in rows("cgm_5min/hall2018_two_subjects.csv.gz") if row["id"] == subject]
    trace = placed([row["time"] for row in mine], [row["glucose_mg_dl"] for row in mine], 300)
    found = inner_gaps(trace)
    assert longest(found, trace.every_ms) == jump_s * SECOND
    stamps = [instant(row["time"]) for row in mine]
    far = [b - a for a, b in pairwise(stamps) if b - a > 450 * SECOND]
    assert len(found) == len(far)
    assert sum(gap.end_ms - gap.start_ms for gap in found) == sum(far) - len(far) * trace.every_ms
    assert trace.clock_steps == trace.conflicts == ()


def test_a_recording_in_intensive_care_lacks_2551_seconds_in_three_gaps() -> None:
    """52,725,000 samples at 125 a second, 0.605 % missing: here one row a second, as long as something is there."""
    with (REAL / "icu_numerics_1min" / "segment_table_125hz_a.csv").open(encoding="utf-8") as file:
        segments = [{k: int(v) for k, v in row.items()} for row in csv.DictReader(file)]
    total = sum(row["n_samples"] for row in segments)
    assert total == 52_725_000
    seconds = [
        s
        for row in segments
        if not row["gap"]
        for s in range(row["start_sample"] // 125, (row["start_sample"] + row["n_samples"]) // 125)
    ]
    trace = place([made_log(seconds, [0.0] * len(seconds), since=0)])
    found = gaps(trace, 0, total // 125 * SECOND)
    missing = sum(gap.end_ms - gap.start_ms for gap in found)
    assert len(found) == 3
    assert missing == 2551 * SECOND
    assert round(100 * missing / (total / 125 * SECOND), 3) == 0.605
    table = minutes(trace, 0, total // 125 * SECOND)
    assert round(float((1 - table.covered).sum()) * 60) == 2551
