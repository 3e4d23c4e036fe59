"""Exact intervals for shares and rates, and the ratio of two shares. Few cases give wide intervals, and say so."""

from __future__ import annotations

from math import exp, log, sqrt

from slackwater.audit.statistics.estimate import Estimate
from slackwater.audit.statistics.special import special, two_sided_z
from slackwater.errors import UsageError


def share(events: int, n: int, level: float = 0.95) -> Estimate:
    """Share of n, 0 to 1; None of nobody. With no event the low end is 0, with nothing but events the high end is 1.

    Source: Clopper & Pearson, Biometrika 26 (1934) 404: never covers less often than it says.

    >>> found = share(12, 68)
    >>> f"{found.value:.3f} ({found.low:.3f} to {found.high:.3f})"
    '0.176 (0.095 to 0.288)'
    """
    _counted(events, n)
    method = "exact (Clopper-Pearson)"
    if not n:
        return Estimate(None, None, None, level, method)
    quantile, tail = special().betaincinv, (1.0 - level) / 2.0
    low = float(quantile(events, n - events + 1, tail)) if events else 0.0
    high = float(quantile(events + 1, n - events, 1.0 - tail)) if events < n else 1.0
    return Estimate(events / n, low, high, level, method)


def highest_share(events: int, n: int, level: float = 0.95) -> float | None:
    """One-sided exact upper bound of a share: what to show beside 'none of n'. Source: Clopper & Pearson 1934.

    >>> round(100 * highest_share(0, 30), 1)
    9.5
    """
    _counted(events, n)
    if not n:
        return None
    return float(special().betaincinv(events + 1, n - events, level)) if events < n else 1.0


def rate(events: int, exposure: float, level: float = 0.95) -> Estimate:
    """Events per unit of exposure (drain-days); None where nothing was exposed.

    Source: Garwood, Biometrika 28 (1936) 437: exact for a Poisson count.
    """
    _counted(events, events)
    method = "exact (Poisson)"
    if not exposure > 0.0:
        if events:
            raise UsageError(f"{events} events and no exposure", where="rate", mend="Give the exposure they fell in.")
        return Estimate(None, None, None, level, method)
    quantile, tail = special().gammaincinv, (1.0 - level) / 2.0
    low = float(quantile(events, tail)) if events else 0.0
    high = float(quantile(events + 1, 1.0 - tail))
    return Estimate(events / exposure, low / exposure, high / exposure, level, method)


def highest_rate(events: int, exposure: float, level: float = 0.95) -> float | None:
    """One-sided exact upper bound of a rate: what to show beside 'none in so many drain-days'. Source: Garwood 1936."""
    _counted(events, events)
    return float(special().gammaincinv(events + 1, level)) / exposure if exposure > 0.0 else None


def risk_ratio(events: int, n: int, other_events: int, other_n: int, level: float = 0.95) -> Estimate:
    """The first share over the second. No events in either group: None, for the formula says nothing there.

    Source: Katz et al., Biometrics 34 (1978) 469: normal on the log scale. Poor with few events: fewer than five in a
    group is too few (common practice, no source).

    >>> found = risk_ratio(76, 385, 51, 397)
    >>> f"{found.value:.2f} ({found.low:.2f} to {found.high:.2f})"
    '1.54 (1.11 to 2.13)'
    """
    _counted(events, n)
    _counted(other_events, other_n)
    method = "ratio of shares, log interval"
    if not events or not other_events:
        return Estimate(None, None, None, level, method)
    ratio = (events / n) / (other_events / other_n)
    error = sqrt(1.0 / events - 1.0 / n + 1.0 / other_events - 1.0 / other_n)
    reach = two_sided_z(level) * error
    return Estimate(ratio, exp(log(ratio) - reach), exp(log(ratio) + reach), level, method)


def _counted(events: int, n: int) -> None:
    if not 0 <= events <= n:
        raise UsageError(f"{events} of {n}", where="events", mend="Events are 0 to n.")
