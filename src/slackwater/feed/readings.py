"""A log's rows as the readings that its unit would have sent while it wrote them."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from slackwater.feed.line import Amount, Reported
from slackwater.reading.layout import MICRO
from slackwater.reading.log import NONE, STATES, Ints, Log


def readings_of(log: Log, serial: str, first: int = 0) -> Iterator[Reported]:
    """In file order, numbered from `first`; rows that could not be read, and blank ones, are left out.

    Amounts are in the internal units, whatever the file's: every digit of what was read, and no more.
    """
    every = Amount(_digits(log.every_ms), "s") if log.every_declared else None
    step = _digits(log.flow_step_ul_per_min) if log.flow_step_declared else ""
    ceiling = "" if log.flow_ceiling_ul_per_min == NONE else _digits(log.flow_ceiling_ul_per_min)
    number = first
    for row, at_ms in enumerate(log.time_ms.tolist()):
        if log.time_doubtful[row] or (log.unread is not None and log.unread[row]):
            continue
        flow, pressure = _at(log.flow_ul_per_min, row), _at(log.pressure_mcmh2o, row)
        low, high = _at(log.pressure_min_mcmh2o, row), _at(log.pressure_max_mcmh2o, row)
        ordered, battery, fluid = (
            _at(log.set_suction_mcmh2o, row),
            _at(log.battery_percent, row),
            _at(log.fluid_ml, row),
        )
        mains, state = _at(log.mains, row), _at(log.state, row)
        if all(value is None for value in (flow, pressure, ordered, battery, fluid, mains, state)):
            continue
        yield Reported(
            unit=serial, sequence=number, time_ms=at_ms, marks=log.marks, statistic=log.statistic, every=every,
            flow=None if flow is None else Amount(
                _digits(flow), "mL/min", max=_digits(_at(log.flow_max_ul_per_min, row)), step=step, ceiling=ceiling,
                rounding=log.rounding,
            ),
            pressure=None if pressure is None else Amount(
                _digits(pressure), "cmH2O", suction_is="negative", min=_digits(low), max=_digits(high),
            ),
            set_suction=None if ordered is None else Amount(_digits(ordered), "cmH2O", suction_is="negative"),
            battery=None if battery is None else Amount(str(battery), "%"),
            fluid=None if fluid is None else Amount(str(fluid), "mL"),
            mains=None if mains is None else bool(mains),
            state=None if state is None else STATES[state],
        )  # fmt: skip
        number += 1


def _at(channel: Ints | None, row: int) -> int | None:
    value = NONE if channel is None else int(channel[row])
    return None if value == NONE else value


def _digits(thousandths: int | None) -> str:
    """A number of thousandths in decimals; empty for none."""
    if thousandths is None:
        return ""
    text = f"{Decimal(thousandths) / MICRO:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
