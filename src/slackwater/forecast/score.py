"""How good were forecasts, once the time is known: a proper score, coverage, and order.

All on min(T, horizon): what lies beyond the horizon only counts as 'not within it'.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FEWEST_LEFT = 0.1  # share still followed, below which the few do not stand for more (ours)


def crps_h(grid_h: Floats, chance: Floats, time_h: float) -> float:
    """Continuous ranked probability score of min(T, horizon), hours: ∫ (F(t) - 1[T <= t])² dt up to the horizon.

    grid_h: even, from 0 to the horizon; chance: F there. Source: Gneiting & Raftery, J. Am. Stat. Assoc. 102 (2007)
    359. F stands from one point of the grid to the next.

    >>> grid = np.linspace(0.0, 48.0, 289)
    >>> round(crps_h(grid, (grid >= 10.0).astype(float), 10.0), 2)
    0.0
    >>> round(crps_h(grid, np.zeros(289), 10.0), 2)
    38.0
    """
    widths, held = np.diff(grid_h), chance[:-1]
    before = np.clip((time_h - grid_h[:-1]) / widths, 0.0, 1.0)  # share of each step that lies before T
    return float(np.sum(widths * (before * held**2 + (1.0 - before) * (1.0 - held) ** 2)))


def crps_followed_h(grid_h: Floats, chance: Floats, time_h: float, followed_h: float, left: Floats) -> float:
    """The same where some were followed no further than `followed_h`: over many, on average as if all had been.

    time_h: inf where it had not come by then. left: on the grid, `still_followed`. What is known of a moment counts for
    those like it of whom it is not (Graf and others, Stat. Med. 18 (1999) 2529, from memory).

    >>> grid = np.linspace(0.0, 48.0, 289)
    >>> round(crps_followed_h(grid, np.zeros(289), float("inf"), 12.0, np.ones(289)), 2)
    0.0
    >>> round(crps_followed_h(grid, np.zeros(289), 10.0, 12.0, np.full(289, 0.5)), 2)
    76.0
    """
    widths, held, start = np.diff(grid_h), chance[:-1], grid_h[:-1]
    before = np.clip((min(time_h, followed_h) - start) / widths, 0.0, 1.0)
    since = 1.0 - np.clip((time_h - start) / widths, 0.0, 1.0)
    then = left[min(int(np.searchsorted(grid_h, time_h)), len(left) - 1)]
    return float(np.sum(widths * (before * held**2 / left[:-1] + since * (1.0 - held) ** 2 / then)))


def still_followed(grid_h: Floats, times_h: Floats, followed_h: Floats) -> Floats:
    """On the grid, the chance of still being followed where it has not come: Kaplan-Meier, never below FEWEST_LEFT.

    times_h: inf where it had not come by followed_h. Whoever it came to within a step was followed through it.

    >>> still_followed(np.array([0.0, 1.0, 2.0]), np.array([0.5, np.inf, np.inf]), np.array([9.0, 1.0, 9.0])).tolist()
    [1.0, 0.5, 0.5]
    """
    until = np.minimum(times_h, followed_h)
    ended = times_h <= followed_h
    left, out = 1.0, np.ones(len(grid_h))
    for k in range(1, len(grid_h)):
        inside = (until > grid_h[k - 1]) & (until <= grid_h[k])
        at_risk = int((until > grid_h[k - 1]).sum()) - int((inside & ended).sum())
        left *= 1.0 - int((inside & ~ended).sum()) / max(at_risk, 1)
        out[k] = left
    return np.maximum(out, FEWEST_LEFT)


def covers(grid_h: Floats, chance: Floats, time_h: float, low: float = 0.1, high: float = 0.9) -> bool:
    """Whether the central interval holds min(T, horizon); a quantile beyond the horizon is the horizon.

    A run under way completes at a moment, somewhere within a step of the grid: all of that step counts.
    """
    end = float(grid_h[-1])
    time = min(time_h, end)
    step = float(grid_h[1] - grid_h[0])
    return quantile_h(grid_h, chance, low) - step - 1e-9 <= time <= quantile_h(grid_h, chance, high) + 1e-9


def quantile_h(grid_h: Floats, chance: Floats, share: float) -> float:
    """First time by which F has reached `share`; the horizon where it has not."""
    at = int(np.searchsorted(chance, share))
    return float(grid_h[min(at, len(grid_h) - 1)])


def mean_h(grid_h: Floats, chance: Floats) -> float:
    """Expected min(T, horizon)."""
    return float(np.sum(np.diff(grid_h) * (1.0 - chance[:-1])))


def concordance(times_h: Sequence[float], expected_h: Sequence[float], horizon_h: float) -> float:
    """C-index: share of pairs that can be ordered whose forecasts are in that order; ties count a half.

    Source: Harrell, J. Am. Med. Assoc. 247 (1982) 2543.

    >>> concordance([1.0, 2.0, 60.0], [3.0, 4.0, 5.0], 48.0)
    1.0
    """
    times, expected = np.minimum(np.array(times_h), horizon_h), np.array(expected_h)
    right = pairs = 0.0
    for time, guess in zip(times, expected, strict=True):
        if time >= horizon_h:
            continue
        later = times > time + 1e-9
        pairs += float(later.sum())
        right += float((expected[later] > guess).sum() + 0.5 * (expected[later] == guess).sum())
    return right / pairs if pairs else float("nan")
