"""Which numbers learning may move, and how far: no further than past stays ask for beyond their own noise.

Each number is tried a little larger and a little smaller, once, and every stay scores both. From these scores come a
slope and its standard error over the stays, and a curvature. A slope that chance alone explains moves nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from slackwater.leak.filter.model import FilterModel

Floats = NDArray[np.float64]

TRY = float(np.log(1.3))  # of a number's logarithm, up and down
FARTHEST = float(np.log(2.0))  # that one learning moves a number
STIFF = 0.2  # hours of score per squared logarithm: what holds a number where it is, for want of curvature (ours)
SURELY = 0.9  # that no chance exceeds


class Number(NamedTuple):
    """One number of a model; place -1: not one of a list."""

    part: str
    field: str
    place: int = -1


# Of the trend: what all stays share in one direction is moved together, as few stays tell the speeds apart.
TOGETHER = ("falls_per_h", "seals_per_h")
OF_TREND = (
    "seals_low_per_h", "low_ml_per_min", "effort_seals_per_h", "reopens_per_h", "deviation", "bursts_sealed",
    "bursts_effort", "bursts_leaking", "first_ml_per_min", "first_spread", "speeds",
)  # fmt: skip
OF_RECORD = ("ratio_mean", "ratio_spread", "counts_as", "bursts", "asleep", "sealed_share", "alike", "forgets_blocks")
CHANCES = ("bursts_sealed", "bursts_effort", "bursts_leaking", "asleep", "sealed_share")


def learnable(model: FilterModel) -> dict[str, tuple[Number, ...]]:
    """The numbers that may move, by the name a file keeps them under; several under one name move together."""
    found: dict[str, tuple[Number, ...]] = {}
    for part, names in (("trend", (*TOGETHER, *OF_TREND)), ("record", OF_RECORD)):
        for name in names:
            value = getattr(getattr(model, part), name)
            if not isinstance(value, tuple):
                found[f"{part}.{name}"] = (Number(part, name),)
            elif name in TOGETHER:
                found[f"{part}.{name}"] = tuple(Number(part, name, k) for k in range(len(value)))
            else:
                found |= {f"{part}.{name}.{k}": (Number(part, name, k),) for k in range(len(value))}
    return found


def moved(model: FilterModel, numbers: tuple[Number, ...], by: float) -> FilterModel:
    """The model with the logarithm of these numbers moved by so much; chances stay below `SURELY`.

    >>> moved(FilterModel(), (Number("record", "bursts"),), float(np.log(2.0))).record.bursts
    0.3
    """
    for part, name, place in numbers:
        owner = getattr(model, part)
        value = getattr(owner, name)
        if place < 0:
            new = round(value * float(np.exp(by)), 12)
            new = min(new, SURELY) if name in CHANCES else new
        else:
            new = tuple(v * float(np.exp(by)) if k == place else v for k, v in enumerate(value))
        model = replace(model, **{part: replace(owner, **{name: new})})
    return model


def tries(model: FilterModel) -> list[FilterModel]:
    """The model as it is, then for each learnable number a larger and a smaller one."""
    return [model, *(moved(model, numbers, by) for numbers in learnable(model).values() for by in (TRY, -TRY))]


@dataclass(frozen=True)
class Step:
    """By name: how far a number's logarithm moves, and its standard error; at `FARTHEST` the stays tell nothing."""

    by: Mapping[str, float]
    error: Mapping[str, float]

    def taken(self, model: FilterModel) -> FilterModel:
        """The model after the step."""
        for name, numbers in learnable(model).items():
            if self.by[name]:
                model = moved(model, numbers, self.by[name])
        return model


def step(model: FilterModel, scores: Floats) -> Step:
    """From the scores of stays (rows) under each of `tries(model)` (columns), hours, lower is better.

    The slope is shrunk by the share of its square that chance explains (James & Stein, Proc. 4th Berkeley Symp. 1961),
    number by number. The error holds chance, and what `STIFF` keeps of a doubt as wide as `FARTHEST`.
    """
    by, error = {}, {}
    base = scores[:, 0]
    for k, name in enumerate(learnable(model)):
        up, down = scores[:, 1 + 2 * k], scores[:, 2 + 2 * k]
        slopes = (up - down) / (2.0 * TRY)
        slope, noise = float(slopes.mean()), float(slopes.std(ddof=1) / np.sqrt(len(slopes)))
        held = max(float((up + down - 2.0 * base).mean()) / TRY**2, 0.0) + STIFF
        shrink = max(0.0, 1.0 - (noise / slope) ** 2) if slope else 0.0
        by[name] = float(np.clip(-slope * shrink / held, -FARTHEST, FARTHEST))
        error[name] = float(np.hypot(noise / held, FARTHEST * STIFF / held))
    return Step(by, error)
