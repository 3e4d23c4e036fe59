"""Do groups of drains end at different times: wards, versions of the rule, before and after a change? Chance alone is
asked, never why, and nobody is ranked."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from slackwater.audit.change import Named
from slackwater.audit.ends_of_drains import PLANNED, ends_after_met, ends_out
from slackwater.audit.figures import Rules
from slackwater.audit.measures import Measured
from slackwater.audit.statistics.competing import gray_test
from slackwater.audit.statistics.survival import log_rank

FEWEST = 10  # drains of a group: of fewer the tests' approximation says little. Ours
TOO_FEW = "fewer than two groups are large enough."


@dataclass(frozen=True)
class Differ:
    """Chances of so large a difference if there were none. groups: compared; left_out: too small.

    met_to_removed: from the rule first met to the planned removal (log-rank); out_by_day: out as planned, where another
    end may come first (Gray). None: cannot be told.
    """

    key: str
    title: str
    groups: int
    left_out: int
    met_to_removed: float | None
    out_by_day: float | None
    why: str = ""


def differ(drains: Sequence[Measured], rules: Rules, change: Named | None) -> tuple[Differ, ...]:
    """Wards, rules pinned, and the sides of a named change, where there are several."""
    by: Mapping[str, tuple[str, Callable[[Measured], str | None]]] = {
        "differ_wards": ("Wards", lambda one: one.about.ward),
        "differ_rules": ("Rules pinned to the drains", lambda one: one.about.protocol),
    }
    if change is not None:
        first = change.first
        by = {**by, "differ_change": (f"Before and after: {change.name}", lambda one: str(one.about.order >= first))}
    return tuple(one for key, (title, of) in by.items() if (one := _differ(key, title, drains, of, rules)) is not None)


def _differ(
    key: str, title: str, drains: Sequence[Measured], of: Callable[[Measured], str | None], rules: Rules
) -> Differ | None:
    """None where all are of one group."""
    groups: dict[str, list[Measured]] = {}
    for one in drains:
        if (name := of(one)) is not None:
            groups.setdefault(name, []).append(one)
    if len(groups) < 2:
        return None
    large = [group for group in groups.values() if len(group) >= max(rules.fewest, FEWEST)]
    left_out = len(groups) - len(large)
    if len(large) < 2:
        return Differ(key, title, len(large), left_out, None, None, TOO_FEW)
    after = [ends_after_met(group) for group in large]
    return Differ(
        key, title, len(large), left_out,
        _told(log_rank(after).chance) if all(one.n for one in after) else None,
        _told(gray_test([ends_out(group, apart=True) for group in large], PLANNED).chance),
    )  # fmt: skip


def _told(chance: float) -> float | None:
    return None if math.isnan(chance) else chance
