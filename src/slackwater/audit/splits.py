"""Avoidable hours split by ward, weekday, indication, and what was waited for; groups too small are kept back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

from slackwater.audit.figures import Figure, Rules, mean_of, without_n
from slackwater.audit.measures import Measured
from slackwater.audit.statistics.suppress import kept_back

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
NOT_RECORDED = "not recorded"


@dataclass(frozen=True)
class SplitRow:
    """Planned removals of one group, their sure hours in all, and the mean; None: kept back."""

    name: str
    planned: int | None
    hours: float | None
    mean: Figure | None


@dataclass(frozen=True)
class Split:
    key: str
    title: str
    rows: tuple[SplitRow, ...]


def splits_of(drains: Sequence[Measured], zone: tzinfo, rules: Rules, *, n_shown: bool) -> tuple[Split, ...]:
    """n_shown: whether the number of all planned removals is shown; if not, no group's is."""
    by: Mapping[str, tuple[str, Callable[[Measured], str | None]]] = {
        "ward": ("By ward", lambda one: one.about.ward),
        "weekday": ("By weekday of the removal", lambda one: weekday(one.removed_ms, zone)),
        "indication": ("By indication", lambda one: one.about.indication),
        "operation": ("By operation", lambda one: one.about.operation),
    }
    planned = [one for one in drains if one.planned and one.avoidable is not None]
    return tuple(_split(key, title, planned, name, rules, n_shown) for key, (title, name) in by.items())


def weekday(at_ms: int | None, zone: tzinfo) -> str | None:
    return None if at_ms is None else WEEKDAYS[datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone).weekday()]


def _split(
    key: str, title: str, planned: Sequence[Measured], name: Callable[[Measured], str | None], rules: Rules,
    n_shown: bool,
) -> Split:  # fmt: skip
    groups: dict[str, list[Measured]] = {}
    for one in planned:
        groups.setdefault((name(one) or NOT_RECORDED).replace("_", " "), []).append(one)
    order = sorted(groups, key=lambda one: (WEEKDAYS.index(one) if one in WEEKDAYS else 99, one == NOT_RECORDED, one))
    hours = {group: [one.avoidable.surely_h for one in groups[group] if one.avoidable is not None] for group in order}
    back = _back([len(groups[group]) for group in order], rules)
    back_hours = _back([sum(one > 0 for one in hours[group]) for group in order], rules)
    rows = []
    for place, group in enumerate(order):
        whose = [one.about.patient for one in groups[group]]
        mean = mean_of(f"avoidable_mean_{key}", group, "h", hours[group], whose, "planned removals", rules)
        few = back[place] or back_hours[place]  # a mean and its number give the hours away
        rows.append(
            SplitRow(
                group, len(hours[group]) if n_shown and not back[place] else None,
                None if few else float(sum(hours[group])), None if few else without_n(mean, n_shown),
            )
        )  # fmt: skip
    return Split(key, title, tuple(rows))


def _back(counts: Sequence[int], rules: Rules) -> list[bool]:
    """Which are kept back; one group alone is the whole, which is shown or kept back elsewhere."""
    if not any(counts):
        return [False] * len(counts)
    if len(counts) == 1:
        return [counts[0] < rules.fewest]
    return [bool(one) for one in kept_back(counts, rules.fewest)[:-1]]
