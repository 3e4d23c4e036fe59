"""How often units told something by their own signal, how soon somebody came, what it was and what helped.

Looking back, to learn from. What was neither logged nor entered is not in here: a low rate may be a quiet unit, or one
that nobody wrote of.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

from slackwater.audit.statistics.ends import count_ends
from slackwater.audit.statistics.estimate import Estimate
from slackwater.audit.statistics.intervals import rate, share
from slackwater.audit.statistics.survival import kaplan_meier, time_until
from slackwater.quantities.spans import DAY_MS, MINUTE_MS
from slackwater.store.calls import Call

AGAIN_MS = (
    10 * MINUTE_MS
)  # so soon again, the same kind at the same drain is a repeat (the task's own: docs/suction.md)
LONGEST_MIN = 7 * 24 * 60  # a longer time to attend is a slip of the date, and is not told (ours)


@dataclass(frozen=True)
class Stay:
    """When a drain was in, UTC ms: what its signals are counted against."""

    drain: str
    from_ms: int
    to_ms: int


@dataclass(frozen=True)
class Attended:
    """Minutes until somebody came. median: Kaplan-Meier, with those nobody was written to have come to counted as
    waiting until the signal ended; untold: neither is known, so they are in no figure."""

    median: Estimate
    came: int
    ended_alone: int
    untold: int


@dataclass(frozen=True)
class Count:
    """How often a word was told."""

    word: str
    count: int
    share: float


@dataclass(frozen=True)
class CallFigures:
    """Of some signals and the stays they fell in. per_day: per drain-day. hours: 24 counts, by the ward's clock."""

    calls: int
    drain_days: float
    per_day: Estimate
    repeats: Estimate  # share of the signals that repeat one before them
    attended: Attended
    kinds: tuple[Count, ...]
    causes: tuple[Count, ...]
    no_cause: int
    helped: tuple[tuple[str, str, int], ...]  # cause, what helped, how often
    hours: tuple[int, ...]
    unresolved: tuple[Call, ...]  # attended, and neither an end nor what helped is written


def figures(calls: Sequence[Call], stays: Sequence[Stay], zone: tzinfo) -> CallFigures:
    """Every figure over the signals that fell into the stays."""
    inside = within(calls, stays)
    days = sum(one.to_ms - one.from_ms for one in stays) / DAY_MS
    causes = Counter(one.cause for one in inside if one.cause)
    again = sum(repeats(inside).values())
    hours = Counter(datetime.fromtimestamp(one.from_ms / 1000, UTC).astimezone(zone).hour for one in inside)
    return CallFigures(
        len(inside), days, rate(len(inside), days), share(again, len(inside)), attended(inside),
        counts(Counter(one.kind for one in inside)), counts(causes), sum(not one.cause for one in inside),
        tuple(
            (cause, action, count)
            for (cause, action), count in Counter(
                (one.cause or "not recorded", one.action) for one in inside if one.action
            ).most_common()
        ),
        tuple(hours[hour] for hour in range(24)),
        tuple(one for one in inside if one.attended_ms is not None and one.until_ms is None and not one.action),
    )  # fmt: skip


def within(calls: Iterable[Call], stays: Sequence[Stay]) -> tuple[Call, ...]:
    """Those that began in a stay of their drain, in order."""
    of: dict[str, list[Stay]] = {}
    for stay in stays:
        of.setdefault(stay.drain, []).append(stay)
    found = [one for one in calls if any(stay.from_ms <= one.from_ms < stay.to_ms for stay in of.get(one.drain, ()))]
    return tuple(sorted(found, key=lambda one: (*one.in_order, one.drain)))


def repeats(calls: Sequence[Call]) -> Mapping[tuple[str, str], int]:
    """By drain and kind: signals that began no later than AGAIN_MS after the one before them ended.

    Where its end is not known it counts from its beginning: a repeat is then missed, never made up.
    """
    found: Counter[tuple[str, str]] = Counter()
    last: dict[tuple[str, str], int] = {}
    for one in sorted(calls, key=lambda one: one.in_order):
        which = (one.drain, one.kind)
        if which in last and one.from_ms - last[which] <= AGAIN_MS:
            found[which] += 1
        last[which] = one.until_ms if one.until_ms is not None else one.from_ms
    return found


def attended(calls: Sequence[Call]) -> Attended:
    """How soon somebody came, in whole minutes, rounded down."""
    times, ends, untold = [], [], 0
    for one in calls:
        until = one.attended_ms if one.attended_ms is not None else one.until_ms
        minutes = None if until is None else (until - one.from_ms) // MINUTE_MS
        if minutes is None or not 0 <= minutes <= LONGEST_MIN:
            untold += 1
            continue
        times.append(minutes)
        ends.append(1 if one.attended_ms is not None else 0)
    median = time_until(kaplan_meier(count_ends(times, ends))) if times else _unknown("Kaplan-Meier")
    return Attended(median, sum(ends), len(ends) - sum(ends), untold)


def counts(found: Counter[str]) -> tuple[Count, ...]:
    """The most frequent first: a Pareto order; among equals by the word."""
    total = sum(found.values())
    return tuple(Count(word, n, n / total) for word, n in sorted(found.items(), key=lambda one: (-one[1], one[0])))


def rate_ratio(before: tuple[int, float], after: tuple[int, float], level: float = 0.95) -> Estimate:
    """The rate after over the rate before; (signals, drain-days) each. None where a side has no days, or neither a
    signal.

    Given how many there were in all, how many fell after is binomial; the exact interval of that share gives that of
    the ratio. Source: Przyborowski & Wilenski, Biometrika 31 (1940) 313, from memory.
    """
    method = "ratio of rates, exact given their sum"
    (first, days_first), (second, days_second) = before, after
    if not first + second or not (days_first > 0 and days_second > 0):
        return Estimate(None, None, None, level, method)
    found, scale = share(second, first + second, level), days_first / days_second

    def odds(p: float | None) -> float | None:
        return None if p is None or p >= 1.0 else scale * p / (1.0 - p)

    return Estimate(odds(found.value), odds(found.low), odds(found.high), level, method)


def clipped(stays: Iterable[Stay], from_ms: int, to_ms: int) -> tuple[Stay, ...]:
    """The parts of the stays between two moments."""
    found = (Stay(one.drain, max(one.from_ms, from_ms), min(one.to_ms, to_ms)) for one in stays)
    return tuple(one for one in found if one.to_ms > one.from_ms)


def _unknown(method: str) -> Estimate:
    return Estimate(None, None, None, 0.95, method)
