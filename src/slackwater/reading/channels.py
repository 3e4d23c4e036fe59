"""What a layout's columns become: each channel's exact scale, sign, limits and words."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from slackwater.quantities import unit
from slackwater.reading.layout import Layout, thousandths_per
from slackwater.reading.log import STATES

# Beyond these a value is likelier a slip of the unit than a drain: no suction pump moves 200 L/min,
# and 400 cmH2O is four times what regulators allow wards to apply.
MOST_FLOW_UL_PER_MIN = 200_000_000
MOST_PRESSURE_MCMH2O = 400_000
MOST_FLUID_ML = 100_000


@dataclass(frozen=True)
class Channel:
    """One column on its way in. A printed number x is stored as round(x * per), half to even."""

    key: str  # as in Log, e.g. "flow", "pressure_min"
    column: str
    kind: str  # number, words, serial
    per: Fraction = Fraction(1)
    negate: bool = False
    low: int = 0
    high: int = 0
    beyond: str = ""  # what to say of a number outside low..high
    words: dict[str, int] = field(default_factory=dict)


def channels(layout: Layout) -> tuple[Channel, ...]:
    """The layout's channels: flow first, serial last."""
    found = _flow(layout) + _pressure(layout)
    if layout.battery is not None:
        found.append(
            Channel("battery", layout.battery.column, "number", low=0, high=100, beyond="is not a share of 0 to 100 %")
        )
    if layout.mains is not None:
        words = dict.fromkeys(layout.mains.no, 0) | dict.fromkeys(layout.mains.yes, 1)
        found.append(Channel("mains", layout.mains.column, "words", words=words))
    if layout.fluid is not None:
        found.append(
            Channel(
                "fluid",
                layout.fluid.column,
                "number",
                unit(layout.fluid.unit, "volume").factor,
                low=0,
                high=MOST_FLUID_ML,
                beyond=f"{layout.fluid.unit} is below zero or above 100 L, likely a unit slip",
            )
        )
    if layout.state is not None:
        words = {word: STATES.index(meaning) for word, meaning in layout.state.words}
        found.append(Channel("state", layout.state.column, "words", words=words))
    if layout.serial is not None:
        found.append(Channel("serial", layout.serial.column, "serial"))
    return tuple(found)


def _flow(layout: Layout) -> list[Channel]:
    flow = layout.flow
    # a flow above the declared ceiling is read: it is at least the ceiling, and never to be lost
    most = MOST_FLOW_UL_PER_MIN
    beyond = f"{flow.unit} is beyond 200 L/min, likely a unit slip"
    per = thousandths_per(flow.unit, "flow")
    return [
        Channel(key, column, "number", per, low=-most, high=most, beyond=beyond)
        for key, column in (("flow", flow.column), ("flow_max", flow.max_column))
        if column
    ]


def _pressure(layout: Layout) -> list[Channel]:
    pressure, set_suction = layout.pressure, layout.set_suction
    found = []

    def channel(key: str, column: str, unit_name: str, suction_is: str) -> Channel:
        return Channel(
            key,
            column,
            "number",
            thousandths_per(unit_name, "pressure"),
            negate=suction_is == "positive",
            low=-MOST_PRESSURE_MCMH2O,
            high=MOST_PRESSURE_MCMH2O,
            beyond=f"{unit_name} is beyond 400 cmH2O, likely a unit slip",
        )

    if pressure is not None:
        # where suction counts up, the file's smallest value is the weakest suction: inside, the largest pressure
        low, high = pressure.min_column, pressure.max_column
        if pressure.suction_is == "positive":
            low, high = high, low
        named = (("pressure", pressure.column), ("pressure_min", low), ("pressure_max", high))
        found = [channel(k, c, pressure.unit, pressure.suction_is) for k, c in named if c]
    if set_suction is not None:
        unit_name = set_suction.unit or (pressure.unit if pressure is not None else "")
        sign = set_suction.suction_is or (pressure.suction_is if pressure is not None else "")
        found.append(channel("set_suction", set_suction.column, unit_name, sign))
    return found
