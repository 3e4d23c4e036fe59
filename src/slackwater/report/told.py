"""The picture in words: one sentence, and a table by the hour. Whoever cannot see it reads the same."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import tzinfo
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.assessment import Assessment
from slackwater.episode.fluid.record import FluidInterval
from slackwater.episode.space import entries_for
from slackwater.leak.state import LeakTrace
from slackwater.leak.words import CANNOT_TELL, LEAKING, QUIET, REASONS
from slackwater.quantities.spans import HOUR_MS, MINUTE_MS, format_span
from slackwater.reading.zones import Zone
from slackwater.report.extent import limit_words, minutes_shown, not_judged
from slackwater.report.fluid import fluid_record, fluid_steps
from slackwater.report.runs import runs
from slackwater.report.times import exactly, offset, shown
from slackwater.report.words import REASON_WORDS, amount

HEAD = ("hour from", "air leak, mL/min", "state", "suction, cmH2O", "swing, cmH2O", "fluid", "cannot tell because")
_STATES = ((LEAKING, "leaking"), (CANNOT_TELL, "cannot tell"), (QUIET, "below limit"))
_STRADDLES = "the display's step straddles the limit"

Row = tuple[str, ...]


# --- by the hour ----------------------------------------------------------------------------------


def hourly_table(found: Assessment, ward: tzinfo) -> tuple[Row, ...]:
    """The head, then a row for every hour of the ward's clock; what was not recorded says so."""
    start, count = minutes_shown(found)
    hours = _hours(start, count, ward)
    twice = len({offset(start + first * MINUTE_MS, ward) for first, _ in hours}) > 1
    fluid = fluid_record(found).intervals
    judged = not_judged(found) is None
    rows = []
    for first, last in hours:
        begin, end = start + first * MINUTE_MS, start + last * MINUTE_MS
        name = exactly(begin, ward, twice)
        leak = found.leak_trace
        if leak is None:
            told: Row = ("no log", "cannot tell", _suction(found, None, begin, end), "no log")
        else:
            part = slice(first, last)
            state = _states(leak, part) if judged else "not judged"
            told = (_air(leak, part), state, _suction(found, part, begin, end), _swing(leak, part))
        because = _because(leak, slice(first, last)) if leak is not None and judged else ""
        rows.append((name, *told, _drained(fluid, begin, end), because))
    return (HEAD, *rows)


def _hours(start: int, count: int, ward: tzinfo) -> list[tuple[int, int]]:
    """First minute and minute behind the last of each hour of the ward's clock; an hour that comes twice is two."""
    clock = Zone("", ward)
    minutes = start + MINUTE_MS * np.arange(count, dtype=np.int64)
    ahead = np.full(count, clock.offset_ms(start), dtype=np.int64)
    for change in clock.changes(start, start + count * MINUTE_MS):
        ahead[minutes >= change.at_ms] = change.after_ms
    hour = (minutes + ahead) // HOUR_MS
    fresh = np.flatnonzero((np.diff(hour) != 0) | (np.diff(ahead) != 0)) + 1
    edges = [0, *fresh.tolist(), count]
    return [(first, last) for first, last in pairwise(edges) if last > first]


def _air(leak: LeakTrace, part: slice) -> str:
    flow, covered, largest = leak.minutes.flow[part], leak.minutes.covered[part], leak.minutes.flow_max[part]
    known = np.isfinite(flow)
    if not known.any() and not np.isfinite(largest).any():
        return "nothing recorded"
    most = f"largest {amount(float(np.nanmax(largest)))}"
    mean = f"mean {_apart(float(np.average(flow[known], weights=covered[known])), leak.limit_ml_per_min)}, "
    recorded = int(covered.sum() + 1e-6)
    gap = f" ({recorded or 'under 1'} of {len(flow)} min recorded)" if recorded < len(flow) else ""
    return (mean if known.any() else "") + most + gap


def _apart(value: float, limit: float) -> str:
    """As short as can be without seeming to lie on the limit or on its other side."""
    for places in (0, 1, 2):
        short = round(value, places)
        if (short >= limit) == (value >= limit) and (short == limit) == (value == limit):
            return amount(short)
    return amount(value)


def _states(leak: LeakTrace, part: slice) -> str:
    minutes = ((word, int((leak.state[part] == code).sum())) for code, word in _STATES)
    return ", ".join(f"{word} {count} min" for word, count in minutes if count)


def _because(leak: LeakTrace, part: slice) -> str:
    reason = leak.reason[part][leak.state[part] == CANNOT_TELL]
    return "; ".join(f"{words} ({count} min)" for words, count in _reasons(reason))


def _reasons(codes: NDArray[np.int8]) -> Iterator[tuple[str, int]]:
    """Each reason in words and its minutes, the commonest first."""
    counts = np.bincount(codes, minlength=len(REASONS))
    for code in np.argsort(-counts, kind="stable").tolist():
        if counts[code]:
            yield REASON_WORDS[REASONS[code]] or _STRADDLES, int(counts[code])


def _suction(found: Assessment, part: slice | None, begin: int, end: int) -> str:
    entries = entries_for(found.chart, "drain", found.episode).of("suction_ordered")
    before = [entry for entry in entries if entry.time <= begin][-1:]
    orders = [*before, *(entry for entry in entries if begin < entry.time < end)]
    texts = [f"ordered {', then '.join(entry.text.replace('_', ' ') or 'blank' for entry in orders)}"] if orders else []
    if part is not None and found.leak_trace is not None:
        pressure = found.leak_trace.minutes.pressure[part]
        texts.append(f"measured {_range(pressure)}" if np.isfinite(pressure).any() else "none recorded")
    return "; ".join(texts) or "none recorded"


def _swing(leak: LeakTrace, part: slice) -> str:
    swing = leak.breath.swing[part]
    return _range(swing) if np.isfinite(swing).any() else "cannot tell"


def _range(values: NDArray[np.float64]) -> str:
    low, high = (f"{value + 0.0:.1f}".replace("-", "−") for value in (np.nanmin(values), np.nanmax(values)))
    return low if low == high else f"{low} to {high}"


def _drained(intervals: tuple[FluidInterval, ...], begin: int, end: int) -> str:
    """What was told for moments in this hour."""
    told = [one for one in intervals if begin < one.end_ms <= end]
    if not told:
        return "nothing told"
    amounts = amount(round(sum(one.low_ml for one in told), 1))
    return f"{amounts} mL" if all(one.status == "known" for one in told) else f"at least {amounts} mL, not all told"


# --- in one sentence ------------------------------------------------------------------------------


def picture_sentence(found: Assessment, ward: tzinfo) -> str:
    """What the picture shows, in one sentence that holds for any input."""
    start, count = minutes_shown(found)
    if not count:
        return "Nothing to show: less than a minute has been told of."
    end = start + count * MINUTE_MS
    parts = [*_air_parts(found, ward, count), *_fluid_part(found), *_run_part(found)]
    return f"From {shown(start, ward)} to {shown(end, ward)} ({format_span(60.0 * count)}): {'; '.join(parts)}."


def _air_parts(found: Assessment, ward: tzinfo, count: int) -> Iterator[str]:
    leak, why_not = found.leak_trace, not_judged(found)
    if leak is None or why_not is not None:
        yield str(why_not).rstrip(".").replace("No log", "no log").replace("After", "after")
    if leak is None:
        return
    if why_not is None:
        limit = limit_words(found, leak.limit_ml_per_min)
        spent = {code: int((leak.state[:count] == code).sum()) for code, _ in _STATES}
        said = []
        if spent[LEAKING]:
            said.append(f"air was leaking, at {limit} or more, for {format_span(60.0 * spent[LEAKING])}")
        if spent[QUIET]:
            below = "it" if said else limit
            said.append(f"recorded air flow was below {below} for {format_span(60.0 * spent[QUIET])}")
        if spent[CANNOT_TELL]:
            reasons = list(_reasons(leak.reason[:count][leak.state[:count] == CANNOT_TELL]))
            why = ", ".join(f"{words} {format_span(60.0 * minutes)}" for words, minutes in reasons)
            said.append(f"for {format_span(60.0 * spent[CANNOT_TELL])} it cannot be told ({why})")
        yield ", ".join(said)
    largest = leak.minutes.flow_max[:count]
    if np.isfinite(largest).any():
        at = int(np.nanargmax(largest))
        yield (
            f"the largest reading was {amount(float(largest[at]))} mL/min at "
            f"{shown(leak.minutes.start_ms + at * MINUTE_MS, ward)}"
        )
    else:
        yield "no air flow was recorded, which is not a flow of zero"


def _fluid_part(found: Assessment) -> Iterator[str]:
    steps = [step for step in fluid_steps(fluid_record(found)) if step.ml is not None]
    if not steps:
        yield "no fluid is told of"
        return
    least = "at least " if steps[-1].at_least else ""
    yield f"{least}{amount(steps[-1].ml)} mL of fluid"


def _run_part(found: Assessment) -> Iterator[str]:
    if found.evaluation is None or found.evaluation.protocol.air_clause is None:
        return
    now = [run for run in runs(found) if run.now]
    yield f"the run below the limit is at {now[0].words}" if now else "no unbroken run below the limit is under way"
