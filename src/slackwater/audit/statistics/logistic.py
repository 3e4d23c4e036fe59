"""A plain logistic model: to make a unit's own risks for `cusum`, and to ask whether given chances are calibrated."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slackwater.errors import UsageError

Floats = NDArray[np.float64]
TURNS = 50
FLAT = 1e-9


@dataclass(frozen=True, eq=False)
class Logistic:
    """coefficients: (1 + k,) the intercept first, log odds per unit of each column; errors: their standard errors."""

    coefficients: Floats
    errors: Floats

    def chances(self, columns: ArrayLike) -> Floats:
        """(n,) for columns (n,) or (n, k)."""
        return _curve(_with_ones(columns) @ self.coefficients)


def fit_logistic(
    columns: ArrayLike, happened: ArrayLike, offset: ArrayLike | None = None, weights: ArrayLike | None = None
) -> Logistic | None:
    """Maximum likelihood by Newton's steps, from memory; None where no finite fit exists (the events are told apart).

    columns: (n,) or (n, k), k may be 0; happened: (n,) 0 or 1; offset: (n,) log odds that are taken as given;
    weights: (n,) for how many each row stands (errors are then not those of the rows).
    """
    design, outcome = _with_ones(columns), np.asarray(happened, np.float64)
    if np.isnan(design).any() or not np.isin(outcome, (0.0, 1.0)).all():
        raise UsageError("a value is missing", where="logistic fit", mend="Leave rows out that are not complete.")
    given = np.zeros(len(design)) if offset is None else np.asarray(offset, np.float64)
    rows = np.ones(len(design)) if weights is None else np.asarray(weights, np.float64)
    found = np.zeros(design.shape[1])
    for _ in range(TURNS):
        chance = _curve(design @ found + given)
        information = (design * (rows * chance * (1.0 - chance))[:, None]).T @ design
        if np.linalg.matrix_rank(information) < len(found):
            return None
        step = np.linalg.solve(information, design.T @ (rows * (outcome - chance)))
        found = found + step
        if np.abs(found).max() > 500.0:
            return None
        if np.abs(step).max() < FLAT:
            return Logistic(found, np.sqrt(np.diag(np.linalg.inv(information))))
    return None


def log_odds(chance: ArrayLike) -> Floats:
    """Infinite at 0 and 1."""
    p = np.asarray(chance, np.float64)
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(p) - np.log1p(-p))


def _curve(log_odds: Floats) -> Floats:
    return 1.0 / (1.0 + np.exp(-np.clip(log_odds, -700.0, 700.0)))


def _with_ones(columns: ArrayLike) -> Floats:
    given = np.asarray(columns, np.float64)
    given = given[:, None] if given.ndim == 1 else given
    return np.hstack([np.ones((len(given), 1)), given])
