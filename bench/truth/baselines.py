"""What a careful engineer would try first: a ruler on the raw readings, a running median, a two-state HMM with rules.

All are given slackwater's own reading of the log and its minute table for nothing, and the same limit. None sees the
chart. Their numbers were set by hand on other seeds than those scored.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from slackwater.leak.stretches import long_enough
from slackwater.trace.types import Minutes

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
States = NDArray[np.int8]

LIMIT_ML_PER_MIN = 20.0
LASTING_MIN, ASSESSABLE = 480, 0.95
LEAKING, QUIET, CANNOT_TELL = 1, 0, -1
MEDIAN_MIN = 15
METHODS = ("threshold", "running median", "two-state HMM")


def hold_together(like: Floats, change: Floats, first: Floats) -> tuple[Floats, Floats]:
    """Forward and backward pass over two states: chance of each at each step, and expected changes (2 x 2).

    like: n x 2, likelihood of each step; change: 2 x 2, rows from. Scaled at each step, so that nothing underflows.
    """
    n = len(like)
    (a, b), (c, d) = change.tolist()
    ahead, p, q = [], *first.tolist()
    for k, (x, y) in enumerate(like.tolist()):
        if k:
            p, q = p * a + q * c, p * b + q * d
        p, q = p * x, q * y
        total = p + q
        p, q = p / total, q / total
        ahead.append((p, q))
    back, u, v = [(1.0, 1.0)] * n, 1.0, 1.0
    rows = like.tolist()
    for k in range(n - 1, 0, -1):
        x, y = rows[k][0] * u, rows[k][1] * v
        u, v = a * x + b * y, c * x + d * y
        total = u + v
        u, v = u / total, v / total
        back[k - 1] = (u, v)
    forward, backward = np.array(ahead), np.array(back)
    both = forward * backward
    pairs = forward[:-1, :, None] * change * (like[1:] * backward[1:])[:, None, :]
    pairs /= pairs.sum(axis=(1, 2), keepdims=True)
    return both / both.sum(axis=1, keepdims=True), pairs.sum(axis=0)


@dataclass(frozen=True)
class TwoStates:
    """Fitted to one log: chance of the upper state by step, flow of each state (mL/min), and the chances of change."""

    upper: Floats
    flow: Floats
    change: Floats


def two_states(flow: Floats, usable: Flags, rounds: int = 6) -> TwoStates:
    """Gaussians on log(1 + flow), fitted by EM; steps that are not usable say nothing."""
    logs = np.log1p(np.maximum(np.where(usable, flow, 0.0), 0.0))
    known = logs[usable]
    if len(known) < 10:
        return TwoStates(np.zeros(len(flow)), np.array([0.0, 0.0]), np.array([[0.99, 0.01], [0.01, 0.99]]))
    middle, spread = np.quantile(known, (0.1, 0.9)), np.full(2, 0.6)
    change, chance = np.array([[0.99, 0.01], [0.01, 0.99]]), np.full((len(flow), 2), 0.5)
    for _ in range(rounds):
        off = (logs[:, None] - middle) / spread
        # a floor under the density, so that one odd minute cannot force a change of state
        like = np.where(usable[:, None], np.exp(-0.5 * np.minimum(off**2, 60.0)) / spread + 1e-6, 1.0)
        chance, pairs = hold_together(like, change, np.array([0.5, 0.5]))
        weight = chance * usable[:, None]
        total = weight.sum(axis=0) + 1e-9
        middle = (weight * logs[:, None]).sum(axis=0) / total
        spread = np.maximum(np.sqrt((weight * (logs[:, None] - middle) ** 2).sum(axis=0) / total), 0.2)
        change = (pairs + np.array([[50.0, 0.5], [0.5, 50.0]])) / (pairs.sum(axis=1, keepdims=True) + 50.5)
    if middle[0] > middle[1]:
        middle, chance, change = middle[::-1], chance[:, ::-1], change[::-1, ::-1]
    return TwoStates(chance[:, 1], np.expm1(middle), change)


@dataclass(frozen=True, eq=False)
class Record:
    """What a baseline is given of a log, as it was known at one moment."""

    minutes: Minutes
    step_ml_per_min: float

    @cached_property
    def gap(self) -> Flags:
        return ~(self.minutes.covered >= 0.8) | ~np.isfinite(self.minutes.flow)

    @cached_property
    def swing(self) -> Floats:
        m = self.minutes
        fine = np.isfinite(m.pressure_p05)
        low, high = np.where(fine, m.pressure_p05, m.pressure_min), np.where(fine, m.pressure_p95, m.pressure_max)
        return high - low

    @cached_property
    def doubtful(self) -> Flags:
        """The rules beside the HMM: gaps, a ceiling with the pressure lost, no pressure, no flow and no swing."""
        m = self.minutes
        known = m.pressure[np.isfinite(m.pressure)]
        usual = float(np.quantile(-known, 0.75)) if len(known) else 0.0
        due = np.where(np.isfinite(m.set_suction), -m.set_suction, usual)
        told = m.flow[np.isfinite(m.flow)]
        top = max(1000.0, 0.9 * float(told.max(initial=0.0)))
        none = max(0.5 * self.step_ml_per_min, 1.0)
        with np.errstate(invalid="ignore"):
            apart = (m.flow >= top) & (np.abs(m.pressure) < 0.5 * due)
            off = (np.abs(m.pressure) < 0.5) & (m.flow < none) & (due >= 4.0)
            # a minute shows a swing only where it holds a dozen readings
            still = (m.flow < none) & (self.swing < 0.8) & (m.pressure_readings >= 12)
        return self.gap | apart | off | long_enough(still, 20)

    @cached_property
    def median_flow(self) -> Floats:
        """Centred running median of the minutes' flow; NaN where under half is known."""
        half = MEDIAN_MIN // 2
        flow = np.concatenate(
            (np.full(half, np.nan), np.where(self.gap, np.nan, self.minutes.flow), np.full(half, np.nan))
        )
        windows = np.sort(np.lib.stride_tricks.sliding_window_view(flow, MEDIAN_MIN), axis=1)  # NaN go to the end
        known = np.isfinite(windows).sum(axis=1)
        picked = windows[np.arange(len(windows)), np.maximum((known - 1) // 2, 0)]
        return np.where(2 * known >= MEDIAN_MIN, picked, np.nan)

    @cached_property
    def hmm(self) -> TwoStates:
        return two_states(self.minutes.flow, ~self.doubtful)

    @cached_property
    def hmm_flow(self) -> Floats:
        return self.hmm.flow[(self.hmm.upper > 0.5).astype(int)]

    def flow_of(self, method: str) -> Floats:
        """Each minute's flow as the method has it, mL/min."""
        return {"threshold": self.minutes.flow, "running median": self.median_flow, "two-state HMM": self.hmm_flow}[
            method
        ]

    def states(self, method: str) -> States:
        """LEAKING, QUIET or CANNOT_TELL for each minute, at the limit."""
        flow = self.flow_of(method)
        with np.errstate(invalid="ignore"):
            state = (flow >= LIMIT_ML_PER_MIN).astype(np.int8)
        unknown = self.doubtful if method == "two-state HMM" else self.gap | ~np.isfinite(flow)
        return np.where(unknown, np.int8(CANNOT_TELL), state)

    def met(self, method: str) -> bool:
        """Below the limit for the last 8 h, of which 95 % can be assessed. The ruler looks at every reading."""
        state = self.states(method)[-LASTING_MIN:]
        if len(state) < LASTING_MIN or (state != CANNOT_TELL).mean() < ASSESSABLE or (state == LEAKING).any():
            return False
        if method == "threshold":
            return not bool((self.minutes.flow_max[-LASTING_MIN:] >= LIMIT_ML_PER_MIN).any())
        return True

    def conductance(self, method: str) -> Floats:
        """Flow over mean suction, mL/min per cmH2O; NaN where there is no suction to divide by."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(self.minutes.pressure < -0.2, self.flow_of(method) / -self.minutes.pressure, np.nan)


def chain_times(seen: TwoStates, run_steps: int, lasting_steps: int, steps: int) -> Floats | None:
    """Chance that a quiet run of `lasting_steps` has completed after 0..steps steps, by the HMM's own chain.

    None where the log has shown only one side of the limit: such a chain knows nothing of what is to come.
    """
    if not seen.flow[0] < LIMIT_ML_PER_MIN <= seen.flow[1]:
        return None
    (stays, opens), (seals, leaks) = seen.change.tolist()
    upper = float(seen.upper[-1])
    run = np.zeros(lasting_steps)
    run[min(run_steps, lasting_steps - 1)] = 1.0 - upper
    done, out = 0.0, [0.0]
    for _ in range(steps):
        quiet = float(run.sum())
        done += run[-1] * stays
        run[1:] = run[:-1] * stays
        run[0], run[1] = 0.0, run[1] + upper * seals  # the first quiet step counts
        upper = upper * leaks + quiet * opens
        out.append(done)
    return np.array(out)
