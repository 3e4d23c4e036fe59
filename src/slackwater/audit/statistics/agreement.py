"""How far two observers agree beyond chance: kappa, plain and weighted."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from slackwater.audit.statistics.estimate import Estimate
from slackwater.audit.statistics.special import two_sided_z
from slackwater.errors import UsageError

WEIGHTS = ("none", "linear", "quadratic")


def kappa(table: ArrayLike, weights: str = "none", level: float = 0.95) -> Estimate:
    """Agreement beyond chance: 1 is full, 0 what chance alone would give. None where both used one category only.

    table: (k, k) how often the first observer said row, the second column. weights: 'none' counts every disagreement
    alike; 'linear' and 'quadratic' count it by its distance, for categories in order.
    At full agreement the ends are None, for the formula gives no width there.
    Source: Cohen, Educ. Psychol. Meas. 20 (1960) 37 and Psychol. Bull. 70 (1968) 213; error of Fleiss, Cohen &
    Everitt, Psychol. Bull. 72 (1969) 323; from memory.

    >>> round(kappa([[20, 5], [10, 15]]).value, 3)
    0.4
    """
    counts = np.asarray(table, np.float64)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or (counts < 0).any():
        raise UsageError("not a square table of counts", where="kappa", mend="Give a row and a column a category.")
    if weights not in WEIGHTS:
        raise UsageError(f"no weights {weights!r}", where="kappa", mend=f"Weights: {', '.join(WEIGHTS)}.")
    method = "kappa" if weights == "none" else f"kappa, {weights} weights"
    n, size = float(counts.sum()), len(counts)
    if not n:
        return Estimate(None, None, None, level, method)
    apart = np.abs(np.subtract.outer(np.arange(size), np.arange(size))) / max(size - 1, 1)
    credit = {"none": (apart == 0).astype(float), "linear": 1.0 - apart, "quadratic": 1.0 - apart**2}[weights]
    joint = counts / n
    first, second = joint.sum(axis=1), joint.sum(axis=0)
    seen, by_chance = float((credit * joint).sum()), float(first @ credit @ second)
    if by_chance >= 1.0 - 1e-12:
        return Estimate(None, None, None, level, method)
    value = (seen - by_chance) / (1.0 - by_chance)
    if value >= 1.0 - 1e-12:
        return Estimate(1.0, None, None, level, method)
    leaning = np.add.outer(credit @ second, first @ credit)  # mean credit of a row, of a column
    terms = (joint * (credit - leaning * (1.0 - value)) ** 2).sum()
    variance = float(terms - (value - by_chance * (1.0 - value)) ** 2) / (n * (1.0 - by_chance) ** 2)
    reach = two_sided_z(level) * max(variance, 0.0) ** 0.5
    return Estimate(value, max(value - reach, -1.0), min(value + reach, 1.0), level, method)
