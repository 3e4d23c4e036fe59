"""Quantiles of the beta, gamma and chi-squared distributions: scipy's, loaded when first asked for."""

from __future__ import annotations

from statistics import NormalDist
from types import ModuleType

from slackwater.errors import MissingPart


def special() -> ModuleType:
    """`scipy.special`; half a second of start that only an audit pays."""
    try:
        import scipy.special  # type: ignore[import-untyped]
    except ImportError:
        raise MissingPart(
            "the figures of an audit need scipy, which is not installed", mend='Run: pip install "slackwater[audit]"'
        ) from None
    return scipy.special  # type: ignore[no-any-return]


def two_sided_z(level: float) -> float:
    """How many standard errors to either side hold `level` of a normal distribution.

    >>> round(two_sided_z(0.95), 6)
    1.959964
    """
    return NormalDist().inv_cdf(0.5 + level / 2.0)


def chi_squared_tail(statistic: float, degrees: int) -> float:
    """Chance of a value at least as great, by chance alone.

    >>> round(chi_squared_tail(3.841459, 1), 6)
    0.05
    """
    return float(special().chdtrc(degrees, statistic))
