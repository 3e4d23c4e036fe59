"""Will the shelf run out of units in the next days? From how often units were asked for, and how long they stayed.

Days of the past are drawn again (a bootstrap: Efron, Ann. Statist. 7 (1979) 1) and stays from their Kaplan-Meier
curve, so that a drain that is still in counts for as long as it has lain. No law of arrival is assumed. Over the long
run, with arrivals at random and units handed out while there are any, the share of askers who find none is Erlang's
(`erlang_b`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.errors import QuantityError

Floats = NDArray[np.float64]

FEWEST_DAYS = 14  # of history (ours)
FEWEST_ASKED = 10
FEWEST_STAYS = 5  # that have ended
HISTORIES, FUTURES = 100, 200  # drawn pasts, and futures for each (ours)
PER_DAY = 24  # moments a day at which units in use are counted (ours)


@dataclass(frozen=True)
class Demand:
    """What is known of the past, in days before now.

    asked_d: when each unit was asked for (a pairing began), counted back from now, all within `history_d`.
    stayed_d: how long each kept its unit, cleaning included; `ended`: whether that is over.
    in_use_d: for how long each unit in use now has been so. units: how many there are that could be used.
    """

    history_d: float
    asked_d: Sequence[float]
    stayed_d: Sequence[float]
    ended: Sequence[bool]
    in_use_d: Sequence[float]
    units: int


@dataclass(frozen=True)
class Shortage:
    """Chance that within `days` somebody needs one unit more than there are; with a 90 % interval from drawn pasts.

    by_day: chance that it has come so far, day by day. asked_per_day, mean_stay_d: what it rests on. long_run: share of
    askers who would find none, were every day as the past ones, by Erlang's formula.
    """

    days: int
    chance: float
    low: float
    high: float
    by_day: tuple[float, ...]
    asked_per_day: float
    mean_stay_d: float
    long_run: float


def why_no_forecast(past: Demand) -> str | None:
    """Why nobody can tell; None where a forecast can be made."""
    if past.units < 1:
        return "no unit is known that could be used"
    if past.history_d < FEWEST_DAYS:
        return f"fewer than {FEWEST_DAYS} days of use are recorded"
    if len(past.asked_d) < FEWEST_ASKED:
        return f"fewer than {FEWEST_ASKED} times a unit was taken"
    if sum(past.ended) < FEWEST_STAYS:
        return f"fewer than {FEWEST_STAYS} units came back"
    return None


def shortage(past: Demand, days: int, seed: int = 0) -> Shortage:
    """The caller has asked `why_no_forecast`. The same past and seed give the same answer."""
    if not 1 <= days <= 60:
        raise QuantityError(f"{days} days ahead cannot be foretold", mend="Give 1 to 60 days.")
    rng = np.random.default_rng(seed)
    counts = np.bincount(np.asarray(past.asked_d, float).astype(int), minlength=int(past.history_d))
    counts = counts[: int(past.history_d)]  # whole days only
    stays, ended = np.asarray(past.stayed_d, float), np.asarray(past.ended, bool)
    short = np.empty((HISTORIES, days))
    for k in range(HISTORIES):
        some = rng.integers(0, len(counts), len(counts))
        kept = rng.integers(0, len(stays), len(stays))
        curve = stay_curve(stays[kept], ended[kept])
        short[k] = short_by_day(counts[some], curve, past.in_use_d, past.units, days, rng)
    per_day, mean_stay = float(counts.mean()), mean_of(stay_curve(stays, ended))
    at_end = short[:, -1]
    return Shortage(
        days, float(at_end.mean()), float(np.quantile(at_end, 0.05)), float(np.quantile(at_end, 0.95)),
        tuple(short.mean(axis=0).tolist()), per_day, mean_stay, erlang_b(per_day * mean_stay, past.units),
    )  # fmt: skip


def stay_curve(stays_d: Floats, ended: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """(lengths, mass of each): Kaplan and Meier's curve; what is left over lies at the longest stay (Efron 1967)."""
    order = np.lexsort((~ended, stays_d))
    lengths, over = np.asarray(stays_d[order], float), ended[order].copy()
    over[-1] = True
    at_risk = np.arange(len(lengths), 0, -1)
    left = np.cumprod(np.where(over, 1.0 - 1.0 / at_risk, 1.0)).astype(np.float64)
    mass = np.concatenate(([1.0], left[:-1])) - left
    return lengths[over], mass[over]


def mean_of(curve: tuple[Floats, Floats]) -> float:
    return float((curve[0] * curve[1]).sum() / curve[1].sum())


def short_by_day(
    counts: NDArray[np.int64], curve: tuple[Floats, Floats], in_use_d: Sequence[float], units: int, days: int,
    rng: np.random.Generator,
) -> Floats:  # fmt: skip
    """Share of drawn futures in which, by the end of each day, more units were wanted at once than there are."""
    return np.asarray((np.maximum.accumulate(in_use(counts, curve, in_use_d, days, rng), axis=1) > units)[
        :, PER_DAY - 1 :: PER_DAY
    ].mean(axis=0))  # fmt: skip


def in_use(
    counts: NDArray[np.int64], curve: tuple[Floats, Floats], in_use_d: Sequence[float], days: int,
    rng: np.random.Generator, futures: int = FUTURES,
) -> NDArray[np.int64]:  # fmt: skip
    """Units wanted at each counted moment (futures x days·PER_DAY), nobody ever turned away."""
    lengths, mass = curve
    moments = days * PER_DAY
    change = np.zeros((futures, moments + 1), np.int64)
    drawn = counts[rng.integers(0, len(counts), (futures, days))]
    row = np.repeat(np.arange(futures), drawn.sum(axis=1))
    day = np.concatenate([np.repeat(np.arange(days), n) for n in drawn]) if len(row) else np.empty(0, np.int64)
    start = day + rng.random(len(row))
    end = start + rng.choice(lengths, len(row), p=mass / mass.sum())
    _mark(change, row, start, end)
    for elapsed in in_use_d:
        longer = lengths > elapsed
        if longer.any():
            left = rng.choice(lengths[longer], futures, p=mass[longer] / mass[longer].sum()) - elapsed
        else:  # longer than any before: nobody knows; as long again as it has lain, on the average
            left = rng.exponential(max(elapsed, 1.0), futures)
        _mark(change, np.arange(futures), np.zeros(futures), left)
    return np.cumsum(change[:, :moments], axis=1)


def _mark(change: NDArray[np.int64], row: NDArray[np.int64], start: Floats, end: Floats) -> None:
    """Count each use at the moments 1/PER_DAY, 2/PER_DAY ... that lie in [start, end)."""
    last = change.shape[1] - 1
    np.add.at(change, (row, np.clip(np.ceil(start * PER_DAY).astype(int) - 1, 0, last)), 1)
    np.add.at(change, (row, np.clip(np.ceil(end * PER_DAY).astype(int) - 1, 0, last)), -1)


def erlang_b(load: float, units: int) -> float:
    """Share of askers who find no unit, in the long run: `load` askers a mean stay, at random, none waiting.

    B(0) = 1, B(n) = a·B(n-1) / (n + a·B(n-1)). Source: Erlang 1917; the recursion is textbook.

    >>> round(erlang_b(1.0, 1), 3), round(erlang_b(5.0, 10), 4)
    (0.5, 0.0184)
    """
    if load < 0 or units < 0:
        raise QuantityError("a load or a number of units below zero", mend="Give both from zero on.")
    blocked = 1.0
    for n in range(1, units + 1):
        blocked = load * blocked / (n + load * blocked)
    return blocked
