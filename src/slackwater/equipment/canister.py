"""When a canister will be full, from what drained lately: a change is planned, not met at three in the morning."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from slackwater.equipment.slopes import students_quantile
from slackwater.errors import QuantityError

# All ours. So many of the latest amounts are looked at, none older than a day, over at least so many hours.
FEWEST, LATEST, OLDEST_H, SHORTEST_H = 3, 8, 24.0, 2.0
LEAST_ML = 1.0  # an interval without fluid stands for so much, so that its logarithm can be taken
LEVEL = 0.90
STALE_H = 6.0  # the last amount may not be older
LEAST_SPREAD = 0.1  # of the logarithms: that the last amounts were alike does not make the next ones so


@dataclass(frozen=True)
class Amount:
    """What drained in (start, end], hours from now (both at most 0), within bounds; high may be infinite."""

    start_h: float
    end_h: float
    low_ml: float
    high_ml: float


@dataclass(frozen=True)
class Fill:
    """Hours from now until it is full, with a 90 % interval; 0: it may be so now. And the rate, mL/h."""

    earliest_h: float
    likely_h: float
    latest_h: float
    ml_per_h: float


def why_no_fill(amounts: Sequence[Amount], size_ml: float | None, level: tuple[float, float] | None) -> str | None:
    """Why nobody can tell when it is full; None where it can be told."""
    if size_ml is None:
        return "how much this canister holds is not recorded"
    if level is None or not math.isfinite(level[1]):
        return "what is in it now is not known"
    some = _latest(amounts)
    if len(some) < FEWEST or some[-1].end_h - some[0].start_h < SHORTEST_H:
        return f"fewer than {FEWEST} amounts of fluid are known for the last day, over {SHORTEST_H:g} h or more"
    if some[-1].end_h < -STALE_H:
        return f"what drained in the last {STALE_H:g} h is not known"
    return None


def fill(amounts: Sequence[Amount], size_ml: float, level: tuple[float, float], age_h: float = 0.0) -> Fill:
    """When it is full, if it goes on draining as lately. The caller has asked `why_no_fill`.

    level: least and most that was in it `age_h` hours ago (mL); since then it went on. The rate is the lognormal mean
    of the latest intervals, weighted by their lengths; the interval is Student's for the next one. Drainage mostly
    fades, so the latest end is likelier than the earliest.
    """
    if size_ml <= 0 or level[0] < 0 or level[1] < level[0]:
        raise QuantityError("a canister of no size, or less than nothing in it", mend="Look at size and level.")
    some = _latest(amounts)
    hours = np.array([one.end_h - one.start_h for one in some])
    middles = np.array([max((one.low_ml + one.high_ml) / 2.0, LEAST_ML) for one in some])
    logs, weights = np.log(middles / hours), hours / hours.sum()
    # what drained over all of it, rather than the mean of logarithms: long quiet intervals count by their length
    centre = math.log(float(middles.sum() / hours.sum()))
    spread = math.sqrt(
        float((weights * (logs - float((weights * logs).sum())) ** 2).sum()) * len(some) / (len(some) - 1)
    )
    doubt = np.array([(one.high_ml - one.low_ml) / 2.0 / m for one, m in zip(some, middles, strict=True)])
    reach = students_quantile(0.5 + LEVEL / 2.0, len(some) - 1) * math.sqrt(1.0 + 1.0 / len(some))
    reach *= math.sqrt(max(spread, LEAST_SPREAD) ** 2 + float((doubt**2).mean()) / 3.0)
    left = (max(size_ml - level[1], 0.0), max(size_ml - sum(level) / 2.0, 0.0), max(size_ml - level[0], 0.0))
    rate = math.exp(centre)
    hours_left = (left[0] / (rate * math.exp(reach)), left[1] / rate, left[2] / (rate * math.exp(-reach)))
    earliest, likely, latest = (max(one - age_h, 0.0) for one in hours_left)
    return Fill(earliest, likely, latest, rate)


def _latest(amounts: Sequence[Amount]) -> list[Amount]:
    known = [
        one for one in sorted(amounts, key=lambda one: one.end_h)
        if math.isfinite(one.high_ml) and one.end_h > one.start_h and one.start_h >= -OLDEST_H and one.end_h <= 0.0
    ]  # fmt: skip
    return known[-LATEST:]
