"""Laws that hold for any log, however broken: time is never counted twice, order and repeats say nothing."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from behaviour.trace.made_log import HOUR, MINUTE, NOON, made_log, rows_of
from behaviour.trace.messy_log import FLOWS, honest_logs, messy_logs, window
from slackwater.reading.log import NONE, Log
from slackwater.reading.zones import zone
from slackwater.trace.gaps import gaps
from slackwater.trace.join import place
from slackwater.trace.minutes import minutes
from slackwater.trace.types import Trace

VALUES = ("covered", "present", "flow", "flow_low", "flow_high", "flow_min", "flow_max", "peak_low", "peak_high")


def same(one: Trace, other: Trace) -> None:
    """All that is concluded from rows is equal; which file and line a row came from may differ."""
    for name in ("start_ms", "end_ms", "flow_ul_per_min"):
        assert getattr(one, name).tolist() == getattr(other, name).tolist(), name
    assert one.conflicts == other.conflicts
    assert one.clock_steps == other.clock_steps
    assert one.every_ms == other.every_ms
    a, b = window(one), window(other)
    for name in VALUES:
        np.testing.assert_array_equal(getattr(a, name), getattr(b, name), err_msg=name)


def balanced(trace: Trace) -> None:
    book = trace.ledger
    assert book.used + book.refused + book.duplicate + book.conflicting == book.read


@given(st.lists(messy_logs(), min_size=1, max_size=3), st.booleans())
def test_m4_no_moment_is_covered_twice_by_any_mess(logs: list[Log], two_units: bool) -> None:
    if two_units:
        logs = [*logs[:-1], made_log([0.5, 1.5, 3], [0, 10, 0], serials=("unit 2",))]
    trace = place(logs)
    balanced(trace)
    assert (trace.end_ms > trace.start_ms).all()
    assert (trace.start_ms[1:] >= trace.end_ms[:-1]).all()
    lived = int((trace.end_ms - trace.start_ms).sum())
    assert lived <= int(trace.end_ms[-1] - trace.start_ms[0])
    table = window(trace)
    assert (table.covered <= table.present).all()
    assert (table.present <= 1).all()
    for span in trace.clock_steps:
        assert any(c.start_ms <= span.start_ms and span.end_ms <= c.end_ms for c in trace.conflicts)


@pytest.mark.parametrize("name", ["Europe/Vienna", "America/St_Johns", "Australia/Lord_Howe", "UTC"])
@given(data=st.data())
def test_m4_on_nights_when_the_clocks_change(name: str, data: st.DataObject) -> None:
    """Local stamps, read as the reader reads them, with rows every 10 minutes over a day of change."""
    there = ZoneInfo(name)
    year = data.draw(st.integers(2024, 2030))
    days = [datetime(year, month, day, 12, tzinfo=UTC) for month in (3, 4, 10, 11) for day in range(1, 30)]
    changing = [
        int(day.timestamp() * 1000)
        for day in days
        if day.astimezone(there).utcoffset()
        != datetime.fromtimestamp(day.timestamp() - 86_400, UTC).astimezone(there).utcoffset()
    ] or [NOON]
    noon = data.draw(st.sampled_from(changing))
    utc = noon - 24 * HOUR + np.arange(0, 36 * HOUR, 10 * MINUTE)
    rules = zone(name)
    local = utc + np.array([rules.offset_ms(int(t)) for t in utc])
    back, twice, never = rules.to_utc(local)
    assert not never.any()
    flow = data.draw(st.lists(FLOWS, min_size=len(utc), max_size=len(utc)))
    log = made_log(
        ((back - noon) / 1000).tolist(),
        flow,
        since=noon,
        every=600,
        doubtful=np.flatnonzero(twice).tolist(),
        marks=data.draw(st.sampled_from(["start", "end"])),
    )
    trace = place([log])
    balanced(trace)
    assert int((trace.end_ms - trace.start_ms).sum()) <= 36 * HOUR
    table = minutes(trace, int(utc[0]) - HOUR, int(utc[-1]) + HOUR)
    assert table.covered.sum() <= 36 * 60
    # both hours of a repeated local hour are missing: no minute of doubtful time is covered
    inside = utc[twice] - (MINUTE if log.marks == "end" else 0)
    doubtful = (inside - table.start_ms) // MINUTE
    assert not table.covered[doubtful].any()


@given(messy_logs(), st.integers(-10_000, 10_000))
def test_m2_a_shift_by_whole_minutes_shifts_everything_and_changes_nothing(log: Log, by: int) -> None:
    fields = {name: getattr(log, name) for name in Log.__dataclass_fields__}
    moved = Log(**(fields | {"time_ms": log.time_ms + by * MINUTE}))
    one, other = place([log]), place([moved])
    assert (one.start_ms + by * MINUTE).tolist() == other.start_ms.tolist()
    assert one.flow_ul_per_min.tolist() == other.flow_ul_per_min.tolist()
    a = window(one)
    b = minutes(other, NOON - HOUR + by * MINUTE, NOON + HOUR + by * MINUTE)
    for name in (*VALUES, "conflict", "clock"):
        np.testing.assert_array_equal(getattr(a, name), getattr(b, name), err_msg=name)


@given(messy_logs(), st.randoms(use_true_random=False))
def test_m5_the_order_of_rows_changes_nothing(log: Log, chance: Any) -> None:
    order = list(range(len(log.time_ms)))
    chance.shuffle(order)
    same(place([log]), place([rows_of(log, order)]))


@given(messy_logs(), st.data())
def test_m6_any_split_into_files_in_any_order_with_any_overlap_is_one_file(log: Log, data: st.DataObject) -> None:
    n = len(log.time_ms)
    parts = data.draw(st.lists(st.sets(st.integers(0, n - 1)), min_size=1, max_size=3))
    rest = set(range(n)) - set().union(*parts)
    files = [rows_of(log, sorted(part)) for part in [*parts, rest]]
    same(place([log]), place(data.draw(st.permutations(files))))


@given(messy_logs(), st.integers(2, 4))
def test_m7_giving_a_file_again_adds_nothing(log: Log, times: int) -> None:
    one, many = place([log]), place([log] * times)
    same(one, many)
    assert many.ledger.used == one.ledger.used
    assert many.ledger.conflicting == one.ledger.conflicting
    assert many.ledger.duplicate == one.ledger.duplicate + (times - 1) * len(log.time_ms)


@given(st.lists(FLOWS, min_size=2, max_size=4), st.randoms(use_true_random=False))
def test_m9_two_values_for_one_moment_never_average_and_never_win(flows: list[float | None], chance: Any) -> None:
    log = made_log([0, *[1] * len(flows), 2], [10, *flows, 10])
    trace = place([log])
    alike = len(set(flows)) == 1
    expected = NONE if not alike or flows[0] is None else int(flows[0] * 1000)
    assert trace.flow_ul_per_min.tolist() == [10_000, expected, 10_000]
    assert bool(trace.conflicts) is not alike
    order = list(range(len(log.time_ms)))
    chance.shuffle(order)
    same(trace, place([rows_of(log, order)]))


@given(messy_logs(), st.data())
def test_m10_blanking_a_reading_never_adds_coverage_and_never_tightens_a_bound(log: Log, data: st.DataObject) -> None:
    lost = data.draw(st.sets(st.integers(0, len(log.time_ms) - 1)))
    flow = log.flow_ul_per_min.copy()
    flow[sorted(lost)] = NONE
    fields = {name: getattr(log, name) for name in Log.__dataclass_fields__}
    before, after = window(place([log])), window(place([Log(**(fields | {"flow_ul_per_min": flow}))]))
    assert (after.covered <= before.covered).all()
    assert (after.present == before.present).all()


@given(honest_logs(), st.data())
def test_m10_deleting_a_row_never_adds_coverage(log: Log, data: st.DataObject) -> None:
    """Of a clock that ran forwards: two rows in dispute may well be settled by losing one."""
    n = len(log.time_ms)
    kept = sorted(data.draw(st.sets(st.integers(0, n - 1), min_size=1)))
    before, after = place([log]), place([rows_of(log, kept)])
    lost = window(before).present - window(after).present
    assert (lost >= 0).all()
    missing_before = sum(g.end_ms - g.start_ms for g in gaps(before, NOON - HOUR, NOON + HOUR))
    missing_after = sum(g.end_ms - g.start_ms for g in gaps(after, NOON - HOUR, NOON + HOUR))
    assert missing_after >= missing_before


@given(honest_logs(), st.integers(2, 5))
def test_m16_keeping_every_kth_row_never_adds_coverage(log: Log, k: int) -> None:
    before, after = window(place([log])), window(place([rows_of(log, range(0, len(log.time_ms), k))]))
    assert (after.present <= before.present).all()


@given(messy_logs(), st.data())
def test_m17_repeating_rows_changes_nothing(log: Log, data: st.DataObject) -> None:
    again = data.draw(st.lists(st.integers(0, len(log.time_ms) - 1)))
    same(place([log]), place([rows_of(log, [*range(len(log.time_ms)), *again])]))


@given(messy_logs(), st.integers(-100_000, 200_000))
def test_m26_what_is_known_at_a_moment_is_what_those_rows_alone_say(log: Log, after: int) -> None:
    until = NOON + after
    known = place([log], until_ms=until)
    if len(known.end_ms):
        assert known.data_until_ms <= until
    delay = known.every_ms if log.marks == "start" else 0
    kept = np.flatnonzero(log.time_ms <= until - delay)
    if len(kept) == known.ledger.read:
        same(known, place([rows_of(log, kept)]))
    later = made_log([1e6], [300], marks=log.marks, every_declared=log.every_declared)
    assert known.start_ms.tolist() == place([log, later], until_ms=until).start_ms.tolist()


@given(messy_logs(most=80))
def test_minutes_agree_with_a_slow_and_plain_count(log: Log) -> None:
    """Every millisecond-weighted figure again, row by row in exact fractions."""
    trace = place([log])
    table = minutes(trace, NOON - 3 * MINUTE, NOON + 6 * MINUTE)
    for m in range(len(table)):
        a = table.start_ms + m * MINUTE
        parts = [
            (min(int(e), a + MINUTE) - max(int(s), a), int(v))
            for s, e, v in zip(trace.start_ms, trace.end_ms, trace.flow_ul_per_min, strict=True)
            if s < a + MINUTE and e > a
        ]
        said = [(w, v) for w, v in parts if v != NONE]
        assert table.present[m] == sum(w for w, _ in parts) / MINUTE
        assert table.covered[m] == sum(w for w, _ in said) / MINUTE
        assert table.readings[m] == len(said)
        if said:
            time = sum(w for w, _ in said)
            assert table.flow[m] == sum(w * v for w, v in said) / (time * 1000)
            assert table.flow_low[m] == sum(w * max(0, 2 * v - 10_000) for w, v in said) / (time * 2000)
            assert table.flow_high[m] == sum(w * max(0, 2 * v + 10_000) for w, v in said) / (time * 2000)
            assert table.flow_min[m] == min(v for _, v in said) / 1000
            assert table.flow_max[m] == max(v for _, v in said) / 1000
            assert table.peak_high[m] == max(max(0, 2 * v + 10_000) for _, v in said) / 2000
        else:
            assert np.isnan(table.flow[m])
