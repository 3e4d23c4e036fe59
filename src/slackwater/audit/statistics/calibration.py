"""Were chances that were told borne out, for yes or no? `told_times` asks it of times."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slackwater.audit.statistics.estimate import Estimate
from slackwater.audit.statistics.intervals import share
from slackwater.audit.statistics.logistic import Logistic, fit_logistic, log_odds
from slackwater.audit.statistics.special import two_sided_z
from slackwater.errors import UsageError

Floats = NDArray[np.float64]


def brier(chance: ArrayLike, happened: ArrayLike) -> float:
    """Mean squared distance of the chance from what came, 0 (best) to 1. Source: Brier, Mon. Weather Rev. 78 (1950) 1.

    >>> round(brier([0.8, 0.4], [1, 0]), 6)
    0.1
    """
    p, y = _pair(chance, happened)
    return float(np.mean((p - y) ** 2))


def in_the_large(chance: ArrayLike, happened: ArrayLike, level: float = 0.95) -> Estimate:
    """By how much the log odds told are too low, over all: 0 is right, above 0 more happened than was told.

    None where all or none happened, or a chance is 0 or 1. Source: Cox, Biometrika 45 (1958) 562, from memory.
    """
    p, y = _pair(chance, happened)
    told = log_odds(p)
    fit = fit_logistic(np.empty((len(y), 0)), y, told) if np.isfinite(told).all() else None
    return _coefficient(fit, 0, level, "calibration in the large, log odds")


def slope(chance: ArrayLike, happened: ArrayLike, level: float = 0.95) -> Estimate:
    """Log odds of what came per log odds told: 1 is right, below 1 the chances told were too bold.

    None where no slope exists. Source: Cox 1958, from memory.
    """
    p, y = _pair(chance, happened)
    told = log_odds(p)
    fit = fit_logistic(told, y) if np.isfinite(told).all() else None
    return _coefficient(fit, 1, level, "calibration slope")


def _coefficient(fit: Logistic | None, which: int, level: float, method: str) -> Estimate:
    if fit is None:
        return Estimate(None, None, None, level, method)
    value, reach = float(fit.coefficients[which]), two_sided_z(level) * float(fit.errors[which])
    return Estimate(value, value - reach, value + reach, level, method)


def ranked_right(chance: ArrayLike, happened: ArrayLike) -> float | None:
    """Of all pairs one of whom had the event, the share in which he was given the higher chance; ties count a half.

    The area under the ROC curve (Hanley & McNeil, Radiology 143 (1982) 29, from memory). It says nothing of whether
    the chances are right. None where all or none had it.
    """
    p, y = _pair(chance, happened)
    with_event, without = p[y > 0.0], np.sort(p[y == 0.0])
    if not len(with_event) or not len(without):
        return None
    below = np.searchsorted(without, with_event, side="left") + np.searchsorted(without, with_event, side="right")
    return float(below.sum() / 2.0 / (len(with_event) * len(without)))


@dataclass(frozen=True)
class Bin:
    """Chances from `low` up to, not including, `high` (the last bin includes 1)."""

    low: float
    high: float
    n: int
    told: float | None  # mean chance told; None: nobody fell in it
    came: Estimate  # share to whom it happened, exact interval


def reliability(
    chance: ArrayLike, happened: ArrayLike, edges: ArrayLike = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
) -> tuple[Bin, ...]:
    """What came beside what was told, by bins of the chance told. Bins are set beforehand, not fitted to the data."""
    p, y = _pair(chance, happened)
    bounds = np.asarray(edges, np.float64)
    if bounds[0] != 0.0 or bounds[-1] != 1.0 or (np.diff(bounds) <= 0).any():
        raise UsageError("bins do not lead from 0 to 1", where="reliability", mend="Give rising edges from 0 to 1.")
    which = np.minimum(np.searchsorted(bounds, p, side="right") - 1, len(bounds) - 2)
    return tuple(
        Bin(
            float(bounds[k]),
            float(bounds[k + 1]),
            int(inside.sum()),
            float(p[inside].mean()) if inside.any() else None,
            share(int(y[inside].sum()), int(inside.sum())),
        )
        for k in range(len(bounds) - 1)
        for inside in [which == k]
    )


def _pair(chance: ArrayLike, happened: ArrayLike) -> tuple[Floats, Floats]:
    p, y = np.asarray(chance, np.float64), np.asarray(happened, np.float64)
    if p.shape != y.shape or not len(p) or not ((p >= 0) & (p <= 1)).all() or not np.isin(y, (0.0, 1.0)).all():
        raise UsageError(
            "chances and outcomes do not fit", where="calibration", mend="Give chances from 0 to 1 and outcomes 0 or 1."
        )
    return p, y
