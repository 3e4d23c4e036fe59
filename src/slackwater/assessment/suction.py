"""Suction as ordered, set and delivered, minute by minute; every stretch apart from the order, and what explains it.

Looking back: a reason may have been charted later. No verdict uses any of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.assessment.assessment import Assessment
from slackwater.episode.space import entries_for
from slackwater.episode.types import Chart
from slackwater.equipment.tubing import laminar_loss_pa, standing_column_cm
from slackwater.leak.doubt import SUCTION_KEPT
from slackwater.leak.handling import Handling
from slackwater.leak.state import LeakTrace
from slackwater.leak.stretches import Flags
from slackwater.leak.words import CLAMPED, CLOCK, CONFLICT, DISCONNECTED, MISSING, OFF, SENSOR
from slackwater.quantities.spans import MINUTE_MS
from slackwater.reading.log import STATES
from slackwater.trace.types import Interval, Minutes

Floats = NDArray[np.float64]
Codes = NDArray[np.int8]

# What a minute shows against the order in force.
NOT_ORDERED, KEPT, WEAKER, STRONGER, NONE, CLAMP, UNTOLD = range(7)
WORDS = ("not_ordered", "kept", "weaker", "stronger", "off", "clamped", "cannot_tell")
_IN_DOUBT = (MISSING, SENSOR, CLOCK, CONFLICT)

NEAR_MIN = 15  # a chart row so near to a stretch may explain it (ours)
JOINED_MIN = 2  # stretches of one kind with no more between them are one (ours)
LISTED_MIN = (
    5  # shorter stretches of too little or too much suction, or of no record, are counted and not listed (ours)
)
LOW_PERCENT = 10.0  # a charge that may explain why a unit stopped (ours)
# The tube of the worked value in evidence of how little one costs: an assumption, for no log knows its tube.
BORE_MM, LENGTH_M = 6.0, 2.0
OWN_SHARE = 0.1  # where the tube's own loss is less than this share of a gap, it does not explain the gap (ours)
_PA_PER_CMH2O = 98.0665
_UNIT_SAYS = {
    STATES.index(word): word.replace("_", " ") for word in ("off", "standby", "self_test", "charging", "fault")
}
_ROWS = {
    ("walk", ""): "walk", ("canister", "changed"): "canister change", ("suction_unit", "off"): "unit charted off",
    ("suction_unit", "charging"): "unit put on charge", ("suction_unit", "exchanged"): "unit exchanged",
    ("suction_unit", "fell"): "unit fell", ("suction_unit", "tilted"): "unit tilted", ("tubing", "apart"): "came apart",
    ("tubing", "capped"): "tube capped", ("tubing", "kinked"): "kink or loop found",
    ("tubing", "flushed"): "tube flushed", ("tubing", "milked"): "tube milked",
}  # fmt: skip


@dataclass(frozen=True)
class Share:
    """Minutes in which suction was ordered, by what they show."""

    kept: int
    weaker: int
    stronger: int
    off: int
    clamped: int
    untold: int

    @property
    def told(self) -> int:
        """Minutes that say something of the suction: a clamped tube and a missing record do not."""
        return self.kept + self.weaker + self.stronger + self.off

    @property
    def ordered(self) -> int:
        return self.told + self.clamped + self.untold

    @property
    def share(self) -> float | None:
        """Kept, of the minutes that tell; None where none does."""
        return self.kept / self.told if self.told else None


@dataclass(frozen=True)
class Stretch:
    """A stretch apart from the order. kind: off, clamped, weaker, stronger, cannot_tell. Levels: medians, cmH2O.

    may_be_off_min: what the order in force allows; None: it does not say. why: what explains it, the charted first.
    """

    kind: str
    from_ms: int
    to_ms: int
    minutes: int
    ordered: float
    set: float | None
    delivered: float | None
    may_be_off_min: int | None
    why: tuple[str, ...]

    @property
    def over_min(self) -> int | None:
        """By how many minutes it is longer than the order allows; None where that cannot be said."""
        if self.kind != "off" or self.may_be_off_min is None:
            return None
        return max(0, self.minutes - self.may_be_off_min)


@dataclass(frozen=True)
class SetApart:
    """A stretch in which the unit was set to something else than was ordered, cmH2O."""

    from_ms: int
    to_ms: int
    minutes: int
    ordered: float
    set: float


@dataclass(frozen=True, eq=False)
class Fidelity:
    """(n,) per minute from `start_ms`; NaN: not known. `set_known`: minutes with an order and a recorded set level.

    within_cmh2o: inf where nobody named a distance; then no minute is called too little or too much.
    """

    start_ms: int
    within_cmh2o: float
    codes: Codes
    ordered: Floats
    set: Floats
    delivered: Floats
    stretches: tuple[Stretch, ...]
    set_known: int
    set_apart: tuple[SetApart, ...]

    @property
    def share(self) -> Share:
        return counted(self.codes)

    def between(self, from_ms: int, to_ms: int) -> Share:
        """The minutes that begin in [from_ms, to_ms)."""
        first, last = (max(0, -(-(at - self.start_ms) // MINUTE_MS)) for at in (from_ms, to_ms))
        return counted(self.codes[first:last])


@dataclass(frozen=True)
class Allowed:
    """What an order says of being off suction, from a moment on."""

    from_ms: int
    may_be_off_min: int | None


def fidelity(
    found: Assessment, within_cmh2o: float, *, until_ms: int | None = None, allowed: Sequence[Allowed] = (),
    known: Sequence[Interval] = (),
) -> Fidelity | None:  # fmt: skip
    """How well the ordered suction was kept, to `within_cmh2o` of the order, until the drain was out. None: no log.

    `known`: stretches that the record explains beside the chart (a trip), their `why` in words.
    """
    leak = found.leak_trace
    if leak is None:
        return None
    minutes = leak.minutes
    n = len(minutes) if until_ms is None else max(0, min(len(minutes), (until_ms - minutes.start_ms) // MINUTE_MS))
    level = ordered_levels(leak.handled.ordered, minutes.start_ms, n)
    codes = against(level, minutes.pressure[:n], leak.doubt.reason[:n], within_cmh2o)
    told = _Telling(entries_for(found.chart, "drain", found.episode), leak, tuple(allowed), tuple(known))
    near_none = np.abs(minutes.pressure[:n]) <= within_cmh2o
    return Fidelity(
        minutes.start_ms, within_cmh2o, codes, level, minutes.set_suction[:n], minutes.pressure[:n],
        tuple(_stretches(codes, near_none, level, minutes, told)),
        int((np.isfinite(minutes.set_suction[:n]) & asked(level)).sum()),
        tuple(_set_apart(level, minutes, n, within_cmh2o)),
    )  # fmt: skip


def ordered_levels(ordered: Iterable[tuple[int, float]], start_ms: int, n: int) -> Floats:
    """Suction ordered in each of `n` minutes, cmH2O; NaN: no order is known."""
    level = np.full(n, np.nan)
    for at, value in ordered:
        level[max(0, -(-(at - start_ms) // MINUTE_MS)) :] = value
    return level


def asked(level: Floats) -> Flags:
    """Minutes in which suction was ordered, as far as is known."""
    with np.errstate(invalid="ignore"):
        return np.asarray(level < 0)


def against(level: Floats, pressure: Floats, reason: Codes, within_cmh2o: float) -> Codes:
    """Each minute's mean pressure against the order in force.

    A minute off or disconnected delivers nothing. A minute clamped, unrecorded, or with a sensor or clock in doubt
    says nothing of the suction.
    """
    codes = np.full(len(level), NOT_ORDERED, np.int8)
    wanted = asked(level)
    with np.errstate(invalid="ignore"):
        codes[wanted & (pressure - level > within_cmh2o)] = WEAKER
        codes[wanted & (level - pressure > within_cmh2o)] = STRONGER
        codes[wanted & (np.abs(pressure - level) <= within_cmh2o)] = KEPT
    codes[wanted & (np.isnan(pressure) | np.isin(reason, _IN_DOUBT))] = UNTOLD
    codes[wanted & (reason == CLAMPED)] = CLAMP
    codes[wanted & np.isin(reason, (OFF, DISCONNECTED))] = NONE
    return codes


def counted(codes: Codes) -> Share:
    """How many minutes of each kind."""
    each = np.bincount(codes, minlength=len(WORDS)).tolist()
    return Share(each[KEPT], each[WEAKER], each[STRONGER], each[NONE], each[CLAMP], each[UNTOLD])


# --- stretches ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Telling:
    """What may explain a stretch."""

    chart: Chart  # of this drain
    leak: LeakTrace
    allowed: tuple[Allowed, ...]
    known: tuple[Interval, ...]


def _stretches(
    codes: Codes, near_none: Flags, level: Floats, minutes: Minutes, told: _Telling
) -> Iterator[Stretch]:  # fmt: skip
    off = (codes == NONE) | ((codes == WEAKER) & near_none)
    kinds = (
        ("off", off), ("clamped", codes == CLAMP), ("weaker", (codes == WEAKER) & ~off),
        ("stronger", codes == STRONGER), ("cannot_tell", codes == UNTOLD),
    )  # fmt: skip
    spans = [(first, last, kind, flags) for kind, flags in kinds for first, last in _joined(flags)]
    for first, last, kind, flags in sorted(spans, key=lambda one: one[:2]):
        at = first + np.flatnonzero(flags[first:last])
        if kind not in ("off", "clamped") and len(at) < LISTED_MIN:
            continue
        from_ms, to_ms = minutes.start_ms + first * MINUTE_MS, minutes.start_ms + last * MINUTE_MS
        levels = (float(np.median(level[at])), _median(minutes.set_suction[at]), _median(minutes.pressure[at]))
        may = next((one.may_be_off_min for one in reversed(told.allowed) if one.from_ms <= from_ms), None)
        why = tuple(dict.fromkeys((*_charted(told, from_ms, to_ms), *_recorded(told, kind, at, levels))))
        yield Stretch(kind, from_ms, to_ms, len(at), *levels, may, why)


def _set_apart(level: Floats, minutes: Minutes, n: int, within: float) -> Iterator[SetApart]:
    with np.errstate(invalid="ignore"):
        flags = asked(level) & (np.abs(minutes.set_suction[:n] - level) > within)
    for first, last in _joined(flags):
        at = first + np.flatnonzero(flags[first:last])
        start = minutes.start_ms
        yield SetApart(
            start + first * MINUTE_MS, start + last * MINUTE_MS, len(at), float(np.median(level[at])),
            float(np.median(minutes.set_suction[at])),
        )  # fmt: skip


def _joined(flags: Flags) -> list[tuple[int, int]]:
    """First and end of each run, runs with at most JOINED_MIN between them taken as one."""
    at = np.flatnonzero(flags)
    if not len(at):
        return []
    breaks = np.flatnonzero(np.diff(at) > JOINED_MIN + 1)
    firsts, lasts = at[[0, *(breaks + 1)]], at[[*breaks, len(at) - 1]]
    return [(int(first), int(last) + 1) for first, last in zip(firsts, lasts, strict=True)]


def _charted(told: _Telling, from_ms: int, to_ms: int) -> Iterator[str]:
    """What staff wrote in the stretch or near it."""
    handled: Handling = told.leak.handled
    for one in told.known:
        if one.start_ms < to_ms and one.end_ms > from_ms:
            yield one.why
    for one in handled.clamped:
        if one.start_ms < to_ms and one.end_ms > from_ms:
            yield f"clamp: {one.why}" if one.why else "clamp"
    for intervals, words in ((handled.off, "unit charted off"), (handled.apart, "came apart or capped")):
        if any(one.start_ms < to_ms and one.end_ms > from_ms for one in intervals):
            yield words
    near = NEAR_MIN * MINUTE_MS
    for entry in told.chart.entries:
        if from_ms - near <= entry.time <= to_ms + near and not entry.conflict:
            row = _ROWS.get((entry.item, str(entry.value))) or _ROWS.get((entry.item, ""))
            if row:
                yield row


def _recorded(
    told: _Telling, kind: str, at: NDArray[np.intp], levels: tuple[float, float | None, float | None]
) -> Iterator[str]:  # fmt: skip
    """What the log shows of it."""
    leak, minutes = told.leak, told.leak.minutes
    for code in np.unique(minutes.state[at]):
        if int(code) in _UNIT_SAYS:
            yield f"the unit's log says {_UNIT_SAYS[int(code)]}"
    if kind == "off" and (leak.doubt.reason[at] == DISCONNECTED).any():
        yield "circuit open, or a very large leak"
    if kind == "off" and levels[2] is not None and levels[2] < SUCTION_KEPT * levels[0]:
        yield "yet the log shows suction meanwhile"
    if kind in ("off", "cannot_tell"):
        charge = minutes.battery_percent[max(0, int(at[0]) - NEAR_MIN) : int(at[0]) + 1]
        charge = charge[np.isfinite(charge)]
        if len(charge) and charge[-1] <= LOW_PERCENT:
            yield f"battery at {charge[-1]:.0f} % before it"
    if kind in ("weaker", "stronger"):
        yield from _standing_fluid(levels, _median(minutes.flow[at]))


def _standing_fluid(levels: tuple[float, float | None, float | None], flow: float | None) -> Iterator[str]:
    """Whether fluid standing in a hanging loop would explain the gap; it never says that it does.

    The gap is that to the set level, where it is known: what the unit was not asked for, no loop took away.
    """
    ordered, set_to, delivered = levels
    if delivered is None:
        return
    wanted = ordered if set_to is None else set_to
    if set_to is None:
        yield "what the unit was set to is not recorded"
    column = standing_column_cm(delivered - wanted)
    if set_to is not None and abs(delivered - set_to) < abs(delivered - ordered) / 2:
        yield f"the unit was set to {set_to:.0f} cmH2O"
        return
    if flow is None:
        return
    own = laminar_loss_pa(max(flow, 0.0), BORE_MM, LENGTH_M) / _PA_PER_CMH2O
    if own >= OWN_SHARE * abs(column):
        yield "so large a flow costs suction on its way"
    elif column > 0:
        yield f"perhaps a hanging loop: fluid standing {column:.0f} cm high would do it; so would a blocked tube"
    else:
        yield f"perhaps fluid that falls {-column:.0f} cm towards the unit, which adds suction"


def _median(values: Floats) -> float | None:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else None
