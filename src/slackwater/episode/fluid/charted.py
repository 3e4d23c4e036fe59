"""From what staff charted to intervals of fluid: amounts, or levels of the canister where there are none."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import replace

from slackwater.episode.fluid.levels import intervals_from_levels
from slackwater.episode.fluid.record import FluidInterval, FluidRecord, Instilled, record_of
from slackwater.episode.fluid.said import Said, said_at
from slackwater.episode.line_list import line_list
from slackwater.episode.types import Chart, Entry, Instant

_FLUID = ("fluid_output", "canister_level", "canister", "instilled")


def fluid_intervals(
    chart: Chart, drain: str | None, connected_at: Instant | None, drains_known: Sequence[str] = ()
) -> FluidRecord:
    """The fluid of one drain.

    An amount is what came since the previous entry of that drain, the first since connection; an
    entry without an amount makes its own interval missing, and so do two that disagree; 0 is zero.
    Order is by the time charted for, however late or early it was written. Where the connection is
    not known, neither is since when the first amount came: it has no upper bound. Entries before
    the connection count for nothing. Without any `fluid_output` of this drain, levels of its
    canister are used instead.

    Rows that name no drain are this drain's if `drains_known` has at most one. If it has several
    they are counted for none, but since they may be this drain's they raise the upper bound of the
    interval they fall into: losing a label must not make a total look smaller.
    """
    alone = len(set(drains_known)) < 2
    rows = chart.of(*_FLUID)
    own = [e for e in rows if (e.drain == drain if e.drain is not None else alone)]
    loose = [] if alone else [e for e in rows if e.drain is None]
    notes = []
    if connected_at is not None:
        early = [e.line for e in own if e.time < connected_at]
        if early:
            notes.append(f"Fluid charted for a time before the connection counts for nothing: {line_list(early)}.")
        own = [e for e in own if e.time >= connected_at]
    amounts = said_at(e for e in own if e.item == "fluid_output")
    levels = said_at(e for e in own if e.item == "canister_level")
    if amounts:
        source, intervals = "charted", _from_amounts(amounts, connected_at)
        if levels:
            notes.append("Levels of the canister are shown; the total is that of the charted amounts.")
    elif levels:
        changes = said_at(e for e in own if e.item == "canister")
        source, intervals = "levels", intervals_from_levels(levels, changes, connected_at)
    else:
        source, intervals = "none", []
    about_output = [e for e in loose if e.item != "instilled"]
    if about_output:
        lines = [e.line for e in about_output]
        notes.append(f"Rows that name no drain, while several are known, are counted for none: {line_list(lines)}.")
    return record_of(
        _raised(intervals, about_output, source),
        drain=drain,
        source=source,
        instilled=(
            Instilled(e.time, e.value if isinstance(e.value, float) else None, e.line)
            for e in own
            if e.item == "instilled"
        ),
        not_placed=(e.line for e in about_output),
        notes=notes,
    )


def _from_amounts(amounts: Sequence[Said], connected_at: Instant | None) -> list[FluidInterval]:
    intervals: list[FluidInterval] = []
    start = connected_at
    for said in amounts:
        # An amount charted for the instant of connection came in that instant.
        begins = said.time - 1 if start == said.time else start
        amount = said.value if isinstance(said.value, float) else None
        if amount is None:
            status = "conflict" if said.conflict else "blank"
            intervals.append(FluidInterval(begins, said.time, 0.0, math.inf, status, said.lines))
        elif begins is None:
            intervals.append(FluidInterval(None, said.time, amount, math.inf, "unknown", said.lines))
        else:
            intervals.append(FluidInterval(begins, said.time, amount, amount, "known", said.lines))
        start = said.time
    return intervals


def _raised(intervals: list[FluidInterval], loose: Iterable[Entry], source: str) -> list[FluidInterval]:
    """The intervals, with the upper bound raised by rows that may be this drain's."""
    raised = list(intervals)
    ends = [one.end_ms for one in intervals]
    for said in said_at(loose, by_item=True):
        amount = said.value if said.item == "fluid_output" else None
        place = bisect_left(ends, said.time)
        if place == len(ends) or (source == "charted" and said.item != "fluid_output"):
            continue
        one = raised[place]
        if one.start_ms is None or one.start_ms < said.time:
            more = amount if isinstance(amount, float) else math.inf
            status = "unknown" if one.status == "known" else one.status
            raised[place] = replace(one, high_ml=one.high_ml + more, status=status)
    return raised
