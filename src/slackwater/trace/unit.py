"""Which logs are of one unit, and what is settled over all of them: cadence and display step."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from slackwater.reading.log import NONE, TELLING_FLOWS, Ints, Log


@dataclass(frozen=True)
class Unit:
    """The logs of one unit read by one layout, by their place in the trace."""

    numbers: tuple[int, ...]


def in_order(logs: Sequence[Log]) -> tuple[Log, ...]:
    """Logs in an order that does not depend on how they were given."""
    return tuple(sorted(logs, key=lambda log: (_first(log), log.sha256, log.name, len(log.time_ms))))


def _first(log: Log) -> int:
    return int(log.time_ms.min()) if len(log.time_ms) else 0


def units(logs: Sequence[Log]) -> tuple[Unit, ...]:
    """Logs grouped by layout and by serial text; files that share a serial are of one unit.

    A declared step or cadence is part of the layout; one that was found is not, since pieces of one
    file may each find another.
    """
    groups: dict[int, list[int]] = {}
    of_key: dict[tuple[str, str], int] = {}
    group_of: list[int] = []
    for number, log in enumerate(logs):
        layout = _layout(log)
        keys = [(layout, serial) for serial in log.serials or ("",)]
        joined = sorted({of_key[key] for key in keys if key in of_key})
        group = joined[0] if joined else number
        group_of.append(group)
        for other in joined[1:]:  # this file shows that two groups are one unit
            group_of = [group if g == other else g for g in group_of]
            of_key = {key: group if g == other else g for key, g in of_key.items()}
        of_key.update((key, group) for key in keys)
    for number, group in enumerate(group_of):
        groups.setdefault(group, []).append(number)
    return tuple(Unit(tuple(numbers)) for numbers in groups.values())


def _layout(log: Log) -> str:
    said = (
        log.marks,
        log.statistic,
        log.rounding,
        log.flow_step_ul_per_min if log.flow_step_declared else None,
        log.every_ms if log.every_declared else None,
        log.flow_ceiling_ul_per_min,
        log.zone if not log.layout else None,
    )
    return json.dumps([log.layout, said], sort_keys=True, default=str)


def settled(logs: Sequence[Log], every_ms: int, known_flow: Ints | None) -> list[Log]:
    """The same logs of one unit with one cadence and one display step.

    The step that a piece found among its own flows is not the unit's: it is found again over all of them.
    `known_flow`: the flows known by now, if not all are: then only they may speak, for no one could have known better.
    """
    step = logs[0].flow_step_ul_per_min
    if not logs[0].flow_step_declared and (len(logs) > 1 or known_flow is not None):
        flows = np.unique(np.concatenate([log.flow_ul_per_min for log in logs]) if known_flow is None else known_flow)
        flows = flows[flows != NONE]
        digits = [log.flow_digit_ul_per_min for log in logs if log.flow_digit_ul_per_min]
        if len(flows) >= TELLING_FLOWS:
            step = int(np.gcd.reduce(flows[flows != 0]))
        elif digits:
            step = min(digits)
    return [
        log
        if log.every_ms == every_ms and log.flow_step_ul_per_min == step
        else replace(log, every_ms=every_ms, flow_step_ul_per_min=step)
        for log in logs
    ]
