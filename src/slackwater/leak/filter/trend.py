"""The states of the trend filter, and their chances of passing into one another in ten minutes.

A state is a speed of healing with a condition: sealed; sealed at rest but leaking with effort; leaking at a
level, a step above or below it or at it; and, for the intermittent, shut for now.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from slackwater.leak.filter.model import BLOCK_MIN, SPEEDS, TrendModel

Floats = NDArray[np.float64]
INTERMITTENT = SPEEDS.index("intermittent")
SEALED, EFFORT, LEAKS, SHUT = range(4)  # kinds of state


Row = tuple[int, int, int, int]  # speed (-1: none), kind, level (-1: none), deviation (-1, 0, 1)


@dataclass(frozen=True, eq=False)
class Chain:
    """n states. `passes[i, j]`: chance of passing from i to j in one block; also kept sparse, by where to."""

    model: TrendModel
    speed: NDArray[np.int64]
    kind: NDArray[np.int64]
    level: NDArray[np.int64]  # index, -1 where none
    conductance: Floats  # mL/min per cmH2O
    first: Floats  # at connection
    passes: Floats  # n x n
    pointer: NDArray[np.int32]
    column: NDArray[np.int32]
    weight: Floats
    bursts: Floats

    def __len__(self) -> int:
        return len(self.speed)


@lru_cache(maxsize=16)
def chain(model: TrendModel) -> Chain:
    """Build the chain of a model; kept, as it takes longer than a filter's run."""
    rows: list[Row] = [(-1, SEALED, -1, 0), (-1, EFFORT, -1, 0)]
    for speed in range(len(SPEEDS)):
        rows += [(speed, LEAKS, level, dev) for level in range(model.levels) for dev in (-1, 0, 1)]
        if speed == INTERMITTENT:
            rows += [(speed, SHUT, level, 0) for level in range(model.levels)]
    at = {row: i for i, row in enumerate(rows)}
    n = len(rows)
    speed_of, kind, level_of, dev_of = (np.array(column) for column in zip(*rows, strict=True))
    flow = model.lowest_ml_per_min * np.exp(model.spacing * level_of + model.deviation * dev_of)
    conductance = np.where(kind == LEAKS, flow / model.reference_cmh2o, 0.0)
    passes = np.zeros((n, n))
    for i, row in enumerate(rows):
        for target, chance in _moves(model, row):
            passes[i, at[target]] += chance
    assert np.allclose(passes.sum(axis=1), 1.0)
    first = _at_connection(model, speed_of, kind, level_of, dev_of)
    bursts = np.select(
        [kind == SEALED, kind == EFFORT, kind == SHUT],
        [model.bursts_sealed, model.bursts_effort, model.bursts_sealed], model.bursts_leaking,
    )  # fmt: skip
    into = np.ascontiguousarray(passes.T)
    where, column = np.nonzero(into)
    pointer = np.searchsorted(where, np.arange(n + 1)).astype(np.int32)
    return Chain(
        model, speed_of, kind, level_of, conductance, first, passes, pointer, column.astype(np.int32),
        np.ascontiguousarray(into[where, column]), np.ascontiguousarray(bursts),
    )  # fmt: skip


def _chance(per_h: float) -> float:
    """Of an event at a rate, within one block."""
    return float(-np.expm1(-per_h * BLOCK_MIN / 60.0))


def _moves(model: TrendModel, row: Row) -> list[tuple[Row, float]]:
    """Where a state may pass to in one block, with chances that sum to one: one change at a time."""
    speed, kind, level, dev = row
    moves: list[tuple[Row, float]] = []
    if kind in (SEALED, EFFORT):
        moves += [(to, _chance(model.reopens_per_h) * share) for to, share in _again(model)]
        if kind == EFFORT:
            moves.append(((-1, SEALED, -1, 0), _chance(model.effort_seals_per_h)))
    else:
        flow = model.lowest_ml_per_min * float(np.exp(model.spacing * level))
        lowness = 1.0 / (1.0 + (flow / model.low_ml_per_min) ** 4)
        seals = _chance(model.seals_per_h[speed] + model.seals_low_per_h * lowness)
        moves += [
            ((-1, SEALED, -1, 0), seals * (1 - model.effort_left)),
            ((-1, EFFORT, -1, 0), seals * model.effort_left),
        ]
        down = _chance(model.falls_per_h[speed] / model.spacing + model.wanders_per_h / model.spacing**2)
        up = _chance(model.wanders_per_h / model.spacing**2)
        moves += [((speed, kind, level - 1, dev), down)] if level > 0 else []
        moves += [((speed, kind, level + 1, dev), up)] if level < model.levels - 1 else []
        changes = _chance(model.changes_per_h)
        for other, share in enumerate(model.speeds):
            if other != speed:  # what is shut for now opens if it is no longer intermittent
                moves.append(((other, LEAKS, level, dev), changes * share / sum(model.speeds)))
        if kind == SHUT:
            moves.append(((speed, LEAKS, level, 0), _chance(model.opens_per_h)))
        else:
            deviates = _chance(model.deviates_per_h)
            if dev == 0:
                moves += [((speed, LEAKS, level, -1), deviates / 2), ((speed, LEAKS, level, 1), deviates / 2)]
            else:  # so that the level itself holds half of the time
                moves.append(((speed, LEAKS, level, 0), deviates))
            if speed == INTERMITTENT:
                moves.append(((speed, SHUT, level, 0), _chance(model.shuts_per_h)))
    leaves = sum(chance for _, chance in moves)
    if leaves > 1.0:  # rates far beyond what one block can hold: learning may try them
        moves = [(to, chance / leaves) for to, chance in moves]
        leaves = 1.0
    return [*moves, (row, 1.0 - leaves)]


def _again(model: TrendModel) -> list[tuple[Row, float]]:
    """How a sealed lung leaks again: as at connection."""
    speeds = np.array(model.speeds) / sum(model.speeds)
    return [
        ((speed, LEAKS, level, 0), float(chance * share))
        for speed, share in enumerate(speeds)
        for level, chance in enumerate(_levels(model))
    ]


def _levels(model: TrendModel) -> Floats:
    middle = np.log(model.first_ml_per_min / model.lowest_ml_per_min) / model.spacing
    off = (np.arange(model.levels) - middle) * model.spacing / model.first_spread
    share = np.exp(-0.5 * off**2) + 1e-4
    return np.asarray(share / share.sum())


def _at_connection(
    model: TrendModel, speed: NDArray[np.int64], kind: NDArray[np.int64], level: NDArray[np.int64],
    dev: NDArray[np.int64],
) -> Floats:  # fmt: skip
    levels = _levels(model)
    leaking = 1.0 - model.sealed - model.effort_only
    share = np.where(dev == 0, 0.5, 0.25) * np.where(level >= 0, levels[np.maximum(level, 0)], 0.0) * leaking
    share = share * np.array(model.speeds)[np.maximum(speed, 0)] / sum(model.speeds)
    first = np.select([kind == SEALED, kind == EFFORT, kind == SHUT], [model.sealed, model.effort_only, 0.0], share)
    return np.asarray(first / first.sum())
