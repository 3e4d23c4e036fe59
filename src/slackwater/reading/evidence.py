"""What the values themselves say against their layout: a slip of the unit, a sign that looks turned."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from slackwater.errors import LogError
from slackwater.reading.excerpt import excerpt
from slackwater.reading.layout import MICRO, Layout
from slackwater.reading.log import NONE

Ints = NDArray[np.int32]

TURNED_SHARE = 0.9  # of the values with a sign
TURNED_MCMH2O = 2_000  # swings around zero in gravity drainage stay below this
FINER_THAN_ANY_UL_PER_MIN = 100  # 0.1 mL/min
SMALL_UL_PER_MIN = 25_000
ODD_SHARE = 0.01  # of the rows: so few above zero are drift, or a slip of a row, and no sign of another unit


def refuse_unit_slip(flow: Ints, line: Ints, layout: Layout, name: str) -> None:
    """Refuse a log in which every flow above zero is smaller than any drain's display can show.

    haz-A07: litres a minute under a heading of millilitres read '0.05' as no leak at all.
    """
    step = layout.flow.step_ul_per_min
    limit = MICRO if step is None else max(MICRO, step)
    rows = np.flatnonzero((flow != NONE) & (flow > 0))
    if len(rows) <= ODD_SHARE * np.count_nonzero(flow != NONE) or int(flow[rows].max()) >= limit:
        return
    first = int(line[rows].min())
    said = "1 mL/min" if limit == MICRO else f"flow.step ({layout.flow.step})"
    raise LogError(
        f"every flow above zero is below {said}, likely a unit slip",
        where=f"{name}, line {first}, column {excerpt(layout.flow.column)}",
        mend=f"Check whether the log is really in {layout.flow.unit}, and set flow.unit.",
    )


def flow_notes(flow: Ints, step_ul_per_min: int, layout: Layout) -> list[str]:
    """What to know about the flow: values below zero, digits finer than a display has, a step that does not fit."""
    notes = []
    known = flow[flow != NONE]
    if not len(known):
        return ["no row has a flow"]
    below = int(np.count_nonzero(known < 0))
    if below:
        notes.append(f"{_counted(below, 'flow')} below zero")
    largest = int(known.max())
    if 0 < step_ul_per_min < FINER_THAN_ANY_UL_PER_MIN and 0 < largest < SMALL_UL_PER_MIN:
        notes.append(
            f"CHECK THE UNIT: flows are printed finer than 0.1 mL/min and none is above "
            f"{largest / MICRO:g} mL/min; is the log really in {layout.flow.unit}?"
        )
    declared = layout.flow.step_ul_per_min
    if declared:
        off = int(np.count_nonzero(known % declared))
        if off:
            notes.append(f"{_counted(off, 'flow')} no multiple of the declared step {layout.flow.step}")
    return notes


def sign_notes(pressure: Ints | None, set_suction: Ints | None, suction_is: str) -> list[str]:
    """Pressures of the other sign, counted; and a loud word where the whole column looks turned."""
    notes = []
    for values, said in ((pressure, "pressure"), (set_suction, "set pressure")):
        if values is None:
            continue
        above = int(np.count_nonzero(values > 0))
        if not above:
            continue
        notes.append(f"{_counted(above, said)} above zero (suction is below zero, whatever its sign in the log)")
        signed = values[(values != NONE) & (values != 0)]
        median = float(np.median(np.abs(signed)))
        if above > TURNED_SHARE * len(signed) and median > TURNED_MCMH2O:
            notes.append(
                f"CHECK THE SIGN: {above / len(signed):.0%} of the {said}s have the sign that the layout does not "
                f"give to suction, median {median / MICRO:.1f} cmH2O; is suction really {suction_is} in this log?"
            )
    return notes


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun} is" if number == 1 else f"{number} {noun}s are"
