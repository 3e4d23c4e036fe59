"""Laws of fluid totals, for any chart and any window."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from behaviour.episode.typed_chart import HOUR, amount, at, changed, chart, level, row
from slackwater.episode.fluid import FluidRecord, fluid_from_counter, fluid_intervals, total, totals_at

MINUTE = 60_000
CONNECTED = 0
DAY = 24

hours = st.integers(0, 4 * DAY).map(lambda quarter: quarter / 4)
volumes = st.integers(0, 600)
windows = st.tuples(hours, hours).map(sorted).map(tuple)
connections = st.sampled_from([None, 0.0, 3.0])


def record(
    rows: Sequence[str],
    connected: float | None = CONNECTED,
    drain: str | None = None,
    known: Sequence[str] = (),
) -> FluidRecord:
    return fluid_intervals(chart(*rows), drain, None if connected is None else at(connected), known)


def bounds(read: FluidRecord, window: tuple[float, ...]) -> tuple[float, float]:
    found = total(read, at(window[0]), at(window[1]))
    assert 0 <= found.low_ml <= found.high_ml
    assert 0 <= found.covered <= 1
    return found.low_ml, found.high_ml


def plain_total(read: FluidRecord, start: int, end: int) -> tuple[float, float, float]:
    """Low, high and share covered, interval by interval, as the words of the rule say it."""
    low = high = known = 0.0
    reached = start
    for one in read.intervals:
        begins = -math.inf if one.start_ms is None else one.start_ms
        if one.end_ms <= start or begins >= end:
            continue
        low += one.low_ml if begins >= start and one.end_ms <= end else 0
        high += one.high_ml if begins <= reached else math.inf
        reached = one.end_ms
        known += min(one.end_ms, end) - max(begins, start) if one.status == "known" else 0
    return low, high if reached >= end else math.inf, known / (end - start)


def contains(wide: tuple[float, float], narrow: tuple[float, float]) -> bool:
    return wide[0] <= narrow[0] and narrow[1] <= wide[1]


@dataclass(frozen=True)
class Typed:
    """One row a nurse may type about fluid; value None is a blank."""

    hour: float
    item: str
    value: int | str | None

    def text(self) -> str:
        written = "" if self.value is None else self.value
        unit = "" if self.item == "canister" else "mL"
        return row(self.hour, self.item, written, unit)


amounts = st.builds(Typed, hours, st.just("fluid_output"), st.one_of(st.none(), volumes))
levels = st.builds(Typed, hours, st.just("canister_level"), st.one_of(st.none(), volumes))
changes = st.builds(Typed, hours, st.just("canister"), st.sampled_from(["changed", None]))


@pytest.mark.parametrize("kinds", [amounts, st.one_of(levels, changes)], ids=["amounts", "levels"])
@settings(max_examples=400)
@given(data=st.data())
def test_leaving_an_entry_blank_never_narrows_a_bound(kinds: st.SearchStrategy[Typed], data: st.DataObject) -> None:
    """Losing a value can only lose knowledge; conflicts and repeats included."""
    typed = data.draw(st.lists(kinds, min_size=1, max_size=8))
    if typed[0].item != "fluid_output":
        typed.append(Typed(0.5, "canister_level", 0))
    blanked = data.draw(st.integers(0, len(typed) - 1))
    connected = data.draw(connections)
    window = data.draw(windows)
    before = record([one.text() for one in typed], connected)
    typed[blanked] = replace(typed[blanked], value=None)
    after = record([one.text() for one in typed], connected)
    assert contains(bounds(after, window), bounds(before, window))


@given(st.lists(st.tuples(hours, volumes), min_size=1, unique_by=lambda one: one[0]), st.data(), windows)
def test_losing_the_label_of_a_row_never_narrows_a_bound(
    rows: list[tuple[float, int]], data: st.DataObject, window: tuple[float, float]
) -> None:
    lost = data.draw(st.integers(0, len(rows) - 1))
    whole = [amount(hour, ml, "1") for hour, ml in rows]
    torn = [amount(hour, ml, "" if i == lost else "1") for i, (hour, ml) in enumerate(rows)]
    before, after = (bounds(record(one, drain="1", known=("1", "2")), window) for one in (whole, torn))
    assert contains(after, before)


@given(st.lists(amounts, max_size=8), connections, windows, st.randoms(use_true_random=False))
def test_the_order_of_rows_changes_nothing(
    typed: list[Typed], connected: float | None, window: tuple[float, float], chance: random.Random
) -> None:
    rows = [one.text() for one in typed]
    shuffled = list(rows)
    chance.shuffle(shuffled)
    assert bounds(record(rows, connected), window) == bounds(record(shuffled, connected), window)


@given(
    st.lists(st.tuples(hours, volumes), min_size=2, unique_by=lambda one: one[0]),
    st.data(),
)
def test_splitting_an_amount_within_its_own_interval_leaves_every_total_that_holds_it(
    rows: list[tuple[float, int]], data: st.DataObject
) -> None:
    rows = sorted(rows)
    whole = record([amount(hour, ml) for hour, ml in rows])
    which = data.draw(st.integers(1, len(rows) - 1))
    (before, _), (hour, ml) = rows[which - 1], rows[which]
    part = data.draw(st.integers(0, ml))
    between = (before + hour) / 2
    parts = [*rows[:which], (between, part), (hour, ml - part), *rows[which + 1 :]]
    split = record([amount(h, v) for h, v in parts])
    start = data.draw(st.sampled_from([h for h, _ in rows[:which]]))
    end = data.draw(st.sampled_from([h for h, _ in rows[which:]]))
    assert bounds(split, (start, end)) == bounds(whole, (start, end))
    assert total(split, at(start), at(end)).high_ml == sum(v for h, v in rows if start < h <= end)


@given(st.lists(amounts, min_size=1, max_size=8), windows)
def test_a_window_that_touches_a_missing_entry_has_no_upper_bound(
    typed: list[Typed], window: tuple[float, float]
) -> None:
    """A missing entry is never a zero."""
    read = record([one.text() for one in typed])
    start, end = at(window[0]), at(window[1])
    for one in read.intervals:
        touched = one.start_ms is not None and one.start_ms < end and one.end_ms > start and start < end
        if one.status != "known" and touched:
            assert bounds(read, window)[1] == math.inf


@given(
    st.lists(st.integers(0, 40), min_size=8, max_size=96),
    st.sets(st.integers(0, 95), min_size=1),
    st.tuples(st.integers(0, 96), st.integers(0, 96)),
)
def test_the_truth_lies_between_the_bounds_of_charted_amounts(
    quarters: list[int], charted: set[int], window: tuple[int, int]
) -> None:
    true = np.concatenate([[0], np.cumsum(quarters)])
    rows, last = [], 0
    for place in sorted(charted):
        if 0 < place < len(true):
            rows.append(amount(place / 4, int(true[place] - true[last])))
            last = place
    start, end = sorted(min(place, len(true) - 1) for place in window)
    low, high = bounds(record(rows), (start / 4, end / 4))
    assert low <= true[end] - true[start] <= high


@given(
    st.lists(st.integers(0, 40), min_size=8, max_size=96),
    st.lists(
        st.sampled_from(["nothing", "level", "change", "full, change", "full, change, fresh"]),
        min_size=8,
        max_size=96,
    ),
    st.tuples(st.integers(0, 96), st.integers(0, 96)),
)
def test_the_truth_lies_between_the_bounds_of_levels_through_every_change(
    quarters: list[int], done: list[str], window: tuple[int, int]
) -> None:
    true = np.concatenate([[0], np.cumsum(quarters)])
    rows, emptied = [level(0, 0)], 0
    for place in range(1, min(len(done), len(true))):
        shown = level(place / 4, int(true[place] - emptied))
        if done[place] == "level" or "full" in done[place]:
            rows.append(shown)
        if "change" in done[place]:
            rows.append(changed(place / 4))
            emptied = int(true[place])
        if "fresh" in done[place]:
            rows.append(level(place / 4, 0))
    start, end = sorted(min(place, len(true) - 1) for place in window)
    low, high = bounds(record(rows), (start / 4, end / 4))
    assert low <= true[end] - true[start] <= high


@given(st.lists(st.integers(1, 60), min_size=2, max_size=30), st.sets(st.integers(0, 29)))
def test_changes_of_canister_that_are_read_at_the_change_change_no_total(rises: list[int], swaps: set[int]) -> None:
    rows, shown = [level(0, 0)], 0
    for place, rise in enumerate(rises, start=1):
        shown += rise
        rows.append(level(place / 4, shown))
        if place in swaps:
            rows += [changed(place / 4), level(place / 4, 0)]
            shown = 0
    assert bounds(record(rows), (0, len(rises) / 4)) == (sum(rises), sum(rises))


@settings(max_examples=300)
@given(st.lists(amounts, max_size=10), connections, windows)
def test_a_total_is_what_adding_interval_by_interval_gives(
    typed: list[Typed], connected: float | None, window: tuple[float, float]
) -> None:
    read = record([one.text() for one in typed], connected)
    start, end = at(window[0]), at(window[1])
    assume(start < end)
    found = total(read, start, end)
    assert (found.low_ml, found.high_ml, found.covered) == plain_total(read, start, end)


@settings(max_examples=300)
@given(st.lists(amounts, max_size=10), connections, st.lists(hours, min_size=1, max_size=20), st.integers(1, 40))
def test_totals_at_many_moments_are_those_at_each(
    typed: list[Typed], connected: float | None, ends: list[float], quarters: int
) -> None:
    read = record([one.text() for one in typed], connected)
    window_ms = quarters * HOUR // 4
    moments = np.array([at(hour) for hour in ends], dtype=np.int64)
    low, high = totals_at(read, moments, window_ms)
    for i, end in enumerate(moments.tolist()):
        found = total(read, end - window_ms, end)
        assert (low[i], high[i]) == (found.low_ml, found.high_ml)


# The unit's own counter

flows = st.lists(st.integers(0, 9), min_size=3, max_size=60)


def counted(rises: Sequence[int], resets: set[int]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Minutes, what the counter shows, and what truly drained; a reset falls inside a minute, at its end."""
    shown, drained, values, truth = 100, 0, [100.0], [0.0]
    for place, rise in enumerate(rises):
        drained += rise
        shown = 0 if place in resets else shown + rise
        values.append(float(shown))
        truth.append(float(drained))
    return np.arange(len(values), dtype=np.int64) * MINUTE, np.array(values), np.array(truth)


@given(flows, st.sets(st.integers(0, 59), max_size=3), st.data())
def test_the_truth_lies_between_the_bounds_of_a_counter_through_its_resets(
    rises: list[int], resets: set[int], data: st.DataObject
) -> None:
    times, values, truth = counted(rises, resets)
    # What the law asks for: a reset shows as a fall, and hides no more than twice the fastest rise seen before it.
    for place in resets:
        if place < len(rises):
            seen = [rise for earlier, rise in enumerate(rises[:place]) if earlier not in resets]
            assume(values[place] > 0 and seen and rises[place] <= 2 * (max(seen) + 1))
    read = fluid_from_counter(times, values, MINUTE)
    first, last = sorted(data.draw(st.tuples(*[st.integers(0, len(times) - 1)] * 2)))
    found = total(read, int(times[first]), int(times[last]))
    assert found.low_ml <= truth[last] - truth[first] <= found.high_ml


@given(flows, st.sets(st.integers(0, 59), max_size=3), st.data())
def test_losing_values_of_a_counter_never_narrows_a_bound(
    rises: list[int], resets: set[int], data: st.DataObject
) -> None:
    times, values, _ = counted(rises, resets)
    lost = data.draw(st.sets(st.integers(0, len(times) - 1), min_size=1))
    torn = values.copy()
    torn[sorted(lost)] = math.nan
    first, last = sorted(data.draw(st.tuples(*[st.integers(0, len(times) - 1)] * 2)))
    before, after = (
        total(fluid_from_counter(times, shown, MINUTE), int(times[first]), int(times[last])) for shown in (values, torn)
    )
    assert contains((after.low_ml, after.high_ml), (before.low_ml, before.high_ml))


@given(flows, st.sets(st.integers(0, 59), max_size=3))
def test_the_total_since_the_start_never_falls(rises: list[int], resets: set[int]) -> None:
    times, values, _ = counted(rises, resets)
    read = fluid_from_counter(times, values, MINUTE)
    found = [total(read, 0, int(end)) for end in times]
    assert [one.low_ml for one in found] == sorted(one.low_ml for one in found)
    assert [one.high_ml for one in found] == sorted(one.high_ml for one in found)


@given(flows, st.sets(st.integers(0, 59), max_size=3), st.data())
def test_what_a_counter_said_up_to_a_moment_is_not_changed_by_later_rows(
    rises: list[int], resets: set[int], data: st.DataObject
) -> None:
    times, values, _ = counted(rises, resets)
    until = data.draw(st.integers(1, len(times)))
    whole = fluid_from_counter(times, values, MINUTE).intervals[: until - 1]
    assert fluid_from_counter(times[:until], values[:until], MINUTE).intervals == whole
