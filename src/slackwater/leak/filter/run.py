"""Run the filters over a stay's minutes.

Nothing looks ahead: entry k depends on minutes up to k. A minute that is not usable (in doubt, or too little
recorded) can only make the leak larger or the answer less sure, never a sealed lung likelier.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from slackwater.leak.filter import kernels
from slackwater.leak.filter.grid import conductances, first_state
from slackwater.leak.filter.model import BLOCK_MIN, FilterModel, SizeModel, TrendModel, shipped_model
from slackwater.leak.filter.trend import chain
from slackwater.leak.stretches import running_median
from slackwater.trace.types import Minutes

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FLOOR_CMH2O = 1.0  # ours: breathing always drives something
SUCTION_CMH2O = 6.0  # ours: mean pressure from which suction, not breathing, drives
BREATH_SHARE = 0.1  # ours: of the swing, what breathing out adds where nothing is added
BURST_RATE_BELOW_ML_PER_MIN = 10.0  # ours: over a larger leak a burst is not looked for
BURST_ML_PER_MIN, BURST_STEPS = 15.0, 3  # ours: what a burst must reach, and in steps of the display
REST_MIN, REST_SHARE = 11, 0.2  # ours: minutes of the rest before, and of the burst that it may reach
ENOUGH_OF_A_BLOCK = 5  # minutes of ten
LEAST_REST = 3  # minutes without a burst, from which the rest is told by them alone (ours)
SHARES = np.array([0.05, 0.5, 0.95])  # of the chance: the interval shown and its middle


@dataclass(frozen=True, eq=False)
class Seen:
    """What the filters are given, one entry a minute; NaN where nothing was recorded.

    flow, low, high: mean flow and the bounds of its cells, mL/min; drive_cmh2o > 0; usable: recorded and not in doubt;
    burst: 1 a burst of leak with effort, 0 none, -1 the log could not show one.
    """

    flow: Floats
    low: Floats
    high: Floats
    drive_cmh2o: Floats
    usable: Flags
    burst: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.flow)

    def until(self, minute: int) -> Seen:
        """The same, as it was known at the end of the first `minute` minutes."""
        return Seen(
            *(getattr(self, name)[:minute] for name in ("flow", "low", "high", "drive_cmh2o", "usable", "burst"))
        )


@dataclass(frozen=True, eq=False)
class Filtered:
    """Minute by minute, NaN where the minute was not usable; and the state after the last, for the forecast."""

    limits_ml_per_min: tuple[float, ...]
    p_at_least: Floats  # minutes x limits: chance that the leak is that large or larger
    low_ml_per_min: Floats  # 5 %
    mid_ml_per_min: Floats  # 50 %
    high_ml_per_min: Floats  # 95 %
    conductance: Floats  # mL/min per cmH2O, recent
    p_sealed: Floats
    size_state: Floats  # cells + 4
    trend_state: Floats  # one chance a state of the chain
    trend_model: TrendModel
    block_chance: Floats  # how likely each whole block was; 1 where not usable


def driving_pressure(minutes: Minutes) -> Floats:
    """What drives air through the lung's defect, cmH2O, always above zero; NaN where no pressure was recorded.

    On suction the suction measured. With none added, breathing does: the mean of what lies below the room's
    pressure, and a share of the swing. Ours; argued in docs/definitions.md.
    """
    some = np.isfinite(minutes.pressure_p05)
    low = np.where(some, minutes.pressure_p05, minutes.pressure_min)
    high = np.where(some, minutes.pressure_p95, minutes.pressure_max)
    return driving_from(minutes.pressure, low, high)


def driving_from(pressure: Floats, low: Floats, high: Floats) -> Floats:
    """The same from mean, deep and shallow pressure of each minute, cmH2O, suction negative.

    >>> d = driving_from(np.array([-20.0, 0.0]), np.array([-22.0, -4.0]), np.array([-18.0, 4.0]))
    >>> [round(float(value), 2) for value in d]
    [20.0, 1.8]
    """
    deep = np.where(np.isfinite(low), -low, -pressure)
    shallow = np.where(np.isfinite(high), -high, -pressure)
    swing = np.maximum(deep - shallow, 1e-9)
    # a swing that crosses the room's pressure drives only while below it: even between its ends, E[max(-p, 0)]
    crossing = (shallow < 0.0) & (deep > 0.0)
    below = np.where(crossing, np.maximum(deep, 0.0) ** 2 / (2.0 * swing), np.maximum(-pressure, 0.0))
    breathing = np.maximum(below + BREATH_SHARE * swing, FLOOR_CMH2O)
    drive = np.where(-pressure >= SUCTION_CMH2O, -pressure, breathing)
    return np.where(np.isfinite(pressure), drive, np.nan)


def seen(minutes: Minutes, usable: Flags, step_ml_per_min: float, *, bursts_visible: bool) -> Seen:
    """From the minute table. `usable`: free of doubt; a minute without flow is never usable.

    `step_ml_per_min`: of the display. `bursts_visible`: the log could show a single cough.
    """
    told = usable & np.isfinite(minutes.flow)
    drive = _held(driving_pressure(minutes))
    burst = np.full(len(minutes), -1, dtype=np.int8)
    if bursts_visible:
        burst[told] = bursts(minutes.flow, minutes.flow_max, told, step_ml_per_min)[told]
    return Seen(minutes.flow, minutes.flow_low, minutes.flow_high, drive, told & np.isfinite(drive), burst)


def bursts(flow: Floats, flow_max: Floats, usable: Flags, step_ml_per_min: float) -> Flags:
    """Minutes with a short burst of air over a quiet rest before it, whatever any rule's limit. Looks back only."""
    rest = running_median(np.where(usable, flow, np.nan), REST_MIN)
    with np.errstate(invalid="ignore"):
        large = flow_max >= max(BURST_STEPS * step_ml_per_min, BURST_ML_PER_MIN)
        brief = flow <= 0.5 * flow_max
        quiet = np.fmin(rest, flow) <= np.fmax(1.01 * step_ml_per_min, REST_SHARE * flow_max)
    return np.asarray(usable & large & brief & quiet)


def _held(values: Floats) -> Floats:
    """The last known value carried on. A log without any pressure: 1, so that conductance is flow."""
    if not np.isfinite(values).any():
        return np.ones(len(values))
    at = np.maximum.accumulate(np.where(np.isfinite(values), np.arange(len(values)), -1))
    return np.where(at >= 0, values[np.maximum(at, 0)], np.nan)


def size_how(model: SizeModel) -> Floats:
    """The size filter's numbers in the order of its kernel."""
    keep = 1.0 - 1.0 / model.memory_min
    return np.array([
        model.softness_ml_per_min, model.walk, model.silent, model.seals, model.opens, model.suction_step, keep,
        model.burst, model.surprises_min,
    ])  # fmt: skip


def _filled(values: Floats, usable: Flags, otherwise: float) -> Floats:
    return np.ascontiguousarray(np.where(usable, values, otherwise))


def run_filter(
    given: Seen, limits_ml_per_min: Sequence[float] = (), *, model: FilterModel | None = None,
    operation: str | None = None,
) -> Filtered:  # fmt: skip
    """Both filters over all minutes. `limits_ml_per_min`: for which P(leak >= limit) is wanted."""
    model = model or shipped_model()
    n = len(given)
    state = first_state(model.size)
    chance, size = np.empty((n, len(limits_ml_per_min))), np.empty((n, 5))
    if n:
        kernels.size_minutes(
            state, conductances(model.size).copy(), size_how(model.size), model.size.sharpness // 4,
            model.size.widens, *_columns(given), np.array(limits_ml_per_min, dtype=np.float64),
            SHARES.copy(), np.empty(4 * model.size.cells), chance, size,
        )  # fmt: skip
    off = ~given.usable
    chance[off] = np.nan
    size[off] = np.nan
    size[:, 3] = np.where(size[:, 3] >= 0.0, size[:, 3], np.nan)
    trend = model.trend_for(operation)
    trend_state, block_chance = run_trend(blocks(given), trend)
    return Filtered(
        tuple(float(limit) for limit in limits_ml_per_min), chance, size[:, 0], size[:, 1], size[:, 2], size[:, 3],
        size[:, 4], state, trend_state, trend, block_chance,
    )  # fmt: skip


def _columns(given: Seen) -> tuple[Floats, Floats, Floats, Floats, NDArray[np.int8]]:
    ok = given.usable
    return (
        _filled(given.low, ok, 0.0), _filled(given.high, ok, 0.0), _filled(given.flow, ok, 0.0),
        _filled(given.drive_cmh2o, ok, 1.0), np.ascontiguousarray(ok, dtype=np.int8),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Blocks:
    """Whole blocks of ten minutes from the first minute on: means over their usable minutes."""

    low: Floats
    high: Floats
    drive_cmh2o: Floats
    burst: NDArray[np.int8]
    usable: Flags

    def __len__(self) -> int:
        return len(self.low)


def blocks(given: Seen) -> Blocks:
    """Gather minutes into blocks; a block with too few usable minutes is not usable."""
    whole = len(given) // BLOCK_MIN
    shape = (whole, BLOCK_MIN)
    ok = given.usable[: whole * BLOCK_MIN].reshape(shape)
    usable = ok.sum(axis=1) >= ENOUGH_OF_A_BLOCK
    part = given.burst[: whole * BLOCK_MIN].reshape(shape)
    # what a cough adds is told by the burst; the mean is of the rest, where enough of it is left
    rest = ok & (part != 1)
    rest = np.where((rest.sum(axis=1) >= LEAST_REST)[:, None], rest, ok)
    count = np.maximum(rest.sum(axis=1), 1)

    def mean(values: Floats) -> Floats:
        gathered = np.where(rest, values[: whole * BLOCK_MIN].reshape(shape), 0.0).sum(axis=1)
        return np.where(usable, gathered / count, 0.0)

    low, high, drive = mean(given.low), mean(given.high), mean(given.drive_cmh2o)
    any_burst = ((part == 1) & ok).any(axis=1)
    looked = ((part >= 0) & ok).any(axis=1) & (0.5 * (low + high) < BURST_RATE_BELOW_ML_PER_MIN)
    burst = np.where(any_burst, 1, np.where(looked, 0, -1)).astype(np.int8)
    return Blocks(low, high, np.where(usable, np.maximum(drive, FLOOR_CMH2O), 1.0), burst, usable)


def run_trend(given: Blocks, model: TrendModel, state: Floats | None = None) -> tuple[Floats, Floats]:
    """(state after the last block, chance of each block). `state`: where to go on from; None: at connection."""
    links = chain(model)
    state = links.first.copy() if state is None else state.copy()
    chance = np.ones(len(given))
    if len(given):
        kernels.trend_blocks(
            state, links.pointer, links.column, links.weight, links.conductance, links.bursts,
            model.softness_ml_per_min, model.stray, model.sharpness // 4, given.low, given.high, given.drive_cmh2o,
            given.burst, given.usable.astype(np.int8), np.empty(len(links)), chance,
        )  # fmt: skip
    return state, chance


class Live:
    """Many drains, a minute at a time, each in constant time; the same steps as `run_filter`, bit for bit.

    `states`: drains x (cells + 4). The trend takes its own step when ten minutes have gathered: `run_trend`.
    """

    def __init__(self, drains: int, model: FilterModel | None = None) -> None:
        self.model = model or shipped_model()
        self.states = np.tile(first_state(self.model.size), (drains, 1))
        self._grid, self._how = conductances(self.model.size).copy(), size_how(self.model.size)
        self._work, self._chance = np.empty(4 * self.model.size.cells), np.empty(drains)

    def minute(
        self, low: Floats, high: Floats, flow: Floats, drive_cmh2o: Floats, usable: NDArray[np.int8],
        limits_ml_per_min: Floats,
    ) -> Floats:  # fmt: skip
        """Chance that each drain leaks at or above its own limit; where not usable (give 0, 0, 0 and drive 1), NaN."""
        kernels.size_drains(
            self.states, self._grid, self._how, self.model.size.sharpness // 4, self.model.size.widens, low, high,
            flow, drive_cmh2o, usable, limits_ml_per_min, self._work, self._chance,
        )  # fmt: skip
        return np.where(usable != 0, self._chance, np.nan)
