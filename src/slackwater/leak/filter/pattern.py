"""The pattern of a leak, in a word, with the minutes that say so.

Judged on what the size filter found in minutes that can be assessed; silence neither makes nor breaks a pattern.
The thresholds are ours, argued in docs/definitions.md; none is a clinical limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from slackwater.leak.filter.run import Filtered, Seen
from slackwater.leak.stretches import Flags, long_enough, stretches

PATTERNS = ("none", "persistent", "healing", "intermittent", "effort_only", "recurring")

LEAKS = 0.9  # chance of leaking at or above the level asked about, from which a minute leaks
GONE = 0.1  # and below which it does not
LEAST_MIN = 20  # of leaking minutes on end, to speak of a leak at rest
PAUSE_MIN = 5  # on end, to be an episode of an intermittent leak
PAUSES = 4  # episodes gone within `LATELY_MIN`
LATELY_MIN = 24 * 60
BACK_AFTER_MIN = 6 * 60  # assessable minutes gone, from which a return is a recurrence
HEALED_MIN = 60  # assessable minutes gone up to now, to have healed
FALL = 0.75  # of the conductance before: lower is falling
SPELL_MIN = 3 * 60  # leaking minutes compared at either end
BURSTS = 3


@dataclass(frozen=True)
class Pattern:
    """One of PATTERNS (None: too little can be assessed); `evidence`: (first, end) minutes, end outside; a sentence."""

    word: str | None
    evidence: tuple[tuple[int, int], ...]
    sentence: str


def pattern(
    given: Seen, filtered: Filtered, effort: Flags | None = None, *, limit: int = 0, least_min: int = 60
) -> Pattern:
    """The pattern up to the last minute; `limit`: which of the filter's limits tells leaking from not.

    effort: minutes in which a leak was seen with effort; None takes the bursts the filter was given, which a cough
    over a little air beside the lung can make as well.
    """
    chance = filtered.p_at_least[:, limit]
    told = given.usable & np.isfinite(chance)
    if int(told.sum()) < least_min:
        return Pattern(None, (), "Too little of the record can be assessed to speak of a pattern.")
    with np.errstate(invalid="ignore"):
        leaks, gone = told & (chance >= LEAKS), told & (chance <= GONE)
    at = np.flatnonzero(told)  # assessable minutes only: a gap is passed over
    lasting = np.zeros(len(told), dtype=np.bool_)
    lasting[at] = long_enough(leaks[at], LEAST_MIN)
    brief = np.zeros(len(told), dtype=np.bool_)
    brief[at] = long_enough(leaks[at], PAUSE_MIN)
    episodes = _episodes(brief, gone, at)
    if len(episodes) > PAUSES and _lately(episodes, len(told)) > PAUSES:
        return Pattern("intermittent", episodes[-(PAUSES + 1) :], "The leak comes and goes.")
    if not lasting.any():
        return _without_rest(np.flatnonzero(given.burst == 1 if effort is None else effort), len(given))
    spans = _episodes(lasting, gone, at)
    back = _return(spans, gone)
    if back is not None:
        return Pattern("recurring", back, "The leak was gone for hours and has come back.")
    last = spans[-1]
    gone_min = int(gone[last[1] :].sum())
    if gone_min >= HEALED_MIN:
        spans = (last, (last[1], len(told)))
        return Pattern("healing", spans, "The leak was recorded, fell, and is no longer seen at rest.")
    return _course(filtered, np.flatnonzero(leaks & np.isfinite(filtered.conductance)), last)


def _without_rest(bursts: NDArray[np.int64], minutes: int) -> Pattern:
    if len(bursts) >= BURSTS:
        spans = tuple((int(k), int(k) + 1) for k in bursts[-BURSTS:])
        return Pattern("effort_only", spans, "Air is seen only with effort: a cough, a walk.")
    return Pattern("none", ((0, minutes),), "No lasting air leak was recorded.")


def _episodes(leaks: Flags, gone: Flags, at: NDArray[np.int64]) -> tuple[tuple[int, int], ...]:
    """Leaking stretches, joined where no pause of minutes surely gone lies between them."""
    found: list[tuple[int, int]] = []
    pauses = np.zeros(len(leaks), dtype=np.bool_)
    pauses[at] = long_enough(gone[at], PAUSE_MIN)
    for first, end in stretches(leaks):
        if found and not pauses[found[-1][1] : first].any():
            found[-1] = (found[-1][0], end)
        else:
            found.append((first, end))
    return tuple(found)


def _lately(episodes: tuple[tuple[int, int], ...], now: int) -> int:
    return sum(end > now - LATELY_MIN for _, end in episodes)


def _return(spans: tuple[tuple[int, int], ...], gone: Flags) -> tuple[tuple[int, int], ...] | None:
    for before, after in pairwise(spans):
        if int(gone[before[1] : after[0]].sum()) >= BACK_AFTER_MIN:
            return (before, (before[1], after[0]), after)
    return None


def _course(filtered: Filtered, leaking: NDArray[np.int64], last: tuple[int, int]) -> Pattern:
    """Falling or not, by conductance, so that a step of suction does not pass for healing."""
    lately = leaking[leaking >= len(filtered.conductance) - LATELY_MIN]
    spell = min(SPELL_MIN, len(lately) // 3)
    if spell >= 10:
        before = float(np.median(filtered.conductance[lately[:spell]]))
        after = float(np.median(filtered.conductance[lately[-spell:]]))
        if after <= FALL * before:
            spans = ((int(lately[0]), int(lately[spell - 1]) + 1), (int(lately[-spell]), int(lately[-1]) + 1))
            return Pattern("healing", spans, "The leak is falling at like suction.")
    return Pattern("persistent", (last,), "The leak goes on without falling.")
