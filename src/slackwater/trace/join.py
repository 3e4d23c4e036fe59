"""Logs placed on time: from rows as they were stamped to one trace in which no moment counts twice."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from slackwater.errors import UsageError
from slackwater.quantities.spans import HOUR_MS
from slackwater.reading.log import NONE, Ints, Log
from slackwater.trace import kernels
from slackwater.trace.account import CONFLICTING, DUPLICATE, UNREAD, USED, Account
from slackwater.trace.cadence import DECIDED, usual_step_ms
from slackwater.trace.clock import interleaved
from slackwater.trace.overlay import overlay
from slackwater.trace.repeats import at_one_instant
from slackwater.trace.rows import (
    CHANNELS,
    UNSAID,
    Logged,
    Places,
    Rows,
    end_to_end,
    logged,
    merged,
    sealed,
    spans,
)
from slackwater.trace.types import Trace
from slackwater.trace.unit import in_order, settled, units

INTERLEAVED = "stamps of a clock that ran back lie between earlier ones"
LOCAL_HOUR = "a local hour that happened twice, without an offset"


def place(logs: Sequence[Log], *, until_ms: int | None = None) -> Trace:
    """The rows of one drain's logs on one time axis, as known at `until_ms` (UTC ms; None: all of them).

    A row stands for the time to its neighbour if that comes within 1.5 x its usual length, else for that
    length: before its stamp if the log marks ends, after it if it marks starts. It is known when its time
    has passed. The answer depends on the set of rows alone: neither on their order, nor on how they are
    spread over files, nor on how often a file is given. Where rows contradict one another about a moment,
    or a clock ran back, there is no value; `conflicts` and `clock_steps` say where. Nothing counts twice.

    Raises UsageError if no log is given.
    """
    if not logs:
        raise UsageError("no log was given", mend="Give at least one log.")
    ordered = list(in_order(logs))
    of_unit: list[tuple[Logged, int]] = []
    unit_of_log = np.zeros(len(ordered), np.int64)
    for which, unit in enumerate(units(ordered)):
        own = [ordered[number] for number in unit.numbers]
        rows, every_ms = _known(own, unit.numbers, until_ms)
        of_unit.append((rows, every_ms))
        all_known = len(rows.time_ms) == sum(len(log.time_ms) for log in own)
        known_flow = None if all_known else rows.values["flow_ul_per_min"]
        for number, log in zip(unit.numbers, settled(own, every_ms, known_flow), strict=True):
            ordered[number] = log
            unit_of_log[number] = which

    account = Account(np.where(end_to_end([rows.unread for rows, _ in of_unit]), UNREAD, USED).astype(np.int8))
    if until_ms is not None:
        rows_read = sum(len(log.time_ms) for log in ordered)
        account.step("leave out what is not yet known", f"until_ms={until_ms}", rows_read - len(account.fate))
    placed: list[tuple[int, Rows]] = []
    base = 0
    for rows, every_ms in of_unit:
        if len(rows.time_ms):
            marks = ordered[int(rows.log[0])].marks
            placed.append((every_ms, _placed(rows, every_ms, marks, base, account)))
        base += len(rows.time_ms)
    whole = _clock_blanked(_laid_over(placed, account), account)
    return _trace(whole, [rows for rows, _ in of_unit], ordered, unit_of_log, account)


def _known(logs: Sequence[Log], numbers: Sequence[int], until_ms: int | None) -> tuple[Logged, int]:
    """The rows of one unit that are known by `until_ms`, and how long one stands.

    No look-ahead: the usual step is found among the known rows only.
    """
    everything: list[NDArray[np.bool_] | None] = [None] * len(logs)
    if until_ms is None:
        rows = logged(logs, numbers, everything)
        return rows, _every_ms(logs, rows)
    delay = 0
    while True:
        rows = logged(logs, numbers, [log.time_ms <= until_ms - delay for log in logs])
        every_ms = _every_ms(logs, rows)
        needed = every_ms if logs[0].marks == "start" else 0
        if delay >= needed:
            return rows, every_ms
        delay = needed


def _every_ms(logs: Sequence[Log], rows: Logged) -> int:
    told = max(log.every_ms for log in logs)
    if logs[0].every_declared and told > 0:
        return told
    sure = rows.time_ms[~rows.doubtful] if rows.doubtful.any() else rows.time_ms
    if told > 0:
        back, _, _, equal = kernels.survey(sure, told)
        if back == 0 and equal > DECIDED * (len(sure) - 1):
            return told
    return usual_step_ms(np.unique(sure)) or max(told, 1)


def _placed(rows: Logged, every_ms: int, marks: str, base: int, account: Account) -> Rows:
    """One unit's rows in order of time, each with its interval; `base`: the place of its first logged row."""
    back, repeats, close, _ = kernels.survey(rows.time_ms, every_ms)
    time, values = rows.time_ms, rows.values
    picked: Places | None = None
    differ: dict[str, NDArray[np.bool_]] = {}
    if back or repeats:
        slots = at_one_instant(rows)
        time, values, picked, differ = slots.time_ms, slots.values, slots.first, dict(slots.differ)
        account.mark(slots.repeats + base, DUPLICATE)
        account.mark(slots.contradicting + base, CONFLICTING)
        account.step("put rows in order of time", f"steps_back={back}", back)
        account.step("count repeated rows once", "", len(slots.repeats))
        account.step("use no contradicting rows", "", len(slots.contradicting))
        close = kernels.survey(time, every_ms)[2]
    other_side = np.empty_like(time)
    kernels.lay(time, every_ms, marks == "end", other_side)
    start, end = (other_side, time) if marks == "end" else (time, other_side)
    account.step("give each row its time", f"marks={marks}, every_ms={every_ms}, reach=1.5", len(time))
    if differ:
        account.stamped_twice(account.disputed(differ, start, end, "two rows"), start, end)
    if close:
        combs = interleaved(time, every_ms)
        account.clock(spans(combs, start, end, INTERLEAVED))
        account.step("use no interleaved rows", f"every_ms={every_ms}", int(combs.sum()))
    if rows.doubtful.any():
        doubtful = np.isin(time, rows.time_ms[rows.doubtful])
        # Clocks go back by an hour; the half hour of one island is less, so it is safe.
        account.clock(spans(doubtful, start, end + HOUR_MS, LOCAL_HOUR))
        account.step("use no row of an hour that happened twice", "", int(doubtful.sum()))
    return Rows(start, end, values, base, picked)


def _laid_over(placed: Sequence[tuple[int, Rows]], account: Account) -> Rows:
    """All units' rows as one; where two speak of one moment they must agree."""
    if not placed:
        nothing = np.zeros(0, np.int64)
        return Rows(nothing, nothing, {CHANNELS[0]: np.zeros(0, np.int32)}, 0, None)
    # the finer log first: where both agree, it is the one shown
    in_turn = sorted(placed, key=lambda one: (one[0], int(one[1].start_ms[0]), int(one[1].origin[0])))
    whole = in_turn[0][1]
    for _, other in in_turn[1:]:
        laid = overlay(whole, other)
        whole = laid.rows
        account.mark(laid.contradicting, CONFLICTING)
        account.mark(laid.unused, DUPLICATE)
        disputed = account.disputed(laid.differ, whole.start_ms, whole.end_ms, "two units' logs")
        account.step("lay two units' logs over one another", "", int(disputed.sum()))
    return whole


def _clock_blanked(rows: Rows, account: Account) -> Rows:
    """No value in any row that touches a span whose clock cannot be trusted."""
    if not account.blank:
        return rows
    where = np.zeros(len(rows.start_ms), np.bool_)
    for span in merged(account.blank):
        where[
            np.searchsorted(rows.end_ms, span.start_ms, side="right") : np.searchsorted(
                rows.start_ms, span.end_ms, side="left"
            )
        ] = True
    account.mark(rows.origin[where], CONFLICTING)
    return rows.blanked(where)


def _trace(
    rows: Rows, parts: Sequence[Logged], logs: Sequence[Log], unit_of_log: NDArray[np.int64], account: Account
) -> Trace:
    log, line = end_to_end([part.log for part in parts]), end_to_end([part.line for part in parts])
    if rows.picked is not None or len(rows.start_ms) != len(log):
        log, line = log[rows.origin], line[rows.origin]
    begins = np.empty(len(log), np.int32)
    begins = begins[: kernels.stretches(rows.start_ms, rows.end_ms, log, begins)].copy()

    def channel(name: str) -> Ints | None:
        column = rows.values.get(name)
        if column is None:
            return None
        if len(logs) > 1:
            column = np.where(column == UNSAID, np.int32(NONE), column)
        return sealed(np.ascontiguousarray(column))

    flow = channel("flow_ul_per_min")
    assert flow is not None  # every log has a flow column
    return Trace(
        start_ms=sealed(rows.start_ms),
        end_ms=sealed(rows.end_ms),
        flow_ul_per_min=flow,
        flow_max_ul_per_min=channel("flow_max_ul_per_min"),
        pressure_mcmh2o=channel("pressure_mcmh2o"),
        pressure_min_mcmh2o=channel("pressure_min_mcmh2o"),
        pressure_max_mcmh2o=channel("pressure_max_mcmh2o"),
        set_suction_mcmh2o=channel("set_suction_mcmh2o"),
        battery_percent=channel("battery_percent"),
        mains=channel("mains"),
        fluid_ml=channel("fluid_ml"),
        state=channel("state"),
        log=sealed(log),
        line=sealed(line),
        logs=tuple(logs),
        every_ms=max(each.every_ms for each in logs),
        conflicts=merged(account.conflicts),
        clock_steps=merged(account.clock_steps),
        exchanges=tuple(int(rows.start_ms[i + 1]) for i in np.flatnonzero(np.diff(unit_of_log[log]))),
        ledger=account.ledger(logs),
        history=tuple(account.steps),
        stretches=sealed(begins),
    )
