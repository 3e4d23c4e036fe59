"""Were risks that were given borne out? Each drain's own chance of a prolonged leak against what came.

Every drain counts once, with what became of it; intervals draw patients again, for a patient may have several drains.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.audit.figures import Figure, Rules
from slackwater.audit.statistics.bootstrap import bootstrap
from slackwater.audit.statistics.calibration import Bin, brier, in_the_large, ranked_right, reliability, slope
from slackwater.audit.statistics.estimate import Estimate
from slackwater.audit.statistics.suppress import kept_back

Floats = NDArray[np.float64]
EDGES = (0.0, 0.05, 0.1, 0.2, 0.3, 0.5, 1.0)  # of the risk given. Ours


@dataclass(frozen=True, eq=False)
class ScoresBorneOut:
    """figures: over all; bins: by the risk given, those too small left out and counted."""

    figures: tuple[Figure, ...]
    bins: tuple[Bin, ...]
    left_out: int


def scores_borne_out(risk: Floats, happened: Floats, patients: Sequence[str], rules: Rules) -> ScoresBorneOut:
    """risk: (n,) 0 to 1; happened: (n,) 0 or 1; patients: (n,) whose each is. The caller has seen to small numbers."""
    inside = (risk > 0.0) & (risk < 1.0)
    certain = f"without {int((~inside).sum())} risks of 0 or 1" if not inside.all() else ""
    every = np.ones(len(risk), np.bool_)
    whose = np.asarray(patients)

    def figure(
        key: str, title: str, unit: str, told: Callable[[Floats, Floats], float | None], rows: NDArray[np.bool_],
        note: str = "",
    ) -> Figure:  # fmt: skip
        at = np.flatnonzero(rows)

        def value(drawn: NDArray[np.int64]) -> float:
            found = told(risk[at[drawn]], happened[at[drawn]])
            return float("nan") if found is None else found

        chance = np.random.default_rng(rules.seed)
        found = bootstrap(value, whose[at], chance, rules.draws, rules.level, "percentile") if len(at) else None
        blank = Estimate(None, None, None, rules.level, "")
        return Figure(f"cusum_{key}", title, unit, found or blank, len(at), "drains", note=note)

    figures = (
        figure("off", "Came, less told", "% points", lambda p, y: float(100.0 * (y - p).mean()), every),
        figure("in_the_large", "Log odds told too low by", "", lambda p, y: in_the_large(p, y).value, inside, certain),
        figure("slope", "Calibration slope", "", lambda p, y: slope(p, y).value, inside, certain),
        figure("ranked", "Ranked right", "", ranked_right, every),
        figure("brier", "Brier score", "", brier, every),
    )
    bins = [one for one in reliability(risk, happened, EDGES) if one.n]
    yes = [round((one.came.value or 0.0) * one.n) for one in bins]
    back = kept_back([[a, one.n - a] for a, one in zip(yes, bins, strict=True)], rules.fewest)
    shown = [one for one, hide in zip(bins, np.any(back[: len(bins), :2], axis=1), strict=True) if not hide]
    return ScoresBorneOut(figures, tuple(shown), len(bins) - len(shown))
