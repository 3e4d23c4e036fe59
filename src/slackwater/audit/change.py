"""Before and after a named change: the figures of both sides, and a verdict that says no more than they can bear."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from slackwater.audit.figures import Figure, Rules, mean_of, share_of, too_few_make_it_up
from slackwater.audit.measures import Measured
from slackwater.audit.statistics.bootstrap import bootstrap
from slackwater.audit.statistics.estimate import Estimate
from slackwater.audit.statistics.process_charts import xmr_chart
from slackwater.protocol.status import Status

PER = 5  # planned removals a point, for asking whether the time before was steady. Ours
CANNOT_SAY = (
    "Before and after cannot say why. Whatever else changed at that time (season, staff, patients, the record itself) "
    "is in the difference too; a comparison with units that did not change would say more."
)


@dataclass(frozen=True)
class Named:
    """A change by its name, and the place in order of the first drain after it."""

    name: str
    first: int


@dataclass(frozen=True)
class BeforeAfter:
    """difference: after less before, of the means of avoidable hours. mix: shares of indications on either side."""

    name: str
    before: tuple[Figure, ...]
    after: tuple[Figure, ...]
    difference: Estimate
    verdict: str
    steady: str
    mix: tuple[tuple[str, float, float], ...]
    cannot_say: str = CANNOT_SAY


def before_after(drains: Sequence[Measured], change: Named, rules: Rules) -> BeforeAfter:
    sides = (
        [one for one in drains if one.about.order < change.first],
        [one for one in drains if one.about.order >= change.first],
    )
    before, after = (_figures(side, rules) for side in sides)
    hours = [[one.avoidable.surely_h for one in side if one.planned and one.avoidable is not None] for side in sides]
    whose = [[one.about.patient for one in side if one.planned and one.avoidable is not None] for side in sides]
    enough = min(len(side) for side in hours) >= max(rules.fewest, 5)
    enough = enough and not any(too_few_make_it_up(side, rules) for side in hours)
    difference = _difference(hours, whose, rules) if enough else Estimate(None, None, None, rules.level, "means")
    return BeforeAfter(
        change.name, before, after, difference, _verdict(difference, enough), _steady(hours[0]), _mix(sides, rules)
    )


def _figures(side: Sequence[Measured], rules: Rules) -> tuple[Figure, ...]:
    planned = [one for one in side if one.planned and one.avoidable is not None]
    told = [one for one in planned if one.at_removal is not None]
    open_ = sum(one.at_removal not in (Status.MET, Status.MET_WITH_GAPS) for one in told)
    return (
        mean_of(
            "avoidable_mean", "Avoidable hours, mean", "h",
            [one.avoidable.surely_h for one in planned if one.avoidable is not None],
            [one.about.patient for one in planned], "planned removals", rules,
        ),
        share_of(
            "not_met_at_removal", "Removed while the rule was not met, or could not be told", open_, len(told),
            "planned removals", rules,
        ),
    )  # fmt: skip


def _difference(hours: list[list[float]], whose: list[list[str]], rules: Rules) -> Estimate:
    """Patients are drawn again, each with the drains he has on either side."""
    values, after = np.array([*hours[0], *hours[1]]), np.repeat([False, True], [len(hours[0]), len(hours[1])])

    def figure(rows: np.ndarray) -> float:
        drawn, late = values[rows], after[rows]
        if late.all() or not late.any():
            return float("nan")
        return float(np.mean(drawn[late]) - np.mean(drawn[~late]))

    chance = np.random.default_rng(rules.seed)
    return bootstrap(figure, [*whose[0], *whose[1]], chance, rules.draws, rules.level, "percentile")


def _verdict(difference: Estimate, enough: bool) -> str:
    if not enough or difference.value is None or difference.low is None or difference.high is None:
        return "Too few drains on one side to tell."
    span = f"{difference.value:+.1f} h ({difference.level:.0%}: {difference.low:+.1f} to {difference.high:+.1f})"
    if difference.low <= 0.0 <= difference.high:
        return f"A difference cannot be told from chance: {span}."
    return f"Mean avoidable hours were {'fewer' if difference.value < 0 else 'more'} after the change: {span}."


def _steady(hours: Sequence[float]) -> str:
    points = [float(np.mean(hours[k : k + PER])) for k in range(0, len(hours) - PER + 1, PER)]
    if len(points) < 8:
        return (
            f"{len(points)} points of {PER} removals before the change: too few to tell whether that time was steady."
        )
    found = xmr_chart(points, least=0.0)
    if found.marks:
        return f"The time before was not steady ({found.marks[0].rule}): it is a poor base to compare with."
    return f"Nothing marks the {len(points)} points before as other than steady (rule set: {found.rules.name})."


def _mix(sides: tuple[Sequence[Measured], Sequence[Measured]], rules: Rules) -> tuple[tuple[str, float, float], ...]:
    """Shares of indications that are frequent enough on both sides to be shown, in per cent."""
    names = sorted({one.about.indication or "not recorded" for side in sides for one in side})
    rows = []
    for name in names:
        counts = [sum((one.about.indication or "not recorded") == name for one in side) for side in sides]
        if min(counts) >= max(rules.fewest, 1) and all(
            len(side) - n == 0 or len(side) - n >= rules.fewest for side, n in zip(sides, counts, strict=True)
        ):
            rows.append((name, 100.0 * counts[0] / len(sides[0]), 100.0 * counts[1] / len(sides[1])))
    return tuple(rows)
