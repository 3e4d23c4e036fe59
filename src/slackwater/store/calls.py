"""What a unit told by its own signal, looked back on: entered by staff, and read from logs whose layout has the words.

Quiet is not none: a drain whose log tells of no signal, and of which nobody entered one, is one of which none is known.
That somebody attended is not that it was put right. Nothing here silences anything.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars

from slackwater.errors import RecordError
from slackwater.quantities.spans import MINUTE_MS
from slackwater.reading.log import SIGNALS, STATES
from slackwater.store.acts import key_of
from slackwater.store.course import Course, own_pairings
from slackwater.store.facts import is_new
from slackwater.store.nouns import CALL_KINDS, Value
from slackwater.store.record import Acting
from slackwater.store.rows import Thing
from slackwater.trace.types import Trace

JOINED_MS = MINUTE_MS  # one signal, if it is silent for no longer (ours)
SAME_MS = 10 * MINUTE_MS  # one entered and one logged of a kind, that begin no further apart, are one (ours)
_KIND_OF = {STATES.index("fault"): "internal_fault", **{STATES.index(word): word for word in SIGNALS}}
COLUMNS: dict[str, Any] = {
    "kind": polars.String, "from_ms": polars.Int64, "until_ms": polars.Int64, "serial": polars.String,
}  # fmt: skip

# What it was and what helped, as it is traced from skin to unit (common practice, no source).
CAUSES = (
    "lying_on_tube", "kink", "loop_with_fluid", "clot", "clamp_left_on", "joint_loose", "came_apart",
    "side_hole_outside", "air_from_patient", "canister_full", "filter_wet", "unit_tilted", "not_plugged_in",
    "battery_worn", "unit_itself", "not_found",
)  # fmt: skip
HELPED = (
    "straightened", "loop_emptied", "joint_pushed_home", "reconnected", "dressing_sealed", "clamp_taken_off",
    "canister_changed", "filter_changed", "unit_stood_upright", "plugged_in", "unit_exchanged", "doctor_called",
    "stopped_by_itself", "nothing_helped",
)  # fmt: skip


@dataclass(frozen=True)
class Call:
    """One signal of a unit. key and version: of what staff entered; '' where only the log tells of it.

    until_ms None: when it ended is not known. attended_ms None: nobody wrote that somebody came.
    """

    drain: str
    kind: str
    from_ms: int
    until_ms: int | None = None
    attended_ms: int | None = None
    attended_by: str | None = None
    cause: str | None = None
    action: str | None = None
    key: str = ""
    version: int = 0
    logged: bool = False

    @property
    def in_order(self) -> tuple[int, str]:
        return self.from_ms, self.kind


def record_call(
    act: Acting, course: Course, kind: str, *, from_ms: int, once: str, attended_ms: int | None = None,
    until_ms: int | None = None, attended_by: str | None = None, cause: str | None = None, action: str | None = None,
) -> str:  # fmt: skip
    """Enter one that was heard or seen; its key. The same sent again is the same."""
    _in_order(from_ms, attended_ms, until_ms)
    fields: dict[str, Value] = {
        "drain": course.drain.key, "unit": _unit_at(course, from_ms), "kind": kind, "from_ms": from_ms,
        "attended_ms": attended_ms, "until_ms": until_ms, "attended_by": attended_by, "cause": cause, "action": action,
    }  # fmt: skip
    if kind not in CALL_KINDS:
        raise RecordError(f"{kind!r} is no kind of signal", where="kind", mend=f"Known: {', '.join(CALL_KINDS)}.")
    key = key_of("unit_call", course.drain.key, once)
    if is_new(act, "unit_call", key, fields):
        act.add("unit_call", key, fields, happened_ms=from_ms)
    return key


def complete_call(act: Acting, course: Course, key: str, new: Mapping[str, Value], *, version: int) -> None:
    """Who came, when it ended, what it was, what helped: told later. `new`: the fields that are told."""
    seen = act.thing("unit_call", key)
    if seen is None or seen["drain"] != course.drain.key:
        raise RecordError("there is no such signal of this drain", where="kind", mend="Look at the drain again.")
    told = {**seen.fields, **new}
    _in_order(told["from_ms"], told["attended_ms"], told["until_ms"])
    if seen.version == version + 1 and all(seen[name] == value for name, value in new.items()):
        return  # sent twice
    act.change("unit_call", key, dict(new), version=version)


def _in_order(from_ms: int, attended_ms: Any, until_ms: Any) -> None:
    for moment, where in ((attended_ms, "attended"), (until_ms, "until")):
        if moment is not None and moment < from_ms:
            raise RecordError("lies before the signal began", where=where, mend="Mend one of the two times.")


def _unit_at(course: Course, at_ms: int) -> str | None:
    """The unit that served this drain then, if a pairing says so."""
    for one in own_pairings(course):
        if one["from_ms"] <= at_ms and (one["to_ms"] or at_ms) >= at_ms:
            return str(one["unit"])
    return None


# --- from logs ------------------------------------------------------------------------------------


def calls_frame(trace: Trace) -> polars.DataFrame:
    """The signals that a drain's logs tell of, in order; none where no layout has words for them."""
    rows = [] if trace.state is None else [_frame_row(trace, *run) for run in _runs(trace)]
    return polars.DataFrame(rows, schema=COLUMNS)


def _frame_row(trace: Trace, kind: str, first: int, last: int) -> dict[str, Any]:
    """One run of rows as a row of the frame. A signal that stands in the log's last row has no known end."""
    log = trace.logs[int(trace.log[first])]
    ended = last + 1 < len(trace.start_ms)
    serial = log.serials[0] if len(log.serials) == 1 else None
    return {
        "kind": kind, "from_ms": int(trace.start_ms[first]), "until_ms": int(trace.end_ms[last]) if ended else None,
        "serial": serial,
    }  # fmt: skip


def _runs(trace: Trace) -> list[tuple[str, int, int]]:
    """(kind, first row, last row) of each run of one signal; short silences do not end it."""
    assert trace.state is not None
    found: list[tuple[str, int, int]] = []
    for code, kind in _KIND_OF.items():
        at = np.flatnonzero(trace.state == code)
        if not len(at):
            continue
        silence = trace.start_ms[at[1:]] - trace.end_ms[at[:-1]]
        breaks = np.flatnonzero(silence > JOINED_MS)
        firsts, lasts = at[[0, *(breaks + 1)]], at[[*breaks, len(at) - 1]]
        found += [(kind, int(first), int(last)) for first, last in zip(firsts, lasts, strict=True)]
    return sorted(found, key=lambda run: (run[1], run[0]))


def calls_of(drain: str, entered: Iterable[Thing], logged: polars.DataFrame | None) -> tuple[Call, ...]:
    """What staff entered and what the log tells, in order of time; one that both tell of stands once."""
    found = [
        Call(
            drain, one["kind"], one["from_ms"], one["until_ms"], one["attended_ms"], one["attended_by"], one["cause"],
            one["action"], one.key, one.version,
        )
        for one in entered
        if one["drain"] == drain
    ]  # fmt: skip
    for row in [] if logged is None else logged.iter_rows(named=True):
        told = Call(drain, row["kind"], row["from_ms"], row["until_ms"], logged=True)
        place = _same(found, told)
        if place is None:
            found.append(told)
        else:
            one = found[place]
            until_ms = told.until_ms if told.until_ms is not None else one.until_ms
            found[place] = replace(one, from_ms=min(one.from_ms, told.from_ms), until_ms=until_ms, logged=True)
    return tuple(sorted(found, key=lambda one: one.in_order))


def _same(found: Sequence[Call], told: Call) -> int | None:
    """The entered one that speaks of the same signal as the log, the nearest first."""
    near = [
        (abs(one.from_ms - told.from_ms), place)
        for place, one in enumerate(found)
        if one.kind == told.kind and not one.logged and _together(one, told)
    ]
    return min(near)[1] if near else None


def _together(one: Call, told: Call) -> bool:
    until = told.until_ms if told.until_ms is not None else told.from_ms
    return told.from_ms - SAME_MS <= one.from_ms <= max(until, told.from_ms + SAME_MS)
