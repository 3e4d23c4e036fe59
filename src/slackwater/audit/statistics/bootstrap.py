"""The interval of any figure, by drawing the patients again: a patient comes with all his drains, or not at all."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slackwater.audit.statistics.estimate import Estimate
from slackwater.errors import UsageError

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
TOO_FEW = 2
"""Patients: of fewer, drawing again says nothing."""


def bootstrap(
    figure: Callable[[Rows], float],
    patients: ArrayLike,
    chance: np.random.Generator,
    draws: int = 2000,
    level: float = 0.95,
    method: str = "bca",
) -> Estimate:
    """figure(rows) with its interval. In the unit of the figure.

    figure: takes the numbers of the rows drawn, a row as often as it was drawn; NaN where it cannot be told.
    patients: (rows,) whose each row is. method: 'bca' (Efron, J. Am. Stat. Assoc. 82 (1987) 171) or 'percentile'.
    If any draw cannot be told the ends are None: what is left would be drawn from the easy half.
    """
    if method not in ("bca", "percentile"):
        raise UsageError(f"no bootstrap {method!r}", where="bootstrap", mend="Methods: bca, percentile.")
    rows_of = rows_by_patient(patients)
    n = len(rows_of)
    words = f"bootstrap of {n} patients, {draws} draws, {method}"
    value = float(figure(np.concatenate(rows_of))) if n else float("nan")
    if np.isnan(value) or n < TOO_FEW:
        return Estimate(None if np.isnan(value) else value, None, None, level, words)
    found = np.array([figure(rows) for rows in _drawn_again(rows_of, chance, draws)])
    if np.isnan(found).any():
        return Estimate(value, None, None, level, words)
    tails = np.array([(1.0 - level) / 2.0, (1.0 + level) / 2.0])
    if method == "bca":
        left_out = [float(figure(np.concatenate([*rows_of[:k], *rows_of[k + 1 :]]))) for k in range(n)]
        tails = corrected_tails(tails, found, value, np.array(left_out))
    if np.isnan(tails).any():
        return Estimate(value, None, None, level, words)
    low, high = np.quantile(found, tails)
    return Estimate(value, float(low), float(high), level, words)


def _drawn_again(rows_of: list[Rows], chance: np.random.Generator, draws: int) -> Iterator[Rows]:
    """The rows of as many patients, drawn with return; joined without a step in Python for each patient."""
    n, order = len(rows_of), np.concatenate(rows_of)
    counts = np.array([len(rows) for rows in rows_of], np.int64)
    starts = np.cumsum(counts) - counts
    for _ in range(draws):
        drawn = chance.integers(0, n, n)
        lengths = counts[drawn]
        place = np.arange(int(lengths.sum())) - np.repeat(np.cumsum(lengths) - lengths, lengths)
        yield order[np.repeat(starts[drawn], lengths) + place]


def corrected_tails(tails: Floats, found: Floats, value: float, left_out: Floats) -> Floats:
    """Which quantiles of the draws to take: for their bias, and for a spread that changes with the value.

    left_out: (patients,) the figure without each patient. NaN where all draws lie on one side, or all are one.
    """
    curve = NormalDist()
    below = float(np.mean(found < value) + np.mean(found <= value)) / 2.0
    off = left_out.mean() - left_out
    spread = float(np.sum(off**2)) ** 1.5
    if not 0.0 < below < 1.0 or not spread > 0.0:
        return np.full(len(tails), np.nan)
    bias, skew = curve.inv_cdf(below), float(np.sum(off**3)) / (6.0 * spread)
    moved = [bias + curve.inv_cdf(tail) for tail in tails]
    return np.array([curve.cdf(bias + move / (1.0 - skew * move)) for move in moved])


def rows_by_patient(patients: ArrayLike) -> list[Rows]:
    """The rows of each patient, patients in the order of their names, so that the order of rows does not matter."""
    codes = np.asarray(patients)
    if not len(codes):
        return []
    order = np.argsort(codes, kind="stable").astype(np.int64)
    return np.split(order, np.flatnonzero(codes[order][1:] != codes[order][:-1]) + 1)
