"""Prolonged leak against each patient's own risk, where risks are given: CUSUM, and observed less expected."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from slackwater.audit.figures import Rules
from slackwater.audit.lasting import NO, YES
from slackwater.audit.measures import Measured
from slackwater.audit.scores_borne_out import ScoresBorneOut, scores_borne_out
from slackwater.audit.statistics.cusum import Cusum, Excess, Limit, cusum, limit_for, observed_less_expected

RATIOS = (2.0, 0.5)
RUN_LENGTH = 500.0  # patients until a crossing by chance alone, on average. Ours
CHARTS = 300


@dataclass(frozen=True, eq=False)
class Against:
    """charts: for twice and for half the odds, each with its limit; None: too few, and `why` says so."""

    charts: tuple[tuple[Cusum, Limit], ...]
    excess: Excess | None
    mean_risk: float | None
    n: int
    left_out: int
    why: str = ""
    scores: ScoresBorneOut | None = None


def against_risk(drains: Sequence[Measured], risks: Mapping[str, float], rules: Rules) -> Against:
    """By the first definition of a prolonged leak, in order of connection. No outcome or no risk: it adds nothing."""
    outcomes = {YES: 1.0, NO: 0.0}
    happened = np.array([outcomes.get(one.leaks[0].outcome, np.nan) if one.leaks else np.nan for one in drains])
    risk = np.array([risks.get(one.about.drain, np.nan) for one in drains])
    known = ~np.isnan(happened) & ~np.isnan(risk)
    n = int(known.sum())
    if n < max(2 * rules.fewest, 10):
        return Against((), None, None, n, len(drains) - n, f"{n} drains with an outcome and a risk are too few.")
    events = int(np.nansum(happened[known]))
    if min(events, n - events) < rules.fewest:
        return Against((), None, None, n, len(drains) - n, f"{rules.few} had it, or had it not: kept back.")
    whose = [one.about.patient for one, told in zip(drains, known, strict=True) if told]
    chance = np.random.default_rng(rules.seed)
    mix = np.array([one for one in risks.values() if np.isfinite(one)])
    limits = [limit_for(mix, ratio, RUN_LENGTH, chance, CHARTS) for ratio in RATIOS]
    charts = tuple((cusum(happened, risk, r, one.limit), one) for r, one in zip(RATIOS, limits, strict=True))
    return Against(
        charts, observed_less_expected(happened, risk), float(np.mean(risk[known])), n, len(drains) - n,
        scores=scores_borne_out(risk[known], happened[known], whose, rules),
    )  # fmt: skip
