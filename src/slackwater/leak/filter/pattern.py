"""The pattern of a leak, in a word, with the minutes that say so.

Judged on minutes that can be assessed; silence neither makes nor breaks a pattern. The thresholds are ours, argued
where they stand; none is a clinical limit. Scored over drawn stays by bench/truth/score_patterns.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from slackwater.leak.filter.run import Filtered, Seen
from slackwater.leak.stretches import Flags, long_enough, running_median, stretches

PATTERNS = ("none", "persistent", "healing", "intermittent", "effort_only", "recurring")

LEAKS = 0.9  # chance of leaking at or above the level asked about, from which a minute leaks; or `HALF` of it recorded
GONE = 0.1  # and below which it may be gone
HALF = 0.5  # of that level, or of the leak as last seen: so that a leak near the level does not come and go
LEAST_MIN = 20  # of leaking minutes on end, to speak of a leak at rest
PAUSE_MIN = 5  # on end, to be an episode of an intermittent leak
PAUSES = 4  # episodes gone within `LATELY_MIN`
LATELY_MIN = 24 * 60  # assessable minutes up to now
BACK_AFTER_MIN = 6 * 60  # assessable minutes gone, from which a return is a recurrence
HEALED_MIN = 60  # assessable minutes gone up to now, to have healed
FALL = 0.75  # of the conductance before: lower is falling
LIKE = 1.25  # ratio of driving pressures up to which suction is alike; across a step a leak must fall to `HALF`
SPELL_MIN, LEAST_SPELL_MIN = 3 * 60, 10  # minutes compared at either end
BURSTS = 3  # lately, to be a pattern
BURST_ML = 5.0  # a burst brings more: a cough of 60 cmH2O presses 3 mL out of 50 mL beside the lung (Boyle)
REST_MIN = 11  # around a burst

Spans = tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Pattern:
    """One of PATTERNS (None: too little can be assessed); `evidence`: (first, end) minutes, end outside; a sentence."""

    word: str | None
    evidence: Spans
    sentence: str


@dataclass(frozen=True, eq=False)
class _Minutes:
    """Minute by minute: assessable; leaking; leaking on end; gone for sure; not seen, but might be hidden."""

    told: Flags
    leaks: Flags
    lasting: Flags
    gone: Flags
    hidden: Flags

    def on_end(self, flags: Flags, minutes: int) -> Flags:
        """Runs of at least so many assessable minutes; what cannot be assessed is passed over."""
        at = np.flatnonzero(self.told)
        out = np.zeros(len(flags), dtype=np.bool_)
        out[at] = long_enough(flags[at], minutes)
        return out

    @property
    def lately(self) -> int:
        """First minute of the latest `LATELY_MIN` that can be assessed."""
        at = np.flatnonzero(self.told)
        return int(at[-LATELY_MIN]) if len(at) >= LATELY_MIN else 0


def pattern(
    given: Seen, filtered: Filtered, effort: Flags | None = None, *, limit: int = 0, least_min: int = 60
) -> Pattern:
    """The pattern up to the last minute; `limit`: which of the filter's limits tells leaking from not.

    effort: minutes in which a leak was seen with effort; None takes the bursts the filter was given.
    """
    if int((given.usable & np.isfinite(filtered.p_at_least[:, limit])).sum()) < least_min:
        return Pattern(None, (), "Too little of the record can be assessed to speak of a pattern.")
    found = _minutes(given, filtered, limit)
    if not found.lasting.any():
        return _without_rest(given, given.burst == 1 if effort is None else effort, found.lately)
    pauses = found.on_end(found.gone, PAUSE_MIN)
    spans = _episodes(found.lasting, pauses)
    last = spans[-1]
    gone_min = int(found.gone[last[1] :].sum())
    episodes = _episodes(found.on_end(found.leaks, PAUSE_MIN), pauses)
    times = sum(end > found.lately for _, end in episodes)
    if times > PAUSES and gone_min < BACK_AFTER_MIN:
        return Pattern("intermittent", episodes[-(PAUSES + 1) :], f"The leak comes and goes: {times} times lately.")
    back = _return(spans, found.gone)
    if back is not None:
        hours = int(found.gone[slice(*back[1])].sum()) // 60
        return Pattern("recurring", back, f"The leak was gone for {hours} h or more and came back.")
    if gone_min >= HEALED_MIN:
        says = f"A leak was recorded; at rest it has not been seen for {gone_min // 60} h or more."
        return Pattern("healing", (last, (last[1], len(given))), says)
    return _course(given, filtered, found, last)


def _minutes(given: Seen, filtered: Filtered, limit: int) -> _Minutes:
    chance, level = filtered.p_at_least[:, limit], filtered.limits_ml_per_min[limit]
    told = given.usable & np.isfinite(chance)
    with np.errstate(invalid="ignore"):
        leaks = told & ((chance >= LEAKS) | (given.low >= HALF * level))
        unseen = told & (chance <= GONE)
        found = _Minutes(told, leaks, leaks, unseen, unseen)
        lasting = found.on_end(leaks, LEAST_MIN)
        # as last seen, and at this minute's suction, the leak would print more than this minute's cell can hold
        at = np.maximum.accumulate(np.where(lasting, np.arange(len(given)), -1))
        before = (filtered.mid_ml_per_min / given.drive_cmh2o)[at] * given.drive_cmh2o
        would_show = (at < 0) | ((given.high <= before) & (given.flow <= HALF * before))
    return _Minutes(told, leaks, lasting, unseen & would_show, unseen & ~would_show)


def _without_rest(given: Seen, bursts: Flags, lately: int) -> Pattern:
    rest = running_median(np.where(given.usable, given.flow, np.nan), REST_MIN)
    with np.errstate(invalid="ignore"):
        large = np.flatnonzero(bursts & given.usable & (given.flow - np.fmin(rest, given.flow) >= BURST_ML))
    spans = tuple((int(k), int(k) + 1) for k in large[-BURSTS:])
    if int((large >= lately).sum()) >= BURSTS:
        return Pattern("effort_only", spans, "Air is seen only with effort: a cough, a walk.")
    if len(large) >= BURSTS:
        return Pattern("healing", spans, "Air was seen only with effort, and scarcely in the latest 24 h assessable.")
    says = "No lasting air leak was recorded."
    if bursts.any():
        says += " Small bursts with effort were: air beside the lung makes such too."
    elif not (given.burst[given.usable] >= 0).any():
        says += " A log of this kind cannot show one with effort."
    return Pattern("none", ((0, len(given)),), says)


def _episodes(leaks: Flags, pauses: Flags) -> Spans:
    """Leaking stretches, joined where no pause lies between them."""
    found: list[tuple[int, int]] = []
    for first, end in stretches(leaks):
        if found and not pauses[found[-1][1] : first].any():
            found[-1] = (found[-1][0], end)
        else:
            found.append((first, end))
    return tuple(found)


def _return(spans: Spans, gone: Flags) -> Spans | None:
    for before, after in pairwise(spans):
        if int(gone[before[1] : after[0]].sum()) >= BACK_AFTER_MIN:
            return (before, (before[1], after[0]), after)
    return None


def _course(given: Seen, filtered: Filtered, found: _Minutes, last: tuple[int, int]) -> Pattern:
    """Falling or not, by conductance, so that a step of suction does not pass for healing."""
    leaking = np.flatnonzero(found.leaks & np.isfinite(filtered.conductance))
    after = np.flatnonzero(found.told)[-SPELL_MIN:]
    recent = leaking[leaking >= found.lately]
    if found.leaks[after].mean() >= 0.5:
        spell = min(SPELL_MIN, len(recent) // 3)
        before, after = recent[:spell], recent[len(recent) - spell :]
        now = filtered.conductance
    else:  # now and then, or not at all: no more than the cells allow
        before = (recent if len(recent) >= LEAST_SPELL_MIN else leaking)[:SPELL_MIN]
        now = given.high / given.drive_cmh2o
    if min(len(before), len(after)) >= LEAST_SPELL_MIN:
        drives = _median(given.drive_cmh2o, before), _median(given.drive_cmh2o, after)
        like = max(drives) <= LIKE * min(drives)
        if _median(now, after) <= (FALL if like else HALF) * _median(filtered.conductance, before):
            says = "The leak is falling at like suction." if like else "The leak falls by more than the suction does."
            return Pattern("healing", (_span(before), _span(after)), says)
    if int(found.hidden[last[1] :].sum()) >= BACK_AFTER_MIN:
        says = "A leak was recorded; at the suction since, this log could hide one of its size."
        return Pattern(None, (last, (last[1], len(given))), says)
    return Pattern("persistent", (last,), "The leak goes on without falling.")


def _median(values: NDArray[np.float64], at: NDArray[np.int64]) -> float:
    return float(np.median(values[at]))


def _span(at: NDArray[np.int64]) -> tuple[int, int]:
    return int(at[0]), int(at[-1]) + 1
