"""One stay whose truth is known, judged by every method: counts that add up over stays.

A world hands over a `Known`: what a ward would have, and what was so, minute by minute. Whatever is not plainly
one thing or the other is left out of the counts, by the world that knows it.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files

import baselines
import numpy as np
from baselines import CANNOT_TELL, LEAKING, LIMIT_ML_PER_MIN, QUIET, Flags, Floats, Record, States

import slackwater
from slackwater.leak.words import NO_REASON, STATES

RULE = "air-20-8h"
OURS, WAIVED = "ours", "guards waived"
_CODES = np.array([{"leaking": LEAKING, "quiet": QUIET, "cannot_tell": CANNOT_TELL}[word] for word in STATES], np.int8)


@dataclass(frozen=True)
class Moment:
    """A moment of judging: now_ms as `assess` takes it; what must be said of it, if anything must."""

    now_ms: int | None
    must_not: bool = False
    plain: bool = False
    in_window: bool = True  # the leak or fault lies within the 8 h: the log itself is false, or short


@dataclass(frozen=True, eq=False)
class Minutely:
    """What was so, a minute each from connection on."""

    start_ms: int
    leak: Floats  # mL/min that leave the lung, as an open and working drain would carry them
    hidden: Flags  # the log cannot tell
    left_out: Flags  # it may be called either
    stirred: Flags  # a cough, a walk, another posture, a step of suction
    wrong_zero: Flags  # the flow's zero has drifted or was taken while air leaked
    conductance: Floats | None = None  # mL/min per cmH2O at rest
    none_added: Flags | None = None
    fair: Flags | None = None  # conductance can be asked for: open, undisturbed, two steps of the display or more


@dataclass(frozen=True, eq=False)
class Known:
    name: str
    suite: str
    logs: tuple[tuple[str, bytes, str], ...]  # name, bytes, layout
    chart: bytes
    episode: bytes
    moments: tuple[Moment, ...]
    minutely: Minutely | None = None


@dataclass
class Tally:
    """Counts by 'what/suite/method'; fold errors, one a stay; and the cases behind the figures that matter."""

    counts: Counter[str] = field(default_factory=Counter)
    folds: dict[str, list[float]] = field(default_factory=dict)
    cases: dict[str, list[str]] = field(default_factory=dict)

    def add(self, other: Tally) -> None:
        self.counts.update(other.counts)
        for mine, theirs in ((self.folds, other.folds), (self.cases, other.cases)):
            for key, values in theirs.items():
                mine.setdefault(key, []).extend(values)  # type: ignore[arg-type]


@cache
def rule(guarded: bool) -> slackwater.Protocol:
    if guarded:
        return slackwater.shipped_protocol(RULE)
    text = (files("slackwater.protocol") / "rules" / f"{RULE}.toml").read_text("utf-8")
    text = re.sub(r"^\[guards\]\n(?:(?!\[).*\n)*", "", text, flags=re.MULTILINE)
    return slackwater.load_protocol(('guards = "none"\n' + text).encode(), f"{RULE} without guards")


def judged(known: Known) -> Tally:
    """Every method at every moment; minutes and conductance at the last of them."""
    tally = Tally()
    try:
        logs = [
            slackwater.read_log(data, slackwater.Layout.from_toml(layout, "layout.toml"), name)
            for name, data, layout in known.logs
        ]
        chart = slackwater.read_chart(known.chart, "chart.csv")
        episode = slackwater.read_episode(known.episode, "episode.toml")
    except slackwater.SlackwaterError:  # refused: nothing is called met, and no minute is told
        for moment in known.moments:
            _count(tally, known, moment, dict.fromkeys((*baselines.METHODS, OURS, WAIVED), False))
        return tally
    for moment in known.moments:
        found = {
            guarded: slackwater.assess(logs, chart=chart, episode=episode, protocol=rule(guarded), now_ms=moment.now_ms)
            for guarded in (True, False)
        }
        seen = found[True].leak_trace
        said = {name: _called_met(found[guarded]) for name, guarded in ((OURS, True), (WAIVED, False))}
        record = None
        if seen is not None and found[True].trace is not None:
            step = max(log.flow_step_ul_per_min for log in found[True].trace.logs) / 1000
            record = Record(seen.minutes, step)
        said |= {method: record is not None and record.met(method) for method in baselines.METHODS}
        _count(tally, known, moment, said)
        if moment is known.moments[-1] and known.minutely is not None and record is not None and seen is not None:
            told = {OURS: _CODES[seen.state], **{method: record.states(method) for method in baselines.METHODS}}
            # a minute whose print straddles the limit cannot be told, and that is no doubt about the drain: no reason
            doubted = {method: states == CANNOT_TELL for method, states in told.items()}
            doubted[OURS] = doubted[OURS] & (seen.reason != NO_REASON)
            _count_minutes(tally, known.suite, known.minutely, record, told, doubted)
            sizes = {OURS: seen.conductance, **{m: record.conductance(m) for m in baselines.METHODS}}
            _fold_errors(tally, known.suite, known.minutely, record, sizes)
    return tally


def _called_met(found: slackwater.Assessment) -> bool:
    return found.evaluation is not None and found.evaluation.overall.word in ("met", "met_with_gaps")


def _count(tally: Tally, known: Known, moment: Moment, said: dict[str, bool]) -> None:
    for what in ("must_not", "plain"):
        if not getattr(moment, what):
            continue
        names = [f"{what}/{known.suite}"]
        if what == "must_not" and moment.in_window:
            names.append(f"must_not_in_window/{known.suite}")
        for name in names:
            tally.counts[name] += 1
            for method, met in said.items():
                tally.counts[f"{name}/{method}"] += met
    if moment.must_not and said[OURS]:
        tally.cases.setdefault("must not be met, called met", []).append(f"{known.suite}: {known.name}")
    if moment.plain and not said[OURS]:
        tally.cases.setdefault("plainly met, not called met", []).append(f"{known.suite}: {known.name}")


def _laid_on(truth: Minutely, record: Record) -> tuple[slice, slice]:
    """Which minutes of the truth and of the table are the same."""
    late = (record.minutes.start_ms - truth.start_ms) // 60_000
    first, end = max(late, 0), min(len(truth.leak), late + len(record.minutes))
    return slice(first, max(end, first)), slice(first - late, max(end, first) - late)


def _near_edges(flags: Flags, before: int = 2, after: int = 3) -> Flags:
    out = np.zeros(len(flags), np.bool_)
    for at in np.flatnonzero(np.diff(flags.astype(np.int8))).tolist():
        out[max(0, at + 1 - before) : at + 1 + after] = True
    return out


def _count_minutes(
    tally: Tally, suite: str, truth: Minutely, record: Record, told: dict[str, States], doubted: dict[str, Flags]
) -> None:
    ours, theirs = _laid_on(truth, record)
    gap = record.gap[theirs]
    hidden = truth.hidden[ours] | gap
    fair = ~truth.left_out[ours] & ~_near_edges(truth.hidden[ours])
    leak = truth.leak[ours]
    # about the limit the state may be called either
    plain = fair & ~hidden & ((leak < 0.7 * LIMIT_ML_PER_MIN) | (leak >= 1.4 * LIMIT_ML_PER_MIN))
    leaking = leak >= LIMIT_ML_PER_MIN
    counted = tally.counts
    counted[f"hidden/{suite}"] += int((fair & hidden).sum())
    for method, states in told.items():
        state = states[theirs]
        counted[f"hidden_doubted/{suite}/{method}"] += int((fair & hidden & (state == CANNOT_TELL)).sum())
        sound = plain & ~truth.wrong_zero[ours]  # to doubt a wrong zero is no mistake, nor is it asked for
        counted[f"plain_doubted/{suite}/{method}"] += int((sound & doubted[method][theirs]).sum())
        for kind, flags in (("stirred", truth.stirred), ("wrong_zero", truth.wrong_zero)):
            where = plain & flags[ours]
            for word, true in (("leaking", leaking), ("quiet", ~leaking)):
                these = state[where & true]
                counted[f"{kind}_{word}/{suite}/{method}"] += len(these)
                counted[f"{kind}_{word}_told/{suite}/{method}"] += int((these != CANNOT_TELL).sum())
                right = LEAKING if word == "leaking" else QUIET
                counted[f"{kind}_{word}_right/{suite}/{method}"] += int((these == right).sum())


def _fold_errors(tally: Tally, suite: str, truth: Minutely, record: Record, sizes: dict[str, Floats]) -> None:
    if truth.conductance is None or truth.none_added is None or truth.fair is None:
        return
    ours, theirs = _laid_on(truth, record)
    for kind, where in (("suction", ~truth.none_added[ours]), ("none_added", truth.none_added[ours])):
        asked = where & truth.fair[ours] & ~record.gap[theirs]
        for method, values in sizes.items():
            with np.errstate(divide="ignore", invalid="ignore"):
                error = np.abs(np.log(values[theirs] / truth.conductance[ours]))[asked]
            error = error[~np.isnan(error)]  # a method that says zero is infinitely wrong, and is counted so
            if len(error) > 30:
                tally.folds.setdefault(f"{kind}/{suite}/{method}", []).append(float(np.median(error)))
